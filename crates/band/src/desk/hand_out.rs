//! Handing out: the line on the desk as sheets, pages, MIDI files and questions, for everybody or for each student
//! of a class, and a record of what was handed out.

use super::{
    Desk, came_back,
    class_list::{self, Student},
    folder::{Folder, named_after},
    line_view::{LineWishes, json},
};
use crate::{
    failure::Failure,
    outputs::{
        ear::{
            export,
            kind::QuestionKind,
            page as questions,
            record::now,
            set::{Ask, Maker},
            sound::With,
        },
        json::to_json,
        midi_file::{self, TrackLayout},
        sheet::{
            engrave::ShownBesides,
            measure::Music,
            musicxml, page, pdf,
            print::{self, Paper},
        },
    },
    performance::session::Session,
};
use endpin_walker::Level;
use serde::{Deserialize, Serialize, de::DeserializeOwned};
use std::ops::RangeInclusive;

/// The folder, inside that of the desk, of what is handed out.
pub const FOLDER: &str = "handed-out";
/// How the name of the key to a set of questions ends.
pub const KEY: &str = "-answers.json";
/// The record in it.
const RECORD: &str = "record.json";
/// The class, in the folder of the desk.
pub const CLASS: &str = "class.list";

/// What is to be handed out.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HandOut {
    line: LineWishes,
    /// How many choruses.
    choruses: u32,
    what: Vec<Kind>,
    /// Whether each student of the class gets one.
    class: bool,
}

/// What can be handed out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Kind {
    /// A sheet on paper.
    Sheet,
    /// The same with tablature.
    Tab,
    /// A practice page.
    Page,
    /// The band as a MIDI file.
    Midi,
    /// The band without the bass.
    Minus,
    /// Notation for other programs.
    Musicxml,
    /// Questions for the ear, and their key.
    Questions,
}

/// Somebody's set.
#[derive(Clone, Debug, Deserialize, Serialize)]
pub struct Handed {
    /// Seconds since 1970.
    when: u64,
    chart: String,
    /// Empty: everybody.
    student: String,
    about: String,
    files: Vec<String>,
}

/// The record of what was handed out.
#[derive(Deserialize, Serialize)]
struct Record {
    format: String,
    sets: Vec<Handed>,
}

/// What was made, and for whom nothing could be.
#[derive(Serialize)]
struct Made {
    sets: Vec<Handed>,
    problems: Vec<String>,
    /// The page of links of a class.
    links: Option<String>,
}

const FORMAT: &str = "endpin-desk/1";
/// Most choruses that are handed out at once.
const CHORUSES: RangeInclusive<u32> = 1..=24;
/// Questions of a set; levels of their lines.
const QUESTIONS: usize = 12;
const QUESTION_LEVELS: RangeInclusive<u8> = 3..=5;

/// The folder of what is handed out.
///
/// # Errors
/// A folder that cannot be made, or a link in its place.
pub fn folder(desk: &Desk) -> Result<Folder, Failure> {
    let path = desk.folder.path().join(FOLDER);
    let is_link = std::fs::symlink_metadata(&path).is_ok_and(|found| !found.is_dir());
    match is_link {
        true => Err(Failure::output(format!(
            "{FOLDER} on this desk is not a folder"
        ))),
        false => Folder::open(&path),
    }
}

/// What was handed out so far, and the class, as JSON.
///
/// # Errors
/// A record that cannot be read.
pub fn shown(desk: &Desk) -> Result<Vec<u8>, Failure> {
    let class = desk.folder.read(CLASS).unwrap_or_default();
    let folder = folder(desk)?;
    json(&serde_json::json!({
        "class": String::from_utf8_lossy(&class),
        "sets": record(&folder)?.sets,
        "back": came_back::record(&folder)?,
    }))
}

/// Keeps the class; a class that cannot be read is not kept.
///
/// # Errors
/// A line that cannot be read, or a file that cannot be written.
pub fn keep_class(desk: &Desk, text: &str) -> Result<Vec<u8>, Failure> {
    let count = class_list::read(text)?.len();
    desk.folder.write(CLASS, text.as_bytes())?;
    json(&serde_json::json!({ "students": count }))
}

fn record(folder: &Folder) -> Result<Record, Failure> {
    Ok(kept(folder, RECORD)?.unwrap_or_else(|| Record {
        format: FORMAT.to_owned(),
        sets: Vec::new(),
    }))
}

