//! A bar is answered with another bar: its first move differs from that of the bar before.

use super::{Taste, table::table};
use crate::rules::{Memory, Step, Within};

table! {
    /// A bar is answered with another bar.
    Shape {
        /// the bar sets off as the bar before did
        as_before = 200,
        /// it sets off in another way
        otherwise = 110,
    }
}

impl Taste for Shape {
    fn name(&self) -> &'static str {
        "shape"
    }

    fn memory_bits(&self) -> u32 {
        1
    }

    /// Remembers whether a bar has just opened.
    fn weigh(&self, opened: Memory, step: &Step<'_>) -> (u32, Memory) {
        if step.to.is_none() {
            return (1, opened);
        }
        let opens = step.onset.opens_bar && step.onset.within == Within::Beat;
        (1, opens.into())
    }

    fn statements(&self) -> u8 {
        5
    }

    /// States how a bar sets off: up or down, by step or skip, or on the same note.
    fn statement(&self, opened: Memory, step: &Step<'_>) -> u8 {
        match step.distance() {
            Some(distance) if opened == 1 => match distance {
                0 => 5,
                1 | 2 => 1,
                3.. => 2,
                -2 | -1 => 3,
                _ => 4,
            },
            _ => 0,
        }
    }

    fn answer(&self, before: u8, now: u8) -> u32 {
        match before == now {
            true => self.as_before,
            false => self.otherwise,
        }
    }
}
