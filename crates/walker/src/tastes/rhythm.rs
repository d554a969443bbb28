//! Where the line skips, drops, holds or goes on plainly.

use super::{Taste, table::table};
use crate::rules::{Leads, Memory, Onset, Sound, Step, Within};

table! {
    /// The life of the rhythm: level 6, and the feel `broken`.
    Rhythm {
        /// nothing between two beats
        plain = 280,
        /// an eighth note between two beats
        skip = 2,
        /// the same note again between two beats, as a ghost
        ghost = 8,
        /// two falling triplets
        drop = 1,
        /// in `broken`: holding the note over a beat
        hold = 250,
        /// in `broken`: striking on that beat
        strike = 3,
        /// in `two`: holding the note over the last beat before a change, without a pickup
        wait = 15000,
        /// times any of the lively ones soon after another: figures come in company
        again = 6,
    }
}

impl Rhythm {
    /// Nothing lively of late.
    const CALM: Memory = 0;
    /// Something lively since the last weak beat began.
    const HERE: Memory = 1;
    /// Something lively before that, and nothing yet since.
    const BEFORE: Memory = 2;

    /// What a beat that begins leaves of the memory.
    fn on_beat(memory: Memory, stressed: bool) -> Memory {
        match (memory, stressed) {
            (Self::HERE, true) => Self::HERE,
            (Self::HERE, false) => Self::BEFORE,
            _ => Self::CALM,
        }
    }
}

impl Taste for Rhythm {
    fn name(&self) -> &'static str {
        "rhythm"
    }

    fn memory_bits(&self) -> u32 {
        2
    }

    fn weighs_options(&self) -> bool {
        true
    }

    /// Remembers whether something lively was just played: a figure is answered, or goes on, and then the
    /// line walks plainly again for a while.
    fn weigh(&self, memory: Memory, step: &Step<'_>) -> (u32, Memory) {
        let onset = step.onset;
        let memory = match onset.within {
            Within::Beat => Self::on_beat(memory, onset.stressed),
            _ => memory,
        };
        if onset.sound != Sound::Option {
            return (1, memory);
        }
        let again = match memory {
            Self::CALM => 1,
            _ => self.again,
        };
        let distance = step.distance().map_or(0, i16::abs);
        let near = |weight: u32| match distance {
            0..=2 => weight * 2,
            3..=5 => weight,
            _ => 1,
        };
        let weight = match (onset.within, step.to) {
            (Within::Beat, Some(_)) => near(self.strike) * again,
            (Within::Beat, None) if onset.leads != Leads::Nowhere => self.wait,
            (Within::Beat, None) => self.hold,
            (Within::Eighth, Some(_)) if distance == 0 => self.ghost * again,
            (Within::Eighth, Some(_)) => near(self.skip) * again,
            (Within::SecondTriplet, Some(_)) => self.drop * again,
            (Within::ThirdTriplet, Some(_)) => 1,
            (_, None) => self.plain,
        };
        let lively = step.to.is_some();
        (weight, if lively { Self::HERE } else { memory })
    }

    /// Choruses and bars that should be lively make every lively note likelier.
    fn along(&self, onset: &Onset, _key: u8) -> u32 {
        let begins = onset.sound == Sound::Option && onset.within != Within::ThirdTriplet;
        1 + if begins { u32::from(onset.busy) } else { 0 }
    }
}
