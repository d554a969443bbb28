//! Around the middle of the instrument, drifting back to it.

use super::{Taste, table::table};
use crate::rules::Onset;

table! {
    /// How far from the middle of the register, which rises and falls over four bars, a note may stray.
    Register {
        /// within a major third of the middle
        within_third = 6,
        /// within a fifth
        within_fifth = 5,
        /// within a seventh
        within_seventh = 3,
        /// beyond
        beyond = 1,
    }
}

impl Taste for Register {
    fn name(&self) -> &'static str {
        "register"
    }

    fn along(&self, onset: &Onset, key: u8) -> u32 {
        match key.abs_diff(onset.centre) {
            0..=4 => self.within_third,
            5..=7 => self.within_fifth,
            8..=10 => self.within_seventh,
            _ => self.beyond,
        }
    }
}
