//! Notes that lead or pass, but stand hard against the chord while they do.

use super::{Taste, table::table};
use crate::rules::{Leads, Onset};

table! {
    /// How a note stands against the chord that sounds (common practice, no source): what leads by a semitone is
    /// heard as leading, what does not is heard as wrong where the scale has as good a way.
    Friction of Frictions, 2 [
        /// On any note but the last beat before a change.
        within
        /// On the last beat before a change.
        lead
    ] {
        /// it does not, or it leads into the change by a semitone
        none = [1000 1000],
        /// from outside chord and scale, without one of the clashes below
        outside = [1000 450],
        /// a semitone above the root
        above_root = [350 70],
        /// the major third over a minor chord
        other_third = [200 120],
        /// the plain fifth over a chord whose fifth is altered
        plain_fifth = [4 150],
    }
}

impl Taste for Friction {
    fn name(&self) -> &'static str {
        "friction"
    }

    fn along(&self, onset: &Onset, key: u8) -> u32 {
        let leads = onset.leads != Leads::Nowhere;
        let rows = if leads { &self.lead } else { &self.within };
        let semitone = |coming: u8| matches!((key % 12 + 12 - coming) % 12, 1 | 11);
        let above = onset.above_root(key);
        let has = |semitones: u8| onset.tones.contains(onset.root + semitones);
        let altered = onset.fifth != onset.root && !has(7);
        match above {
            _ if leads && onset.coming.is_some_and(semitone) => rows.none,
            _ if onset.spells(key) => rows.none,
            7 if altered => rows.plain_fifth,
            _ if onset.scale.contains(key) => rows.none,
            1 => rows.above_root,
            4 if has(3) => rows.other_third,
            _ => rows.outside,
        }
    }
}
