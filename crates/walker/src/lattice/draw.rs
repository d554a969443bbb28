//! Lines drawn by weight: a choice among the edges of a state costs the same however many there are.
//!
//! Each state has a row of cells, as many as it has edges, all equally likely; a cell holds one edge or, with
//! the odds that it says, another (A. J. Walker, "An efficient method for generating discrete random variables
//! with general distributions", ACM Transactions on Mathematical Software 3(3), 1977; filled as by M. D. Vose,
//! IEEE Transactions on Software Engineering 17(9), 1991). A random number's place among the cells chooses the
//! cell, where it lies within it the edge. One chorus makes the rows of the states that it passes; many share
//! [tables](Tables) of all rows, so that they come out the same, sooner.

use super::{graph::Edge, sums::Weights};
use rand::Rng;
use rand_chacha::ChaCha8Rng;

/// An edge chosen: its key, the state and the statement that it leads to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Chosen(u32);

impl Chosen {
    /// The most states of a layer that it can tell apart.
    const MOST_STATES: usize = 1 << 21;

    fn new(edge: &Edge, stated: usize) -> Chosen {
        Chosen(edge.to << 11 | (stated as u32) << 8 | u32::from(edge.key))
    }

    pub fn key(self) -> u8 {
        self.0 as u8
    }

    pub fn stated(self) -> usize {
        (self.0 >> 8 & 7) as usize
    }

    pub fn state(self) -> usize {
        (self.0 >> 11) as usize
    }
}

/// A cell of a row: the second edge is chosen if a random number does not lie below the threshold.
#[derive(Clone, Copy, Debug)]
struct Cell {
    threshold: u64,
    edges: [Chosen; 2],
}

/// The cells of a state, with what it takes to fill them.
#[derive(Debug, Default)]
pub(super) struct Row {
    cells: Vec<Cell>,
    shares: Vec<f64>,
    small: Vec<usize>,
    large: Vec<usize>,
}

impl Row {
    /// The edge that a random number chooses; none if there is no edge.
    pub fn choose(&self, random: u64) -> Option<Chosen> {
        (!self.cells.is_empty()).then(|| choose(&self.cells, random))
    }
}

/// Bytes of a random number that a choice takes: an edge is as likely as it should be to one part in 2 to the
/// fortieth.
const BYTES: usize = 5;

/// Random numbers, one for each of so many choices.
pub(super) fn randoms(rng: &mut impl Rng, choices: usize) -> Vec<u8> {
    let mut bytes = vec![0; BYTES * choices];
    rng.fill_bytes(&mut bytes);
    bytes
}

/// The random number of a choice: its bytes, the first being the lowest that counts.
#[inline]
pub(super) fn random(bytes: &[u8], choice: usize) -> u64 {
    let mut number = [0; 8];
    number[8 - BYTES..].copy_from_slice(&bytes[BYTES * choice..][..BYTES]);
    u64::from_le_bytes(number)
}

#[inline]
fn choose(cells: &[Cell], random: u64) -> Chosen {
    let place = u128::from(random) * cells.len() as u128;
    let cell = &cells[(place >> 64) as usize];
    cell.edges[usize::from(place as u64 >= cell.threshold)]
}

/// Fills a row so that each edge is as likely as its weight.
pub(super) fn alias_row<'a>(edges: impl Iterator<Item = (&'a Edge, usize, f64)>, row: &mut Row) {
    row.cells.clear();
    row.shares.clear();
    row.small.clear();
    row.large.clear();
    let mut total = 0.0;
    for (edge, stated, weight) in edges {
        let chosen = Chosen::new(edge, stated);
        row.cells.push(Cell {
            threshold: u64::MAX,
            edges: [chosen; 2],
        });
        row.shares.push(weight);
        total += weight;
    }
    let scale = row.cells.len() as f64 / total;
    for (number, share) in row.shares.iter_mut().enumerate() {
        *share *= scale;
        match *share < 1.0 {
            true => row.small.push(number),
            false => row.large.push(number),
        }
    }
    while let (Some(&poor), Some(&rich)) = (row.small.last(), row.large.last()) {
        row.small.pop();
        row.cells[poor].threshold = threshold(row.shares[poor]);
        row.cells[poor].edges[1] = row.cells[rich].edges[0];
        row.shares[rich] -= 1.0 - row.shares[poor];
        if row.shares[rich] < 1.0 {
            row.large.pop();
            row.small.push(rich);
        }
    }
}

