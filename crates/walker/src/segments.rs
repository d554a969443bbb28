//! Tables of whole segments: for small lattices, the quickest exact sampler.
//!
//! Where few states are possible, typically on arrivals, the lattice is cut. Between two cuts all paths are
//! listed, sorted by the states at both ends, each list with an alias table (M. D. Vose, "A linear algorithm
//! for generating random numbers with a given distribution", IEEE Transactions on Software Engineering
//! 17(9), 1991). A line then costs two random numbers a segment instead of one a note. Equal segments share
//! their lists.

use crate::{
    lattice::{Block, Edge, Lattice},
    sums::Sums,
};
use rand::Rng;
use std::{collections::HashMap, sync::Arc};

/// Places in a segment at most: their keys fit one word.
const LONGEST: usize = 8;

/// The most paths that a segment may have.
const MOST_PATHS: usize = 1 << 18;

/// A table of paths to draw from; the keys of a path stand in one word, the first in the lowest byte.
#[derive(Debug)]
enum Table {
    /// All are equally likely.
    Equal(Box<[u64]>),
    /// Each entry is kept if a random number lies below its threshold, else its alias is taken.
    Weighted(Box<[Entry]>),
}

#[derive(Clone, Copy, Debug)]
struct Entry {
    threshold: u64,
    keys: u64,
    alias: u64,
}

impl Table {
    fn new(paths: &[(u64, f64)]) -> Table {
        if paths.iter().all(|path| path.1 == paths[0].1) {
            return Table::Equal(paths.iter().map(|path| path.0).collect());
        }
        let mean = paths.iter().map(|path| path.1).sum::<f64>() / paths.len() as f64;
        let mut shares: Vec<f64> = paths.iter().map(|path| path.1 / mean).collect();
        let mut entries: Vec<Entry> = paths
            .iter()
            .map(|&(keys, _)| Entry {
                threshold: u64::MAX,
                keys,
                alias: keys,
            })
            .collect();
        let (mut small, mut large): (Vec<usize>, Vec<usize>) =
            (0..paths.len()).partition(|&path| shares[path] < 1.0);
        while let (Some(&poor), Some(&rich)) = (small.last(), large.last()) {
            small.pop();
            entries[poor].threshold = threshold(shares[poor]);
            entries[poor].alias = paths[rich].0;
            shares[rich] -= 1.0 - shares[poor];
            if shares[rich] < 1.0 {
                large.pop();
                small.push(rich);
            }
        }
        Table::Weighted(entries.into())
    }

    fn draw(&self, random: u64) -> u64 {
        // The high half of the product chooses the entry; the low half is uniform within it.
        let among = |count: usize| u128::from(random) * count as u128;
        match self {
            Table::Equal(paths) => paths[(among(paths.len()) >> 64) as usize],
            Table::Weighted(entries) => {
                let product = among(entries.len());
                let entry = &entries[(product >> 64) as usize];
                match (product as u64) < entry.threshold {
                    true => entry.keys,
                    false => entry.alias,
                }
            }
        }
    }
}

/// All paths of a segment, by the states at its two ends: `ends * from + to`.
#[derive(Debug)]
struct Paths {
    ends: usize,
    tables: Vec<Option<Table>>,
    weights: Vec<f64>,
}

#[derive(Debug)]
struct Segment {
    places: usize,
    paths: Arc<Paths>,
    /// For each state it begins in and each exit of the lattice: thresholds for the states it ends in.
    ends: Vec<Box<[u64]>>,
}

/// Segment tables of one lattice.
#[derive(Debug)]
pub struct Segments {
    exits: usize,
    segments: Vec<Segment>,
}

