//! What came back: the answers and takes of the students, each with how it was done, kept over the weeks.

use super::{Desk, folder::Folder, hand_out, line_view::json};
use crate::{
    failure::Failure,
    outputs::ear::{
        marking::{self, Given, Key, Marked},
        record::now,
    },
};
use serde::{Deserialize, Serialize};

/// The record, in the folder of what was handed out.
const RECORD: &str = "came-back.json";
const FORMAT: &str = "endpin-came-back/1";

/// Something that came back.
#[derive(Clone, Debug, Deserialize, Serialize)]
pub struct CameBack {
    /// Seconds since 1970.
    pub when: u64,
    /// Whose it is; may be empty.
    pub student: String,
    /// What it is, such as the title of the chart.
    pub what: String,
    /// How much of it was right.
    pub right: usize,
    /// Of how much.
    pub of: usize,
    /// What was counted: `answers` or `notes`.
    pub counted: String,
    /// The page on it; none for answers.
    pub page: Option<String>,
}

#[derive(Deserialize, Serialize)]
struct Record {
    format: String,
    items: Vec<CameBack>,
}

/// What came back so far, in order.
///
/// # Errors
/// A record that cannot be read.
pub fn record(folder: &Folder) -> Result<Vec<CameBack>, Failure> {
    let record: Option<Record> = hand_out::kept(folder, RECORD)?;
    Ok(record.map_or_else(Vec::new, |record| record.items))
}

/// Keeps one more.
///
/// # Errors
/// A record that cannot be read or written.
pub fn keep(folder: &Folder, one: CameBack) -> Result<(), Failure> {
    let mut items = record(folder)?;
    items.push(one);
    let format = FORMAT.to_owned();
    folder.write(RECORD, &json(&Record { format, items })?)
}

/// Marks answers that came back, as a file or a code, by the key of their set, and keeps how they were. As JSON: what
/// they answer, and the marks.
///
/// # Errors
/// Answers that cannot be read, or of a set that was not made here.
pub fn answers(desk: &Desk, text: &str) -> Result<Vec<u8>, Failure> {
    let given = Given::read(text.as_bytes()).map_err(Failure::input)?;
    let folder = hand_out::folder(desk)?;
    let keys = folder.names().into_iter().rev();
    let keys = keys.filter(|name| name.ends_with(hand_out::KEY));
    let key = keys.filter_map(|name| {
        let key = Key::read(&folder.read(&name).ok()?).ok()?;
        let stem = name.trim_end_matches(hand_out::KEY);
        (key.set == given.set).then(|| (stem.to_owned(), key))
    });
    let Some((what, key)) = key.into_iter().next() else {
        return Err(Failure::input(
            "these answers are to a set whose key is not on this desk",
        ));
    };
    let marked: Marked = marking::mark(&key, &given);
    let one = CameBack {
        when: now(),
        student: marked.name.clone(),
        what: what.clone(),
        right: marked.share.right,
        of: marked.share.of,
        counted: "answers".to_owned(),
        page: None,
    };
    keep(&folder, one)?;
    json(&serde_json::json!({ "what": what, "marked": marked }))
}
