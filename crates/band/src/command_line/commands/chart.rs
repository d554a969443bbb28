//! `endpin chart`: the chart as understood.

use crate::{
    command_line::options::Performance,
    failure::Failure,
    outputs::{destination, json::JsonSigns, table::Table},
    performance::session::Session,
};
use endpin_theory::{Chorus, Key, Span, Understood};
use endpin_walker::Walker;
use serde::Serialize;
use std::{path::PathBuf, process::ExitCode};

/// Arguments of `endpin chart`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: endpin chart scenarios/breakwater-blues.toml\n\
                  Options that change nothing here are accepted, but not listed.",
    mut_args(listed_if_it_acts)
)]
pub struct ChartArgs {
    /// The chart file; - is standard input
    chart: Option<PathBuf>,
    /// As JSON (endpin-chart/1)
    #[arg(long, value_name = "SIGNS", num_args = 0..=1, require_equals = true, default_missing_value = "unicode")]
    json: Option<JsonSigns>,
    /// As a TOML chart file, whatever it was written as
    #[arg(long, conflicts_with = "json")]
    toml: bool,
    #[command(flatten)]
    performance: Performance,
}

/// Options that change the choruses made of a chart or how they are played, but nothing that the chart shows.
const IDLE: [&str; 18] = [
    "choruses",
    "vary",
    "count",
    "way",
    "apart",
    "weights",
    "loop_ready",
    "mute",
    "straight",
    "swing",
    "human",
    "density",
    "palette",
    "comp",
    "time",
    "count_in",
    "trade",
    "tempo_step",
];

fn listed_if_it_acts(option: clap::Arg) -> clap::Arg {
    let idle = IDLE.contains(&option.get_id().as_str());
    option.hide(idle)
}

/// Reads the chart, analyses it and counts its lines.
///
/// # Errors
/// A chart or options that make no line.
pub fn run(args: &ChartArgs) -> Result<ExitCode, Failure> {
    let session = args.performance.session(args.chart.as_deref())?;
    let found = args.performance.found_key(session.chart());
    let runner_up = found.and_then(|found| found.runner_up);
    let shown = if args.toml {
        session.chart().to_string()
    } else if let Some(signs) = args.json {
        signs.of(&report(&session, runner_up))
    } else {
        text(&session, runner_up)
    };
    destination::print(&shown)?;
    Ok(ExitCode::SUCCESS)
}

#[derive(Serialize)]
struct ChartReport<'a> {
    format: &'static str,
    chart: &'a str,
    key: String,
    /// Null if the key was given, or if no other comes near.
    runner_up: Option<String>,
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

fn report(session: &Session, runner_up: Option<Key>) -> ChartReport<'_> {
    let (chorus, understood) = first(session);
    let bar = &chorus.bars[0];
    ChartReport {
        format: "endpin-chart/1",
        chart: &chorus.title,
        key: chorus.key.to_string(),
        runner_up: runner_up.map(|key| key.to_string()),
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
    }
}

fn text(session: &Session, runner_up: Option<Key>) -> String {
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
    let runner_up = runner_up.map_or_else(String::new, |other| {
        format!("The key was found; {other} is close: --key says which it is.\n")
    });
    format!(
        "{}: {} bars in {}, {}, {} quarter notes a minute, {} feel\n{runner_up}\n{table}\n\
         Level {level} ({}) has {} lines over one chorus of this chart.\n",
        crate::failure::printable(&chorus.title),
        chorus.bars.len(),
        chorus.key,
        bar.meter,
        bar.tempo,
        bar.feel,
        level.words(),
        number_of_lines(session.walker()),
    )
}

/// Digits beyond which nobody reads a number.
const MOST_DIGITS: f64 = 300.0;

/// How many lines there are: exactly, or as a power of ten where the number fills pages.
fn number_of_lines(walker: &Walker) -> String {
    match walker.digits() {
        Some(digits) if digits > MOST_DIGITS => {
            let leading = 10f64.powf(digits.fract());
            format!(
                "about {leading:.1} x 10^{}",
                grouped(&digits.trunc().to_string())
            )
        }
        _ => grouped(&walker.count().to_string()),
    }
}

/// A number with its digits in threes.
pub fn grouped(digits: &str) -> String {
    let mut text = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command_line::{Cli, Command};
    use crate::outputs::json::to_json;
    use clap::{CommandFactory, Parser};

    /// Each option with a value that differs from the usual one, and what stands beside both.
    const OPTIONS: [(&str, &str, &str); 31] = [
        ("--tempo", "300", ""),
        ("--feel", "two", ""),
        ("--seed", "5", "--keys all --from 3"),
        ("--choruses", "5", ""),
        ("--from", "3", "--keys fourths"),
        ("--level", "2", ""),
        ("--instrument", "double-bass", "--tempo 300"),
        ("--lowest", "G1", ""),
        ("--highest", "E3", ""),
        ("--pin", "2.1=Bb2", ""),
        ("--rest", "4.3", ""),
        ("--avoid", "Eb", ""),
        ("--vary", "2-3", ""),
        ("--count", "3", "--vary 2-3"),
        ("--way", "2", "--vary 2-3"),
        ("--apart", "4", ""),
        ("--arc", "rise", ""),
        ("--loose", "", "--from 3"),
        ("--loop-ready", "", ""),
        ("--mute", "comp", ""),
        ("--straight", "", ""),
        ("--swing", "2", ""),
        ("--human", "1", ""),
        ("--density", "1", ""),
        ("--palette", "altered", ""),
        ("--comp", "drop-2", ""),
        ("--time", "click", ""),
        ("--count-in", "1", ""),
        ("--trade", "2", ""),
        ("--tempo-step", "40", ""),
        ("--bars-range", "2-4", ""),
    ];

    fn shown(options: &[&str]) -> String {
        let bars = ["endpin", "chart", "--bars", "F7 | Bb7 | F7 | C7"];
        let words = options.iter().flat_map(|words| words.split_whitespace());
        let cli = Cli::try_parse_from(bars.into_iter().chain(words)).unwrap();
        let Some(Command::Chart(args)) = cli.command else {
            panic!("not the command chart");
        };
        to_json(&report(&args.performance.session(None).unwrap(), None))
    }

    #[test]
    fn the_help_lists_the_options_that_act() {
        let command = Cli::command();
        let chart = command.find_subcommand("chart").unwrap();
        for (option, value, beside) in OPTIONS {
            let acts = shown(&[beside, option, value]) != shown(&[beside]);
            let name = option.trim_start_matches('-');
            let argument = chart.get_arguments().find(|it| it.get_long() == Some(name));
            assert_eq!(!argument.unwrap().is_hide_set(), acts, "{option}");
        }
        for idle in IDLE {
            assert!(
                chart.get_arguments().any(|it| it.get_id() == idle),
                "{idle}"
            );
        }
    }
}
