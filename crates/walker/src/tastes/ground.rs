//! Where one chord lasts for bars, the line begins in it and comes home to it.

use super::{Taste, table::table};
use crate::rules::{Ground as Place, Onset};

table! {
    /// A chord that lasts four bars or more (common practice, no source).
    Ground of Grounds, 2 [
        /// In its first bar, after its arrival.
        opening
        /// On the first beat of every second bar after that.
        home
    ] {
        /// its root, or the written bass
        root = [1000 1000],
        /// its third or fifth
        near = [1000 420],
        /// another tone of the chord, or a note of its scale
        inside = [900 40],
        /// a note from outside
        outside = [90 10],
    }
}

impl Taste for Ground {
    fn name(&self) -> &'static str {
        "ground"
    }

    fn along(&self, onset: &Onset, key: u8) -> u32 {
        let rows = match onset.ground {
            Place::Elsewhere => return 1,
            Place::Opening => &self.opening,
            Place::Home => &self.home,
        };
        let above = onset.above_root(key);
        let near = matches!(above, 3 | 4) || key % 12 == onset.fifth;
        match onset.spells(key) {
            _ if above == 0 || onset.is_bass(key) => rows.root,
            true if near => rows.near,
            true => rows.inside,
            false if onset.scale.contains(key) => rows.inside,
            false => rows.outside,
        }
    }
}
