//! `endpin ear`: a set of questions for the ear and its key.

mod class;
mod drill;
mod planned;
mod term;

use crate::{
    command_line::options::{ChartOptions, RangeOptions, whole},
    failure::{Failure, shown},
    inputs::source,
    outputs::{
        destination,
        ear::{
            Ask, Maker, QuestionKind,
            audio::{AudioFormat, Studio},
            drill::Drill,
            marking,
            record::{self, Record, usual_path},
            sound::With,
        },
        json::JsonSigns,
    },
    performance::score::PartName,
};
use drill::{InFile, Sounder};
use endpin_theory::{Feel, Key, Mode, did_you_mean};
use endpin_walker::Level;
use planned::PlannedSet;
use std::{
    ops::RangeInclusive,
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Arguments of `endpin ear`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: endpin ear scenarios/breakwater-blues.toml --count 40 -o week-1")]
pub struct EarArgs {
    /// The chart files, one or more
    #[arg(value_name = "CHART")]
    charts: Vec<PathBuf>,
    /// The folder to make
    #[arg(short, long, value_name = "DIR")]
    output: Option<PathBuf>,
    /// Mark the answers that learners sent back (files, instead of charts) by the key in this folder
    #[arg(long, value_name = "DIR", conflicts_with_all = ["output", "drill", "term", "count", "only", "audio", "bars"])]
    mark: Option<PathBuf>,
    /// Print the marks as JSON (endpin-marks/1)
    #[arg(long, requires = "mark", value_name = "SIGNS", num_args = 0..=1, require_equals = true, default_missing_value = "unicode")]
    json: Option<JsonSigns>,
    /// Put the set in the place of another that the folder has
    #[arg(long, conflicts_with = "drill")]
    replace: bool,
    /// Make a set for each student of a class, in a folder of their name: a line a student, such as "Ada: key Bb, level 4"
    #[arg(long, value_name = "FILE", conflicts_with_all = ["drill", "term", "keys", "mark"])]
    class: Option<PathBuf>,
    /// How many questions
    #[arg(long, value_name = "N", default_value_t = 40, value_parser = whole::<u32, 1, 100_000>)]
    count: u32,
    /// Kinds of question, separated by commas; all that the charts have a place for if not given
    #[arg(long, value_name = "KIND", value_delimiter = ',')]
    kind: Vec<QuestionKind>,
    /// Major keys in whose tonics every chart is asked, separated by commas, or all
    #[arg(long, value_name = "KEYS", value_delimiter = ',')]
    keys: Vec<String>,
    /// Make only these of the set, such as 11-20
    #[arg(long, value_name = "N-M", value_parser = span)]
    only: Option<(usize, usize)>,
    /// Any number; the same seed makes the same set
    #[arg(long, default_value_t = 1, value_parser = whole::<u64, 0, { u64::MAX }>)]
    seed: u64,
    /// Level of the lines, 3 to 5
    #[arg(long, default_value_t = 4, value_parser = whole::<u8, 3, 5>)]
    level: u8,
    #[command(flatten)]
    range: RangeOptions,
    /// Parts that may play besides the bass, separated by commas: comp, time or none
    #[arg(long, value_name = "PARTS", value_delimiter = ',', default_value = "comp,time", value_parser = accompanist)]
    with: Vec<Option<PartName>>,
    /// Render every question as sound too: wav or flac
    #[arg(long, value_name = "FORMAT")]
    audio: Option<AudioFormat>,
    /// The sound font (.sf2) to render with [default: the system's]
    #[arg(long, value_name = "FILE", requires = "audio")]
    sound_font: Option<PathBuf>,
    /// Make all that a week of a term needs, as its file says
    #[arg(long, value_name = "FILE", requires = "week", conflicts_with_all = ["charts", "bars", "key", "kind", "keys", "drill"])]
    term: Option<PathBuf>,
    /// Which week of the term
    #[arg(long, value_name = "N", requires = "term")]
    week: Option<u32>,
    /// Ask here and now: one question at a time, the weak topics more often
    #[arg(long, conflicts_with_all = ["output", "count", "only", "audio"])]
    drill: bool,
    /// The record of the answers given [default: endpin/ear.jsonl in the user's data folder]
    #[arg(long, value_name = "FILE", requires = "drill")]
    record: Option<PathBuf>,
    /// End the drill after so many questions
    #[arg(long, value_name = "N", requires = "drill", value_parser = whole::<u32, 1, 100_000>)]
    rounds: Option<u32>,
    /// The MIDI port to play the drill's questions on; without one each is written to a file
    #[cfg(feature = "live")]
    #[arg(long, value_name = "NAME", requires = "drill")]
    port: Option<String>,
    #[command(flatten)]
    chart_options: ChartOptions,
}

/// The levels at which questions are asked.
const LEVELS: RangeInclusive<u8> = 3..=5;
/// What the pages are called.
const TITLE: &str = "Questions for the ear";

fn span(text: &str) -> Result<(usize, usize), String> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    match (first.trim().parse(), last.trim().parse()) {
        (Ok(first), Ok(last)) if 1 <= first && first <= last => Ok((first, last)),
        _ => Err("write the first and the last number, such as 11-20".to_owned()),
    }
}

