//! `endpin sheet`: notation, a practice page, paper.

use crate::outputs::origin::mark;
use crate::{
    command_line::options::Performance,
    failure::{Failure, printable_line, shown},
    outputs::{
        destination,
        json::to_json,
        report::LineReport,
        sheet::{
            comp::CompMusic,
            engrave::ShownBesides,
            lesson,
            measure::Music,
            musicxml, mxl, page, pdf,
            print::{self, Paper},
            spoken, svg,
            written_for::WrittenFor,
        },
    },
    performance::session::{Session, chart_at_level},
    players::{comp::ChorusComp, swing::Swing},
};
use clap::ValueEnum;
use std::{
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Arguments of `endpin sheet`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: endpin sheet scenarios/breakwater-blues.toml -o blues.pdf --marks --tab"
)]
pub struct SheetArgs {
    /// The chart file; - is standard input
    chart: Option<PathBuf>,
    /// The file to write; its ending settles what it holds; - is standard output
    /// [default: named after the chart, in this folder]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replace files of others, too
    #[arg(long)]
    replace: bool,
    /// What to write, whatever the name of the file [default: by its ending, else musicxml]
    #[arg(long, value_enum)]
    format: Option<SheetFormat>,
    /// The marks of the notes: degrees, promises and where they are kept
    #[arg(long)]
    marks: bool,
    /// Tablature under the staff
    #[arg(long, alias = "tablature")]
    tab: bool,
    /// Fingers of the left hand
    #[arg(long)]
    fingering: bool,
    /// The comp on a grand staff (MusicXML only)
    #[arg(long)]
    with_comp: bool,
    /// A lesson: the chart analysed, eight lines from level 1 up, blanks to fill and answers (PDF or SVG)
    #[arg(long, conflicts_with_all = ["tab", "fingering", "with_comp", "marks"])]
    lesson: bool,
    /// Write the part for an instrument in Bb or Eb, which sounds a major second or sixth lower than it reads; the
    /// sound stays
    #[arg(long, value_name = "Bb|Eb", conflicts_with_all = ["comp", "lesson", "tab"])]
    transpose: Option<WrittenFor>,
    /// Paper of PDF and SVG
    #[arg(long, value_enum, default_value_t)]
    paper: PaperName,
    /// Write the line report (endpin-line/1) as well
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    #[command(flatten)]
    performance: Performance,
}

/// What a sheet can be written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum SheetFormat {
    /// Notation for other programs
    Musicxml,
    /// The same, compressed
    Mxl,
    /// A practice page that plays
    Html,
    /// Pages for print
    Pdf,
    /// The same pages as pictures
    Svg,
}

/// Sizes of paper by name.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum PaperName {
    /// 210 by 297 mm
    #[default]
    A4,
    /// 8.5 by 11 inches
    Letter,
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Paper {
        match name {
            PaperName::A4 => Paper::A4,
            PaperName::Letter => Paper::Letter,
        }
    }
}

impl SheetFormat {
    fn ending(self) -> String {
        self.to_possible_value()
            .map_or_else(String::new, |value| value.get_name().to_owned())
    }

    /// By the ending of a file's name, if that says one.
    fn named(file: &Path) -> Option<SheetFormat> {
        let ending = file.extension()?.to_string_lossy().to_lowercase();
        match ending.as_str() {
            "xml" => Some(SheetFormat::Musicxml),
            "htm" => Some(SheetFormat::Html),
            ending => SheetFormat::from_str(ending, false).ok(),
        }
    }

    /// By the ending of a file's name.
    fn of(file: &Path) -> Result<SheetFormat, Failure> {
        SheetFormat::named(file).ok_or_else(|| {
            let endings: Vec<String> = SheetFormat::value_variants()
                .iter()
                .map(|format| format!(".{}", format.ending()))
                .collect();
            let (file, endings) = (shown(file), endings.join(", "));
            Failure::input(format!(
                "what to write into {file}? End its name in {endings}, or say --format; `endpin write` makes MIDI files"
            ))
        })
    }
}

/// Whether a file is a sheet, by the ending of its name.
pub fn is_sheet(file: &Path) -> bool {
    SheetFormat::named(file).is_some()
}

