//! Handing out: the line on the desk as sheets, pages, MIDI files and questions, for everybody or for each student
//! of a class, and a record of what was handed out.

use super::{
    Desk, came_back,
    folder::{Folder, named_after},
    handed_files::{self, Kind},
    line_view::{LineWishes, json},
};
use crate::{
    failure::Failure,
    inputs::class_list::{self, Student},
    outputs::ear::{
        audio::{AudioFormat, Studio},
        record::now,
    },
    performance::session::Session,
};
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
    /// The line.
    pub line: LineWishes,
    /// How many choruses.
    choruses: u32,
    what: Vec<Kind>,
    /// Whether each student of the class gets one.
    class: bool,
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
    let is_heard = asked.what.iter().any(|kind| kind.is_sound());
    let studio = || Studio::of_machine(None, AudioFormat::Flac).map_err(Failure::input);
    let studio = is_heard.then(studio).transpose()?;
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
                let files = write(&folder, asked, student, &session, studio.as_ref())?;
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
    for decisions in [&mut wishes.keep, &mut wishes.refuse, &mut wishes.rest] {
        decisions.clear();
    }
    wishes.other = None;
    Ok((wishes.session(asked.choruses)?, !decided))
}

/// Writes the files of a set; their names.
fn write(
    folder: &Folder,
    asked: &HandOut,
    student: &Student,
    session: &Session,
    studio: Option<&Studio>,
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
        for (ending, bytes) in handed_files::bytes(kind, session, studio)? {
            let name = format!("{stem}{ending}");
            folder.write(&name, &bytes)?;
            files.push(name);
        }
    }
    Ok(files)
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
    let style = "ul { padding: 0; list-style: none; } li a { display: inline-flex; align-items: center; min-height: var(--touch); overflow-wrap: anywhere; }\n";
    let head = head(&escaped(title), title, style);
    let html =
        format!("<!DOCTYPE html>\n<html lang=\"en\">\n{head}\n<body>\n{body}</body>\n</html>\n");
    let name = format!("{}-class.html", named_after(title));
    folder.write(&name, html.as_bytes())?;
    Ok(name)
}
