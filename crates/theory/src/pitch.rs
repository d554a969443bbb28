//! Note names and pitches that keep their spelling.
//!
//! A [`NoteName`] is a letter with its sharps or flats; a [`Pitch`] is a note name in an octave. The
//! MIDI number is derived from the spelling, never the other way round, so that the seventh of Gb7 stays
//! Fb and does not turn into E.
//!
//! Octaves change between B and C, and middle C is C4, MIDI key 60 (scientific pitch notation; the octave
//! number of MIDI key 60 is not fixed by the MIDI standard; 4 is this project's choice).
//!
//! ```
//! use endpin_theory::Pitch;
//! let low_e: Pitch = "E1".parse().unwrap();
//! assert_eq!(low_e.midi(), 28); // the open E string of a double bass
//! ```

use std::{fmt, str::FromStr};

/// The seven letters, from C upwards as octaves are counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Letter {
    /// C
    C,
    /// D
    D,
    /// E
    E,
    /// F
    F,
    /// G
    G,
    /// A
    A,
    /// B
    B,
}

impl Letter {
    /// The letters in order from C.
    pub const ALL: [Letter; 7] = [
        Letter::C,
        Letter::D,
        Letter::E,
        Letter::F,
        Letter::G,
        Letter::A,
        Letter::B,
    ];

    /// The letters by rising fifths from F: the order in which sharps are added to a key signature, and flats
    /// from its end.
    pub const BY_FIFTHS: [Letter; 7] = [
        Letter::F,
        Letter::C,
        Letter::G,
        Letter::D,
        Letter::A,
        Letter::E,
        Letter::B,
    ];

    /// Steps above C, 0 to 6.
    pub fn index(self) -> i16 {
        self as i16
    }

    /// The letter `steps` above (or, if negative, below), octaves disregarded.
    pub fn up(self, steps: i16) -> Letter {
        Self::ALL[(self.index() + steps).rem_euclid(7) as usize]
    }

    /// Semitones of the natural note above C: the white keys.
    pub fn semitones(self) -> i16 {
        [0, 2, 4, 5, 7, 9, 11][self as usize]
    }

    fn from_char(c: char) -> Option<Letter> {
        Some(match c {
            'C' => Letter::C,
            'D' => Letter::D,
            'E' => Letter::E,
            'F' => Letter::F,
            'G' => Letter::G,
            'A' => Letter::A,
            'B' => Letter::B,
            _ => return None,
        })
    }
}

impl fmt::Display for Letter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self:?}")
    }
}

/// A spelled note without an octave, such as Bb or F#.
///
/// Names order by letter, then by alteration: an order for tables, not for sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NoteName {
    letter: Letter,
    alteration: i8,
}

impl NoteName {
    /// A letter raised (`alteration` > 0, in semitones) or lowered.
    pub fn new(letter: Letter, alteration: i8) -> Self {
        NoteName { letter, alteration }
    }

    /// The letter on which the note is written.
    pub fn letter(self) -> Letter {
        self.letter
    }

    /// Semitones of its sharps (positive) or flats (negative).
    pub fn alteration(self) -> i8 {
        self.alteration
    }

    /// The key of the octave that it sounds, 0 (C) to 11 (B).
    pub fn chroma(self) -> u8 {
        (self.letter.semitones() + i16::from(self.alteration)).rem_euclid(12) as u8
    }

    /// This name as the pitch that sounds the MIDI key `midi`, if it is one of this name's keys.
    pub fn at_midi(self, midi: i16) -> Option<Pitch> {
        let natural = midi - i16::from(self.alteration);
        (natural.rem_euclid(12) == self.letter.semitones()).then(|| Pitch {
            name: self,
            octave: (natural.div_euclid(12) - 1) as i8,
        })
    }

    /// Reads a name at the start of `text` and gives it with the rest; sharps and flats may be ASCII or
    /// Unicode, single or double.
    pub fn read(text: &str) -> Option<(NoteName, &str)> {
        let letter = Letter::from_char(text.chars().next()?)?;
        let mut rest = &text[1..];
        let mut alteration = 0i8;
        for (sign, value) in SIGNS {
            while let Some(after) = rest.strip_prefix(sign) {
                // One kind of sign only, and never more than a double one: `Bbb`, `F##`.
                if alteration != 0 && (alteration.signum() != value || alteration.abs() == 2) {
                    return Some((NoteName { letter, alteration }, rest));
                }
                alteration += value;
                rest = after;
            }
        }
        for (sign, value) in [("𝄫", -2), ("𝄪", 2)] {
            if let (0, Some(after)) = (alteration, rest.strip_prefix(sign)) {
                return Some((NoteName::new(letter, value), after));
            }
        }
        Some((NoteName { letter, alteration }, rest))
    }
}