/// Makes the choruses and writes them down.
///
/// # Errors
/// A chart or options that make no line, a name that says no format, or a file that cannot be written.
pub fn run(args: &SheetArgs) -> Result<ExitCode, Failure> {
    destination::finish_files_at_signals()?;
    let is_stdout = |file: &PathBuf| file.as_os_str() == "-";
    let format = match (args.format, &args.output) {
        (Some(format), _) => format,
        (None, Some(file)) if !is_stdout(file) => SheetFormat::of(file)?,
        (None, _) if args.lesson => SheetFormat::Pdf,
        (None, _) => SheetFormat::Musicxml,
    };
    if args.with_comp && !matches!(format, SheetFormat::Musicxml | SheetFormat::Mxl) {
        return Err(Failure::input(
            "--with-comp is written in MusicXML only (.musicxml, .mxl)",
        ));
    }
    if args.lesson && !matches!(format, SheetFormat::Pdf | SheetFormat::Svg) {
        return Err(Failure::input("--lesson is for paper: .pdf or .svg"));
    }
    let chart = args.chart.as_deref();
    let ending = format!(".{}", format.ending());
    let file = args.output.clone();
    let file = file.unwrap_or_else(|| destination::named_after(chart, &ending));
    destination::report_apart(args.report.as_deref(), [chart, Some(&file)])?;
    let input = chart;
    let (chart, wishes) = args.performance.chart_and_wishes(chart)?;
    let spared = args.performance.spared(input, &chart.title, args.replace);
    spared.allow(std::iter::once(file.as_path()).chain(args.report.as_deref()))?;
    if format == SheetFormat::Html && args.transpose.is_some() {
        return Err(Failure::input(
            "a practice page is read as it sounds; --transpose is for .musicxml, .mxl, .pdf and .svg",
        ));
    }
    if format == SheetFormat::Html {
        page::fits(&chart, &wishes)?;
    }
    let session = Session::new(chart_at_level(chart, &wishes.line), wishes)?;
    let bytes = written(args, format, &session)?;
    destination::write(&file, &bytes)?;
    if let Some(report) = &args.report {
        let made = session.perform()?;
        let text = to_json(&LineReport::new(&session, &made));
        destination::write(report, text.as_bytes())?;
    }
    if !is_stdout(&file) {
        eprintln!("{}: {}", printable_line(&session.to_string()), shown(&file));
    }
    Ok(ExitCode::SUCCESS)
}

fn written(args: &SheetArgs, format: SheetFormat, session: &Session) -> Result<Vec<u8>, Failure> {
    if format == SheetFormat::Html {
        // A page makes the choruses of each of its keys.
        return page::write(session, &subtitle(session));
    }
    let made = session.perform()?;
    let played = made.played();
    let ending = made.ending.as_ref();
    let swing = session.wishes().arrange.swing != Swing::Straight;
    let hand = &session.wishes().line.hand;
    let music = Music::new(&played, ending.map(|(note, _)| note), swing, hand);
    let music = match args.transpose {
        Some(part) => music.written_for(part),
        None => music,
    };
    let show = ShownBesides {
        marks: args.marks,
        tablature: args.tab,
        fingers: args.fingering,
    };
    Ok(match format {
        SheetFormat::Musicxml | SheetFormat::Mxl => {
            let comps: Vec<ChorusComp> =
                made.choruses.iter().map(|(_, comp)| comp.clone()).collect();
            let attack = ending.and_then(|(_, attack)| attack.as_ref());
            let spelling = session.wishes().line.spelling;
            let comp = args
                .with_comp
                .then(|| CompMusic::new(&music, &played, &comps, attack, spelling));
            let contents = musicxml::Contents {
                tablature: args.tab,
                fingers: args.fingering,
                marks: args.marks,
            };
            let document = musicxml::write(&music, comp.as_ref(), contents);
            match format {
                SheetFormat::Mxl => {
                    mxl::pack(&document, &mark(&music.title)).map_err(Failure::output)?
                }
                _ => document,
            }
        }
        _ => {
            let paper = Paper::from(args.paper);
            let written = args.transpose.map_or_else(String::new, |part| {
                let key = part.key(session.chart().key);
                format!(" Written in {key} for an instrument in {part}.")
            });
            let about = format!("{}{written}", subtitle(session));
            let (pages, words) = match args.lesson {
                true => (lesson::pages(session, &about, paper)?, about),
                false => (
                    print::pages(&music, &about, paper, show),
                    spoken::lines(&music),
                ),
            };
            match format {
                SheetFormat::Pdf => pdf::document(&music.title, &pages, paper.spaces()),
                _ => svg::document(&music.title, &words, &pages, paper.spaces(), print::SPACE)
                    .into_bytes(),
            }
        }
    })
}

/// `In F, 4/4, 138 quarter notes a minute. Level 4, seed 1.`
fn subtitle(session: &Session) -> String {
    let (chart, wishes) = (session.chart(), session.wishes());
    format!(
        "In {}, {}, {} quarter notes a minute. Level {}, seed {}.",
        chart.key, chart.meter, chart.tempo, wishes.line.level, wishes.seed
    )
}
