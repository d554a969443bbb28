//! A motif as a teacher writes it: `1 2 b3 5`, degrees over the chord with their lengths.

use super::form::Form;
use crate::line::layout::Slot;
use endpin_theory::Degree;
use std::{fmt, str::FromStr};

/// Parts into which a beat is counted: halves and thirds of it are whole numbers.
pub(crate) const PARTS: i64 = 12;

/// Most beats of a motif.
const LONGEST: i64 = 8;

/// A note of a motif.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct MotifNote {
    /// Where it starts, in twelfths of a beat from the beginning.
    pub at: i64,
    /// Its degree over the chord that sounds.
    degree: Degree,
    /// Octaves by which it is higher.
    octave: i8,
}

impl MotifNote {
    /// The key on which it sounds at an onset, if the motif's first root lies on this key; none beyond MIDI.
    ///
    /// A plain number is the chord's own degree, else that of its scale: 3 over Dm7 is F. A degree with a sign is
    /// just that interval: b3 over D7 is F too. The root of a later chord is the one nearest to the first.
    pub fn key_above(&self, form: &Form, slot: &Slot, root: u8) -> Option<u8> {
        let here = slot.onset.root;
        let apart = (i16::from(here) - i16::from(root % 12) + 18).rem_euclid(12) - 6;
        let number = (self.degree.number() - 1) % 7 + 1;
        let above_octave = i16::from((self.degree.number() - 1) / 7) * 12;
        let own = form.chroma(slot.span, number);
        let plain = own.filter(|_| self.degree.alteration() == 0);
        let above = match plain {
            Some(chroma) => i16::from((chroma + 12 - here) % 12) + above_octave,
            None => self.degree.interval().semitones(),
        };
        let key = i16::from(root) + apart + above + 12 * i16::from(self.octave);
        u8::try_from(key).ok().filter(|&key| key < 128)
    }
}

/// A figure of degrees that a teacher wants to hear.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Motif {
    text: String,
    notes: Vec<MotifNote>,
    length: i64,
}

impl Motif {
    pub(crate) fn notes(&self) -> &[MotifNote] {
        &self.notes
    }

    /// How long it lasts, in twelfths of a beat.
    pub(crate) fn length(&self) -> i64 {
        self.length
    }

    /// The note that starts at a place, in twelfths of a beat.
    pub(crate) fn note_at(&self, at: i64) -> Option<&MotifNote> {
        self.notes.iter().find(|note| note.at == at)
    }
}

impl fmt::Display for Motif {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.text)
    }
}

/// Text that is no motif.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("column {column}: {what}")]
pub struct MotifError {
    /// Where, from 1, in characters.
    column: usize,
    what: String,
}

impl FromStr for Motif {
    type Err = MotifError;

    /// Notes with spaces between them: a degree of the chord (`1`, `b3`, `#4`, `8`), `,` or `'` behind it for an
    /// octave lower or higher as in ABC notation (abc standard 2.1, section 4.1, from memory), then, unless it
    /// lasts one beat, `:` and its beats (`1:2`, `5:0.5`).
    fn from_str(text: &str) -> Result<Motif, MotifError> {
        let mut notes = Vec::new();
        let mut length = 0;
        let mut column = 1;
        for part in text.split(' ') {
            let here = column;
            column += part.chars().count() + 1;
            if part.is_empty() {
                continue;
            }
            let wrong = |what: String| MotifError { column: here, what };
            let (note, beats) = part.split_once(':').unwrap_or((part, "1"));
            let lasts = parts(beats).ok_or_else(|| {
                wrong(format!(
                    "\"{beats}\" is not a length; write beats in halves or thirds of 1 to 4, such as 2, 0.5 or 1/3"
                ))
            })?;
            let degree = note.trim_end_matches([',', '\'']);
            let marks = note[degree.len()..].chars();
            let octave = marks.map(|mark| if mark == '\'' { 1 } else { -1 }).sum();
            let degree: Degree = degree.parse().map_err(|_| {
                wrong(format!(
                    "\"{note}\" is not a degree; write a number from 1 to 15 with its sign before it, such as 5 or b3, and , or ' behind it for an octave lower or higher"
                ))
            })?;
            notes.push(MotifNote {
                at: length,
                degree,
                octave,
            });
            length += lasts;
            if length > LONGEST * PARTS {
                return Err(wrong(format!(
                    "a motif lasts {LONGEST} beats at most, and this note ends later"
                )));
            }
        }
        if notes.is_empty() {
            return Err(MotifError {
                column: 1,
                what: "there is no note; write degrees such as 1 2 b3 5".to_owned(),
            });
        }
        Ok(Motif {
            text: text.split_whitespace().collect::<Vec<_>>().join(" "),
            notes,
            length,
        })
    }
}

/// Beats in twelfths: a whole number, a decimal one or a fraction, if it comes out even.
fn parts(beats: &str) -> Option<i64> {
    let parts = match beats.split_once('/') {
        Some((upper, lower)) => {
            let (upper, lower): (i64, i64) = (upper.parse().ok()?, lower.parse().ok()?);
            let parts = upper.checked_mul(PARTS)?;
            let even = (1..=PARTS).contains(&lower) && parts % lower == 0;
            even.then(|| parts / lower)?
        }
        None => {
            let (whole, after) = beats.split_once('.').unwrap_or((beats, ""));
            let whole: i64 = if whole.is_empty() {
                0
            } else {
                whole.parse().ok()?
            };
            let after = match after {
                "" | "0" => 0,
                "25" => 3,
                "5" | "50" => 6,
                "75" => 9,
                _ => return None,
            };
            whole.checked_mul(PARTS)? + after
        }
    };
    (1..=4 * PARTS).contains(&parts).then_some(parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn motifs_are_read() {
        let motif: Motif = "1 2  b3:1.5 5,:1/2".parse().unwrap();
        assert_eq!(motif.to_string(), "1 2 b3:1.5 5,:1/2");
        let places: Vec<i64> = motif.notes().iter().map(|note| note.at).collect();
        assert_eq!(places, [0, 12, 24, 42]);
        assert_eq!(motif.length(), 48);
        assert_eq!(motif.notes()[3].octave, -1);
        assert!(motif.note_at(24).is_some() && motif.note_at(36).is_none());
    }

    #[test]
    fn what_is_no_motif_is_told_with_its_column() {
        for (text, told) in [
            ("", "column 1: there is no note"),
            ("1 2 x 5", "column 5: \"x\" is not a degree"),
            ("1 b16", "column 3: \"b16\" is not a degree"),
            ("1 5:0", "column 3: \"0\" is not a length"),
            ("1:1/5", "column 1: \"1/5\" is not a length"),
            ("1:-1", "column 1: \"-1\" is not a length"),
            ("1:9999999999999999999", "column 1:"),
            ("1:9223372036854775807/3", "column 1:"),
            (
                "1 2 3 4 5 6 7 8 9",
                "column 17: a motif lasts 8 beats at most",
            ),
        ] {
            let error = text.parse::<Motif>().unwrap_err().to_string();
            assert!(error.starts_with(told), "{text}: {error}");
        }
    }
}
