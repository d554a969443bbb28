//! How a change is approached: the kinds in the proportions of players, both sides in use.

use super::{Taste, table::table};
use crate::rules::{Leads, Memory, Sound, Step};

table! {
    /// How the last beat before a change of chord moves onto its arrival.
    Approach {
        /// a semitone below the coming note
        chromatic_below = 128,
        /// a semitone above it
        chromatic_above = 200,
        /// a whole tone below it
        scale_below = 56,
        /// a whole tone above it
        scale_above = 87,
        /// a fourth below it
        dominant_below = 46,
        /// a fifth above it
        dominant_above = 31,
        /// with liberties: the same note, held over by striking it again
        same = 48,
        /// with liberties: from anywhere else within a fifth
        otherwise = 22,
        /// with liberties: by a wider leap
        leap = 4,
    }
}

impl Taste for Approach {
    fn name(&self) -> &'static str {
        "approach"
    }

    fn memory_bits(&self) -> u32 {
        1
    }

    /// Remembers whether the last beat before a change has come.
    fn weigh(&self, leading: Memory, step: &Step<'_>) -> (u32, Memory) {
        let leads: Memory = (step.onset.leads != Leads::Nowhere).into();
        if step.to.is_none() {
            // A pickup that is not played has its say too, or it would count for less than one that is.
            let option = step.onset.sound == Sound::Option;
            return (1, if option { leading | leads } else { leading });
        }
        let weight = match step.distance() {
            Some(distance) if step.onset.arrival && leading == 1 => match distance {
                0 => self.same,
                1 => self.chromatic_below,
                -1 => self.chromatic_above,
                2 => self.scale_below,
                -2 => self.scale_above,
                5 => self.dominant_below,
                -7 => self.dominant_above,
                -6..=7 => self.otherwise,
                _ => self.leap,
            },
            _ => 1,
        };
        (weight, leads)
    }
}