/// The limit below which a random number falls with this probability; what is possible stays so.
fn threshold(probability: f64) -> u64 {
    ((probability * (1u64 << 40) as f64) as u64).max(1) << 24
}

/// A chorus that is being drawn.
#[derive(Debug)]
pub struct Drawing<'a> {
    /// Where it begins.
    pub entry: usize,
    /// Its exit.
    pub exit: usize,
    /// Its random numbers.
    pub rng: ChaCha8Rng,
    /// The key of each of its onsets.
    pub keys: &'a mut [u8],
}

/// The rows of all states of a lattice.
#[derive(Debug)]
pub struct Tables {
    /// The cells of each layer: for each exit, each state, each statement before it.
    layers: Vec<Box<[Cell]>>,
}

/// The most cells that are kept: 64 MiB.
const MOST_CELLS: usize = 1 << 22;

impl Tables {
    /// Fills all rows, unless there are too many.
    pub fn new(weights: &Weights) -> Option<Tables> {
        let lattice = weights.lattice();
        let last = lattice.onsets() - 1;
        let (exits, statements) = (lattice.exits().len(), lattice.answers().count);
        let blocks = &lattice.blocks()[..last];
        let cells: usize = blocks.iter().map(|block| block.len()).sum();
        let wide = blocks
            .iter()
            .any(|block| block.states() > Chosen::MOST_STATES);
        if cells * exits * statements > MOST_CELLS || wide || weights.stretches().count() > 1 {
            return None;
        }
        let mut row = Row::default();
        let sums: Vec<_> = (0..exits)
            .map(|exit| weights.stretch(0..last, exit))
            .collect();
        let layers = blocks.iter().enumerate().map(|(layer, block)| {
            let mut cells = Vec::with_capacity(block.len() * exits * statements);
            for (exit, sums) in sums.iter().enumerate() {
                for state in 0..block.states() {
                    for stated in 0..statements {
                        let edges = weights.of_edges(layer, state, stated, exit, &sums[layer]);
                        alias_row(edges, &mut row);
                        cells.extend_from_slice(&row.cells);
                    }
                }
            }
            cells.into()
        });
        Some(Tables {
            layers: layers.collect(),
        })
    }

    /// Draws choruses side by side, so that one does not wait for another: the key of each onset after the
    /// first is written to their keys.
    pub fn draw(&self, weights: &Weights, drawings: &mut [Drawing<'_>]) {
        let lattice = weights.lattice();
        let statements = lattice.answers().count;
        let bytes = BYTES * self.layers.len();
        let mut randoms = vec![0; bytes * drawings.len()];
        let mut at: Vec<(usize, usize)> = Vec::with_capacity(drawings.len());
        for (drawing, randoms) in drawings
            .iter_mut()
            .zip(randoms.chunks_exact_mut(bytes.max(1)))
        {
            drawing.rng.fill_bytes(randoms);
            at.push((drawing.entry, 0));
        }
        for (number, (cells, block)) in self.layers.iter().zip(lattice.blocks()).enumerate() {
            let all = drawings.iter_mut().zip(&mut at);
            for ((drawing, at), randoms) in all.zip(randoms.chunks_exact(bytes)) {
                let count = block.edges(at.0).len();
                let before = drawing.exit * block.len() + block.first(at.0);
                let first = before * statements + at.1 * count;
                let chosen = choose(&cells[first..first + count], random(randoms, number));
                drawing.keys[number + 1] = chosen.key();
                *at = (chosen.state(), chosen.stated());
            }
        }
    }
}
