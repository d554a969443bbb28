//! Tables of whole segments: for small lattices, the quickest exact sampler.
//!
//! Where few states are possible, typically on arrivals, the lattice is cut. Between two cuts all paths are
//! listed, sorted by the states at both ends, each list with an alias table (M. D. Vose, "A linear algorithm
//! for generating random numbers with a given distribution", IEEE Transactions on Software Engineering
//! 17(9), 1991). A random number then chooses the end of a segment, where it lies among the numbers that do so
//! chooses the path, and where it lies among those of the path is random still: the next segment is chosen
//! by that, as long as enough of the number is left. Equal segments share their lists.

use crate::{
    lattice::{Block, Edge, Lattice},
    sums::Sums,
};
use rand::Rng;
use std::{collections::HashMap, ops::Range, sync::Arc};

/// Places in a segment at most. Longer segments are fewer, but their lists outgrow the cache.
const LONGEST: usize = 4;

/// The keys of a path, the first in the lowest byte.
type Keys = u32;

/// Choruses that are drawn side by side, so that one does not wait for another.
const TOGETHER: usize = 64;

/// Bits of a random number that are not spent on choices: no chorus is more or less likely than it should be
/// by more than one part in 2 to this power for each of its segments.
const EXACT_BITS: u32 = 32;

/// The most states in which a segment may end.
const MOST_ENDS: usize = 3;

/// The most paths that a segment may have.
const MOST_PATHS: usize = 1 << 18;

/// Another path that is taken if a random number does not lie below the threshold.
#[derive(Clone, Copy, Debug)]
struct Alias {
    threshold: u64,
    keys: Keys,
}

/// The aliases of paths with these weights, by which each path is as likely as its weight.
fn aliases(paths: &[(Keys, f64)]) -> Vec<Alias> {
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
    /// The keys of each path.
    keys: Vec<Keys>,
    /// The alias of each path, unless all between two states are equally likely.
    aliases: Vec<Alias>,
}

impl Paths {
    fn new(ends: usize, lists: &[Vec<(Keys, f64)>]) -> Paths {
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
        let equal = |list: &Vec<(Keys, f64)>| list.iter().all(|path| path.1 == list[0].1);
        if !lists.iter().all(equal) {
            paths.aliases = lists.iter().flat_map(|list| aliases(list)).collect();
        }
        paths
    }
}

#[derive(Debug)]
struct Segment {
    places: usize,
    /// Whether it takes new random numbers, rather than what is left of those before.
    fresh: bool,
    paths: Arc<Paths>,
    /// For each state it begins in and each exit of the lattice, the states in which it may end.
    ends: Box<[[End; MOST_ENDS]]>,
}

/// A state in which a segment may end: it is chosen by the random numbers of [`BITS`] bits from `start` up to
/// the start of the next.
#[derive(Clone, Copy, Debug)]
struct End {
    start: u64,
    /// 2^96 over how many numbers choose it: stretches their range to 64 bits.
    stretch: u64,
    /// Where its own ends stand in the segment that follows.
    row: u32,
    /// The first of the paths that lead there, and how many they are.
    first: u32,
    count: u32,
}

impl End {
    /// No end: no number chooses it.
    const NONE: End = End {
        start: 1 << BITS,
        stretch: 0,
        row: 0,
        first: 0,
        count: 0,
    };
}

/// Bits of the random numbers that choose an end; ends that are impossible start beyond them.
const BITS: u32 = 63;

/// Segment tables of one lattice.
#[derive(Debug)]
pub struct Segments {
    exits: usize,
    places: usize,
    segments: Vec<Segment>,
}

impl Segments {
    /// Makes the tables, if the lattice is small enough; `sums` must be its own.
    pub fn new(lattice: &Lattice, sums: &Sums) -> Option<Segments> {
        let blocks = lattice.blocks();
        let exits = lattice.exits().len();
        let mut made: HashMap<Vec<*const Block>, Arc<Paths>> = HashMap::new();
        let mut segments = Vec::new();
        let mut left = 0;
        let mut from = 0;
        while from < blocks.len() {
            let to = cut(lattice, from)?;
            let inside = &blocks[from..to];
            let identity: Vec<*const Block> = inside.iter().map(Arc::as_ptr).collect();
            let paths = match made.get(&identity) {
                Some(paths) => paths.clone(),
                None => {
                    let ends = blocks.get(to).map_or(exits, |block| block.states());
                    if ends > MOST_ENDS {
                        return None;
                    }
                    let paths = Arc::new(list(inside, ends)?);
                    made.insert(identity, paths.clone());
                    paths
                }
            };
            let ends: Box<[[End; MOST_ENDS]]> = (0..inside[0].states() * exits)
                .map(|row| {
                    let (state, exit) = (row / exits, row % exits);
                    let here = &paths.between[state * paths.ends..][..paths.ends];
                    let after = |end| sums.at(to, end, exit);
                    chances(here, after, |end| end * exits + exit)
                })
                .collect();
            let spent = ends.iter().map(spent).max()?;
            let fresh = left < EXACT_BITS + spent;
            left = match paths.aliases.is_empty() {
                true => if fresh { BITS } else { left }.saturating_sub(spent),
                // The choice of an alias takes all that is left.
                false => 0,
            };
            segments.push(Segment {
                places: to - from,
                fresh,
                paths,
                ends,
            });
            from = to;
        }
        Some(Segments {
            exits,
            places: blocks.len(),
            segments,
        })
    }

