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

/// Most students of a class.
const MOST: usize = 60;

/// Reads a class; empty lines and lines that begin with `#` are left out.
///
/// # Errors
/// The first line that cannot be read, with its number.
pub fn read(text: &str) -> Result<Vec<Student>, Failure> {
    let lines = text.lines().enumerate();
    let lines = lines.map(|(index, line)| (index + 1, line.trim()));
    let students: Vec<Student> = lines
        .filter(|(_, line)| !line.is_empty() && !line.starts_with('#'))
        .map(|(number, line)| {
            student(line)
                .map_err(|why| Failure::input(format!("line {number} of the class: {why}")))
        })
        .collect::<Result<_, _>>()?;
    match students.len() {
        ..=MOST => Ok(students),
        count => Err(Failure::input(format!(
            "a class has at most {MOST} students, and this one has {count}"
        ))),
    }
}

fn student(line: &str) -> Result<Student, String> {
    let (name, rest) = line.split_once(':').unwrap_or((line, ""));
    let mut student = Student {
        name: name.trim().to_owned(),
        ..Student::default()
    };
    if !student.name.contains(char::is_alphanumeric) {
        return Err("a name is missing before the colon".to_owned());
    }
    for part in rest
        .split(',')
        .map(str::trim)
        .filter(|part| !part.is_empty())
    {
        let (what, value) = part.split_once(' ').unwrap_or((part, ""));
        let value = value.trim();
        match what {
            "key" => student.key = Some(Key::read(value).map_err(|error| error.to_string())?.key),
            "level" => {
                student.level = Some(value.parse::<Level>().map_err(|error| error.to_string())?)
            }
            "on" => {
                let instrument = value.parse::<Instrument>();
                student.instrument = Some(instrument.map_err(|error| error.to_string())?);
            }
            _ => {
                return Err(format!(
                    "\"{part}\" says nothing of a student; write it as in \"Ada: key Bb, level 2, on double-bass\""
                ));
            }
        }
    }
    Ok(student)
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
        for (text, line) in [
            ("Ada\nBo: level 9", 2),
            (": key F", 1),
            ("Ada: fast", 1),
            ("Ada: key H", 1),
        ] {
            let told = read(text).unwrap_err().to_string();
            assert!(
                told.starts_with(&format!("line {line} of the class: ")),
                "{told}"
            );
        }
    }
}
