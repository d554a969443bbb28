//! Rejection chord by chord: draw the notes of a chord and the next root freely, keep them if they fit, else
//! draw them again. The last chord leads back to the first root; if it cannot, the line begins anew. Not
//! uniform either: a root with few ways onward is as likely as one with many.

use crate::relation::{Relation, any_of};
use rand::Rng;

/// Draws of one chord before the line is given up.
const PATIENCE: u32 = 20_000;

/// Draws a line that closes into a loop.
pub fn draw(relation: &Relation, arrivals: &[usize], rng: &mut impl Rng) -> [u8; 48] {
    loop {
        if let Some(line) = attempt(relation, arrivals, rng) {
            return line;
        }
    }
}

fn attempt(relation: &Relation, arrivals: &[usize], rng: &mut impl Rng) -> Option<[u8; 48]> {
    let mut line = [0; 48];
    line[0] = any_of(relation.keys[0], rng);
    for chord in arrivals.windows(2) {
        let (from, to) = (chord[0], chord[1]);
        (0..PATIENCE).find(|_| {
            for beat in from + 1..=to.min(line.len() - 1) {
                line[beat] = any_of(relation.keys[beat], rng);
            }
            (from..to).all(|beat| relation.follows(beat, line[beat], line[(beat + 1) % line.len()]))
        })?;
    }
    Some(line)
}
