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
//! let error = "G#".parse::<Key>().unwrap_err();
//! assert_eq!(error.to_string(), "the key G# would have 8 signs; write Ab");
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
    /// A signature with more than seven signs.
    #[error("the key {found} would have {signs} signs; write {instead}")]
    TooManySigns {
        /// As read.
        found: Key,
        /// Signs of its signature.
        signs: i8,
        /// The same sound with fewer signs.
        instead: Key,
    },
}

impl FromStr for Key {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Self, KeyError> {
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
        let key = Key { tonic, mode };
        if key.signature().abs() > MOST_SIGNS {
            return Err(KeyError::TooManySigns {
                found: key,
                signs: key.signature().abs(),
                instead: key.simplest(),
            });
        }
        Ok(key)
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
    fn keys_out_of_reach_are_refused() {
        assert_eq!(
            "G#".parse::<Key>().unwrap_err().to_string(),
            "the key G# would have 8 signs; write Ab"
        );
        assert_eq!(
            "Fb minor".parse::<Key>().unwrap_err().to_string(),
            "the key Fb minor would have 11 signs; write E minor"
        );
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
