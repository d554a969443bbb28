//! How a change is approached: the kinds in the proportions of players, both sides in use.

use super::{Taste, table::table};
use crate::rules::{Leads, Memory, Step};

table! {
    /// How a change of chord is approached.
    Approach {
        /// a semitone below the coming root
        chromatic_below = 11,
        /// a semitone above it
        chromatic_above = 12,
        /// a whole tone below it
        scale_below = 4,
        /// a whole tone above it
        scale_above = 5,
        /// a fourth below it
        dominant_below = 36,
        /// a fifth above it
        dominant_above = 22,
        /// a chord tone on a strong last beat that happens to lie a step away
        strong_by_step = 4,
    }
}

impl Taste for Approach {
    fn name(&self) -> &'static str {
        "approach"
    }

    fn memory_bits(&self) -> u32 {
        1
    }

    /// Remembers whether the last note stood in the last beat before a change.
    fn weigh(&self, leading: Memory, step: &Step<'_>) -> (u32, Memory) {
        if step.to.is_none() {
            return (1, leading);
        }
        let leads = Memory::from(step.onset.leads != Leads::Nowhere);
        let weight = match step.distance() {
            Some(distance) if step.onset.arrival && leading == 1 => match distance {
                1 => self.chromatic_below,
                -1 => self.chromatic_above,
                2 => self.scale_below,
                -2 => self.scale_above,
                5 => self.dominant_below,
                -7 => self.dominant_above,
                _ => 1,
            },
            // A strong last beat need not approach; a chord tone that does is preferred.
            Some(distance) if step.onset.arrival => match distance.abs() {
                1 | 2 => self.strong_by_step,
                _ => 1,
            },
            _ => 1,
        };
        (weight, leads)
    }
}