/// A record that is kept in the folder; none where there is none yet.
///
/// # Errors
/// A record that cannot be read.
pub fn kept<R: DeserializeOwned>(folder: &Folder, name: &str) -> Result<Option<R>, Failure> {
    let Ok(bytes) = folder.read(name) else {
        return Ok(None);
    };
    let record = serde_json::from_slice(&bytes);
    record
        .map(Some)
        .map_err(|error| Failure::input(format!("{FOLDER}/{name} cannot be read: {error}")))
}

/// Makes what is asked for, file by file, and keeps a record; as JSON.
///
/// # Errors
/// A class that cannot be read, or files that cannot be written. A student for whom there is no line is named among
/// the problems, and the others get theirs.
pub fn make(desk: &Desk, asked: &HandOut) -> Result<Vec<u8>, Failure> {
    if !CHORUSES.contains(&asked.choruses) || asked.what.is_empty() {
        return Err(Failure::input(format!(
            "say what to hand out, and {} to {} choruses",
            CHORUSES.start(),
            CHORUSES.end()
        )));
    }
    let students = match asked.class {
        true => class_list::read(&String::from_utf8_lossy(
            &desk.folder.read(CLASS).unwrap_or_default(),
        ))?,
        false => vec![Student::default()],
    };
    if students.is_empty() {
        return Err(Failure::input(
            "the class has nobody in it yet; write a name on a line",
        ));
    }
    let folder = folder(desk)?;
    let when = now();
    let (mut sets, mut problems) = (Vec::new(), Vec::new());
    for student in &students {
        match set(asked, student) {
            Ok((session, kept)) => {
                let files = write(&folder, asked, student, &session)?;
                let chart = session.chart().title.clone();
                let level = session.wishes().line.level;
                let without = if kept {
                    ""
                } else {
                    ", drawn without what was decided"
                };
                sets.push(Handed {
                    when,
                    chart,
                    student: student.name.clone(),
                    about: format!("{}, level {level}{without}", session.chart().key),
                    files,
                });
            }
            Err(failure) => problems.push(format!("{}: {failure}", student.name)),
        }
    }
    let mut all = record(&folder)?;
    all.sets.extend(sets.iter().cloned());
    folder.write(RECORD, &json(&all)?)?;
    let links = match asked.class && !sets.is_empty() {
        true => Some(links(&folder, &sets)?),
        false => None,
    };
    json(&Made {
        sets,
        problems,
        links,
    })
}

/// The session of a student, and whether what was decided on the desk holds in it: not in another key, and not
/// where no line is left at another level.
fn set(asked: &HandOut, student: &Student) -> Result<(Session, bool), Failure> {
    let mut wishes = asked.line.clone();
    if let Some(level) = student.level {
        wishes.level = level.number();
    }
    if let Some(instrument) = student.instrument {
        (wishes.lowest, wishes.highest) = (None, None);
        wishes.instrument = Some(instrument.name.to_owned());
    }
    let home = wishes.chart()?.key;
    let moved = student.key.filter(|key| key.tonic != home.tonic);
    if let Some(key) = moved {
        wishes.text = super::chart_view::moved(&wishes.text, &key.tonic.to_string())?;
    } else if let Ok(session) = wishes.session(asked.choruses) {
        return Ok((session, true));
    }
    let decided = !(wishes.keep.is_empty()
        && wishes.refuse.is_empty()
        && wishes.rest.is_empty()
        && wishes.other.is_none());
    let undecided = LineWishes {
        keep: Vec::new(),
        refuse: Vec::new(),
        rest: Vec::new(),
        other: None,
        ..wishes
    };
    Ok((undecided.session(asked.choruses)?, !decided))
}

/// Writes the files of a set; their names.
fn write(
    folder: &Folder,
    asked: &HandOut,
    student: &Student,
    session: &Session,
) -> Result<Vec<String>, Failure> {
    let stem = match &*student.name {
        "" => named_after(&session.chart().title),
        name => format!(
            "{}-{}",
            named_after(&session.chart().title),
            named_after(name)
        ),
    };
    let mut files = Vec::new();
    for &kind in &asked.what {
        for (ending, bytes) in bytes(kind, session)? {
            let name = format!("{stem}{ending}");
            folder.write(&name, &bytes)?;
            files.push(name);
        }
    }
    Ok(files)
}

