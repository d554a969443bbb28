//! The layered graph of admissible lines.
//!
//! Layer *i* holds the states in which a line may stand once onset *i* has been played; edges from layer *i*
//! to layer *i* + 1 are what may happen at onset *i* + 1. The last layer stands after the first onset of
//! whatever follows: the join belongs to the chorus that it closes. A path through the layers is a chorus,
//! and since rules and tastes are deterministic readers, a chorus is one path.
//!
//! Equal onsets met by equal sets of states have the same edges, so these are built once and shared: a long
//! chart costs little more than its different bars. What varies along the form stays outside: a vector of
//! weights for each onset, by key ([`Lattice::along`]). What has been remembered and will not be asked for any
//! more is forgotten: states with equal futures are merged.

use super::skeleton::{Answers, Kind, Skeleton, State};
use crate::rules::{Chances, Liberties, Onset};
use rustc_hash::{FxHashMap, FxHasher};
use std::{
    hash::{Hash, Hasher},
    sync::Arc,
};

/// What may happen in a state: the state that follows (by number in its layer), the weight, and the note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Number of the state reached, in the next layer.
    pub to: u32,
    /// MIDI key of the note that starts; [`Edge::SILENT`] if none does.
    pub key: u8,
    /// What the step states for a later one to answer; 0 if nothing.
    pub statement: u8,
    /// What it makes of liberties, where that is told.
    pub chances: Chances,
    /// Product of the weights of all tastes, answers and what varies along the form apart.
    pub weight: f64,
}

impl Edge {
    /// No note starts.
    pub const SILENT: u8 = u8::MAX;
}

/// The weights of notes at an onset by what varies along the form, by MIDI key; 1 for silence.
pub type Along = [f64; 256];

/// All edges between two layers.
#[derive(Debug)]
pub struct Block {
    /// Where the edges of each state begin; one entry more than there are states.
    starts: Vec<u32>,
    edges: Vec<Edge>,
}

impl Block {
    fn empty() -> Block {
        Block {
            starts: vec![0],
            edges: Vec::new(),
        }
    }

    /// Ends the edges of a state; those of the next follow.
    fn close_state(&mut self) {
        self.starts.push(self.edges.len() as u32);
    }

    /// The same edges into states of the layer after as they `became` by merging; states whose edges are then
    /// equal are merged too, if they may be. Gives what each state became.
    fn merged(&self, became: &[u32], may_merge: bool) -> (Block, Vec<u32>) {
        let mut block = Block {
            starts: Vec::with_capacity(self.starts.len()),
            edges: Vec::with_capacity(self.edges.len()),
        };
        block.starts.push(0);
        let mut by_hash: FxHashMap<u64, u32> = FxHashMap::default();
        by_hash.reserve(self.states());
        let mut states = Vec::with_capacity(self.states());
        for state in 0..self.states() {
            let first = block.edges.len();
            let mut hasher = FxHasher::default();
            for &edge in self.edges(state) {
                let to = became[edge.to as usize];
                let what =
                    u64::from(to) << 16 | u64::from(edge.key) << 8 | u64::from(edge.statement);
                what.hash(&mut hasher);
                edge.weight.to_bits().hash(&mut hasher);
                block.edges.push(Edge { to, ..edge });
            }
            let new = block.states() as u32;
            let known = *by_hash.entry(hasher.finish()).or_insert(new);
            // Different edges may share a hash; such states stay apart.
            let equal = known < new && block.edges(known as usize) == &block.edges[first..];
            if may_merge && equal {
                block.edges.truncate(first);
                states.push(known);
            } else {
                block.close_state();
                states.push(new);
            }
        }
        (block, states)
    }

    /// The edges that leave a state.
    pub fn edges(&self, state: usize) -> &[Edge] {
        &self.edges[self.starts[state] as usize..self.starts[state + 1] as usize]
    }

    /// How many edges there are.
    pub(super) fn len(&self) -> usize {
        self.edges.len()
    }

    /// How many edges leave the states before a state.
    pub(super) fn first(&self, state: usize) -> usize {
        self.starts[state] as usize
    }

    /// States in the layer before.
    pub fn states(&self) -> usize {
        self.starts.len() - 1
    }
}

/// A line found by listing them all.
#[derive(Clone, Debug, PartialEq)]
pub struct Listed {
    /// The key that starts at each onset after the first, or [`Edge::SILENT`].
    pub keys: Vec<u8>,
    /// Product of all weights along it.
    pub weight: f64,
    /// Number of its exit.
    pub exit: usize,
}

/// More edges than a lattice may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("more than {most} moves from note to note would have to be kept")]
pub struct TooLarge {
    /// The onset at which the limit was met, from 0.
    pub onset: usize,
    /// The limit.
    pub most: usize,
}

