//! Feels: how the line moves, and how that changes from chorus to chorus.

use crate::did_you_mean;
use std::{fmt, str::FromStr};

/// How the line moves.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Feel {
    /// Walking quarters.
    #[default]
    Four,
    /// Half notes.
    Two,
    /// Neither walking nor two: held notes and gaps.
    Broken,
    /// One bass note held under moving chords.
    Pedal,
    /// Root and fifth, dotted quarter and eighth, straight.
    Bossa,
    /// Walking quarters with the last third of the triplet.
    Shuffle,
    /// As at half the tempo: half notes walk, the chords last as long.
    HalfTime,
    /// As at twice the tempo: eighths walk, the chords last as long.
    DoubleTime,
}

impl Feel {
    /// All feels, as charts and the command line name them.
    pub const ALL: [Feel; 8] = [
        Feel::Four,
        Feel::Two,
        Feel::Broken,
        Feel::Pedal,
        Feel::Bossa,
        Feel::Shuffle,
        Feel::HalfTime,
        Feel::DoubleTime,
    ];
}

impl fmt::Display for Feel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Feel::Four => "four",
            Feel::Two => "two",
            Feel::Broken => "broken",
            Feel::Pedal => "pedal",
            Feel::Bossa => "bossa",
            Feel::Shuffle => "shuffle",
            Feel::HalfTime => "half-time",
            Feel::DoubleTime => "double-time",
        })
    }
}

/// A word that names no feel.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a feel{near}; write four, two, broken, pedal, bossa, shuffle, half-time or double-time", near = did_you_mean(.0, Feel::ALL))]
pub struct FeelError(String);

impl FromStr for Feel {
    type Err = FeelError;

    fn from_str(text: &str) -> Result<Feel, FeelError> {
        Feel::ALL
            .into_iter()
            .find(|feel| feel.to_string() == text)
            .ok_or_else(|| FeelError(text.to_owned()))
    }
}

/// The feels of successive choruses, of which the last stays.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feels {
    first: Vec<Feel>,
    last: Feel,
}

impl Feels {
    /// Feels in the order of their choruses; none if there are none.
    pub fn new(mut feels: Vec<Feel>) -> Option<Feels> {
        let last = feels.pop()?;
        Some(Feels { first: feels, last })
    }

    /// The feel of a chorus, counted from 1.
    pub fn of_chorus(&self, number: u32) -> Feel {
        let index = number.saturating_sub(1) as usize;
        self.first.get(index).copied().unwrap_or(self.last)
    }

    /// The chorus, counted from 1, whose feel stays.
    pub fn settles_in(&self) -> u32 {
        self.first.len() as u32 + 1
    }

    /// All of them in order.
    pub fn all(&self) -> Vec<Feel> {
        self.first.iter().copied().chain([self.last]).collect()
    }

    /// One feel in place of all of them but pedals.
    pub(super) fn around_pedals(&self, feel: Feel) -> Feels {
        let around = |own: &Feel| match own {
            Feel::Pedal => Feel::Pedal,
            _ => feel,
        };
        Feels {
            first: self.first.iter().map(around).collect(),
            last: around(&self.last),
        }
    }
}

impl From<Feel> for Feels {
    fn from(feel: Feel) -> Feels {
        Feels {
            first: Vec::new(),
            last: feel,
        }
    }
}

impl Default for Feels {
    fn default() -> Feels {
        Feel::default().into()
    }
}

/// As a chart has them: `"four"` or `["two", "four"]`.
impl fmt::Display for Feels {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.first.is_empty() {
            return write!(f, "\"{}\"", self.last);
        }
        let feels: Vec<String> = self
            .all()
            .iter()
            .map(|feel| format!("\"{feel}\""))
            .collect();
        write!(f, "[{}]", feels.join(", "))
    }
}
