//! The exact law of small walkers, by listing every line: what the sampler is held against.

use crate::walker::Walker;
use std::collections::BTreeMap;

/// More lines than this from one starting root are not listed.
const MOST: usize = 1_000_000;

impl Walker {
    /// Every line of the first chorus (the key of each of its places) with its probability; empty if there
    /// are more than a million.
    ///
    /// Probabilities come from listing all lines, not from the sums that the sampler uses.
    pub fn law(&self) -> BTreeMap<Vec<u8>, f64> {
        let mut law: BTreeMap<Vec<u8>, f64> = BTreeMap::new();
        for (entry, beginning) in self.beginnings.iter().enumerate() {
            for (keys, _, weight) in self.lines_from(0, entry) {
                if *beginning > 0.0 {
                    *law.entry(keys).or_default() += beginning * weight;
                }
            }
        }
        normalise(&mut law);
        law
    }

    /// Probability of each key on which chorus `number` (from 1) may begin.
    pub fn law_of_starts(&self, number: u32) -> BTreeMap<u8, f64> {
        let mut law: BTreeMap<usize, f64> = BTreeMap::new();
        for (entry, beginning) in self.beginnings.iter().enumerate() {
            let lines = self.lines_from(0, entry);
            let total: f64 = lines.iter().map(|(_, _, weight)| weight).sum();
            law.insert(entry, beginning * total);
        }
        normalise(&mut law);
        for chorus in 1..u64::from(number) {
            let turn = self.plan.turn_of(chorus - 1);
            let mut next: BTreeMap<usize, f64> = BTreeMap::new();
            for (entry, probability) in law {
                let mut onward: BTreeMap<usize, f64> = BTreeMap::new();
                for (_, exit, weight) in self.lines_from(turn, entry) {
                    *onward.entry(exit).or_default() += weight;
                }
                normalise(&mut onward);
                for (exit, share) in onward {
                    *next.entry(exit).or_default() += probability * share;
                }
            }
            law = next;
        }
        let entries = self.links[self.plan.turn_of(u64::from(number.max(1)) - 1)]
            .lattice
            .entries();
        let mut keys: BTreeMap<u8, f64> = BTreeMap::new();
        for (entry, probability) in law {
            *keys
                .entry(entries[entry].key().unwrap_or(u8::MAX))
                .or_default() += probability;
        }
        keys
    }

    /// All lines of a turn from an entry: keys, entry of the next turn, weight.
    fn lines_from(&self, turn: usize, entry: usize) -> Vec<(Vec<u8>, usize, f64)> {
        let link = &self.links[turn];
        let alive = &self.links[self.plan.after(turn)].alive;
        let lines = link.lattice.list(entry, MOST).unwrap_or_default();
        lines
            .into_iter()
            .map(|line| {
                let mut keys = vec![link.first_key(entry)];
                keys.extend(line.keys);
                (keys, link.entry_of_exit[line.exit], line.weight)
            })
            .filter(|&(_, next, _)| alive[next])
            .collect()
    }
}

fn normalise<K: Ord>(law: &mut BTreeMap<K, f64>) {
    let total: f64 = law.values().sum();
    law.values_mut()
        .for_each(|probability| *probability /= total);
}
