//! Around the middle of the instrument, drifting where the line goes and back again.

use super::{Taste, table::table};
use crate::rules::Onset;

table! {
    /// How far above or below the middle of the register a note may stray.
    Register {
        /// a sixth or more above the middle
        far_above = 105,
        /// a major third to a fifth above it
        above = 200,
        /// within a minor third of it
        middle = 196,
        /// a major third to a fifth below it
        below = 171,
        /// a sixth or more below it
        far_below = 99,
    }
}

impl Taste for Register {
    fn name(&self) -> &'static str {
        "register"
    }

    fn along(&self, onset: &Onset, key: u8) -> u32 {
        match i16::from(key) - i16::from(onset.centre) {
            8.. => self.far_above,
            4.. => self.above,
            -3.. => self.middle,
            -7.. => self.below,
            _ => self.far_below,
        }
    }
}
