//! Tables of whole segments: for small lattices, the quickest exact sampler.
//!
//! Where few states are possible, typically on arrivals, the lattice is cut. Between two cuts all paths are
//! listed, sorted by the states at both ends, each list with an alias table (M. D. Vose, "A linear algorithm
//! for generating random numbers with a given distribution", IEEE Transactions on Software Engineering
//! 17(9), 1991). A line then costs one random number a segment instead of one a note: it chooses the end of
//! the segment, and where it lies among the numbers that do so chooses the path. Equal segments share their
//! lists.

use crate::{
    lattice::{Block, Edge, Lattice},
    sums::Sums,
};
use rand::Rng;
use std::{collections::HashMap, ops::Range, sync::Arc};

/// Places in a segment at most. Their keys fit one word with two to spare; segments of eight need fewer random
/// numbers, but their lists outgrow the cache.
const LONGEST: usize = 6;

/// The most paths that a segment may have.
const MOST_PATHS: usize = 1 << 18;

/// Another path that is taken if a random number does not lie below the threshold.
#[derive(Clone, Copy, Debug)]
struct Alias {
    threshold: u64,
    keys: u64,
}

/// The aliases of paths with these weights, by which each path is as likely as its weight.
fn aliases(paths: &[(u64, f64)]) -> Vec<Alias> {
    let mean = paths.iter().map(|path| path.1).sum::<f64>() / paths.len() as f64;
    let mut shares: Vec<f64> = paths.iter().map(|path| path.1 / mean).collect();
    let mut aliases: Vec<Alias> = paths
        .iter()
        .map(|&(keys, _)| Alias {
            threshold: u64::MAX,
            keys,
        })
        .collect();
    let (mut small, mut large): (Vec<usize>, Vec<usize>) =
        (0..paths.len()).partition(|&path| shares[path] < 1.0);
    while let (Some(&poor), Some(&rich)) = (small.last(), large.last()) {
        small.pop();
        aliases[poor] = Alias {
            threshold: threshold(shares[poor]),
            keys: paths[rich].0,
        };
        shares[rich] -= 1.0 - shares[poor];
        if shares[rich] < 1.0 {
            large.pop();
            small.push(rich);
        }
    }
    aliases
}

/// All paths of a segment, sorted by the states at its two ends, `ends * from + to`.
#[derive(Debug)]
struct Paths {
    ends: usize,
    /// The paths between each pair of states, and their weight.
    between: Vec<(Range<usize>, f64)>,
    /// The keys of each path in one word, the first in the lowest byte.
    keys: Vec<u64>,
    /// The alias of each path, unless all between two states are equally likely.
    aliases: Vec<Alias>,
}

impl Paths {
    fn new(ends: usize, lists: &[Vec<(u64, f64)>]) -> Paths {
        let mut paths = Paths {
            ends,
            between: Vec::with_capacity(lists.len()),
            keys: Vec::new(),
            aliases: Vec::new(),
        };
        for list in lists {
            let first = paths.keys.len();
            paths.keys.extend(list.iter().map(|path| path.0));
            let weight = list.iter().map(|path| path.1).sum();
            paths.between.push((first..paths.keys.len(), weight));
        }
        let equal = |list: &Vec<(u64, f64)>| list.iter().all(|path| path.1 == list[0].1);
        if !lists.iter().all(equal) {
            paths.aliases = lists.iter().flat_map(|list| aliases(list)).collect();
        }
        paths
    }
}

#[derive(Debug)]
struct Segment {
    places: usize,
    paths: Arc<Paths>,
    /// For each state it begins in and each exit of the lattice, the states in which it may end.
    ends: Box<[End]>,
}

/// A state in which a segment may end: it is chosen by the random numbers of [`BITS`] bits from `start` up to
/// the start of the next.
#[derive(Clone, Copy, Debug)]
struct End {
    start: u64,
    /// 2^96 over how many numbers choose it: stretches their range to 64 bits.
    stretch: u64,
    /// Its number.
    state: usize,
    /// The first of the paths that lead there, and how many they are.
    first: usize,
    count: usize,
}

/// Bits of the random numbers that choose an end; ends that are impossible start beyond them.
const BITS: u32 = 63;

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
                .flat_map(|row| {
                    let (state, exit) = (row / exits, row % exits);
                    let here = &paths.between[state * paths.ends..][..paths.ends];
                    chances(here, |end| sums.at(to, end, exit))
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
            let random = rng.next_u64() >> (64 - BITS);
            let count = segment.paths.ends;
            let ends = &segment.ends[(state * self.exits + exit) * count..][..count];
            let mut end = &ends[0];
            for other in &ends[1..] {
                end = if random >= other.start { other } else { end };
            }
            let within = (u128::from(random - end.start) * u128::from(end.stretch)) >> 32;
            // The high half of the product chooses the path; the low half is uniform within it.
            let product = within * end.count as u128;
            let path = end.first + (product >> 64) as usize;
            let bytes = match segment.paths.aliases.get(path) {
                Some(alias) if product as u64 >= alias.threshold => alias.keys,
                _ => segment.paths.keys[path],
            }
            .to_le_bytes();
            match keys[at..].first_chunk_mut() {
                // What is too much is overwritten by the next segment.
                Some(chunk) => *chunk = bytes,
                None => keys[at..][..segment.places].copy_from_slice(&bytes[..segment.places]),
            }
            at += segment.places;
            state = end.state;
        }
    }
}

/// Where the segment that begins at a layer ends: the last layer with fewest states among those in reach.
fn cut(lattice: &Lattice, from: usize) -> Option<usize> {
    let states = |layer: usize| match lattice.blocks().get(layer) {
        Some(block) => block.states(),
        None => lattice.exits().len(),
    };
    let last = (from + LONGEST).min(lattice.blocks().len());
    let narrowest = (from + 1..=last).map(states).min()?;
    (from + 1..=last).rfind(|&layer| states(layer) == narrowest)
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
    Some(Paths::new(ends, &lists))
}

/// The ends of a segment, each with the share of random numbers that is the weight of the paths `between`
/// times that of what comes `after`.
fn chances(between: &[(Range<usize>, f64)], after: impl Fn(usize) -> f64) -> Vec<End> {
    let weight = |end: usize| between[end].1 * after(end);
    let total: f64 = (0..between.len()).map(weight).sum();
    let last = (0..between.len()).rfind(|&end| weight(end) > 0.0);
    let mut sum = 0.0;
    let mut start = 0;
    let end = |state: usize| {
        sum += weight(state);
        let next = match last.is_some_and(|last| state < last) {
            true => (sum / total * (1u64 << BITS) as f64) as u64,
            false => 1 << BITS,
        };
        let width = u128::from(next - start).max(1);
        let (first, count) = (between[state].0.start, between[state].0.len());
        End {
            start: std::mem::replace(&mut start, next),
            stretch: ((1 << 96) / width).try_into().unwrap_or(u64::MAX),
            state,
            first,
            count,
        }
    };
    (0..between.len()).map(end).collect()
}

/// The limit below which a random 64-bit number falls with this probability, in steps of 2^-63.
fn threshold(probability: f64) -> u64 {
    ((probability * (1u64 << 63) as f64) as u64).saturating_mul(2)
}