const SIGNS: [(&str, i8); 4] = [("b", -1), ("♭", -1), ("#", 1), ("♯", 1)];

impl fmt::Display for NoteName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.alteration < 0 { "b" } else { "#" };
        let signs = sign.repeat(usize::from(self.alteration.unsigned_abs()));
        f.pad(&format!("{}{signs}", self.letter))
    }
}

/// Text that is no note name or pitch.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is not a {wanted}")]
pub struct PitchError {
    found: String,
    wanted: &'static str,
}

impl FromStr for NoteName {
    type Err = PitchError;

    fn from_str(text: &str) -> Result<Self, PitchError> {
        match NoteName::read(text) {
            Some((name, "")) => Ok(name),
            _ => Err(PitchError {
                found: text.to_owned(),
                wanted: "note name (a letter A to G with its sharps or flats, such as Bb or F#)",
            }),
        }
    }
}

/// A spelled note in an octave, such as Bb2.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Pitch {
    name: NoteName,
    octave: i8,
}

impl Pitch {
    /// The note `name` in `octave`; octaves are counted from C, and C4 is middle C.
    pub fn new(name: NoteName, octave: i8) -> Self {
        Pitch { name, octave }
    }

    /// The name without the octave.
    pub fn name(self) -> NoteName {
        self.name
    }

    /// The octave in which its letter stands: Cb4 and B3 sound the same key.
    pub fn octave(self) -> i8 {
        self.octave
    }

    /// The MIDI key it sounds; C4 is 60. Pitches beyond the MIDI range give numbers beyond 0 to 127.
    pub fn midi(self) -> i16 {
        (i16::from(self.octave) + 1) * 12
            + self.name.letter.semitones()
            + i16::from(self.name.alteration)
    }

    /// Steps of the staff above C0, for engraving and intervals.
    pub fn staff_step(self) -> i16 {
        i16::from(self.octave) * 7 + self.name.letter.index()
    }
}

impl fmt::Display for Pitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{}{}", self.name, self.octave))
    }
}

impl FromStr for Pitch {
    type Err = PitchError;

    fn from_str(text: &str) -> Result<Self, PitchError> {
        NoteName::read(text)
            .and_then(|(name, octave)| {
                let octave: i8 = octave.parse().ok()?;
                (-1..=9).contains(&octave).then_some(Pitch { name, octave })
            })
            .ok_or_else(|| PitchError {
                found: text.to_owned(),
                wanted: "pitch (a note name and an octave, such as E1 or Bb2; middle C is C4)",
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names_and_keys() {
        // Scientific pitch notation and MIDI key numbers: A4 is 69, middle C 60 (from memory).
        for (text, midi) in [
            ("C4", 60),
            ("A4", 69),
            ("E1", 28),
            ("G3", 55),
            ("Cb4", 59),
            ("B#3", 60),
            ("Fbb2", 39),
            ("C-1", 0),
            ("G9", 127),
        ] {
            let pitch: Pitch = text.parse().unwrap();
            assert_eq!(pitch.midi(), midi, "{text}");
            assert_eq!(pitch.to_string(), text);
        }
        assert_eq!("B♭".parse::<NoteName>(), "Bb".parse());
        assert_eq!("F𝄪".parse::<NoteName>(), "F##".parse());
        for bad in ["H", "", "b", "C#b", "Cbbb", "4", "🎵"] {
            assert!(bad.parse::<NoteName>().is_err(), "{bad}");
        }
        for bad in ["E", "E10", "E1x", "1"] {
            assert!(bad.parse::<Pitch>().is_err(), "{bad}");
        }
    }

    proptest! {
        #[test]
        fn a_name_finds_its_own_key(letter in 0usize..7, alteration in -2i8..=2, octave in -1i8..=9) {
            let pitch = Pitch::new(NoteName::new(Letter::ALL[letter], alteration), octave);
            prop_assert_eq!(pitch.name().at_midi(pitch.midi()), Some(pitch));
            prop_assert_eq!(i16::from(pitch.name().chroma()), pitch.midi().rem_euclid(12));
            prop_assert_eq!(pitch.to_string().parse::<Pitch>(), Ok(pitch));
        }
    }
}
