//! The walker's exact sampler on the line problem, by the path that the commands take.

use crate::problem::{lattice, onsets};
use endpin_walker::lattice::{Drawing, Weights, draw::Tables};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::sync::Arc;

/// Lines that are drawn together.
const TOGETHER: usize = 128;

/// Weights and tables of the problem, and the ends of its loops.
pub struct Exact {
    weights: Weights,
    tables: Tables,
    /// For each entry: the exit that is the same state, and a limit for a random number.
    loops: Vec<(usize, u64)>,
    lines: u64,
}

impl Exact {
    /// Builds everything.
    ///
    /// # Panics
    /// Never: the problem is small enough for tables.
    pub fn new() -> Exact {
        let along = std::iter::repeat_n(Arc::new([1.0; 256]), onsets().len()).collect();
        let weights = Weights::new(Arc::new(lattice()), along);
        let tables = Tables::new(&weights).expect("few cells");
        let lattice = weights.lattice();
        let exit = |entry| lattice.exits().iter().position(|exit| exit == entry);
        let exits = lattice.entries().iter().map(|entry| exit(entry).expect("a loop"));
        let exits: Vec<usize> = exits.collect();
        let totals = exits.iter().enumerate().map(|(entry, &exit)| weights.total(entry, exit));
        let totals: Vec<f64> = totals.collect();
        let total: f64 = totals.iter().sum();
        let mut sum = 0.0;
        let limits = totals.iter().map(|part| {
            sum += part;
            (sum / total * u64::MAX as f64) as u64
        });
        Exact {
            loops: exits.into_iter().zip(limits).collect(),
            weights,
            tables,
            lines: 0,
        }
    }

    fn begin(&self, random: u64) -> (usize, usize) {
        let below = self.loops.iter().position(|&(_, limit)| random < limit);
        let entry = below.unwrap_or(self.loops.len() - 1);
        (entry, self.loops[entry].0)
    }

    /// Draws a line alone: its rows are made as it goes. The last key is that of the first beat.
    pub fn alone(&self, rng: &mut impl Rng, keys: &mut Vec<u8>) {
        keys.clear();
        let (entry, exit) = self.begin(rng.next_u64());
        self.weights.draw(entry, exit, rng, keys);
        keys.push(self.weights.lattice().entries()[entry].key().unwrap_or(0));
    }

    /// Draws lines side by side, one for each 48 keys, each from a stream of its own.
    pub fn many(&mut self, rng: &mut impl Rng, keys: &mut [u8]) {
        let seeded = ChaCha8Rng::seed_from_u64(1);
        for keys in keys.chunks_mut(48 * TOGETHER) {
            let mut drawings: Vec<Drawing<'_>> = keys
                .chunks_exact_mut(48)
                .map(|keys| {
                    let (entry, exit) = self.begin(rng.next_u64());
                    let mut rng = seeded.clone();
                    rng.set_stream(self.lines);
                    self.lines += 1;
                    Drawing {
                        entry,
                        exit,
                        rng,
                        keys,
                    }
                })
                .collect();
            self.tables.draw(&self.weights, &mut drawings);
        }
    }
}

impl Default for Exact {
    fn default() -> Self {
        Exact::new()
    }
}
