//! The record of a learner's answers: one line of JSON for each, only ever added to.
//!
//! A line is written whole, in one call, and flushed to the disk before the next question is asked. If the
//! machine stops in the middle, the unfinished line is passed over at the next start and nothing before it
//! is lost.

use super::kind::QuestionKind;
use crate::{
    failure::{Failure, shown},
    inputs::source,
};
use serde::{Deserialize, Serialize};
use std::{
    fs::{self, File, OpenOptions},
    io::{self, Read, Seek, SeekFrom, Write},
    path::{Path, PathBuf},
    time::{SystemTime, UNIX_EPOCH},
};

/// One answer given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// When, in seconds since 1970.
    pub at: u64,
    /// Kind of the question.
    pub kind: String,
    /// The right answer.
    pub answer: String,
    /// What was answered.
    pub given: String,
    /// Whether it was right.
    pub right: bool,
}

impl Entry {
    /// What was practised: the kind, with the answer where there are several to choose from.
    pub fn topic(&self) -> String {
        topic(&self.kind, &self.answer)
    }
}

/// The name of what a question practises. A dictation's answer is its notes, hence no topic of its own.
pub fn topic(kind: &str, answer: &str) -> String {
    if kind == QuestionKind::Dictation.name() {
        kind.to_owned()
    } else {
        format!("{kind}: {answer}")
    }
}

/// The answers in the bytes of a record, and how many lines are none.
pub fn read(bytes: &[u8]) -> (Vec<Entry>, usize) {
    let text = String::from_utf8_lossy(bytes);
    let lines = text.lines().filter(|line| !line.trim().is_empty());
    let (mut entries, mut damaged) = (Vec::new(), 0);
    for line in lines {
        match serde_json::from_str(line) {
            Ok(entry) => entries.push(entry),
            Err(_) => damaged += 1,
        }
    }
    (entries, damaged)
}

/// An open record.
#[derive(Debug)]
pub struct Record {
    path: PathBuf,
    file: File,
    entries: Vec<Entry>,
    damaged: usize,
}

impl Record {
    /// Opens the record, or starts one, with the folders to it.
    ///
    /// # Errors
    /// A file that cannot be read or written.
    pub fn open(path: &Path) -> Result<Record, Failure> {
        Self::try_open(path).map_err(|error| {
            Failure::output(format!("cannot keep the record {}: {error}", shown(path)))
        })
    }

    fn try_open(path: &Path) -> io::Result<Record> {
        if let Some(folder) = path.parent().filter(|folder| folder.as_os_str() != "") {
            fs::create_dir_all(folder)?;
        }
        let mut file = OpenOptions::new()
            .create(true)
            .read(true)
            .append(true)
            .open(path)?;
        let mut bytes = Vec::new();
        let most = source::MOST_BYTES;
        (&mut file).take(most + 1).read_to_end(&mut bytes)?;
        if bytes.len() as u64 > most {
            let message = format!("it has more than {most} bytes, so it is not a record");
            return Err(io::Error::other(message));
        }
        let (entries, damaged) = read(&bytes);
        // An unfinished line is closed, so that the next one starts on its own.
        if bytes.last().is_some_and(|&last| last != b'\n') {
            file.seek(SeekFrom::End(0))?;
            file.write_all(b"\n")?;
        }
        Ok(Record {
            path: path.to_owned(),
            file,
            entries,
            damaged,
        })
    }

    /// Where it is kept.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// All answers, the oldest first.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// Lines that could not be read and are passed over.
    pub fn damaged(&self) -> usize {
        self.damaged
    }

    /// Adds an answer; when this returns it is on the disk.
    ///
    /// # Errors
    /// A disk that is full or gone.
    pub fn add(&mut self, entry: Entry) -> Result<(), Failure> {
        let add = |file: &mut File| -> io::Result<()> {
            let mut line = serde_json::to_vec(&entry)?;
            line.push(b'\n');
            file.write_all(&line)?;
            file.sync_data()
        };
        add(&mut self.file).map_err(|error| {
            Failure::output(format!(
                "cannot add to the record {}: {error}",
                shown(&self.path)
            ))
        })?;
        self.entries.push(entry);
        Ok(())
    }
}

/// Seconds since 1970.
pub fn now() -> u64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |since| since.as_secs())
}

/// Where the record is kept unless told: `endpin/ear.jsonl` in the user's data folder (XDG Base Directory
/// Specification: `$XDG_DATA_HOME`, else `~/.local/share`), or in this folder if there is no home.
pub fn usual_path() -> PathBuf {
    let set = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    let data = set("XDG_DATA_HOME").or_else(|| Some(set("HOME")?.join(".local/share")));
    data.unwrap_or_default().join("endpin/ear.jsonl")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(at: u64, right: bool) -> Entry {
        Entry {
            at,
            kind: "approach".into(),
            answer: "dominant".into(),
            given: "dominant".into(),
            right,
        }
    }

    #[test]
    fn whatever_was_cut_off_the_answers_before_stay() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("deep/er/ear.jsonl");
        let mut record = Record::open(&path).unwrap();
        for at in 0..3 {
            record.add(entry(at, at != 1)).unwrap();
        }
        let whole = fs::read(&path).unwrap();
        let two = whole.len() * 2 / 3;
        for cut in two..whole.len() {
            fs::write(&path, &whole[..cut]).unwrap();
            let mut again = Record::open(&path).unwrap();
            // Without its line break the third answer is whole all the same.
            let kept = if cut == whole.len() - 1 { 3 } else { 2 };
            assert_eq!(again.entries().len(), kept, "cut at {cut}");
            again.add(entry(9, true)).unwrap();
            let last = Record::open(&path).unwrap();
            assert_eq!(last.entries().len(), kept + 1);
            assert_eq!(last.entries()[kept], entry(9, true));
        }
    }
}
