//! Keys and their signatures, around the circle of fifths.
//!
//! A fifth up adds a sharp or takes a flat away. Starting from C, which has neither:
//!
//! ```text
//! flats   7   6   5   4   3   2   1   0   1   2   3   4   5   6   7  sharps
//! major   Cb  Gb  Db  Ab  Eb  Bb  F   C   G   D   A   E   B   F#  C#
//! minor   Ab  Eb  Bb  F   C   G   D   A   E   B   F#  C#  G#  D#  A#
//! ```
//!
//! A minor key stands under its *relative* major, which has the same signature and lies a minor third above;
//! its *parallel* major has the same tonic and three sharps more. Neighbours on the circle share all notes but
//! one, which is why tunes modulate there first, and why [`crate::analysis`] counts the distance in fifths.
//! Three pairs of keys sound alike (Cb and B, Gb and F#, Db and C#); [`Key::simplest`] takes the one with
//! fewer signs.
//!
//! Sources: the thirty signatures, the notes and the relative keys are those of music21 (a test reads
//! `tests/reference/keysigs.csv`); that of Gb and F#, with six signs each, the flats are preferred is common
//! practice, no source.
//!
//! ```
//! use endpin_theory::Key;
//! let key: Key = "Bb minor".parse()?;
//! assert_eq!(key.signature(), -5);
//! assert_eq!(key.relative().to_string(), "Db");
//!
//! // A key that would have more than seven signs is read as its twin.
//! let read = Key::read("G#")?;
//! assert_eq!(read.key.to_string(), "Ab");
//! assert_eq!(read.word().unwrap(), "G# would have 8 sharps and has no signature; read as its twin, Ab");
//! # Ok::<(), endpin_theory::key::KeyError>(())
//! ```

use crate::{
    interval::Interval,
    pitch::{Letter, NoteName},
    scale::{Scale, ScaleKind},
};
use std::{fmt, str::FromStr};

/// Major or minor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mode {
    /// The major mode.
    Major,
    /// The minor mode.
    Minor,
}

/// A key: its tonic and mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key {
    /// The note it is named after.
    pub tonic: NoteName,
    /// Major or minor.
    pub mode: Mode,
}

/// Most sharps or flats of a key signature.
pub const MOST_SIGNS: i8 = 7;

/// Fifths above C of a note name: sharps of its major key if positive, flats if negative.
fn fifths(name: NoteName) -> i8 {
    let from_f = Letter::BY_FIFTHS
        .iter()
        .take_while(|&&letter| letter != name.letter());
    from_f.count() as i8 - 1 + 7 * name.alteration()
}

impl Key {
    /// The major key of this tonic.
    pub const fn major(tonic: NoteName) -> Key {
        Key {
            tonic,
            mode: Mode::Major,
        }
    }

    /// The minor key of this tonic.
    pub const fn minor(tonic: NoteName) -> Key {
        Key {
            tonic,
            mode: Mode::Minor,
        }
    }

    /// Sharps (positive) or flats (negative) of its signature; beyond 7 it is a key of theory only.
    pub fn signature(self) -> i8 {
        match self.mode {
            Mode::Major => fifths(self.tonic),
            Mode::Minor => fifths(self.tonic) - 3,
        }
    }

    /// The scale that its signature spells: major or natural minor.
    pub fn scale(self) -> Scale {
        let kind = match self.mode {
            Mode::Major => ScaleKind::Major,
            Mode::Minor => ScaleKind::Aeolian,
        };
        Scale::new(self.tonic, kind)
    }

    /// The seven notes of its signature, from the tonic up.
    pub fn notes(self) -> Vec<NoteName> {
        self.scale().notes()
    }

    /// The key of the other mode with the same signature.
    pub fn relative(self) -> Key {
        let minor_third = Interval::new(2, 3);
        match self.mode {
            Mode::Major => Key::minor(self.tonic + -minor_third),
            Mode::Minor => Key::major(self.tonic + minor_third),
        }
    }

    /// The thirty keys with up to seven signs, major before minor, from seven flats to seven sharps.
    pub fn all() -> impl Iterator<Item = Key> {
        [Mode::Major, Mode::Minor].into_iter().flat_map(|mode| {
            (-MOST_SIGNS..=MOST_SIGNS).map(move |signature| Key::with_signature(signature, mode))
        })
    }

    /// The key of this mode with so many sharps (positive) or flats (negative).
    pub fn with_signature(signature: i8, mode: Mode) -> Key {
        let fifths = signature + if mode == Mode::Minor { 3 } else { 0 };
        // Seven letters from F upwards by fifths, then the same with one sign more.
        let letter = Letter::BY_FIFTHS[(fifths + 1).rem_euclid(7) as usize];
        let tonic = NoteName::new(letter, (fifths + 1).div_euclid(7));
        Key { tonic, mode }
    }

