//! The walker's exact samplers on the line problem.

use crate::problem::lattice;
use endpin_walker::{lattice::Lattice, segments::Segments, sums::Sums};
use rand::Rng;

/// Lines that are begun together.
const TOGETHER: usize = 64;

/// Lattice, sums and tables of the problem, and the ends of its loops.
pub struct Exact {
    lattice: Lattice,
    sums: Sums,
    tables: Segments,
    /// For each entry: the exit that is the same state, and a limit for a random number.
    loops: Vec<(usize, u64)>,
}

impl Exact {
    /// Builds everything.
    ///
    /// # Panics
    /// Never: the problem is small enough for tables.
    pub fn new() -> Exact {
        let lattice = lattice();
        let sums = Sums::new(&lattice);
        let tables = Segments::new(&lattice, &sums).expect("three roots an arrival");
        let exits: Vec<usize> = lattice
            .entries()
            .iter()
            .map(|entry| {
                lattice
                    .exits()
                    .iter()
                    .position(|exit| exit == entry)
                    .expect("a loop")
            })
            .collect();
        let totals: Vec<f64> = (0..exits.len())
            .map(|entry| sums.total(entry, exits[entry]))
            .collect();
        let total: f64 = totals.iter().sum();
        let mut sum = 0.0;
        let loops = exits
            .iter()
            .zip(&totals)
            .map(|(&exit, part)| {
                sum += part;
                (exit, (sum / total * u64::MAX as f64) as u64)
            })
            .collect();
        Exact {
            lattice,
            sums,
            tables,
            loops,
        }
    }

    fn begin(&self, random: u64) -> (usize, usize) {
        let below = self.loops.iter().position(|&(_, limit)| random < limit);
        let entry = below.unwrap_or(self.loops.len() - 1);
        (entry, self.loops[entry].0)
    }

    /// Draws a line note by note, by backward sums; the last key is that of the first beat.
    pub fn by_sums(&self, rng: &mut impl Rng, keys: &mut Vec<u8>) {
        keys.clear();
        let (entry, exit) = self.begin(rng.next_u64());
        self.sums.draw(&self.lattice, entry, exit, rng, keys);
        keys.push(self.lattice.entries()[entry].key().unwrap_or(0));
    }

    /// Draws lines segment by segment, side by side, one for each 48 keys; the last key of a line is that of
    /// its first beat.
    pub fn by_segments(&self, rng: &mut impl Rng, keys: &mut [u8]) {
        let mut ends = [(0, 0); TOGETHER];
        for keys in keys.chunks_mut(48 * TOGETHER) {
            let ends = &mut ends[..keys.len() / 48];
            let mut randoms = [[0; 8]; TOGETHER];
            rng.fill_bytes(randoms.as_flattened_mut());
            for (ends, random) in ends.iter_mut().zip(randoms) {
                *ends = self.begin(u64::from_le_bytes(random));
            }
            self.tables.draw(ends, rng, keys);
        }
    }
}

impl Default for Exact {
    fn default() -> Self {
        Exact::new()
    }
}
