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
            engrave::{ShownBesides, font::Face, ink::Picture},
            lesson,
            measure::Music,
            musicxml, mxl, page, pdf,
            print::{self, Paper, StaffSize, key_for_reading},
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
    /// A lesson up to --level: the chart analysed, an idea a page, notes to write (PDF or SVG); the answers go
    /// into a file of their own
    #[arg(long)]
    lesson: bool,
    /// A line at the head of the lesson, such as "Week 3: the quick ii-V"
    #[arg(long, value_name = "TEXT", requires = "lesson")]
    head: Option<String>,
    /// The file of the lesson's answers [default: lesson-answers.pdf beside lesson.pdf]
    #[arg(long, value_name = "FILE", requires = "lesson")]
    answers: Option<PathBuf>,
    /// Only to say where a lesson of richer changes is made
    #[arg(long, hide = true, value_name = "N", allow_hyphen_values = true)]
    changes: Option<String>,
    /// Write the part for an instrument in Bb or Eb, which sounds a major second or sixth lower than it reads; the
    /// sound stays
    #[arg(long, value_name = "Bb|Eb", conflicts_with_all = ["comp", "lesson", "tab"])]
    transpose: Option<WrittenFor>,
    /// Paper of PDF and SVG
    #[arg(long, value_enum, default_value_t)]
    paper: PaperName,
    /// How large the staves of PDF and SVG are
    #[arg(long, value_enum, default_value_t, conflicts_with = "lesson")]
    size: SizeName,
    /// Who wrote the tune, to stand under its title
    #[arg(long, value_name = "NAME", conflicts_with = "lesson")]
    by: Option<String>,
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

/// Sizes of staves by name.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum SizeName {
    /// Staves of 6.6 mm
    Small,
    /// Staves of 7.6 mm, for a music stand
    #[default]
    Stand,
    /// Staves of 9.2 mm
    Large,
}