fn accompanist(text: &str) -> Result<Option<PartName>, String> {
    match text {
        "comp" => Ok(Some(PartName::Comp)),
        "time" => Ok(Some(PartName::Time)),
        "none" => Ok(None),
        _ => Err(format!(
            "write comp, time, comp,time or none{}",
            did_you_mean(text, ["comp", "time", "none"])
        )),
    }
}

/// Makes the set, or asks.
///
/// # Errors
/// Charts that cannot be read or have no place for such questions, and a folder or record that cannot be
/// written.
pub fn run(args: &EarArgs) -> Result<ExitCode, Failure> {
    if let (Some(file), Some(number)) = (&args.term, args.week) {
        let (term, folder) = term::read(file)?;
        let week = term
            .week(number)
            .map_err(|why| Failure::input(format!("{}: {why}", shown(file))))?;
        let title = format!("{}, week {number}", term.title);
        let ask = term::ask(week, &folder, args)?;
        write_set(args, ask, week.kinds.is_empty(), &title)?;
        term::write_play_alongs(week, &folder, args.folder()?)?;
        return Ok(ExitCode::SUCCESS);
    }
    if let Some(folder) = &args.mark {
        return mark(folder, &args.charts, args.json);
    }
    let ask = args.ask()?;
    if args.drill {
        drill(args, &ask)?;
    } else if let Some(file) = &args.class {
        class::write_sets(args, &ask, file)?;
    } else {
        write_set(args, ask, args.kind.is_empty(), TITLE)?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Marks files of answers by the key of their set.
fn mark(folder: &Path, files: &[PathBuf], signs: Option<JsonSigns>) -> Result<ExitCode, Failure> {
    if files.is_empty() {
        return Err(Failure::input(
            "name the files of answers that came back, such as ada-given.json",
        ));
    }
    let key_file = folder.join("answers.json");
    let named = |file: &Path, why: String| Failure::input(format!("{}: {why}", shown(file)));
    let key =
        marking::Key::read(&source::bytes(&key_file)?).map_err(|why| named(&key_file, why))?;
    let mut marked = Vec::new();
    for file in files {
        let given = marking::Given::read(&source::bytes(file)?).map_err(|why| named(file, why))?;
        if given.set != key.set {
            let why = format!(
                "these answers are to another set, not to the one in {}",
                shown(folder)
            );
            return Err(named(file, why));
        }
        marked.push(marking::mark(&key, &given));
    }
    let told = match signs {
        Some(signs) => signs.of(&marking::Marks::new(marked)),
        None => marking::text(&marked),
    };
    destination::print(&told)?;
    Ok(ExitCode::SUCCESS)
}

/// Writes the files of a set.
fn write_set(args: &EarArgs, ask: Ask, any_kind: bool, title: &str) -> Result<(), Failure> {
    destination::finish_files_at_signals()?;
    let planned = PlannedSet::new(args, args.folder()?, ask, any_kind, title)?;
    planned.write(args.studio()?.as_ref())
}

fn drill(args: &EarArgs, ask: &Ask) -> Result<(), Failure> {
    let record = Record::open(&args.record.clone().unwrap_or_else(usual_path))?;
    let file = drill::beside(record.path());
    let maker = Maker::new(ask).map_err(Failure::input)?;
    let mut drill = Drill::new(maker, ask.seed, record)?;
    let mut sounder = sounder(args, file)?;
    let (input, output) = (std::io::stdin(), std::io::stdout());
    drill::converse(
        &mut drill,
        &mut input.lock(),
        &mut output.lock(),
        &mut *sounder,
        args.rounds,
        record::now,
    )
}

#[cfg(feature = "live")]
fn sounder(args: &EarArgs, file: PathBuf) -> Result<Box<dyn Sounder>, Failure> {
    use crate::{live::ports, outputs::ear::question_player::QuestionPlayer};
    let Some(port) = &args.port else {
        return Ok(Box::new(InFile(file)));
    };
    let (sink, _) = ports::open_output(port).map_err(Failure::output)?;
    Ok(Box::new(
        QuestionPlayer::new(Box::new(sink)).map_err(Failure::output)?,
    ))
}

#[cfg(not(feature = "live"))]
fn sounder(_: &EarArgs, file: PathBuf) -> Result<Box<dyn Sounder>, Failure> {
    Ok(Box::new(InFile(file)))
}

impl EarArgs {
    /// The parts that may play besides the bass.
    fn with(&self) -> With {
        let plays = |part| self.with.contains(&Some(part));
        With {
            comp: plays(PartName::Comp),
            time: plays(PartName::Time),
        }
    }

    fn folder(&self) -> Result<&Path, Failure> {
        let folder = self.output.as_deref();
        folder.ok_or_else(|| {
            Failure::input("where to? Name a folder with -o DIR, or practise with --drill")
        })
    }

    /// What renders the questions, where sound is asked for.
    fn studio(&self) -> Result<Option<(Studio, AudioFormat)>, Failure> {
        let open = |format| {
            let studio = Studio::of_machine(self.sound_font.as_deref(), format);
            studio
                .map(|studio| (studio, format))
                .map_err(Failure::input)
        };
        self.audio.map(open).transpose()
    }

    fn ask(&self) -> Result<Ask, Failure> {
        let options = &self.chart_options;
        if !matches!(options.feel, None | Some(Feel::Four)) {
            return Err(Failure::input(
                "--feel: the questions are asked of walking lines, in four",
            ));
        }
        let charts = if self.charts.is_empty() {
            vec![options.chart(None)?]
        } else {
            self.charts
                .iter()
                .map(|file| options.chart(Some(file)))
                .collect::<Result<_, _>>()?
        };
        Ok(Ask {
            charts,
            tonics: tonics(&self.keys)?,
            kinds: QuestionKind::among(&self.kind),
            count: self.count as usize,
            seed: self.seed,
            level: Level::try_from(self.level).map_err(Failure::input)?,
            range: self.range.keys()?,
            tempo: options.tempo,
            with: self.with(),
        })
    }
}

/// The keys of `--keys`, in order, each once.
fn tonics(names: &[String]) -> Result<Vec<Key>, Failure> {
    if names.iter().any(|name| name == "all") {
        // Five flats to six sharps: each of the twelve once, as it is usually written.
        return Ok((-5..=6)
            .map(|signature| Key::with_signature(signature, Mode::Major))
            .collect());
    }
    let mut keys: Vec<Key> = Vec::new();
    for name in names {
        let key: Key = name.parse().map_err(|error| {
            let meant = did_you_mean(name, ["all"]);
            Failure::input(format!("--keys: {error}; all stands for all twelve{meant}"))
        })?;
        if !keys.contains(&key) {
            keys.push(key);
        }
    }
    Ok(keys)
}