/// The files of one kind: the ends of their names, and what they hold.
fn bytes(kind: Kind, session: &Session) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let (chart, wishes) = (session.chart(), session.wishes());
    let about = format!(
        "In {}, {}, {} quarter notes a minute. Level {}.",
        chart.key, chart.meter, chart.tempo, wishes.line.level
    );
    Ok(match kind {
        Kind::Page => vec![(".html", page::write(session, &about)?)],
        Kind::Midi => vec![(
            ".mid",
            midi_file::bytes(&session.perform()?.score(), TrackLayout::Tracks),
        )],
        Kind::Minus => {
            let mut score = session.perform()?.score();
            let bass = crate::performance::score::PartName::Bass;
            score.parts.retain(|part| part.name != bass);
            vec![(
                "-without-bass.mid",
                midi_file::bytes(&score, TrackLayout::Tracks),
            )]
        }
        Kind::Questions => question_pages(session)?,
        Kind::Sheet | Kind::Tab | Kind::Musicxml => {
            let made = session.perform()?;
            let played = made.played();
            let ending = made.ending.as_ref().map(|(note, _)| note);
            let music = Music::new(&played, ending, true, &wishes.line.hand);
            let tablature = kind == Kind::Tab;
            if kind == Kind::Musicxml {
                let contents = musicxml::Contents {
                    tablature: false,
                    fingers: false,
                    marks: true,
                };
                return Ok(vec![(".musicxml", musicxml::write(&music, None, contents))]);
            }
            let show = ShownBesides {
                marks: true,
                tablature,
                fingers: false,
            };
            let pages = print::pages(&music, &about, Paper::A4, show);
            let ending = if tablature { "-tab.pdf" } else { ".pdf" };
            vec![(
                ending,
                pdf::document(&music.title, &pages, Paper::A4.spaces()),
            )]
        }
    })
}

fn question_pages(session: &Session) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let wishes = session.wishes();
    let level = wishes.line.level.number();
    let level = level.clamp(*QUESTION_LEVELS.start(), *QUESTION_LEVELS.end());
    let mut ask = Ask {
        charts: vec![session.chart().clone()],
        tonics: Vec::new(),
        kinds: QuestionKind::among(&[]),
        count: QUESTIONS,
        seed: wishes.seed,
        level: Level::try_from(level).map_err(Failure::input)?,
        range: wishes.line.range,
        tempo: None,
        with: With {
            comp: true,
            time: true,
        },
    };
    ask.kinds = Maker::new(&ask).map_err(Failure::input)?.possible();
    let set = Maker::new(&ask)
        .and_then(|maker| maker.set())
        .map_err(Failure::input)?;
    let title = format!("{}: questions for the ear", session.chart().title);
    let key = export::answers(&set, &ask);
    Ok(vec![
        (KEY, to_json(&key).into_bytes()),
        (
            "-questions.html",
            questions::questions(&set, &title).into_bytes(),
        ),
        (
            "-answers.html",
            questions::answers(&set, &title).into_bytes(),
        ),
    ])
}

/// A page of links to the sets of a class; its name.
fn links(folder: &Folder, sets: &[Handed]) -> Result<String, Failure> {
    use crate::outputs::html::{escaped, head};
    let title = sets.first().map_or("", |set| &set.chart);
    let mut body = format!("<h1>{}</h1>\n", escaped(title));
    for set in sets {
        body += &format!(
            "<h2>{}</h2>\n<p>{}</p>\n<ul>\n",
            escaped(&set.student),
            escaped(&set.about)
        );
        // The key is the teacher's.
        let files = set.files.iter().filter(|file| !file.contains("-answers."));
        for file in files {
            let file = escaped(file);
            body += &format!("<li><a href=\"{file}\">{file}</a></li>\n");
        }
        body += "</ul>\n";
    }
    let style = "body { font: 1.05rem/1.5 Georgia, serif; max-width: 40rem; margin: 2rem auto; padding: 0 1rem; color: CanvasText; background: Canvas; } li { margin: .6rem 0; }\n";
    let head = head(&escaped(title), title, "", style);
    let html =
        format!("<!DOCTYPE html>\n<html lang=\"en\">\n{head}\n<body>\n{body}</body>\n</html>\n");
    let name = format!("{}-class.html", named_after(title));
    folder.write(&name, html.as_bytes())?;
    Ok(name)
}
