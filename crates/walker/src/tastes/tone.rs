//! Which notes of the harmony stand on which beat.

use super::{Taste, table::table};
use crate::rules::{Beat, Leads, Onset};

table! {
    /// Which notes of the harmony stand where.
    Tone of Degrees, 6 [
        /// On an arrival; without liberties only the root or the written bass stands there.
        arrival
        /// On a strong beat that is no arrival.
        strong
        /// On the weak beat after it.
        second
        /// On the other stressed beat.
        medium
        /// On the weak beat before a strong one.
        last
        /// On the last beat before a change of chord.
        lead
    ] {
        /// the root or the written bass
        root = [200 195 200 192 175 200],
        /// the third
        third = [23 39 135 145 156 133],
        /// the fifth
        fifth = [40 200 169 113 160 120],
        /// the seventh, or what the chord has in its place
        seventh = [10 20 39 51 58 69],
        /// a scale note just above the root
        second = [19 69 83 137 183 58],
        /// a scale note between third and fifth
        fourth = [19 32 15 110 71 56],
        /// a scale note between fifth and seventh
        sixth = [19 56 16 200 200 62],
        /// a note from outside chord and scale
        outside = [19 18 9 37 65 35],
    }
}

impl Degrees {
    fn weight(&self, onset: &Onset, key: u8) -> u32 {
        let above = onset.above_root(key);
        match onset.tones.contains(key) {
            _ if above == 0 || onset.is_bass(key) => self.root,
            true if key % 12 == onset.fifth => self.fifth,
            true if matches!(above, 3 | 4) => self.third,
            true => self.seventh,
            false if !onset.scale.contains(key) => self.outside,
            false => match above {
                1..=4 => self.second,
                5..=7 => self.fourth,
                8 | 9 => self.sixth,
                _ => self.seventh,
            },
        }
    }
}

impl Taste for Tone {
    fn name(&self) -> &'static str {
        "tone"
    }

    fn along(&self, onset: &Onset, key: u8) -> u32 {
        let degrees = match onset.beat {
            _ if onset.arrival => &self.arrival,
            _ if onset.leads != Leads::Nowhere => &self.lead,
            Beat::Strong => &self.strong,
            Beat::Second => &self.second,
            Beat::Medium => &self.medium,
            Beat::Last => &self.last,
        };
        degrees.weight(onset, key)
    }
}
