//! The folder of a desk: charts by name, written beside and renamed.
//!
//! The page names files, never paths: a name is one part without separators, links are not followed, and what
//! lies elsewhere is out of reach.

use crate::{
    failure::{Failure, shown},
    outputs::destination,
};
use endpin_walker::Weights;
use serde::Serialize;
use std::{
    fs,
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError},
    time::SystemTime,
};

/// Most bytes of a chart.
pub const MOST_CHART: usize = 4 << 20;
/// Endings of the files that are charts: plain ones and TOML.
const CHART_ENDINGS: [&str; 2] = [".txt", ".toml"];

/// A folder, and the turn to write in it.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    writing: Mutex<()>,
}

/// What became of a chart that was to be kept.
#[derive(Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kept {
    /// It is kept under this name.
    Saved(String),
    /// Somebody else changed it meanwhile: what it holds now. Nothing was written.
    Changed(String),
}

impl Folder {
    /// Opens a folder, and makes it if it is not there.
    ///
    /// # Errors
    /// A folder that cannot be made.
    pub fn open(path: &Path) -> Result<Folder, Failure> {
        destination::make_folder(path)?;
        let path = fs::canonicalize(path)
            .map_err(|error| Failure::input(format!("{}: {error}", shown(path))))?;
        Ok(Folder {
            path,
            writing: Mutex::new(()),
        })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The names of the charts, the one changed last first.
    pub fn charts(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.path).into_iter().flatten().flatten();
        let mut charts: Vec<(SystemTime, String)> = entries
            .filter_map(|entry| {
                let name = entry.file_name().into_string().ok()?;
                let metadata = fs::symlink_metadata(entry.path()).ok()?;
                let is_chart = is_chart_name(&name) && metadata.is_file();
                is_chart.then(|| (metadata.modified().unwrap_or(SystemTime::UNIX_EPOCH), name))
            })
            .collect();
        let manners = self.manners();
        charts.retain(|(_, name)| !manners.contains(name));
        charts.sort_by(|a, b| b.0.cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
        charts.into_iter().map(|(_, name)| name).collect()
    }

    /// The names of the files of learnt weights: TOML that is a table of them and no chart.
    pub fn manners(&self) -> Vec<String> {
        let names = self.names().into_iter();
        let is_manner = |name: &String| {
            let text = || self.text(name).unwrap_or_default();
            is_plain_name(name) && name.ends_with(".toml") && is_manner(&text())
        };
        names.filter(is_manner).collect()
    }

    /// The names of all plain files, in order.
    pub fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.path).into_iter().flatten().flatten();
        let plain = entries.filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()));
        let names = plain.filter_map(|entry| entry.file_name().into_string().ok());
        let mut names: Vec<String> = names.collect();
        names.sort();
        names
    }

    /// The path of a file of this name, if it may be one: a plain file or nothing yet.
    fn place(&self, name: &str) -> Result<PathBuf, Failure> {
        let place = self.path.join(name);
        let free = match fs::symlink_metadata(&place) {
            Ok(found) => found.is_file(),
            Err(error) => error.kind() == std::io::ErrorKind::NotFound,
        };
        match is_plain_name(name) && free {
            true => Ok(place),
            false => Err(Failure::input("there is no such file on this desk")),
        }
    }

    /// The bytes of a file.
    ///
    /// # Errors
    /// No such file, or one that cannot be read.
    pub fn read(&self, name: &str) -> Result<Vec<u8>, Failure> {
        let place = self.place(name)?;
        fs::read(place).map_err(|_| Failure::input("there is no such file on this desk"))
    }

    /// The text of a chart.
    ///
    /// # Errors
    /// No such chart, or a file that is no text.
    pub fn chart(&self, name: &str) -> Result<String, Failure> {
        if !is_chart_name(name) {
            return Err(Failure::input("there is no such chart on this desk"));
        }
        self.text(name)
    }

    /// The text of a file.
    ///
    /// # Errors
    /// No such file, or one that is no text.
    pub fn text(&self, name: &str) -> Result<String, Failure> {
        String::from_utf8(self.read(name)?)
            .map_err(|_| Failure::input(format!("{name} is not text")))
    }

    /// Keeps a chart: a new one under a name after its title, one that is there only if it still holds what it
    /// was changed from.
    ///
    /// # Errors
    /// A name that is no chart's, or a file that cannot be written.
    pub fn keep(
        &self,
        name: Option<&str>,
        title: &str,
        text: &str,
        base: &str,
    ) -> Result<Kept, Failure> {
        let _turn = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        let name = match name {
            Some(name) if is_chart_name(name) => name.to_owned(),
            Some(_) => return Err(Failure::input("there is no such chart on this desk")),
            None => self.free_name(title, ".txt"),
        };
        let place = self.place(&name)?;
        match fs::read(&place) {
            Ok(now) if now == text.as_bytes() => return Ok(Kept::Saved(name)),
            Ok(now) if now != base.as_bytes() => {
                return Ok(Kept::Changed(String::from_utf8_lossy(&now).into_owned()));
            }
            _ => destination::write(&place, text.as_bytes())?,
        }
        Ok(Kept::Saved(name))
    }

    /// Writes a file that the desk makes, whatever was there under its name.
    ///
    /// # Errors
    /// A name that is none, or a file that cannot be written.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        let _turn = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        destination::write(&self.place(name)?, bytes)
    }

    /// A name after a title that no file has yet.
    pub fn free_name(&self, title: &str, ending: &str) -> String {
        let stem = named_after(title);
        let free = |name: &String| fs::symlink_metadata(self.path.join(name)).is_err();
        let first = format!("{stem}{ending}");
        let mut numbered = (2..).map(|number| format!("{stem}-{number}{ending}"));
        match free(&first) {
            true => first,
            false => numbered.find(free).unwrap_or(first),
        }
    }
}

