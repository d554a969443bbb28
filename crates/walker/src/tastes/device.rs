//! Two-note approaches.

use super::{Taste, table::table};
use crate::{
    options::Level,
    rules::{Leads, Memory, Step, is_double_chromatic, is_enclosure},
};

table! {
    /// Two-note approaches, which level 5 adds.
    Device {
        /// two notes that surround the coming root
        enclosure = 127,
        /// two semitones in one direction into the coming root
        double_chromatic = 200,
        /// any other way into it
        single = 133,
    }
}

impl Device {
    /// Moves up to a major third are remembered exactly, wider ones not at all.
    fn remember(distance: i16) -> Memory {
        match distance.abs() {
            1..=4 => (distance + 8) as Memory,
            _ => 0,
        }
    }
}

impl Taste for Device {
    fn name(&self) -> &'static str {
        "device"
    }

    fn holds_at(&self, level: Level) -> bool {
        level.rung().pairs
    }

    fn memory_bits(&self) -> u32 {
        4
    }

    /// Remembers the move onto the last beat before a change, from which a pair may go on.
    fn weigh(&self, memory: Memory, step: &Step<'_>) -> (u32, Memory) {
        let Some(distance) = step.distance() else {
            return (1, if step.to.is_some() { 0 } else { memory });
        };
        let first = memory as i16 - 8;
        let weight = match () {
            _ if !step.onset.arrival => 1,
            _ if memory > 0 && is_double_chromatic(first, distance) => self.double_chromatic,
            _ if memory > 0 && is_enclosure(first, distance) => self.enclosure,
            _ => self.single,
        };
        let onto_last_beat = step.onset.leads != Leads::Nowhere && !step.onset.arrival;
        (
            weight,
            if onto_last_beat {
                Self::remember(distance)
            } else {
                0
            },
        )
    }
}
