//! The line problem as plain tables, for samplers that know nothing of rules: which keys may stand on a beat,
//! and which may follow which. Its rules look at two neighbouring notes at most.

use crate::problem::onsets;
use endpin_walker::rules::Onset;
use rand::{Rng, RngExt};

/// The problem in tables; sets of keys are bits of a word, one a key.
pub struct Relation {
    onsets: Vec<Onset>,
    /// For each beat, the keys that may stand there.
    pub keys: Vec<u128>,
    /// For each beat and key, the keys that may follow.
    pub after: Vec<[u128; 128]>,
}

impl Relation {
    /// Tables of the problem.
    pub fn new() -> Relation {
        let onsets = onsets();
        let keys: Vec<u128> = onsets
            .iter()
            .map(|onset| {
                let fits = |&key: &u8| match (onset.arrival, onset.stressed) {
                    (true, _) => key % 12 == onset.root,
                    (_, true) => onset.tones.contains(key),
                    _ => true,
                };
                onset
                    .keys
                    .iter()
                    .filter(fits)
                    .fold(0, |set, key| set | 1 << key)
            })
            .collect();
        let after = (0..onsets.len())
            .map(|beat| {
                let next = (beat + 1) % onsets.len();
                let follow = |key: usize| {
                    let fits =
                        |&coming: &u8| follows(&onsets[beat], &onsets[next], key as u8, coming);
                    let set = (0..128u8)
                        .filter(fits)
                        .fold(0, |set, key| set | 1u128 << key);
                    set & keys[next]
                };
                std::array::from_fn(follow)
            })
            .collect();
        Relation {
            onsets,
            keys,
            after,
        }
    }

    /// Whether `next` may follow `key`, which stands on `beat`.
    pub fn follows(&self, beat: usize, key: u8, next: u8) -> bool {
        self.after[beat][usize::from(key)] >> next & 1 == 1
    }

    /// Beats on which chords arrive, and the end.
    pub fn arrivals(&self) -> Vec<usize> {
        let arrivals = (0..self.onsets.len()).filter(|&beat| self.onsets[beat].arrival);
        arrivals.chain([self.onsets.len()]).collect()
    }
}

impl Default for Relation {
    fn default() -> Self {
        Relation::new()
    }
}

/// Rules 3 to 5 of the problem on two neighbouring notes.
fn follows(here: &Onset, coming: &Onset, key: u8, next: u8) -> bool {
    let distance = i16::from(next) - i16::from(key);
    let reach = matches!(distance.abs(), 1..=7 | 12);
    let connects = here.stressed
        || here.tones.contains(key)
        || here.scale.contains(key)
        || (distance.abs() == 1 && next % 12 == coming.root);
    let approaches = !coming.arrival || matches!(distance, 1 | -1 | 2 | -2 | -7 | 5);
    reach && connects && approaches
}

/// A key of a set, each as likely; the set must not be empty.
pub fn any_of(set: u128, rng: &mut impl Rng) -> u8 {
    let mut left = set;
    for _ in 0..rng.random_range(0..set.count_ones()) {
        left &= left - 1;
    }
    left.trailing_zeros() as u8
}
