//! Which notes of the harmony stand where.

use super::{Taste, table::table};
use crate::rules::{Leads, Onset};

table! {
    /// Which notes of the harmony stand where, arrivals and approaches apart.
    Tone {
        /// the root on a strong beat
        strong_root = 6,
        /// the fifth on a strong beat
        strong_fifth = 8,
        /// another chord tone on a strong beat
        strong_other = 8,
        /// the root on a weak beat
        weak_root = 5,
        /// the fifth on a weak beat
        weak_fifth = 8,
        /// another chord tone on a weak beat
        weak_other = 8,
        /// a scale note on a weak beat
        weak_scale = 6,
        /// a note from outside on a weak beat
        weak_chromatic = 2,
        /// with loose arrivals: the root
        loose_root = 13,
        /// with loose arrivals: another chord tone
        loose_other = 1,
    }
}

impl Taste for Tone {
    fn name(&self) -> &'static str {
        "tone"
    }

    fn along(&self, onset: &Onset, key: u8) -> u32 {
        let chroma = key % 12;
        if onset.arrival && onset.loose {
            return match onset.is_bass(key) {
                true => self.loose_root,
                false => self.loose_other,
            };
        }
        if onset.arrival || onset.leads != Leads::Nowhere {
            return 1;
        }
        if !onset.tones.contains(key) {
            return match onset.scale.contains(key) {
                true => self.weak_scale,
                false => self.weak_chromatic,
            };
        }
        let [root, fifth, other] = match onset.stressed {
            true => [self.strong_root, self.strong_fifth, self.strong_other],
            false => [self.weak_root, self.weak_fifth, self.weak_other],
        };
        match chroma {
            _ if chroma == onset.root => root,
            _ if chroma == onset.fifth => fifth,
            _ => other,
        }
    }
}