impl From<SizeName> for StaffSize {
    fn from(name: SizeName) -> StaffSize {
        match name {
            SizeName::Small => StaffSize::Small,
            SizeName::Stand => StaffSize::Stand,
            SizeName::Large => StaffSize::Large,
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
    if args.changes.is_some() {
        return Err(Failure::input(
            "richer or plainer changes have a handout of their own: endpin changes CHART --steps N -o DIR; each step-NN.toml in it is a chart that `endpin sheet` takes",
        ));
    }
    if args.lesson {
        lesson_fits(args, format)?;
    }
    let chart = args.chart.as_deref();
    let ending = format!(".{}", format.ending());
    let file = args.output.clone();
    let file = file.unwrap_or_else(|| destination::named_after(chart, &ending));
    let answers = match args.lesson {
        true => Some(answers_beside(args.answers.as_deref(), &file)?),
        false => None,
    };
    destination::report_apart(args.report.as_deref(), [chart, Some(&file)])?;
    destination::report_apart(args.report.as_deref(), [None, answers.as_deref()])?;
    let input = chart;
    let (chart, wishes) = args.performance.chart_and_wishes(chart)?;
    let spared = args.performance.spared(input, &chart.title, args.replace);
    let outputs = [Some(&file), answers.as_ref(), args.report.as_ref()];
    spared.allow(outputs.into_iter().flatten().map(PathBuf::as_path))?;
    if format == SheetFormat::Html && args.transpose.is_some() {
        return Err(Failure::input(
            "a practice page is read as it sounds; --transpose is for .musicxml, .mxl, .pdf and .svg",
        ));
    }
    if format == SheetFormat::Html && args.by.is_some() {
        return Err(Failure::input(
            "--by stands on sheets, not on practice pages: .musicxml, .mxl, .pdf and .svg",
        ));
    }
    if format == SheetFormat::Html {
        page::fits(&chart, &wishes)?;
    }
    let session = Session::new(chart_at_level(chart, &wishes.line), wishes)?.showing_progress(1);
    match &answers {
        Some(answers) => {
            let (asked, told) = written_lesson(args, format, &session)?;
            write_lesson([(&file, &asked), (answers, &told)])?;
        }
        None => destination::write(&file, &written(args, format, &session)?)?,
    }
    if let Some(report) = &args.report {
        let made = session.perform()?;
        let text = to_json(&LineReport::new(&session, &made));
        destination::write(report, text.as_bytes())?;
    }
    if matches!(format, SheetFormat::Pdf | SheetFormat::Svg) {
        let title = &session.chart().title;
        let said = [
            Some(title.as_str()),
            args.by.as_deref(),
            args.head.as_deref(),
        ];
        let words: String = said.into_iter().flatten().collect();
        let missing = Face::Strong.missing(&words);
        if !missing.is_empty() {
            eprintln!(
                "no letters on paper for {}: its typeface has Latin, Greek and Cyrillic; what is missing is left blank",
                printable_line(&missing)
            );
        }
    }
    if !is_stdout(&file) {
        let answers =
            answers.map_or_else(String::new, |file| format!(", answers in {}", shown(&file)));
        let made = printable_line(&session.to_string());
        eprintln!("{made}: {}{answers}", shown(&file));
    }
    Ok(ExitCode::SUCCESS)
}

/// What a lesson cannot be asked for, and why.
fn lesson_fits(args: &SheetArgs, format: SheetFormat) -> Result<(), Failure> {
    let why_not = [
        (
            !matches!(format, SheetFormat::Pdf | SheetFormat::Svg),
            "--lesson is for paper: .pdf or .svg",
        ),
        (
            args.marks,
            "a lesson has the marks at its examples and leaves them out where notes are to be written; leave out --marks",
        ),
        (
            args.with_comp,
            "a lesson is the bass alone; the comp is written in MusicXML, without --lesson",
        ),
    ];
    let said = why_not.into_iter().find(|(is_asked, _)| *is_asked);
    said.map_or(Ok(()), |(_, why)| Err(Failure::input(why)))
}

/// Where the answers of a lesson go.
fn answers_beside(answers: Option<&Path>, lesson: &Path) -> Result<PathBuf, Failure> {
    let is_file = lesson.as_os_str() != "-" && (lesson.is_file() || !lesson.exists());
    let place = match answers {
        Some(answers) => answers.to_owned(),
        None if is_file || lesson.is_dir() => {
            let mut name = lesson.file_stem().unwrap_or_default().to_owned();
            name.push("-answers");
            if let Some(ending) = lesson.extension() {
                name.push(".");
                name.push(ending);
            }
            lesson.with_file_name(name)
        }
        None => {
            return Err(Failure::input(format!(
                "a lesson has a second file, its answers, which cannot follow it to {}: name it with --answers FILE",
                shown(lesson)
            )));
        }
    };
    if place.as_os_str() == "-" || place == lesson {
        return Err(Failure::input(
            "--answers: name a file of its own, apart from the lesson",
        ));
    }
    Ok(place)
}

/// Writes both files or none; where the lesson goes to a pipe or device, the answers first.
fn write_lesson(files: [(&Path, &[u8]); 2]) -> Result<(), Failure> {
    let is_stream = |path: &Path| path.as_os_str() == "-" || (path.exists() && !path.is_file());
    if files.iter().any(|(path, _)| is_stream(path)) {
        let mut files = files;
        files.reverse();
        return files
            .into_iter()
            .try_for_each(|(path, bytes)| destination::write(path, bytes));
    }
    destination::write_both(files)
}

/// A lesson and its answers.
fn written_lesson(
    args: &SheetArgs,
    format: SheetFormat,
    session: &Session,
) -> Result<(Vec<u8>, Vec<u8>), Failure> {
    let (about, paper) = (subtitle(session), Paper::from(args.paper));
    let teacher = args.head.as_deref().map(printable_line);
    let head = lesson::LessonHead {
        teacher: teacher.as_deref(),
        about: &about,
    };
    let show = ShownBesides {
        marks: false,
        tablature: args.tab,
        fingers: args.fingering,
    };
    let made = lesson::lesson(session, head, paper, show)?;
    let title = &session.chart().title;
    let bytes = |pages: &[Picture], words: &str| match format {
        SheetFormat::Pdf => pdf::document(title, pages, paper),
        _ => svg::document(title, words, pages, paper).into_bytes(),
    };
    Ok((
        bytes(&made.pages, &format!("{about}\n{}", made.words)),
        bytes(&made.answers, &made.answers_words),
    ))
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
    let mut music = match args.transpose {
        Some(part) => music.written_for(part),
        None => music,
    };
    music.by = args.by.as_deref().map(printable_line);
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
                let key = key_for_reading(part.key(session.chart().key));
                format!(" Written in {key} for an instrument in {part}.")
            });
            let about = format!("{}{written}", subtitle(session));
            let pages = print::pages(&music, &about, (paper, args.size.into()), show);
            let words = spoken::lines(&music);
            match format {
                SheetFormat::Pdf => pdf::document(&music.title, &pages, paper),
                _ => svg::document(&music.title, &words, &pages, paper).into_bytes(),
            }
        }
    })
}

/// `In F, 4/4, 138 quarter notes a minute. Level 4, seed 1.`
fn subtitle(session: &Session) -> String {
    let (chart, wishes) = (session.chart(), session.wishes());
    format!(
        "In {}, {}, {} quarter notes a minute. Level {}, seed {}.",
        key_for_reading(chart.key),
        chart.meter,
        chart.tempo,
        wishes.line.level,
        wishes.seed
    )
}
