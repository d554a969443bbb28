//! Steps over leaps.

use super::{Taste, table::table};
use crate::rules::{Memory, Step};

table! {
    /// How far one note stands from the next.
    Motion {
        /// the same note again
        repeated = 3,
        /// a semitone
        semitone = 12,
        /// a whole tone
        whole_tone = 15,
        /// a minor or major third
        third = 9,
        /// a fourth
        fourth = 9,
        /// a tritone
        tritone = 4,
        /// a fifth
        fifth = 7,
        /// a sixth or a seventh
        sixth_or_seventh = 4,
        /// an octave
        octave = 6,
    }
}

impl Taste for Motion {
    fn name(&self) -> &'static str {
        "motion"
    }

    fn weigh(&self, _: Memory, step: &Step<'_>) -> (u32, Memory) {
        let Some(distance) = step.distance() else {
            return (1, 0);
        };
        let weight = match distance.abs() {
            0 => self.repeated,
            1 => self.semitone,
            2 => self.whole_tone,
            3 | 4 => self.third,
            5 => self.fourth,
            6 => self.tritone,
            7 => self.fifth,
            12 => self.octave,
            _ => self.sixth_or_seventh,
        };
        (weight, 0)
    }
}
