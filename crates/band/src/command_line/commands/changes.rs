//! `endpin changes`: a ladder from these changes to richer or plainer ones.

use super::sheet::PaperName;
use crate::{
    command_line::options::{ChartOptions, RangeOptions, whole},
    failure::{Failure, shown},
    outputs::{
        changes::{FORMAT, LadderWishes, Steps, handout, text},
        destination,
        ear::export::Folder,
        json::{JsonSigns, to_json},
    },
};
use endpin_theory::{
    Chart, Spelling,
    changes::{KeptBeat, Toward},
};
use endpin_walker::{Hand, Level, Options};
use std::{
    fs,
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Arguments of `endpin changes`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: endpin changes scenarios/breakwater-blues.toml --steps 4\n\
                  Back to the plain frame: endpin changes scenarios/breakwater-blues.toml --steps -3"
)]
pub struct ChangesArgs {
    /// The chart file; - is standard input
    chart: Option<PathBuf>,
    /// How many steps to richer changes, 1 to 99; with a minus to plainer ones, back to the plain frame
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = steps)]
    steps: i8,
    /// Beats that carry the melody, such as "1.1,3.1" (bar.beat): their chords stay
    #[arg(long, value_name = "BAR.BEAT", value_delimiter = ',')]
    keep: Vec<KeptBeat>,
    /// Any number; the same seed makes the same steps
    #[arg(long, default_value_t = 1, value_parser = whole::<u64, 0, { u64::MAX }>)]
    seed: u64,
    /// A folder for the chart of each step and a handout (PDF) with a line over each
    #[arg(short, long, value_name = "DIR")]
    output: Option<PathBuf>,
    /// Put the files in the place of others that the folder has
    #[arg(long, requires = "output")]
    replace: bool,
    /// As JSON (endpin-changes/1)
    #[arg(long, value_name = "SIGNS", num_args = 0..=1, require_equals = true, default_missing_value = "unicode")]
    json: Option<JsonSigns>,
    /// Level of the handout's lines, 1 to 6
    #[arg(long, default_value_t = Level::DOMINANTS)]
    level: Level,
    /// Paper of the handout
    #[arg(long, value_enum, default_value_t)]
    paper: PaperName,
    /// Names of notes in the handout: reader (by key and direction, no double signs) or strict (each degree on
    /// its own letter)
    #[arg(long, value_name = "FOR", default_value_t)]
    spelling: Spelling,
    #[command(flatten)]
    range: RangeOptions,
    #[command(flatten)]
    chart_options: ChartOptions,
}

/// Most steps of a ladder.
const MOST_STEPS: i8 = 99;

fn steps(text: &str) -> Result<i8, String> {
    let number = text.parse().ok();
    let number =
        number.filter(|number| *number != 0 && (-MOST_STEPS..=MOST_STEPS).contains(number));
    number.ok_or_else(|| {
        format!(
            "write how many steps, 1 to {MOST_STEPS}, or -1 to -{MOST_STEPS} for plainer changes"
        )
    })
}

