//! Rejection chord by chord: draw the notes of a chord freely, keep them if they fit what came before, else
//! draw again. Where a chord cannot follow, the line begins anew. Not uniform either.

use crate::relation::Relation;
use rand::{Rng, RngExt};

/// Draws of one chord before the line is given up.
const PATIENCE: u32 = 2_000;

/// Draws a line that closes into a loop.
pub fn draw(relation: &Relation, rng: &mut impl Rng) -> Vec<u8> {
    let arrivals = relation.arrivals();
    loop {
        if let Some(line) = attempt(relation, &arrivals, rng) {
            return line;
        }
    }
}

fn attempt(relation: &Relation, arrivals: &[usize], rng: &mut impl Rng) -> Option<Vec<u8>> {
    let beats = relation.keys.len();
    let mut line: Vec<u8> = vec![0; beats];
    for chord in arrivals.windows(2) {
        let (from, to) = (chord[0], chord[1]);
        let fits = |line: &[u8]| {
            (from.max(1)..to).all(|beat| relation.follows(beat - 1, line[beat - 1], line[beat]))
                && (to < beats || relation.follows(beats - 1, line[beats - 1], line[0]))
        };
        let drawn = (0..PATIENCE).find(|_| {
            for beat in from..to {
                let keys = &relation.keys[beat];
                line[beat] = keys[rng.random_range(0..keys.len())];
            }
            fits(&line)
        });
        drawn?;
    }
    Some(line)
}
