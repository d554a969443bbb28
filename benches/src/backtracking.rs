//! Randomised backtracking: at each beat try the keys in random order, go back where none fits. Quick, but
//! not uniform: a key with few ways onward is as likely as one with many.

use crate::relation::Relation;
use rand::{Rng, RngExt};

/// Draws a line that closes into a loop.
pub fn draw(relation: &Relation, rng: &mut impl Rng) -> Vec<u8> {
    let beats = relation.keys.len();
    let mut line: Vec<u8> = Vec::with_capacity(beats);
    let mut untried: Vec<Vec<u8>> = vec![shuffled(&relation.keys[0], rng)];
    loop {
        let beat = line.len();
        if beat == beats {
            if relation.follows(beats - 1, line[beats - 1], line[0]) {
                return line;
            }
            line.pop();
            untried.pop();
            continue;
        }
        match untried[beat].pop() {
            Some(key) if beat == 0 || relation.follows(beat - 1, line[beat - 1], key) => {
                line.push(key);
                if beat + 1 < beats {
                    untried.push(shuffled(&relation.keys[beat + 1], rng));
                } else {
                    untried.push(Vec::new());
                }
            }
            Some(_) => {}
            None => {
                untried.pop();
                if line.pop().is_none() {
                    untried.push(shuffled(&relation.keys[0], rng));
                }
            }
        }
    }
}

fn shuffled(keys: &[u8], rng: &mut impl Rng) -> Vec<u8> {
    let mut keys = keys.to_vec();
    for last in (1..keys.len()).rev() {
        keys.swap(last, rng.random_range(0..=last));
    }
    keys
}
