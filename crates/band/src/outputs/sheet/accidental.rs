//! Which accidentals a reader needs: those that change what the bar has said so far, and courtesy ones
//! where the eye still remembers another sign.
//!
//! An accidental holds for its line or space to the end of the bar (common practice, no source). A courtesy
//! accidental, in parentheses, stands where the same line or space had another sign in the bar before, or the
//! same letter in another octave of this bar, the first time only: elsewhere it would be noise (E. Gould,
//! *Behind Bars*, 2011, on cautionary accidentals; from memory).

use endpin_theory::{Letter, Pitch};
use std::collections::BTreeMap;

/// A sign in front of a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sign {
    /// Semitones that it says: -2 to 2, 0 is a natural.
    pub alteration: i8,
    /// Whether it only reminds.
    pub courtesy: bool,
}

/// Reads along bar by bar and says which signs are needed.
#[derive(Debug)]
pub struct Accidentals {
    signature: i8,
    /// Signs in force in this bar, by letter and octave.
    here: BTreeMap<(Letter, i8), i8>,
    /// Signs last seen in the bar before, by letter and octave.
    before: BTreeMap<(Letter, i8), i8>,
}

/// The alteration that a signature (sharps positive, flats negative) gives a letter.
pub fn signed(signature: i8, letter: Letter) -> i8 {
    let count = usize::from(signature.unsigned_abs()).min(7);
    match signature {
        1.. if Letter::BY_FIFTHS[..count].contains(&letter) => 1,
        ..=-1 if Letter::BY_FIFTHS[7 - count..].contains(&letter) => -1,
        _ => 0,
    }
}

impl Accidentals {
    /// At the start of a piece with this signature: sharps positive, flats negative.
    pub fn new(signature: i8) -> Self {
        Accidentals {
            signature,
            here: BTreeMap::new(),
            before: BTreeMap::new(),
        }
    }

    /// Goes on under another signature.
    pub fn start(&mut self, signature: i8) {
        self.signature = signature;
    }

    /// Crosses a bar line.
    pub fn next_bar(&mut self) {
        self.before = std::mem::take(&mut self.here);
    }

    /// The sign that the next note of this bar needs, if any.
    pub fn next(&mut self, pitch: Pitch) -> Option<Sign> {
        let (letter, alteration) = (pitch.name().letter(), pitch.name().alteration());
        let plain = signed(self.signature, letter);
        let place = (letter, pitch.octave());
        let in_force = self.here.get(&place).copied().unwrap_or(plain);
        let is_first = !self.here.contains_key(&place);
        let elsewhere = self.here.iter().any(|(&(other, octave), &sign)| {
            other == letter && octave != pitch.octave() && sign != alteration
        });
        let remembered = self
            .before
            .get(&place)
            .is_some_and(|&sign| sign != alteration);
        self.here.insert(place, alteration);
        if in_force != alteration {
            return Some(Sign {
                alteration,
                courtesy: false,
            });
        }
        (is_first && (elsewhere || remembered)).then_some(Sign {
            alteration,
            courtesy: true,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Notes of bars, `|` between them; the result marks each with its sign, courtesy in parentheses.
    fn read(signature: i8, notes: &str) -> String {
        let mut state = Accidentals::new(signature);
        let shown = notes.split_whitespace().map(|text| {
            if text == "|" {
                state.next_bar();
                return "|".to_owned();
            }
            let pitch: Pitch = text.parse().unwrap();
            match state.next(pitch) {
                None => ".".to_owned(),
                Some(Sign {
                    alteration,
                    courtesy: true,
                }) => format!("({alteration})"),
                Some(Sign { alteration, .. }) => alteration.to_string(),
            }
        });
        shown.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn signs_hold_for_their_bar() {
        for (signature, notes, wanted) in [
            (0, "C2 E2 G2 B2", ". . . ."),
            (0, "Eb2 Eb2 E2 | E2", "-1 . 0 | ."),
            (-1, "Bb2 B2 | Bb2", ". 0 | (-1)"),
            (0, "F#2 F3 | F2", "1 (0) | (0)"),
            (0, "F#2 | F3", "1 | ."),
            (0, "F#2 F3 F3", "1 (0) ."),
            (2, "F#2 C#3 C3 | C#3 C#3", ". . 0 | (1) ."),
            (-6, "Cb3 Fb2 F2", ". -1 0"),
            (0, "Bbb2 Bb2", "-2 -1"),
        ] {
            assert_eq!(read(signature, notes), wanted, "{signature}: {notes}");
        }
    }

    #[test]
    fn signatures_add_signs_in_order() {
        assert_eq!(signed(1, Letter::F), 1);
        assert_eq!(signed(1, Letter::C), 0);
        assert_eq!(signed(-1, Letter::B), -1);
        assert_eq!(signed(-2, Letter::E), -1);
        assert_eq!(signed(-2, Letter::A), 0);
        for letter in Letter::ALL {
            assert_eq!(signed(7, letter), 1);
            assert_eq!(signed(-7, letter), -1);
        }
    }
}