/// The most different edges of a lattice: 16 bytes each, and twice that while it is made.
pub const MOST_EDGES: usize = 1 << 23;

/// The layered graph of one chorus.
#[derive(Debug)]
pub struct Lattice {
    entries: Arc<[State]>,
    exits: Arc<[State]>,
    blocks: Vec<Arc<Block>>,
    answers: Arc<Answers>,
}

/// A layer while the graph is made: the last key of each state, and the numbers of what rules and tastes
/// remember.
type Layer = Arc<[(u8, u32, u32)]>;

impl Lattice {
    /// Builds the graph of a chorus: from the `entries`, states that have already played the first onset,
    /// through the other onsets and across the join to the onset that comes `next`.
    ///
    /// # Errors
    /// More than [`MOST_EDGES`] different edges.
    pub fn build(
        skeleton: &mut Skeleton,
        onsets: &[Onset],
        entries: &[State],
        next: &Onset,
    ) -> Result<Lattice, TooLarge> {
        let first: Layer = entries
            .iter()
            .map(|&state| {
                let (rules, tastes) = skeleton.numbers_of(state);
                (state.key().unwrap_or(Edge::SILENT), rules, tastes)
            })
            .collect();
        let mut blocks = Vec::with_capacity(onsets.len());
        // Layers and onsets by what they hold; numbers stand for contents, so equal keys are equal blocks.
        let mut layers = vec![first.clone()];
        let mut layer_numbers = FxHashMap::from_iter([(first, 0)]);
        let mut onset_numbers: FxHashMap<Onset, usize> = FxHashMap::default();
        let mut built: FxHashMap<(usize, usize), (Arc<Block>, usize)> = FxHashMap::default();
        let mut edges = 0;
        let mut layer = 0;
        let mut expander = Expander::default();
        for (number, onset) in onsets.iter().enumerate().skip(1) {
            let count = onset_numbers.len();
            let onset_number = *onset_numbers.entry(onset.without_form()).or_insert(count);
            if let Some((block, after)) = built.get(&(layer, onset_number)) {
                blocks.push(block.clone());
                layer = *after;
                continue;
            }
            let block = expander.expand(skeleton, &layers[layer], onset);
            edges += block.len();
            if edges > MOST_EDGES {
                return Err(TooLarge {
                    onset: number,
                    most: MOST_EDGES,
                });
            }
            let after: Layer = expander.reached.as_slice().into();
            let next = *layer_numbers.entry(after.clone()).or_insert(layers.len());
            if next == layers.len() {
                layers.push(after);
            }
            let block = Arc::new(block);
            built.insert((layer, onset_number), (block.clone(), next));
            blocks.push(block);
            layer = next;
        }
        let mut join = expander.expand(skeleton, &layers[layer], next);
        let mut exits: Vec<State> = Vec::new();
        let mut numbers: FxHashMap<State, u32> = FxHashMap::default();
        let became = expander.reached.iter().map(|&(key, rules, _)| {
            let exit = skeleton.across_join(key, rules);
            *numbers.entry(exit).or_insert_with(|| {
                exits.push(exit);
                exits.len() as u32 - 1
            })
        });
        let became: Vec<u32> = became.collect();
        for edge in &mut join.edges {
            edge.to = became[edge.to as usize];
        }
        blocks.push(Arc::new(join));
        Ok(Lattice {
            blocks: merge_equal_futures(&blocks, exits.len()),
            entries: entries.into(),
            exits: exits.into(),
            answers: skeleton.answers().clone(),
        })
    }

    /// The graph of all lines over onsets, whatever note they begin with.
    ///
    /// # Errors
    /// As [`Lattice::build`].
    pub fn from_beginnings(
        skeleton: &mut Skeleton,
        onsets: &[Onset],
        next: &Onset,
    ) -> Result<Lattice, TooLarge> {
        let entries = skeleton.beginnings(&onsets[0]);
        let entries: Vec<State> = entries.into_iter().map(|(state, _)| state).collect();
        Lattice::build(skeleton, onsets, &entries, next)
    }

    /// Onsets of the chorus.
    pub fn onsets(&self) -> usize {
        self.blocks.len()
    }

    /// States with which the chorus may begin.
    pub fn entries(&self) -> &[State] {
        &self.entries
    }

    /// States with which what follows may begin.
    pub fn exits(&self) -> &[State] {
        &self.exits
    }

    /// The edges after each onset.
    pub fn blocks(&self) -> &[Arc<Block>] {
        &self.blocks
    }

    /// The weight of each statement after each other.
    pub(super) fn answers(&self) -> &Answers {
        &self.answers
    }