/// A name in small letters, digits and hyphens.
pub fn named_after(title: &str) -> String {
    let words = title.split(|c: char| !c.is_ascii_alphanumeric());
    let words: Vec<String> = words
        .filter(|word| !word.is_empty())
        .map(str::to_ascii_lowercase)
        .collect();
    let name: String = words.join("-").chars().take(60).collect();
    match name.trim_matches('-') {
        "" => "chart".to_owned(),
        name => name.to_owned(),
    }
}

/// One part of a path that hides nothing: letters, digits, and `-`, `_`, `.`, space in between.
pub fn is_plain_name(name: &str) -> bool {
    let plain = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | ' ');
    (1..=120).contains(&name.len())
        && name.chars().all(plain)
        && name.starts_with(char::is_alphanumeric)
        && name.ends_with(char::is_alphanumeric)
}

/// Whether a text has weights, and nothing else.
fn is_manner(text: &str) -> bool {
    let says_something = |line: &str| !matches!(line.trim().chars().next(), None | Some('#'));
    text.lines().any(says_something) && Weights::parse(text).is_ok()
}

fn is_chart_name(name: &str) -> bool {
    is_plain_name(name) && CHART_ENDINGS.iter().any(|ending| name.ends_with(ending))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder() -> (tempfile::TempDir, Folder) {
        let held = tempfile::tempdir().unwrap();
        let folder = Folder::open(held.path()).unwrap();
        (held, folder)
    }

    #[test]
    fn a_chart_is_kept_unless_somebody_changed_it() {
        let (_held, folder) = folder();
        let saved = folder.keep(None, "Harbour Lamp!", "one", "").unwrap();
        assert_eq!(saved, Kept::Saved("harbour-lamp.txt".to_owned()));
        let name = Some("harbour-lamp.txt");
        assert_eq!(folder.keep(name, "", "two", "one").unwrap(), saved);
        let late = folder.keep(name, "", "three", "one").unwrap();
        assert_eq!(late, Kept::Changed("two".to_owned()));
        assert_eq!(folder.chart("harbour-lamp.txt").unwrap(), "two");
        // Another of this title gets another name.
        let other = folder.keep(None, "Harbour Lamp", "four", "").unwrap();
        assert_eq!(other, Kept::Saved("harbour-lamp-2.txt".to_owned()));
        assert_eq!(folder.charts().len(), 2);
    }

    #[test]
    fn nothing_outside_is_read_or_written() {
        let (held, folder) = folder();
        let secret = held.path().parent().unwrap().join("desk-secret.txt");
        for name in [
            "../desk-secret.txt",
            "..",
            "/etc/passwd",
            "a/b.txt",
            "a\\b.txt",
            ".hidden.txt",
            "a.txt\0",
            "",
            "a..txt/",
            "x.mid",
        ] {
            assert!(folder.chart(name).is_err(), "{name}");
            assert!(folder.keep(Some(name), "", "x", "").is_err(), "{name}");
        }
        #[cfg(unix)]
        {
            fs::write(&secret, "secret").unwrap();
            std::os::unix::fs::symlink(&secret, held.path().join("link.txt")).unwrap();
            assert!(folder.chart("link.txt").is_err());
            assert!(folder.keep(Some("link.txt"), "", "x", "secret").is_err());
            assert_eq!(folder.charts(), Vec::<String>::new());
            assert_eq!(fs::read_to_string(&secret).unwrap(), "secret");
            fs::remove_file(secret).unwrap();
        }
    }
}
