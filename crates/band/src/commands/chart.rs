//! `endpin chart`: the chart as understood.

use crate::{cli::shared::Performance, failure::Failure, output, session::Session, text::Table};
use endpin_theory::{Chorus, Span, Understood};
use serde::Serialize;
use std::{path::PathBuf, process::ExitCode};

/// Arguments of `endpin chart`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: endpin chart scenarios/breakwater-blues.toml")]
pub struct Args {
    /// The chart file; - is standard input
    chart: Option<PathBuf>,
    /// As JSON (endpin-chart/1)
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    performance: Performance,
}

/// Reads the chart, analyses it and counts its lines.
///
/// # Errors
/// A chart or options that make no line.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let session = args.performance.session(args.chart.as_deref())?;
    let shown = if args.json {
        json(&session)
    } else {
        text(&session)
    };
    output::print(&shown)?;
    Ok(ExitCode::SUCCESS)
}

#[derive(Serialize)]
struct Report<'a> {
    format: &'static str,
    chart: &'a str,
    key: String,
    meter: String,
    tempo: f64,
    bars: usize,
    spans: Vec<SpanReport<'a>>,
    level: u8,
    admissible_lines: String,
}

#[derive(Serialize)]
struct SpanReport<'a> {
    bar: u32,
    beat: u32,
    beats: usize,
    symbol: &'a str,
    /// The rest is null under `N.C.`.
    root: Option<String>,
    bass: Option<String>,
    tones: Vec<String>,
    degrees: Vec<String>,
    scale: Option<ScaleReport>,
    choices: Vec<ScaleReport>,
    function: Option<&'a str>,
    key: Option<String>,
    seventh: Option<u8>,
    why: Option<&'a str>,
}

#[derive(Serialize)]
struct ScaleReport {
    name: String,
    notes: Vec<String>,
}

impl ScaleReport {
    fn new(scale: &endpin_theory::Scale) -> Self {
        ScaleReport {
            name: scale.name().to_string(),
            notes: scale.notes().iter().map(ToString::to_string).collect(),
        }
    }
}

impl<'a> SpanReport<'a> {
    fn new(span: &'a Span, understood: &'a Understood) -> Self {
        let chord = span.chord.as_ref();
        let sounding = chord.map(|_| understood);
        let tones = chord.map(|chord| chord.tones()).unwrap_or_default();
        SpanReport {
            bar: span.bar,
            beat: span.beat,
            beats: span.beats,
            symbol: &span.symbol,
            root: chord.map(|chord| chord.root().to_string()),
            bass: chord.map(|chord| chord.bass().to_string()),
            tones: tones.iter().map(|(_, name)| name.to_string()).collect(),
            degrees: tones.iter().map(|(degree, _)| degree.to_string()).collect(),
            scale: sounding.map(|understood| ScaleReport::new(&understood.scale)),
            choices: sounding
                .map(|understood| understood.choices.iter().map(ScaleReport::new).collect())
                .unwrap_or_default(),
            function: sounding.map(|understood| understood.function.as_str()),
            key: sounding.map(|understood| understood.key.to_string()),
            seventh: chord.map(|chord| chord.seventh()),
            why: sounding.map(|understood| understood.reason.as_str()),
        }
    }
}

/// What the first of the choruses asked for plays.
fn first(session: &Session) -> (&Chorus, &[Understood]) {
    let number = session.wishes().choruses.start;
    (session.chorus(number), session.understood(number))
}

fn json(session: &Session) -> String {
    let (chorus, understood) = first(session);
    let bar = &chorus.bars[0];
    crate::report::to_json(&Report {
        format: "endpin-chart/1",
        chart: &chorus.title,
        key: chorus.key.to_string(),
        meter: bar.meter.to_string(),
        tempo: bar.tempo,
        bars: chorus.bars.len(),
        spans: chorus
            .spans
            .iter()
            .zip(understood)
            .map(|(span, understood)| SpanReport::new(span, understood))
            .collect(),
        level: session.wishes().line.level.number(),
        admissible_lines: session.walker().count().to_string(),
    })
}

fn text(session: &Session) -> String {
    let (chorus, understood) = first(session);
    let mut table = Table::new(&["bar", "beats", "chord", "is", "in", "scale", "notes"]);
    for (span, understood) in chorus.spans.iter().zip(understood) {
        let place = match span.beat {
            1 => span.bar.to_string(),
            beat => format!("{}.{beat}", span.bar),
        };
        let beats = span.beats.to_string();
        if span.chord.is_none() {
            table.row([place, beats, span.symbol.clone()]);
            continue;
        }
        let scale = ScaleReport::new(&understood.scale);
        table.row([
            place,
            beats,
            span.symbol.clone(),
            understood.function.clone(),
            understood.key.to_string(),
            scale.name,
            scale.notes.join(" "),
        ]);
        table.note(&understood.reason);
    }
    let (bar, level) = (&chorus.bars[0], session.wishes().line.level);
    format!(
        "{}: {} bars in {}, {}, {} quarter notes a minute, {} feel\n\n{table}\n\
         Level {level} ({}) has {} lines over one chorus of this chart.\n",
        crate::failure::printable(&chorus.title),
        chorus.bars.len(),
        chorus.key,
        bar.meter,
        bar.tempo,
        bar.feel,
        level.words(),
        grouped(&session.walker().count().to_string()),
    )
}

/// A number with its digits in threes.
fn grouped(digits: &str) -> String {
    let mut text = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}
