//! Chord symbols: reading, spelling and printing.
//!
//! A symbol is a root, a quality and perhaps a slash bass. The quality is read by a grammar, whatever its
//! order and notation, into the set of degrees that it stands for; those are spelled from the root, so that
//! the seventh of Gb7 is Fb; and one house spelling is printed from the degrees.
//!
//! ## How a symbol is built
//!
//! | piece | means | also written |
//! |---|---|---|
//! | nothing | major triad: 1 3 5 | `maj`, `M` |
//! | `m` | minor triad: 1 b3 5 | `min`, `mi`, `-` |
//! | `dim` | 1 b3 b5; with 7 the diminished seventh, bb7 | `°`, `o` |
//! | `aug` | 1 3 #5 | `+` |
//! | `m7b5` | the half-diminished chord: 1 b3 b5 b7 | `ø`, `ø7`, `-7b5` |
//! | `6`, `69` | the sixth added, and the ninth | `6/9` |
//! | `7 9 11 13` | thirds stacked on the triad, up to that number, over a minor seventh | |
//! | `maj7`, `maj9`, … | the same over a major seventh | `M7`, `ma7`, `Δ`, `^7` |
//! | `b5 #5 b9 #9 #11 b13` | the tone altered, in the place of the plain one | `-5 +5 …`; in parentheses, after commas |
//! | `sus4`, `sus2` | the fourth or second for the third | `sus` |
//! | `add9`, … | that tone and nothing below it | `2`, `(9)` |
//! | `no3`, `no5` | that tone left out | `omit3` |
//! | `7alt` | both fifths and both ninths altered | `alt` |
//! | `/G` | another bass; it does not become a chord tone | |
//!
//! Case matters in `M` and `m` only. A root takes every sign that it can: `Cb9` is a ninth chord on Cb, and
//! the other is written `C(b9)` or `C7b9`.
//!
//! Sources: tones and spelling of about fifteen hundred symbols are those on which tonal, chord-symbol,
//! music21, pychord, mingus and teoria agree (a test reads `tests/reference/chords.csv` and
//! `more_chords.csv`); which tones spell a chord, the seam, and the notations
//! are common practice, no source.
//!
//! ```
//! use endpin_theory::Chord;
//! let chord: Chord = "C-7(b5)".parse()?;
//! assert_eq!(chord.to_string(), "Cm7b5");
//! let tones: Vec<String> = chord.tones().iter().map(|(degree, name)| format!("{degree}={name}")).collect();
//! assert_eq!(tones.join(" "), "1=C b3=Eb b5=Gb b7=Bb");
//!
//! let error = "Cmaj77".parse::<Chord>().unwrap_err();
//! assert_eq!((error.column(), error.suggestion()), (6, Some("Cmaj7")));
//! # Ok::<(), endpin_theory::chord::ChordError>(())
//! ```
//!
#![doc = include_str!("disputed.md")]

mod draft;
mod error;
mod print;
mod quality;
mod read;
mod suspension;

pub use error::{ChordError, ChordProblem};

use crate::{
    interval::{Degree, Interval},
    pitch::NoteName,
};
use quality::*;
use std::{fmt, str::FromStr};

/// A chord as its symbol states it. Two symbols that stand for the same degrees on the same root, over the
/// same bass, are equal chords: `C-7` and `Cm7`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Chord {
    root: NoteName,
    quality: Quality,
    slash: Option<NoteName>,
}

/// The part that a chord tone plays: what a line may rest on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Part {
    /// The root.
    Root,
    /// The third, major or minor.
    Third,
    /// The fourth of a suspended chord.
    Fourth,
    /// The fifth as the symbol alters it; an altered dominant has two.
    Fifth,
    /// The sixth of a sixth chord.
    Sixth,
    /// The seventh.
    Seventh,
}

/// A tone that spells the chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ChordTone {
    /// What it is to the chord.
    pub part: Part,
    /// Its degree above the root.
    pub degree: Degree,
    /// Its spelling.
    pub name: NoteName,
}

/// The large families of chords, by third, fifth and seventh.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Family {
    /// Major third, no minor seventh: triads, sixth and major seventh chords.
    Major,
    /// Minor third and a fifth that is not flat.
    Minor,
    /// Major (or omitted) third and minor seventh, altered or not.
    Dominant,
    /// A fourth or second in the place of the third.
    Suspended,
    /// Minor third, flat fifth, minor seventh.
    HalfDiminished,
    /// Minor third, flat fifth and a diminished, a major or no seventh.
    Diminished,
    /// Major third and sharp fifth without a minor seventh.
    Augmented,
    /// Neither third nor seventh.
    Open,
}

