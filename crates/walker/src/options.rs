//! What a teacher asks of a line.

use crate::{
    instrument::{Hand, Instrument},
    phrases::Phrases,
    pins::{Avoid, BarBeat, Pin},
    rules::{Liberties, Shares, Vocabulary},
    tastes::Weights,
};
use endpin_theory::{Spelling, chart::Feel, did_you_mean};
use std::{fmt, str::FromStr};

/// A rung of the teacher's ladder, 1 to 6; each permits all that the ones below do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Level(u8);

/// What a level asks for.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Rung {
    /// What is new at it.
    words: &'static str,
    /// Whether it is two-feel of itself.
    pub two_feel: bool,
    /// What the line may use between arrivals and approaches.
    pub vocabulary: Vocabulary,
    /// Whether dominants approach, scale notes pass and notes lead into strong beats within a chord.
    pub walks: bool,
    /// Whether two notes may approach together.
    pub pairs: bool,
    /// Whether notes may stand between the beats.
    pub lively: bool,
}

const LADDER: [Rung; 6] = {
    let roots = Rung {
        words: "two-feel: roots and octaves, approached by step",
        two_feel: true,
        vocabulary: Vocabulary::Roots,
        walks: false,
        pairs: false,
        lively: false,
    };
    let fifths = Rung {
        words: "two-feel with the fifth",
        vocabulary: Vocabulary::Fifths,
        ..roots
    };
    let chord_tones = Rung {
        words: "walking: chord tones, approached by step",
        two_feel: false,
        vocabulary: Vocabulary::ChordTones,
        ..roots
    };
    let dominants = Rung {
        words: "dominant approaches, scale notes and runs",
        vocabulary: Vocabulary::Scale,
        walks: true,
        ..chord_tones
    };
    let pairs = Rung {
        words: "enclosures, double chromatics, octave shifts",
        pairs: true,
        ..dominants
    };
    let lively = Rung {
        words: "skips, drops and ghost notes",
        lively: true,
        ..pairs
    };
    [roots, fifths, chord_tones, dominants, pairs, lively]
};

impl Level {
    /// 2: two-feel with the fifth, the last that is two-feel of itself.
    pub const TWO_FEEL: Level = Level(2);
    /// 3: walking, chord tones with approaches by step.
    pub const CHORD_TONES: Level = Level(3);
    /// 4: dominant approaches, scale notes and runs.
    pub const DOMINANTS: Level = Level(4);
    /// The last level, which permits everything.
    pub const TOP: Level = Level(LADDER.len() as u8);

    /// The level as a number.
    pub fn number(self) -> u8 {
        self.0
    }

    /// What is new at this level, for help texts.
    pub fn words(self) -> &'static str {
        self.rung().words
    }

    /// Whether it is two-feel of itself.
    pub fn is_two_feel(self) -> bool {
        self.rung().two_feel
    }

    pub(crate) fn rung(self) -> &'static Rung {
        &LADDER[usize::from(self.0) - 1]
    }
}

/// No level.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a level; levels go from 1 to {top}", top = LADDER.len())]
pub struct LevelError(String);

impl TryFrom<u8> for Level {
    type Error = LevelError;

    fn try_from(number: u8) -> Result<Level, LevelError> {
        match number {
            1.. if number <= Level::TOP.0 => Ok(Level(number)),
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
#[error("\"{0}\" is not an arc{near}; write rise, wave or flat", near = did_you_mean(.0, Arc::ALL))]
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
    /// What the line may do against the plain rules after the first chorus. How often it does is a matter of
    /// weights: with the default ones about as often as players.
    pub loose: Liberties,
    /// How often it does instead, of a hundred places where it could; bars that take up others may move that by a few.
    pub shares: Shares,
    /// Bars that take up others.
    pub phrases: Phrases,
    /// Notes to play on given beats.
    pub pins: Vec<Pin>,
    /// Beats to rest on.
    pub rests: Vec<BarBeat>,
    /// Notes not to play.
    pub avoid: Vec<Avoid>,
    /// For whom its notes are named.
    pub spelling: Spelling,
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
            loose: Liberties::NONE,
            shares: Shares::default(),
            phrases: Phrases::default(),
            pins: Vec::new(),
            rests: Vec::new(),
            avoid: Vec::new(),
            spelling: Spelling::Reader,
        }
    }
}
