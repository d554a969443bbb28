//! Long arcs rather than see-sawing on two notes.

use super::{Taste, table::table};
use crate::rules::{Memory, Step, Within};

table! {
    /// How a move follows the move before.
    Contour {
        /// going on in the same direction by step or third; staying on a note, and leaving it again
        onward = 100,
        /// the same, after three moves that way
        onward_late = 200,
        /// going on in the same direction by a leap
        leap_onward = 76,
        /// going on in the same direction after a leap
        onward_after_leap = 62,
        /// turning round after a leap
        turn_after_leap = 133,
        /// turning round after two moves or more
        turn = 152,
        /// turning round at once
        turn_early = 63,
        /// turning straight back to the note before, by a third at most
        back_and_forth = 61,
        /// one leap after another the other way
        leap_back = 124,
    }
}

impl Contour {
    /// A move as it is remembered: up to a major third exactly, beyond that only its direction.
    fn class(distance: i16) -> i16 {
        distance.clamp(-5, 5)
    }

    fn pack(distance: i16, run: u32) -> Memory {
        // After a leap nobody asks how many moves went the same way.
        let run = if distance.abs() >= 5 { 0 } else { run };
        (Self::class(distance) + 6) as Memory | run << 4
    }
}

impl Taste for Contour {
    fn name(&self) -> &'static str {
        "contour"
    }

    fn memory_bits(&self) -> u32 {
        6
    }

    /// Remembers the last move, and how many moves have gone the same way (up to 3).
    fn weigh(&self, memory: Memory, step: &Step<'_>) -> (u32, Memory) {
        let Some(distance) = step.distance() else {
            return (1, if step.to.is_some() { 0 } else { memory });
        };
        // A ghost is no move.
        if distance == 0 && step.onset.within != Within::Beat {
            return (1, memory);
        }
        if memory == 0 {
            return (1, Self::pack(distance, 0));
        }
        let last = (memory & 15) as i16 - 6;
        let run = memory >> 4;
        let leapt = last.abs() == 5;
        let onward = last.signum() == distance.signum();
        let weight = match (onward, leapt) {
            _ if distance == 0 || last == 0 => self.onward,
            (true, true) => self.onward_after_leap,
            (true, false) if distance.abs() > 4 => self.leap_onward,
            (true, false) => {
                [self.onward, self.onward, self.onward_late, self.onward_late][run.min(3) as usize]
            }
            (false, true) if distance.abs() >= 5 => self.leap_back,
            (false, _) if distance == -last => self.back_and_forth,
            (false, true) => self.turn_after_leap,
            (false, false) if run == 0 => self.turn_early,
            (false, false) => self.turn,
        };
        let run = if onward { (run + 1).min(2) } else { 0 };
        (weight, Self::pack(distance, run))
    }
}
