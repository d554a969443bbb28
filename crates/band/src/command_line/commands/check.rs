//! `endpin check`: judge a line that somebody played.

use crate::{
    command_line::{
        help,
        options::{ChartOptions, RangeOptions},
    },
    failure::{Failure, shown},
    inputs::source,
    outputs::{
        destination,
        json::JsonSigns,
        origin::Spared,
        verdict::{Bench, Judged, exercise, json::CheckReport, page, text},
    },
};
use endpin_theory::Spelling;
use std::{
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Arguments of `endpin check`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: endpin check scenarios/breakwater-blues.toml take.mid -o report.html\n\
                  With --bars in place of a chart, name the takes alone: endpin check --bars \"F7 | Bb7\" take.mid"
)]
pub struct CheckArgs {
    /// The chart file, then the takes, the earliest first: MIDI files or recordings; - is standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// As JSON (endpin-check/2)
    #[arg(long, value_name = "SIGNS", num_args = 0..=1, require_equals = true, default_missing_value = "unicode")]
    json: Option<JsonSigns>,
    /// Write a page (.html) to look at and to print
    #[arg(short, long, value_name = "PAGE")]
    output: Option<PathBuf>,
    /// Make what there is to practise next, as files beside the page, and link to them from it
    #[arg(long, requires = "output")]
    links: bool,
    /// Replace files of others, too
    #[arg(long)]
    replace: bool,
    /// Which track of the files has the line: its number or a part of its name
    #[arg(long, value_name = "TRACK")]
    track: Option<String>,
    /// Exit code 1 if a note breaks a rule and no device explains it
    #[arg(long)]
    strict: bool,
    /// Names of notes: reader (by key and direction, no double signs) or strict (each degree on its own letter)
    #[arg(long, value_name = "FOR", default_value_t)]
    spelling: Spelling,
    #[command(flatten)]
    range: RangeOptions,
    #[command(flatten)]
    chart_options: ChartOptions,
}

/// Judges the takes and reports.
///
/// # Errors
/// A chart or take that cannot be read, or a report that cannot be written.
pub fn run(args: &CheckArgs) -> Result<ExitCode, Failure> {
    destination::finish_files_at_signals()?;
    let (chart_file, takes) = match &args.chart_options.bars {
        Some(_) => (None, &args.files[..]),
        None => (args.files.first().map(PathBuf::as_path), &args.files[1..]),
    };
    if takes.is_empty() {
        return Err(Failure::input(
            "which take? Name the MIDI file or recording of the line after the chart: endpin check CHART LINE.mid",
        ));
    }
    if let Some(page) = args.output.as_deref().filter(|page| !is_page(page)) {
        return Err(Failure::input(format!(
            "-o writes a page; {} needs a name that ends in .html",
            shown(page)
        )));
    }
    let chart = args.chart_options.chart(chart_file)?;
    let spared = Spared {
        inputs: takes
            .iter()
            .map(PathBuf::as_path)
            .chain(chart_file)
            .collect(),
        title: Some(&chart.title),
        replace: args.replace,
    };
    spared.allow(args.output.as_deref())?;
    let bench = Bench::new(chart, args.range.keys()?).spelled(args.spelling);
    let judged = takes
        .iter()
        .map(|take| args.judge(&bench, take))
        .collect::<Result<Vec<Judged>, Failure>>()?;
    let chart_name = match (chart_file, &args.chart_options.bars) {
        (Some(file), _) => file.display().to_string(),
        (None, bars) => format!("--bars={}", bars.as_deref().unwrap_or_default()),
    };
    if let Some(path) = &args.output {
        let stem = match args.links {
            true => Some(args.make_exercises(&bench, &judged, &chart_name, path)?),
            false => None,
        };
        let page = page::report(&bench, &judged, &chart_name, stem.as_deref());
        destination::write(path, page.as_bytes())?;
    }
    let to_stdout = args
        .output
        .as_deref()
        .is_some_and(|path| path.as_os_str() == "-");
    if let Some(signs) = args.json {
        destination::print(&signs.of(&CheckReport::new(&bench, &chart_name, &judged)))?;
    } else if !to_stdout {
        destination::print(&text::report(&bench, &judged, &chart_name))?;
    }
    let falls_short = judged.last().is_some_and(|last| last.faults().count() > 0);
    Ok(match args.strict && falls_short {
        true => ExitCode::from(1),
        false => ExitCode::SUCCESS,
    })
}

/// Whether a page may be written there: by the ending of the name, or standard output.
fn is_page(path: &Path) -> bool {
    let ending = path.extension().map(|ending| ending.to_ascii_lowercase());
    path.as_os_str() == "-" || ending.is_some_and(|ending| ending == "html" || ending == "htm")
}

impl CheckArgs {
    /// Makes what the last take gives to practise, beside the page, before there is a page that links to it; the stem
    /// of its names.
    fn make_exercises(
        &self,
        bench: &Bench,
        judged: &[Judged],
        chart_name: &str,
        page: &Path,
    ) -> Result<String, Failure> {
        let file_stem = page.file_stem().filter(|_| page.as_os_str() != "-");
        let Some(stem) = file_stem.map(|stem| stem.to_string_lossy().into_owned()) else {
            return Err(Failure::input(
                "--links makes files beside the page: give the page a name with -o PAGE.html",
            ));
        };
        if chart_name == "-" {
            return Err(Failure::input(
                "--links reads the chart once more for each exercise: name its file in place of -",
            ));
        }
        let last = judged.last().into_iter();
        for exercise in last.flat_map(|last| exercise::next(bench, last, chart_name)) {
            let has_tempo = exercise.words.iter().any(|word| word == "--tempo");
            let takes_tempo = exercise.words[0] != "ear" && !has_tempo;
            let replace = (exercise.words[0] == "ear" || self.replace).then_some("--replace");
            let made = page.with_file_name(exercise.beside(&stem));
            let instrument = format!("--instrument={}", self.range.instrument);
            let words = std::iter::once("endpin".to_owned())
                .chain(exercise.words)
                .chain(self.chart_options.words(&bench.chart, takes_tempo))
                .chain([instrument])
                .chain(replace.map(str::to_owned))
                .chain(["-o".to_owned(), made.to_string_lossy().into_owned()]);
            help::read(words)?.run()?;
        }
        Ok(stem)
    }

    fn judge(&self, bench: &Bench, path: &Path) -> Result<Judged, Failure> {
        let file = source::take(path)?;
        bench
            .judge_file(shown(path), &file, self.track.as_deref())
            .map_err(|problem| Failure::input(format!("{}: {problem}", shown(path))))
    }
}