impl Segments {
    /// Makes the tables, if the lattice is small enough; `sums` must be its own.
    pub fn new(lattice: &Lattice, sums: &Sums) -> Option<Segments> {
        let blocks = lattice.blocks();
        let exits = lattice.exits().len();
        let mut made: HashMap<Vec<*const Block>, Arc<Paths>> = HashMap::new();
        let mut segments = Vec::new();
        let mut from = 0;
        while from < blocks.len() {
            let to = cut(lattice, from)?;
            let inside = &blocks[from..to];
            let identity: Vec<*const Block> = inside.iter().map(Arc::as_ptr).collect();
            let paths = match made.get(&identity) {
                Some(paths) => paths.clone(),
                None => {
                    let ends = blocks.get(to).map_or(exits, |block| block.states());
                    let paths = Arc::new(list(inside, ends)?);
                    made.insert(identity, paths.clone());
                    paths
                }
            };
            let ends = (0..inside[0].states() * exits)
                .map(|row| {
                    let (state, exit) = (row / exits, row % exits);
                    let weight = |end: usize| {
                        paths.weights[state * paths.ends + end] * sums.at(to, end, exit)
                    };
                    thresholds(paths.ends, weight)
                })
                .collect();
            segments.push(Segment {
                places: to - from,
                paths,
                ends,
            });
            from = to;
        }
        Some(Segments { exits, segments })
    }

    /// Draws a chorus between an entry and an exit that have lines between them: the key of each place
    /// after the first, and the first of what follows, is written to `keys`.
    pub fn draw(&self, entry: usize, exit: usize, rng: &mut impl Rng, keys: &mut [u8]) {
        let mut state = entry;
        let mut at = 0;
        for segment in &self.segments {
            let random = rng.next_u64();
            let thresholds = &segment.ends[state * self.exits + exit];
            let end = thresholds
                .iter()
                .map(|&limit| usize::from(random >= limit))
                .sum::<usize>();
            let table = &segment.paths.tables[state * segment.paths.ends + end];
            if let Some(table) = table {
                let bytes = table.draw(rng.next_u64()).to_le_bytes();
                keys[at..at + segment.places].copy_from_slice(&bytes[..segment.places]);
            }
            at += segment.places;
            state = end;
        }
    }
}

/// Where the segment that begins at a layer ends: the next layer with fewest states among those in reach.
fn cut(lattice: &Lattice, from: usize) -> Option<usize> {
    let states = |layer: usize| match lattice.blocks().get(layer) {
        Some(block) => block.states(),
        None => lattice.exits().len(),
    };
    let last = (from + LONGEST).min(lattice.blocks().len());
    let narrowest = (from + 1..=last).map(states).min()?;
    (from + 1..=last).find(|&layer| states(layer) == narrowest)
}

/// All paths through a few blocks, if there are not too many.
fn list(blocks: &[Arc<Block>], ends: usize) -> Option<Paths> {
    let states = blocks[0].states();
    let mut lists: Vec<Vec<(u64, f64)>> = vec![Vec::new(); states * ends];
    let mut count = 0;
    for state in 0..states {
        let mut paths: Vec<(usize, u64, f64)> = vec![(state, 0, 1.0)];
        for (place, block) in blocks.iter().enumerate() {
            paths = paths
                .iter()
                .flat_map(|&(state, keys, weight)| {
                    block.edges(state).iter().map(move |edge: &Edge| {
                        let keys = keys | u64::from(edge.key) << (8 * place);
                        (edge.to as usize, keys, weight * edge.weight)
                    })
                })
                .collect();
            if paths.len() > MOST_PATHS {
                return None;
            }
        }
        count += paths.len();
        for (end, keys, weight) in paths {
            lists[state * ends + end].push((keys, weight));
        }
    }
    if count > MOST_PATHS {
        return None;
    }
    Some(Paths {
        ends,
        weights: lists
            .iter()
            .map(|list| list.iter().map(|path| path.1).sum())
            .collect(),
        tables: lists
            .iter()
            .map(|list| (!list.is_empty()).then(|| Table::new(list)))
            .collect(),
    })
}

/// Limits between which a random 64-bit number falls to each of so many weights.
fn thresholds(count: usize, weight: impl Fn(usize) -> f64) -> Box<[u64]> {
    let total: f64 = (0..count).map(&weight).sum();
    let last = (0..count).rev().find(|&end| weight(end) > 0.0).unwrap_or(0);
    let mut sum = 0.0;
    (0..last)
        .map(|end| {
            sum += weight(end);
            threshold(sum / total)
        })
        .collect()
}

/// The limit below which a random 64-bit number falls with this probability, in steps of 2^-63.
fn threshold(probability: f64) -> u64 {
    ((probability * (1u64 << 63) as f64) as u64).saturating_mul(2)
}