/// Makes the steps and tells them.
///
/// # Errors
/// A chart that cannot be read, beats that it does not have, and a folder that has something else or cannot be
/// written.
pub fn run(args: &ChangesArgs) -> Result<ExitCode, Failure> {
    destination::finish_files_at_signals()?;
    let chart = args.chart_options.chart(args.chart.as_deref())?;
    kept_are_there(&chart, &args.keep)?;
    let way = match args.steps {
        ..0 => Toward::Plainer,
        _ => Toward::Richer,
    };
    let steps = Steps::make(LadderWishes {
        chart,
        way,
        steps: usize::from(args.steps.unsigned_abs()),
        kept: args.keep.clone(),
        seed: args.seed,
    });
    if let Some(folder) = &args.output {
        write_folder(args, &steps, folder)?;
    }
    if let Some(signs) = args.json {
        destination::print(&signs.of(&steps.report()))?;
    } else if args.output.is_none() {
        destination::print(&text::text(&steps))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Every kept beat has to be one of the chorus.
fn kept_are_there(chart: &Chart, kept: &[KeptBeat]) -> Result<(), Failure> {
    let bars = chart.chorus().bars;
    for KeptBeat { bar, beat } in kept {
        let problem = match bars.get(*bar as usize - 1) {
            None => format!("the chorus has {} bars", bars.len()),
            Some(found) if *beat > u32::from(found.meter.beats()) => {
                format!("bar {bar} has {} beats", found.meter.beats())
            }
            Some(_) => continue,
        };
        return Err(Failure::input(format!("--keep {bar}.{beat}: {problem}")));
    }
    Ok(())
}

/// The list of the steps, by which a folder tells what it holds.
const LIST: &str = "changes.json";
/// What is for the student.
const HANDOUT: &str = "handout.pdf";

/// The chart of a step.
fn step_file(number: usize) -> String {
    format!("step-{number:02}.toml")
}

/// Writes the list, the chart of each step and the handout. What is there with another content stays, unless
/// it is to be replaced.
fn write_folder(args: &ChangesArgs, steps: &Steps, folder: &Path) -> Result<(), Failure> {
    if let (true, Some(shortfall)) = (steps.rungs.is_empty(), steps.shortfall()) {
        return Err(Failure::input(format!("nothing to write: {shortfall}")));
    }
    let line = Options {
        level: args.level,
        feel: args.chart_options.feel,
        range: args.range.keys()?,
        hand: Hand {
            instrument: args.range.instrument,
            quarter: None,
        },
        spelling: args.spelling,
        ..Options::default()
    };
    // First what tells these steps from others, should the rest be broken off.
    let mut files = vec![(LIST.to_owned(), to_json(&steps.report()).into_bytes())];
    for rung in &steps.rungs {
        files.push((step_file(rung.number), rung.chart.to_string().into_bytes()));
    }
    let handout = handout::document(steps, &line, args.paper.into())?;
    files.push((HANDOUT.to_owned(), handout));
    // Charts of a longer ladder that stood here before.
    let before = steps_listed(&folder.join(LIST));
    let left_over: Vec<PathBuf> = (steps.rungs.len() + 1..=before)
        .map(|number| folder.join(step_file(number)))
        .filter(|file| file.exists())
        .collect();
    let input = args
        .chart
        .as_deref()
        .and_then(|chart| fs::canonicalize(chart).ok());
    for path in files
        .iter()
        .map(|(name, _)| folder.join(name))
        .chain(left_over.clone())
    {
        let is_input = input.is_some() && fs::canonicalize(&path).ok() == input;
        if is_input {
            return Err(Failure::input(format!(
                "{} is the chart itself, which stays: name another folder",
                shown(&path)
            )));
        }
    }
    let there = Folder::new(folder);
    let other = files
        .iter()
        .find(|(name, bytes)| there.differs(name, bytes));
    if let (Some((name, _)), false) = (other, args.replace) {
        return Err(Failure::input(format!(
            "{} has another {name}: name another folder, or say --replace",
            shown(folder)
        )));
    }
    destination::make_folder(folder)?;
    for file in left_over {
        fs::remove_file(&file).map_err(|error| {
            let why = destination::reason(&error);
            Failure::output(format!("cannot remove {}: {why}", shown(&file)))
        })?;
    }
    for (name, bytes) in &files {
        there.write(name, bytes)?;
    }
    let count = steps.rungs.len();
    let charts = if count == 1 { "chart" } else { "charts" };
    eprintln!("{count} {charts} and {HANDOUT} in {}", shown(folder));
    if let Some(shortfall) = steps.shortfall() {
        eprintln!("note: {shortfall}");
    }
    Ok(())
}

/// How many steps a list of ours tells of; none if there is none.
fn steps_listed(list: &Path) -> usize {
    let list = fs::read(list).ok();
    let list: Option<serde_json::Value> = list.and_then(|list| serde_json::from_slice(&list).ok());
    let ours = list.as_ref().filter(|list| list["format"] == FORMAT);
    let steps = ours.and_then(|list| list["steps"].as_array());
    steps.map_or(0, |steps| steps.len().min(MOST_STEPS as usize))
}
