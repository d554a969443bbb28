//! Randomised backtracking: at each beat try the keys in random order, go back where none fits. Quick, but
//! not uniform: a key with few ways onward is as likely as one with many.

use crate::relation::{Relation, any_of};
use rand::Rng;

/// Draws a line that closes into a loop.
pub fn draw(relation: &Relation, rng: &mut impl Rng) -> [u8; 48] {
    let mut line = [0; 48];
    let mut untried = [0u128; 48];
    untried[0] = relation.keys[0];
    let mut beat = 0;
    loop {
        if untried[beat] == 0 {
            if beat == 0 {
                untried[0] = relation.keys[0];
            } else {
                beat -= 1;
            }
            continue;
        }
        let key = any_of(untried[beat], rng);
        untried[beat] &= !(1 << key);
        line[beat] = key;
        if beat + 1 == line.len() {
            if relation.follows(beat, key, line[0]) {
                return line;
            }
            continue;
        }
        beat += 1;
        untried[beat] = relation.after[beat - 1][usize::from(key)];
    }
}
