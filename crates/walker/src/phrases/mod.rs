//! Phrases: bars that come back, here and in the next chorus, moved, bent to other chords, turned round; and a
//! teacher's own motif.
//!
//! A `scheme` of a chorus is drawn first, from a stream of its own: which bars take up which, and how. The chorus is
//! then walked as ever, and each bar that takes up another is drawn once more, exactly by the same weights, among
//! those ways through it that follow the other's `figure` and leave all the rest of the chorus as it is. Where there
//! is no such way the bar stays as it was walked. So a scheme forbids no line, the rules are those of the lattice, a
//! chorus needs no other but the one before, and what is said of its phrases is found by comparing notes.

mod figure;
pub(crate) mod form;
pub(crate) mod likeness;
mod motif;
mod possible;
mod scheme;
mod take_up;
#[cfg(test)]
mod tests;

pub use likeness::{Likeness, Restated, Theme};
pub use motif::{Motif, MotifError};
pub(crate) use take_up::Phrased;

/// What is asked of the phrases of a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Phrases {
    /// Whether bars take up others, from level 4 on, where the line walks in four.
    pub on: bool,
    /// A motif to play wherever the rules let it, at any level.
    pub motif: Option<Motif>,
}

impl Phrases {
    /// None at all.
    pub const NONE: Phrases = Phrases {
        on: false,
        motif: None,
    };
}

impl Default for Phrases {
    fn default() -> Phrases {
        Phrases {
            on: true,
            motif: None,
        }
    }
}
