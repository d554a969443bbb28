//! Tastes, one file each with its table of weights: what makes one admissible line likelier than another.
//!
//! A taste reads a line as a rule does, but answers with a weight instead of a verdict. Weights are whole
//! numbers from 1 to 1000; the probability of a line is proportional to the product of all the weights along
//! it. No weight is 0, so no line that obeys the rules is impossible.

mod approach;
mod contour;
mod device;
mod friction;
mod ground;
mod motion;
mod reach;
mod register;
mod rhythm;
mod shape;
pub(crate) mod table;
mod tone;
mod weights;

pub use weights::{WEIGHT_RANGE, Weights, WeightsError};

use crate::{
    options::Level,
    rules::{Memory, Onset, Step},
};
use std::sync::Arc;

/// A preference among the lines that obey the rules.
///
/// It has two sides: how the line [moves](Taste::weigh), which it sees as distances from note to note and
/// beats, whatever the chord, so that one answer serves all chords; and where the notes
/// [lie](Taste::along), in the chord and in the register, each by itself.
pub trait Taste: std::fmt::Debug + Send + Sync {
    /// Its name, that of its part of the table of weights.
    fn name(&self) -> &'static str;

    /// Whether it has a say at a level.
    fn holds_at(&self, _level: Level) -> bool {
        true
    }

    /// How many bits it remembers.
    fn memory_bits(&self) -> u32 {
        0
    }

    /// Whether it has a say where a note may start or not; elsewhere every taste has.
    ///
    /// A note that need not be there would otherwise count for more, or for less, than silence only because
    /// it is weighed by more tables.
    fn weighs_options(&self) -> bool {
        false
    }

    /// Takes one step: its weight, and what to remember from here on. It may not look at the harmony.
    fn weigh(&self, memory: Memory, _step: &Step<'_>) -> (u32, Memory) {
        (1, memory)
    }

    /// The weight of a note by where it lies, whatever the line did before: in the chord, or in the register
    /// that the line should be in here.
    fn along(&self, _onset: &Onset, _key: u8) -> u32 {
        1
    }

    /// How many different statements it makes, 7 at most.
    fn statements(&self) -> u8 {
        0
    }

    /// What the step states for a later step to answer, from 1 on; 0 if it states nothing.
    ///
    /// Statements are remembered apart from all other memory, since most steps only carry them on. One taste
    /// of a level may make them.
    fn statement(&self, _memory: Memory, _step: &Step<'_>) -> u8 {
        0
    }

    /// The weight of a statement after the one before (0: there was none).
    fn answer(&self, _before: u8, _now: u8) -> u32 {
        1
    }
}

/// The tastes of a level, reading one table.
pub fn tastes(weights: &Weights, level: Level) -> Vec<Arc<dyn Taste>> {
    let mut tastes = weights.tastes();
    tastes.push(Arc::new(rhythm::Liveliness));
    tastes.retain(|taste| taste.holds_at(level));
    tastes
}
