//! `endpin learn`: weights in the manner of given takes.

use crate::{
    command_line::options::{ChartOptions, RangeOptions},
    failure::{Failure, shown},
    inputs::{
        source,
        take::{Reading, Take, TakeNote, align::Around},
    },
    outputs::{
        destination,
        json::JsonSigns,
        learnt,
        origin::{self, Spared},
    },
};
use endpin_theory::{Chart, analyse};
use endpin_walker::{
    Heard, Level, Liberties, Weights,
    learn::{Learner, SPREAD},
};
use std::{
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Arguments of `endpin learn`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: endpin learn scenarios/breakwater-blues.toml monday.mid tuesday.mid -o my-hand.toml\n\
                  Further charts with their takes may follow: CHART TAKE TAKE CHART TAKE. What was learnt goes \
                  wherever --weights does."
)]
pub struct LearnArgs {
    /// A chart file, then takes of it (MIDI files or recordings), then the next chart with its takes
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Write the weights to a file (.toml), for --weights
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replace files of others, too
    #[arg(long)]
    replace: bool,
    /// As JSON (endpin-learn/1)
    #[arg(long, value_name = "SIGNS", num_args = 0..=1, require_equals = true, default_missing_value = "unicode")]
    json: Option<JsonSigns>,
    /// By whose rules a note counts: of this level, with the liberties of --loose; higher ones take much time and memory
    #[arg(long, default_value = "4")]
    level: Level,
    /// Without liberties: a note against the plain rules is left out
    #[arg(long)]
    strict: bool,
    /// Weights to begin from, a TOML file [default: the usual ones]
    #[arg(long, value_name = "FILE")]
    weights: Option<PathBuf>,
    /// Which track of the files has the line: its number or a part of its name
    #[arg(long, value_name = "TRACK")]
    track: Option<String>,
    #[command(flatten)]
    range: RangeOptions,
    #[command(flatten)]
    chart_options: ChartOptions,
}

/// Learns from the takes and reports.
///
/// # Errors
/// A chart or take that cannot be read, nothing to learn from, or a file that cannot be written.
pub fn run(args: &LearnArgs) -> Result<ExitCode, Failure> {
    destination::finish_files_at_signals()?;
    let from = match &args.weights {
        None => Weights::default(),
        Some(file) => Weights::parse(&source::text(file)?)
            .map_err(|error| Failure::input(format!("{}: {error}", shown(file))))?,
    };
    let learnt_from = args.files.iter().map(|file| shown(file));
    let learnt_from = learnt_from.collect::<Vec<_>>().join(" ");
    let spared = Spared {
        inputs: args
            .files
            .iter()
            .chain(&args.weights)
            .map(PathBuf::as_path)
            .collect(),
        title: Some(&learnt_from),
        replace: args.replace,
    };
    spared.allow(args.output.as_deref())?;
    let liberties = match args.strict {
        true => Liberties::NONE,
        false => Liberties::ALL,
    };
    let mut learner = Learner::new(args.level, liberties);
    let mut chart: Option<Chart> = match &args.chart_options.bars {
        Some(_) => Some(args.chart_options.chart(None)?),
        None => None,
    };
    let mut takes = 0;
    for file in &args.files {
        match &chart {
            Some(chart) if is_take(file) => {
                args.add(&mut learner, chart, file)?;
                takes += 1;
            }
            None if is_take(file) => {
                return Err(Failure::input(format!(
                    "{} is a take; name its chart before it: endpin learn CHART TAKE",
                    shown(file)
                )));
            }
            _ => chart = Some(args.chart_options.chart(Some(file))?),
        }
    }
    if takes == 0 {
        return Err(Failure::input(
            "which take? Name MIDI files or recordings after their chart: endpin learn CHART TAKE",
        ));
    }
    let learnt = learner.learn(&from, Some(SPREAD)).map_err(Failure::input)?;
    if let Some(output) = &args.output {
        let table = format!(
            "{}# {}\n",
            learnt::table(&learnt),
            origin::mark(&learnt_from)
        );
        destination::write(output, table.as_bytes())?;
    }
    let to_stdout = args
        .output
        .as_deref()
        .is_some_and(|file| file.as_os_str() == "-");
    if let Some(signs) = args.json {
        destination::print(&signs.of(&learnt::LearnReport::new(&learnt)))?;
    } else if !to_stdout {
        destination::print(&learnt::text(&learnt))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Endings of names that takes have; all else is a chart.
const TAKES: [&str; 13] = [
    "mid", "midi", "smf", "wav", "aif", "aiff", "flac", "mp3", "m4a", "mp4", "mov", "ogg", "oga",
];

fn is_take(file: &Path) -> bool {
    let ending = file.extension().map(|ending| ending.to_ascii_lowercase());
    ending.is_some_and(|ending| TAKES.iter().any(|take| ending == *take))
}

impl LearnArgs {
    fn add(&self, learner: &mut Learner, chart: &Chart, file: &Path) -> Result<(), Failure> {
        let named =
            |problem: &dyn std::fmt::Display| Failure::input(format!("{}: {problem}", shown(file)));
        let chorus = chart.chorus();
        let range = self.range.keys()?;
        let intro = chart.intro_chorus();
        let lasts = chart.last_choruses();
        let reading = Reading {
            track: self.track.as_deref(),
            range,
            around: Around {
                intro: intro.as_ref(),
                lasts: &lasts,
            },
        };
        let take = Take::of_file(&source::take(file)?, &chorus, reading);
        let take = take.map_err(|problem| named(&problem))?;
        let heard: Vec<Heard> = take.notes.iter().map(TakeNote::heard).collect();
        let understood = analyse(&chorus.spans, chorus.key);
        learner
            .add(&chorus, &understood, range, &heard, take.choruses)
            .map_err(|problem| named(&problem))
    }
}
