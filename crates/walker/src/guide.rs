//! Many choruses drawn together from one lattice: the same choices as one by one, sooner.
//!
//! Running sums over the edges of each state are kept, and a guide into them: the range of the random number
//! is cut into a few buckets an edge, and each tells where among the edges the search for its numbers begins
//! (H.-C. Chen, Y. Asau, "On generating random variates from an empirical distribution", AIIE Transactions
//! 6(2), 1974). Choruses advance side by side, layer by layer, so that the sums of a layer are at hand for
//! all of them, and one does not wait for another.

use crate::{
    lattice::{Block, Edge, Lattice},
    sums::{Sums, unit},
};
use rand::Rng;
use rand_chacha::ChaCha8Rng;

/// The most running sums that are kept: 24 MiB with their guides.
const MOST_SUMS: usize = 1 << 21;

/// Buckets for each edge of a state.
const BUCKETS: usize = 4;

/// Running sums and guides for all layers of a lattice that are drawn.
#[derive(Debug)]
pub(crate) struct Guide {
    layers: Vec<Layer>,
}

#[derive(Debug)]
struct Layer {
    /// Running sums over the edges of each state, exit by exit.
    running: Box<[f64]>,
    /// For each of those edges as many buckets: the first edge of its state that a number there may choose.
    starts: Box<[u8]>,
}

/// A chorus that is being drawn.
pub(crate) struct Drawing<'a> {
    /// Where it stands: at first its entry.
    pub state: usize,
    /// Its exit.
    pub exit: usize,
    /// Its random numbers.
    pub rng: ChaCha8Rng,
    /// The key of each of its places.
    pub keys: &'a mut [u8],
}

impl Guide {
    /// Makes the tables, unless the lattice is too large for them; `sums` must be its own.
    pub fn new(lattice: &Lattice, sums: &Sums) -> Option<Guide> {
        let blocks = &lattice.blocks()[..lattice.places() - 1];
        let exits = lattice.exits().len();
        let edges: usize = blocks.iter().map(|block| block.len()).sum();
        let layers = blocks.iter().enumerate();
        (edges * exits <= MOST_SUMS).then(|| Guide {
            layers: layers
                .map(|(layer, block)| {
                    Layer::new(block, exits, |state, exit| sums.at(layer + 1, state, exit))
                })
                .collect(),
        })
    }

    /// Draws choruses between their ends, between which there are lines: the key of each place after the
    /// first is written to their keys.
    pub fn draw(&self, lattice: &Lattice, drawings: &mut [Drawing<'_>]) {
        let bytes = 8 * self.layers.len();
        let mut randoms = vec![0; bytes * drawings.len()];
        for (drawing, randoms) in drawings.iter_mut().zip(randoms.chunks_exact_mut(bytes)) {
            drawing.rng.fill_bytes(randoms);
        }
        for (number, (layer, block)) in self.layers.iter().zip(lattice.blocks()).enumerate() {
            for (drawing, randoms) in drawings.iter_mut().zip(randoms.chunks_exact(bytes)) {
                let mut random = [0; 8];
                random.copy_from_slice(&randoms[8 * number..][..8]);
                let edge = layer.choose(block, drawing, u64::from_le_bytes(random));
                drawing.keys[number + 1] = edge.key;
                drawing.state = edge.to as usize;
            }
        }
    }
}

impl Layer {
    fn new(block: &Block, exits: usize, after: impl Fn(usize, usize) -> f64) -> Layer {
        let mut running = Vec::with_capacity(block.len() * exits);
        let mut starts = Vec::with_capacity(block.len() * exits * BUCKETS);
        for exit in 0..exits {
            for state in 0..block.states() {
                let first = running.len();
                let mut sum = 0.0;
                for edge in block.edges(state) {
                    sum += edge.weight * after(edge.to as usize, exit);
                    running.push(sum);
                }
                let buckets = (running.len() - first) * BUCKETS;
                let step = (1u64 << 32) / buckets.max(1) as u64;
                let mut start = 0;
                for bucket in 0..buckets as u64 {
                    // No number of the bucket lies below this one, and choices only rise.
                    start = search(&running[first..], start, (step * bucket) << 32);
                    // A place has 129 choices at most.
                    starts.push(start as u8);
                }
            }
        }
        Layer {
            running: running.into(),
            starts: starts.into(),
        }
    }

    /// The edge of its state that a random number chooses.
    #[inline]
    fn choose<'a>(&self, block: &'a Block, drawing: &Drawing<'_>, random: u64) -> &'a Edge {
        let edges = block.edges(drawing.state);
        let first = drawing.exit * block.len() + block.first(drawing.state);
        let bucket = ((random >> 32) * (edges.len() * BUCKETS) as u64) >> 32;
        let start = self.starts[first * BUCKETS + bucket as usize];
        let running = &self.running[first..][..edges.len()];
        &edges[search(running, start.into(), random)]
    }
}

/// The first of some running sums that lies above the share of a random number, which none before `start`
/// does; rounding apart, the last does.
#[inline]
fn search(running: &[f64], start: usize, random: u64) -> usize {
    let last = running.len() - 1;
    let limit = unit(random) * running[last];
    let mut chosen = start;
    while chosen < last && limit >= running[chosen] {
        chosen += 1;
    }
    chosen
}