    /// Draws choruses, each between an entry and an exit that have lines between them: the key of each place
    /// after the first, and the first of what follows, is written to `keys`, chorus after chorus.
    pub fn draw(&self, ends: &[(usize, usize)], rng: &mut impl Rng, keys: &mut [u8]) {
        let keys = keys.chunks_mut(TOGETHER * self.places);
        for (ends, keys) in ends.chunks(TOGETHER).zip(keys) {
            self.draw_together(ends, rng, keys);
        }
    }

    fn draw_together(&self, ends: &[(usize, usize)], rng: &mut impl Rng, keys: &mut [u8]) {
        let mut lines = [Line::default(); TOGETHER];
        let lines = &mut lines[..ends.len()];
        for (number, (line, &(entry, exit))) in lines.iter_mut().zip(ends).enumerate() {
            *line = Line {
                row: entry * self.exits + exit,
                random: 0,
                at: number * self.places,
            };
        }
        for segment in &self.segments {
            if segment.fresh {
                let mut bytes = [0; 8 * TOGETHER];
                rng.fill_bytes(&mut bytes[..8 * lines.len()]);
                for (line, bytes) in lines.iter_mut().zip(bytes.as_chunks().0) {
                    line.random = u64::from_le_bytes(*bytes);
                }
            }
            segment.draw(lines, keys);
        }
    }
}

/// A chorus that is being drawn.
#[derive(Clone, Copy, Default)]
struct Line {
    /// The row of ends that it chooses from.
    row: usize,
    /// What is left to choose by.
    random: u64,
    /// Where its next key is written.
    at: usize,
}

impl Segment {
    /// Draws the next path of each line.
    #[inline]
    fn draw(&self, lines: &mut [Line], keys: &mut [u8]) {
        let (ends, paths) = (&self.ends[..], &self.paths.keys[..]);
        let (aliases, places) = (&self.paths.aliases[..], self.places);
        let has_aliases = !aliases.is_empty();
        for line in lines {
            let place = line.random >> (64 - BITS);
            let ends = &ends[line.row];
            let passed = ends[1..].iter().map(|end| usize::from(place >= end.start));
            let end = &ends[passed.sum::<usize>()];
            let within = (u128::from(place - end.start) * u128::from(end.stretch)) >> 32;
            // The high half of the product chooses the path; the low half is uniform within it.
            let product = u128::from(within as u64) * u128::from(end.count);
            let path = end.first as usize + (product >> 64) as usize;
            line.row = end.row as usize;
            line.random = product as u64;
            let path = match has_aliases && line.random >= aliases[path].threshold {
                true => aliases[path].keys,
                false => paths[path],
            };
            let written = &mut keys[line.at..line.at + places];
            line.at += places;
            if let Some(written) = written.first_chunk_mut() {
                *written = path.to_le_bytes();
            } else {
                for (place, key) in written.iter_mut().enumerate() {
                    *key = (path >> (8 * place)) as u8;
                }
            }
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
    let mut lists: Vec<Vec<(Keys, f64)>> = vec![Vec::new(); states * ends];
    let mut count = 0;
    for state in 0..states {
        let mut paths: Vec<(usize, Keys, f64)> = vec![(state, 0, 1.0)];
        for (place, block) in blocks.iter().enumerate() {
            paths = paths
                .iter()
                .flat_map(|&(state, keys, weight)| {
                    block.edges(state).iter().map(move |edge: &Edge| {
                        let keys = keys | Keys::from(edge.key) << (8 * place);
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
fn chances(
    between: &[(Range<usize>, f64)],
    after: impl Fn(usize) -> f64,
    row: impl Fn(usize) -> usize,
) -> [End; MOST_ENDS] {
    let weight = |end: usize| between[end].1 * after(end);
    let total: f64 = (0..between.len()).map(weight).sum();
    let last = (0..between.len()).rfind(|&end| weight(end) > 0.0);
    let mut sum = 0.0;
    let mut start = 0;
    std::array::from_fn(|state| {
        let Some((paths, _)) = between.get(state) else {
            return End::NONE;
        };
        sum += weight(state);
        let next = match last.is_some_and(|last| state < last) {
            true => (sum / total * (1u64 << BITS) as f64) as u64,
            false => 1 << BITS,
        };
        let width = u128::from(next - start).max(1);
        End {
            start: std::mem::replace(&mut start, next),
            stretch: ((1 << 96) / width).try_into().unwrap_or(u64::MAX),
            // No number is above MOST_PATHS.
            row: row(state) as u32,
            first: paths.start as u32,
            count: paths.len() as u32,
        }
    })
}

/// Bits of a random number that the choice of one of these ends and of a path takes at most.
fn spent(ends: &[End; MOST_ENDS]) -> u32 {
    let nexts = ends.iter().skip(1).map(|end| end.start).chain([1 << BITS]);
    let possible = ends
        .iter()
        .zip(nexts)
        .filter(|(end, next)| end.start < *next);
    let bits = possible.map(|(end, next)| {
        BITS - (next - end.start).ilog2() + end.count.next_power_of_two().ilog2()
    });
    bits.max().unwrap_or(0)
}

/// The limit below which a random 64-bit number falls with this probability, in steps of 2^-63.
fn threshold(probability: f64) -> u64 {
    ((probability * (1u64 << 63) as f64) as u64).saturating_mul(2)
}
