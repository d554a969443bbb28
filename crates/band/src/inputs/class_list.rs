//! A class: names with the keys, levels and instruments they play, a line each.
//!
//! ```text
//! Ada: key Bb, level 2
//! Bo: level 4, on double-bass
//! Cy
//! ```

use crate::failure::Failure;
use endpin_theory::Key;
use endpin_walker::{Instrument, Level};

/// A student, and what differs from the line on the desk.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Student {
    /// As the teacher writes it.
    pub name: String,
    /// The key in which the chart is played.
    pub key: Option<Key>,
    /// The teacher's ladder.
    pub level: Option<Level>,
    /// What it is played on.
    pub instrument: Option<Instrument>,
}

impl Student {
    /// The name in small letters and digits of any script, with hyphens between words: for files and folders.
    pub fn file_name(&self) -> String {
        let words = self.name.split(|c: char| !c.is_alphanumeric());
        let words: Vec<String> = words
            .filter(|word| !word.is_empty())
            .map(str::to_lowercase)
            .collect();
        words.join("-").chars().take(LONGEST_NAME).collect()
    }
}

/// Most students of a class.
const MOST: usize = 60;
/// Most characters of a file's name: at four bytes each, what file systems take (255 bytes; from memory).
const LONGEST_NAME: usize = 60;

/// Why a class cannot be read, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line} of the class: {why}")]
pub struct ClassFault {
    /// From 1.
    pub line: usize,
    /// The character in the line, from 1.
    pub column: usize,
    /// What is wrong, and what would be right.
    pub why: String,
}

impl From<ClassFault> for Failure {
    fn from(fault: ClassFault) -> Failure {
        Failure::input(fault)
    }
}

/// Reads a class; empty lines and lines that begin with `#` are left out.
///
/// # Errors
/// The first line that cannot be read, or names someone who is there already.
pub fn read(text: &str) -> Result<Vec<Student>, ClassFault> {
    let mut students: Vec<Student> = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let begun = line.trim_start();
        if begun.is_empty() || begun.starts_with('#') {
            continue;
        }
        let fault = |(column, why)| ClassFault {
            line: index + 1,
            column,
            why,
        };
        let student = student(line).map_err(fault)?;
        let at = line.chars().count() - begun.chars().count() + 1;
        if students.len() == MOST {
            return Err(fault((at, format!("a class has at most {MOST} students"))));
        }
        let name = student.file_name();
        if let Some(other) = students.iter().find(|other| other.file_name() == name) {
            let why = format!(
                "\"{}\" is there already, as \"{}\"; tell the names apart, as in \"Ada K\"",
                student.name, other.name
            );
            return Err(fault((at, why)));
        }
        students.push(student);
    }
    Ok(students)
}

/// A student; else in which column the line cannot be read, and why.
fn student(line: &str) -> Result<Student, (usize, String)> {
    let (name, rest) = line.split_once(':').unwrap_or((line, ""));
    let mut student = Student {
        name: name.trim().to_owned(),
        ..Student::default()
    };
    if !student.name.contains(char::is_alphanumeric) {
        return Err((1, "a name is missing before the colon".to_owned()));
    }
    // The character before the part, counted from 1: the colon, then commas.
    let mut before = name.chars().count() + 1;
    for part in rest.split(',') {
        let blanks = part.chars().count() - part.trim_start().chars().count();
        let at = before + blanks + 1;
        before += part.chars().count() + 1;
        if !part.trim().is_empty() {
            student.take(part.trim()).map_err(|why| (at, why))?;
        }
    }
    Ok(student)
}

impl Student {
    /// Takes one thing that is said of the student.
    fn take(&mut self, part: &str) -> Result<(), String> {
        let (what, value) = part.split_once(' ').unwrap_or((part, ""));
        let value = value.trim();
        match what {
            "key" => self.key = Some(Key::read(value).map_err(|error| error.to_string())?.key),
            "level" => {
                self.level = Some(value.parse::<Level>().map_err(|error| error.to_string())?)
            }
            "on" => {
                let instrument = value.parse::<Instrument>();
                self.instrument = Some(instrument.map_err(|error| error.to_string())?);
            }
            _ => {
                return Err(format!(
                    "\"{part}\" says nothing of a student; write it as in \"Ada: key Bb, level 2, on double-bass\""
                ));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_class_is_read_and_mistakes_are_placed() {
        let class =
            read("# Tuesdays\nAda: key Bb, level 2\n\nBo: level 4, on double-bass\nCy\n").unwrap();
        let names: Vec<&str> = class.iter().map(|student| &*student.name).collect();
        assert_eq!(names, ["Ada", "Bo", "Cy"]);
        assert_eq!(class[0].level.map(Level::number), Some(2));
        assert_eq!(class[1].instrument, "double-bass".parse().ok());
        assert_eq!(
            class[2],
            Student {
                name: "Cy".to_owned(),
                ..Student::default()
            }
        );
        for (text, line, column) in [
            ("Ada\nBo: level 9", 2, 5),
            (": key F", 1, 1),
            ("Ada: fast", 1, 6),
            ("Ada: key F,  key H", 1, 14),
            ("# All\nAda\n\n  ADA: level 4", 4, 3),
        ] {
            let fault = read(text).unwrap_err();
            assert_eq!((fault.line, fault.column), (line, column), "{fault}");
        }
        let many = |count: usize| {
            (0..count)
                .map(|number| format!("S{number}\n"))
                .collect::<String>()
        };
        assert_eq!(read(&many(MOST)).unwrap().len(), MOST);
        assert_eq!(read(&many(MOST + 1)).unwrap_err().line, MOST + 1);
    }

    #[test]
    fn names_of_files_keep_every_script() {
        let named = |name: &str| {
            Student {
                name: name.to_owned(),
                ..Student::default()
            }
            .file_name()
        };
        assert_eq!(named("Zoë K. /../ B"), "zoë-k-b");
        assert_eq!(named("Ødegård"), "ødegård");
    }
}
