//! Where the line skips, drops, holds or goes on plainly.

use super::{Taste, table::table};
use crate::rules::{Leads, Memory, Onset, Sound, Step, Within};

table! {
    /// The life of the rhythm: level 6, and the feel `broken`. Figures come in company: what is lively has
    /// another weight soon after something lively.
    Rhythm {
        /// nothing between two beats
        plain = 1000,
        /// an eighth note between two beats, a step away at most
        skip_step = 9,
        /// the same, a third away
        skip_third = 4,
        /// the same, farther away
        skip_leap = 1,
        /// an eighth note within a third, soon after another
        skip_again = 50,
        /// the same note again between two beats, as a ghost
        ghost = 36,
        /// the same, soon after something lively
        ghost_again = 200,
        /// two falling triplets
        drop = 7,
        /// the same, soon after something lively
        drop_again = 20,
        /// in `broken`: holding the note over a beat
        hold = 250,
        /// in `two`: holding the note over the last beat before a change, without a pickup
        wait = 1000,
        /// in `two`: a pickup there
        pickup = 2,
        /// in `broken`: striking on that beat, a step away at most
        strike_step = 6,
        /// the same, a third or a fourth away
        strike_third = 3,
        /// the same, farther away
        strike_leap = 1,
        /// striking within a fourth, soon after something lively
        strike_again = 27,
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
        let again = memory != Self::CALM;
        let distance = step.distance().map_or(0, i16::abs);
        let near = |rows: [u32; 4], far: i16| match distance {
            far_off if far_off >= far => rows[2],
            _ if again => rows[3],
            3.. => rows[1],
            _ => rows[0],
        };
        let strike = [
            self.strike_step,
            self.strike_third,
            self.strike_leap,
            self.strike_again,
        ];
        let skip = [
            self.skip_step,
            self.skip_third,
            self.skip_leap,
            self.skip_again,
        ];
        let weight = match (onset.within, step.to) {
            (Within::Beat, Some(_)) if onset.leads != Leads::Nowhere => self.pickup,
            (Within::Beat, Some(_)) => near(strike, 6),
            (Within::Beat, None) if onset.leads != Leads::Nowhere => self.wait,
            (Within::Beat, None) => self.hold,
            (Within::Eighth, Some(_)) if distance == 0 && again => self.ghost_again,
            (Within::Eighth, Some(_)) if distance == 0 => self.ghost,
            (Within::Eighth, Some(_)) => near(skip, 5),
            (Within::SecondTriplet, Some(_)) if again => self.drop_again,
            (Within::SecondTriplet, Some(_)) => self.drop,
            (Within::Eighth | Within::SecondTriplet, None) => self.plain,
            // What began to fall goes on falling.
            (Within::ThirdTriplet, _) => 1,
        };
        let lively = step.to.is_some();
        (weight, if lively { Self::HERE } else { memory })
    }
}

/// Choruses and bars that should be lively make every lively note likelier; it has no table.
#[derive(Debug)]
pub(super) struct Liveliness;

impl Taste for Liveliness {
    fn name(&self) -> &'static str {
        "liveliness"
    }

    fn weighs_options(&self) -> bool {
        true
    }

    fn along(&self, onset: &Onset, _key: u8) -> u32 {
        let begins = onset.sound == Sound::Option && onset.within != Within::ThirdTriplet;
        1 + if begins { u32::from(onset.busy) } else { 0 }
    }
}
