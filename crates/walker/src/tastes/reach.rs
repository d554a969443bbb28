//! Near chord tones before far ones, where a line has nothing but chord tones.

use super::{Taste, table::table};
use crate::{
    options::Level,
    rules::{Memory, Step, Vocabulary},
};

table! {
    /// How far a walking line of chord tones reaches within a chord, which level 3 learns (common practice, no
    /// source): the next tone up or down before any other.
    Reach {
        /// the same note, or a step
        step = 500,
        /// a third
        third = 700,
        /// a fourth or a fifth
        fourth_or_fifth = 130,
        /// an octave
        octave = 500,
        /// a tritone, a sixth or a seventh
        other = 12,
    }
}

impl Taste for Reach {
    fn name(&self) -> &'static str {
        "reach"
    }

    fn holds_at(&self, level: Level) -> bool {
        let rung = level.rung();
        rung.vocabulary == Vocabulary::ChordTones && !rung.two_feel
    }

    fn weigh(&self, memory: Memory, step: &Step<'_>) -> (u32, Memory) {
        let weight = match step.distance() {
            Some(distance) if !step.onset.arrival => match distance.abs() {
                0..=2 => self.step,
                3 | 4 => self.third,
                5 | 7 => self.fourth_or_fifth,
                12 => self.octave,
                _ => self.other,
            },
            _ => 1,
        };
        (weight, memory)
    }
}