impl Chord {
    /// The root as written.
    pub fn root(&self) -> NoteName {
        self.root
    }

    /// The bass written after a slash, if any; a bass equal to the root is none.
    pub fn slash(&self) -> Option<NoteName> {
        self.slash
    }

    /// The note that the symbol puts in the bass: the slash bass, else the root.
    pub fn bass(&self) -> NoteName {
        self.slash.unwrap_or(self.root)
    }

    /// Every tone of the symbol with its degree, the root first and then by degree; without the slash bass.
    pub fn tones(&self) -> Vec<(Degree, NoteName)> {
        self.quality
            .degrees()
            .map(|degree| (degree, self.root + degree.interval()))
            .collect()
    }

    /// The tones that spell the chord: root, third (or the fourth of a suspended chord),
    /// fifth or both altered fifths, sixth of a sixth chord, seventh. A suspended second is the chord's
    /// ninth, hence none of them.
    pub fn chord_tones(&self) -> Vec<ChordTone> {
        let fourth = match self.quality.third() {
            None if !self.quality.has(FOURTH) => ELEVENTH,
            _ => FOURTH,
        };
        self.tones()
            .into_iter()
            .filter_map(|(degree, name)| {
                let part = match degree.number() {
                    1 => Part::Root,
                    3 => Part::Third,
                    5 => Part::Fifth,
                    6 => Part::Sixth,
                    7 => Part::Seventh,
                    _ if degree == fourth => Part::Fourth,
                    _ => return None,
                };
                Some(ChordTone { part, degree, name })
            })
            .collect()
    }

    /// Semitones from the root to the seam: the chord's own seventh; for sixth chords 9;
    /// for suspended and open chords 10; for triads without a seventh 11 if major or augmented, 10 if minor,
    /// 9 if diminished.
    pub fn seventh(&self) -> u8 {
        if let Some(seventh) = self.quality.seventh() {
            return seventh.interval().semitones() as u8;
        }
        match self.family() {
            _ if self.quality.has(SIXTH) => 9,
            Family::Diminished => 9,
            Family::Major | Family::Augmented => 11,
            _ => 10,
        }
    }

    /// Whether it is a dominant: a minor seventh over a major (or left-out) third. Suspended chords are not.
    pub fn is_dominant(&self) -> bool {
        self.family() == Family::Dominant
    }

    /// Whether it has this degree: `chord.has("b9".parse()?)`.
    pub fn has(&self, degree: Degree) -> bool {
        self.quality.has(degree)
    }

    /// Its family.
    pub fn family(&self) -> Family {
        let quality = &self.quality;
        let flat_fifth = quality.fifth_is(FLAT_FIFTH);
        let sharp_fifth = quality.fifth_is(SHARP_FIFTH);
        let minor_seventh = quality.has(MINOR_SEVENTH);
        match quality.third() {
            Some(MINOR_THIRD) if flat_fifth && minor_seventh => Family::HalfDiminished,
            Some(MINOR_THIRD) if flat_fifth && !quality.has(SIXTH) => Family::Diminished,
            Some(MINOR_THIRD) => Family::Minor,
            _ if quality.is_suspended() => Family::Suspended,
            _ if minor_seventh => Family::Dominant,
            Some(_) if sharp_fifth => Family::Augmented,
            Some(_) => Family::Major,
            None if quality.seventh().is_some() || quality.has(SIXTH) => Family::Major,
            None => Family::Open,
        }
    }

    /// Moved by an interval, spelling kept: up and down again is the same chord.
    pub fn transposed(&self, interval: Interval) -> Chord {
        self.with_names(self.root + interval, self.slash.map(|name| name + interval))
    }

    /// The same quality on another root and slash bass.
    pub fn with_names(&self, root: NoteName, slash: Option<NoteName>) -> Chord {
        Chord {
            root,
            quality: self.quality,
            slash: slash.filter(|&bass| bass != root),
        }
    }

    /// The house spelling of its quality alone, such as `m7b5`.
    pub fn suffix(&self) -> String {
        self.quality.to_string()
    }
}

impl fmt::Display for Chord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let slash = self.slash.map_or(String::new(), |bass| format!("/{bass}"));
        f.pad(&format!("{}{}{slash}", self.root, self.quality))
    }
}

impl FromStr for Chord {
    type Err = ChordError;

    fn from_str(symbol: &str) -> Result<Self, ChordError> {
        let (root, quality, slash) = read::read(symbol)?;
        Ok(Chord {
            root,
            quality,
            slash: slash.filter(|&bass| bass != root),
        })
    }
}

#[cfg(test)]
mod tests;