    /// The weights of notes by what varies along the form, at each onset after the first and at the `next`.
    pub fn along(skeleton: &Skeleton, onsets: &[Onset], next: &Onset) -> Vec<Arc<Along>> {
        let mut made: FxHashMap<&Onset, Arc<Along>> = FxHashMap::default();
        let onsets = onsets.iter().skip(1).chain([next]);
        let along = onsets.map(|onset| {
            let make = || Arc::new(skeleton.along(onset));
            made.entry(onset).or_insert_with(make).clone()
        });
        along.collect()
    }

    /// The same graph, with the weight of each edge multiplied by what belongs to the set of liberties that it takes.
    pub(crate) fn favouring(&self, favours: &[f64; Liberties::SETS]) -> Lattice {
        let mut made: FxHashMap<*const Block, Arc<Block>> = FxHashMap::default();
        let blocks = self.blocks.iter().map(|block| {
            let make = || {
                let edges = block.edges.iter().map(|edge| Edge {
                    weight: edge.weight * favours[edge.chances.taken.number()],
                    ..*edge
                });
                Arc::new(Block {
                    starts: block.starts.clone(),
                    edges: edges.collect(),
                })
            };
            made.entry(Arc::as_ptr(block)).or_insert_with(make).clone()
        });
        Lattice {
            blocks: blocks.collect(),
            entries: self.entries.clone(),
            exits: self.exits.clone(),
            answers: self.answers.clone(),
        }
    }

    /// The same graph with one exit only.
    pub fn ending_in(mut self, exit: State) -> Lattice {
        let Some(join) = self.blocks.pop() else {
            return self;
        };
        let kept = |edge: &&Edge| self.exits[edge.to as usize] == exit;
        let mut block = Block::empty();
        for state in 0..join.states() {
            let leaving = join.edges(state).iter().filter(kept);
            block
                .edges
                .extend(leaving.map(|edge| Edge { to: 0, ..*edge }));
            block.close_state();
        }
        self.blocks.push(Arc::new(block));
        self.exits = Arc::new([exit]);
        self
    }

    /// All lines from an entry with their exits, unless there are more than `most`; `along` as the sums have
    /// it.
    pub fn list(&self, entry: usize, along: &[Arc<Along>], most: usize) -> Option<Vec<Listed>> {
        let start = Listed {
            keys: Vec::new(),
            weight: 1.0,
            exit: 0,
        };
        let mut paths = vec![(entry as u32, 0, start)];
        let last = self.blocks.len() - 1;
        for (layer, block) in self.blocks.iter().enumerate() {
            let mut longer = Vec::new();
            for (state, stated, path) in &paths {
                for edge in block.edges(*state as usize) {
                    let (answer, stated) = self.answers.answer(*stated, edge);
                    let mut path = path.clone();
                    path.weight *= edge.weight * answer * along[layer][usize::from(edge.key)];
                    if layer < last {
                        path.keys.push(edge.key);
                    }
                    path.exit = edge.to as usize;
                    longer.push((edge.to, stated, path));
                }
            }
            if longer.len() > most {
                return None;
            }
            paths = longer;
        }
        Some(paths.into_iter().map(|(_, _, path)| path).collect())
    }
}

/// Numbers things that are known by their place in a table, in the order in which they are met; the table is
/// used again without being cleared.
#[derive(Default)]
struct Numbering {
    /// Numbers counted on from one use to the next; those of earlier uses lie below `base`.
    table: Vec<u32>,
    base: u32,
    count: u32,
}

impl Numbering {
    fn clear(&mut self) {
        // The table begins with zeros, which are nobody's number.
        self.base += self.count.max(1);
        self.count = 0;
    }

    /// The number of what stands at a place, and whether it is new.
    #[inline]
    fn of(&mut self, place: usize) -> (u32, bool) {
        if self.table.len() <= place {
            self.table.resize((place + 1).next_power_of_two(), 0);
        }
        let number = &mut self.table[place];
        if *number >= self.base {
            return (*number - self.base, false);
        }
        *number = self.base + self.count;
        self.count += 1;
        (self.count - 1, true)
    }
}

/// A choice that the rules allow: the move, the key, and the number of that key with what rules remember.
#[derive(Clone, Copy)]
struct Allowed {
    up: Option<i8>,
    key: u8,
    chances: Chances,
    pair: u32,
}

/// Makes blocks; its tables are kept from one to the next.
#[derive(Default)]
struct Expander {
    allowed: Vec<Allowed>,
    /// What is allowed after each key with what rules remember.
    before: Numbering,
    ranges: Vec<(u32, u32)>,
    /// The keys with what rules remember that the block reaches.
    after: Numbering,
    pairs: Vec<(u8, u32)>,
    /// Those with what tastes remember.
    states: Numbering,
    /// The states that the last block reached, in the order in which they were met.
    reached: Vec<(u8, u32, u32)>,
}

