//! What a teacher asks of a line.

use crate::{
    instrument::{Hand, Instrument},
    pins::{Avoid, BarBeat, Pin},
    weights::Weights,
};
use endpin_theory::{chart::Feel, did_you_mean};
use std::{fmt, str::FromStr};

/// A rung of the teacher's ladder, 1 to 6; each permits all that the ones below do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Level(u8);

impl Level {
    /// 1: two-feel, roots and octaves with an approach by step.
    pub const ROOTS: Level = Level(1);
    /// 2: two-feel with the fifth.
    pub const FIFTHS: Level = Level(2);
    /// The last level that is two-feel of itself.
    pub const TWO_FEEL: Level = Level(2);
    /// 3: walking, chord tones with approaches by step.
    pub const CHORD_TONES: Level = Level(3);
    /// 4: dominant approaches, scale notes and runs.
    pub const DOMINANTS: Level = Level(4);
    /// 5: enclosures, double chromatics, octave shifts.
    pub const PAIRS: Level = Level(5);
    /// 6: skips, drops and ghost notes.
    pub const RHYTHM: Level = Level(6);

    /// The level as a number.
    pub fn number(self) -> u8 {
        self.0
    }

    /// What is new at this level, for help texts.
    pub fn words(self) -> &'static str {
        match self.0 {
            1 => "two-feel: roots and octaves, approached by step",
            2 => "two-feel with the fifth",
            3 => "walking: chord tones, approached by step",
            4 => "dominant approaches, scale notes and runs",
            5 => "enclosures, double chromatics, octave shifts",
            _ => "skips, drops and ghost notes",
        }
    }
}

/// No level.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no level; levels go from 1 to 6")]
pub struct LevelError(String);

impl TryFrom<u8> for Level {
    type Error = LevelError;

    fn try_from(number: u8) -> Result<Level, LevelError> {
        match number {
            1..=6 => Ok(Level(number)),
            _ => Err(LevelError(number.to_string())),
        }
    }
}

impl FromStr for Level {
    type Err = LevelError;

    fn from_str(text: &str) -> Result<Level, LevelError> {
        let number: u8 = text.parse().map_err(|_| LevelError(text.to_owned()))?;
        number.try_into().map_err(|_| LevelError(text.to_owned()))
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// How the line develops over several choruses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Arc {
    /// Every chorus alike.
    Flat,
    /// From plain and low to busy and high, and staying there.
    Rise,
    /// Up and down again, over and over.
    Wave,
}

impl Arc {
    /// All arcs.
    pub const ALL: [Arc; 3] = [Arc::Flat, Arc::Rise, Arc::Wave];
}

impl fmt::Display for Arc {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Arc::Flat => "flat",
            Arc::Rise => "rise",
            Arc::Wave => "wave",
        })
    }
}

/// No arc.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no arc{near}; write rise, wave or flat", near = did_you_mean(.0, Arc::ALL))]
pub struct ArcError(String);

impl FromStr for Arc {
    type Err = ArcError;

    fn from_str(text: &str) -> Result<Arc, ArcError> {
        Arc::ALL
            .into_iter()
            .find(|arc| arc.to_string() == text)
            .ok_or_else(|| ArcError(text.to_owned()))
    }
}

/// What is asked of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// The teacher's ladder.
    pub level: Level,
    /// A feel in place of the chart's own.
    pub feel: Option<Feel>,
    /// Lowest and highest MIDI key, both allowed.
    pub range: (u8, u8),
    /// What it is played on, and at what tempo.
    pub hand: Hand,
    /// The preferences.
    pub weights: Weights,
    /// How the choruses develop; none: later choruses are a little busier.
    pub arc: Option<Arc>,
    /// Whether arrivals after the first chorus may be other chord tones than the root: with the default
    /// weights about one in four is, as players do (see `tone.loose_root` in the table of weights).
    pub loose: bool,
    /// Notes to play on given beats.
    pub pins: Vec<Pin>,
    /// Beats to rest on.
    pub rests: Vec<BarBeat>,
    /// Notes not to play.
    pub avoid: Vec<Avoid>,
}

impl Default for Options {
    /// Level 4, the chart's feel, in the usual range of a bass.
    fn default() -> Options {
        Options {
            level: Level::DOMINANTS,
            feel: None,
            range: Instrument::BASS.range,
            hand: Hand::default(),
            weights: Weights::default(),
            arc: None,
            loose: false,
            pins: Vec::new(),
            rests: Vec::new(),
            avoid: Vec::new(),
        }
    }
}