    /// Reads a key; one that would have more than seven signs is read as its twin, the key of the same sound
    /// with the fewest.
    ///
    /// # Errors
    /// Text that is not a note name with perhaps a mode.
    pub fn read(text: &str) -> Result<ReadKey, KeyError> {
        let unknown = || KeyError::Unknown(text.chars().take(24).collect());
        let (tonic, rest) = NoteName::read(text.trim()).ok_or_else(unknown)?;
        let mode = match rest.trim_start() {
            "" | "M" => Mode::Major,
            "m" | "-" => Mode::Minor,
            word => match word.to_ascii_lowercase().as_str() {
                "major" | "maj" => Mode::Major,
                "minor" | "min" => Mode::Minor,
                _ => return Err(unknown()),
            },
        };
        let written = Key { tonic, mode };
        let twin = (written.signature().abs() > MOST_SIGNS).then_some(written);
        Ok(ReadKey {
            key: twin.map_or(written, Key::simplest),
            twin,
        })
    }

    /// The key of this sound with the fewest signs; of six flats and six sharps, the flats.
    pub fn simplest(self) -> Key {
        Key::all()
            .filter(|key| key.mode == self.mode && key.tonic.chroma() == self.tonic.chroma())
            .min_by_key(|key| key.signature().abs())
            .unwrap_or(self) // every sound of the octave has a key among the thirty
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.mode {
            Mode::Major => self.tonic.fmt(f),
            Mode::Minor => f.pad(&format!("{} minor", self.tonic)),
        }
    }
}

/// Text that is no key.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeyError {
    /// Not a note name with perhaps a mode.
    #[error("\"{0}\" is not a key; write a note and perhaps a mode, such as \"F\" or \"Bb minor\"")]
    Unknown(String),
}

/// A key as it was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ReadKey {
    /// The key to go by, with a signature of seven signs at most.
    pub key: Key,
    /// What was written, if that has no signature: the key's twin, which sounds the same.
    pub twin: Option<Key>,
}

impl ReadKey {
    /// A word for whoever wrote a key without a signature.
    pub fn word(self) -> Option<String> {
        let written = self.twin?;
        let signs = written.signature();
        let kind = if signs < 0 { "flats" } else { "sharps" };
        Some(format!(
            "{written} would have {} {kind} and has no signature; read as its twin, {}",
            signs.abs(),
            self.key
        ))
    }
}

impl FromStr for Key {
    type Err = KeyError;

    /// As [`Key::read`], without the word about a twin.
    fn from_str(text: &str) -> Result<Self, KeyError> {
        Key::read(text).map(|read| read.key)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_read_and_print_back() {
        assert_eq!(Key::all().count(), 30);
        for key in Key::all() {
            assert_eq!(key.to_string().parse(), Ok(key));
            assert_eq!(Key::with_signature(key.signature(), key.mode), key);
            assert_eq!(key.relative().relative(), key);
            assert_eq!(key.relative().signature(), key.signature());
        }
        for (text, key) in [
            ("Bbm", "Bb minor"),
            ("F# MINOR", "F# minor"),
            (" C major ", "C"),
            ("E♭", "Eb"),
            ("A-", "A minor"),
        ] {
            assert_eq!(text.parse::<Key>().unwrap().to_string(), key);
        }
    }

    #[test]
    fn keys_without_a_signature_are_read_as_their_twins() {
        for (text, key, word) in [
            (
                "G#",
                "Ab",
                "G# would have 8 sharps and has no signature; read as its twin, Ab",
            ),
            (
                "Db minor",
                "C# minor",
                "Db minor would have 8 flats and has no signature; read as its twin, C# minor",
            ),
            (
                "Fb minor",
                "E minor",
                "Fb minor would have 11 flats and has no signature; read as its twin, E minor",
            ),
        ] {
            let read = Key::read(text).unwrap();
            assert_eq!(read.key.to_string(), key);
            assert_eq!(read.word().unwrap(), word);
            assert_eq!(read.key.tonic.chroma(), read.twin.unwrap().tonic.chroma());
            assert_eq!(text.parse(), Ok(read.key));
        }
        assert_eq!(Key::read("Cb").unwrap().word(), None);
        for bad in ["", "H", "C dorian", "minor", "C#b"] {
            assert!(
                matches!(bad.parse::<Key>(), Err(KeyError::Unknown(_))),
                "{bad}"
            );
        }
    }

    #[test]
    fn the_fewest_signs() {
        for (key, simplest) in [
            ("C#", "Db"),
            ("Cb", "B"),
            ("F#", "Gb"),
            ("Ab minor", "G# minor"),
            ("D# minor", "Eb minor"),
        ] {
            let key: Key = key.parse().unwrap();
            assert_eq!(key.simplest().to_string(), simplest);
        }
    }
}