impl Expander {
    /// The edges from the states of a layer into an onset.
    ///
    /// Rules do not look at what tastes remember, so they are asked once for all states that differ in that
    /// only.
    fn expand(&mut self, skeleton: &mut Skeleton, layer: &Layer, onset: &Onset) -> Block {
        let kind = skeleton.kind(onset);
        let ranges: Vec<(u32, u32)> = self.allow(skeleton, kind, layer, onset);
        self.states.clear();
        self.reached.clear();
        let count = ranges
            .iter()
            .map(|(first, last)| (last - first) as usize)
            .sum();
        let mut block = Block {
            starts: Vec::with_capacity(layer.len() + 1),
            edges: Vec::with_capacity(count),
        };
        block.starts.push(0);
        for (&(key, _, tastes), (first, last)) in layer.iter().zip(ranges) {
            let from = (key != Edge::SILENT).then_some(key);
            let row = skeleton.taste_row(kind, tastes, from);
            for allowed in &self.allowed[first as usize..last as usize] {
                let weighed = skeleton.weigh(row, allowed.up, kind, tastes, from);
                let place = weighed.tastes as usize * self.pairs.len() + allowed.pair as usize;
                let (to, new) = self.states.of(place);
                if new {
                    let (key, rules) = self.pairs[allowed.pair as usize];
                    self.reached.push((key, rules, weighed.tastes));
                }
                block.edges.push(Edge {
                    to,
                    key: allowed.key,
                    statement: weighed.statement,
                    chances: allowed.chances,
                    weight: weighed.weight,
                });
            }
            block.close_state();
        }
        block
    }

    /// What the rules allow after each state of a layer.
    fn allow(
        &mut self,
        skeleton: &mut Skeleton,
        kind: Kind,
        layer: &Layer,
        onset: &Onset,
    ) -> Vec<(u32, u32)> {
        let place = |key: u8, rules: u32| rules as usize * 256 + usize::from(key);
        self.before.clear();
        self.ranges.clear();
        self.after.clear();
        self.pairs.clear();
        self.allowed.clear();
        let ranges = layer.iter().map(|&(key, rules, _)| {
            let (number, new) = self.before.of(place(key, rules));
            if new {
                let from = (key != Edge::SILENT).then_some(key);
                let first = self.allowed.len() as u32;
                for number in skeleton.moves(kind, onset, rules, from) {
                    let passed = skeleton.passed(number);
                    let to = passed
                        .up
                        .map(|up| from.unwrap_or(0).wrapping_add_signed(up));
                    if to.is_some_and(|to| !onset.keys.contains(to)) {
                        continue;
                    }
                    let sounding = to.unwrap_or(key);
                    let (pair, new) = self.after.of(place(sounding, passed.rules));
                    if new {
                        self.pairs.push((sounding, passed.rules));
                    }
                    self.allowed.push(Allowed {
                        up: passed.up,
                        key: to.unwrap_or(Edge::SILENT),
                        chances: passed.chances,
                        pair,
                    });
                }
                self.ranges.push((first, self.allowed.len() as u32));
            }
            self.ranges[number as usize]
        });
        ranges.collect()
    }
}

/// A block whose states were merged, and what each of them became.
type Merged = (Arc<Block>, Arc<[u32]>);

/// The same graph with those states of a layer made one that have the same future: the same edges into merged
/// states. The first layer keeps all its states, which are the entries, and the last its exits; lines and
/// their weights stay as they are.
fn merge_equal_futures(blocks: &[Arc<Block>], exits: usize) -> Vec<Arc<Block>> {
    // What each state of the layer after became. Equal lists get equal numbers, so that a shared block is
    // merged once and stays shared.
    let mut became: Arc<[u32]> = (0..exits as u32).collect();
    let mut numbers: FxHashMap<Arc<[u32]>, usize> = FxHashMap::default();
    let mut made: FxHashMap<(*const Block, usize), Merged> = FxHashMap::default();
    let mut merged = Vec::with_capacity(blocks.len());
    for (layer, block) in blocks.iter().enumerate().rev() {
        let count = numbers.len();
        let number = *numbers.entry(became.clone()).or_insert(count);
        let merge = || {
            let (block, states) = block.merged(&became, layer > 0);
            (Arc::new(block), states.into())
        };
        let (block, states) = match layer {
            0 => merge(),
            _ => made
                .entry((Arc::as_ptr(block), number))
                .or_insert_with(merge)
                .clone(),
        };
        merged.push(block);
        became = states;
    }
    merged.reverse();
    merged
}
