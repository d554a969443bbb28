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

use super::skeleton::{Answers, Skeleton, State};
use crate::rules::{Chances, Liberties, Onset};
use rustc_hash::{FxHashMap, FxHashSet, FxHasher};
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
    /// No states yet, with room for so many and their edges.
    pub(super) fn with_room(states: usize, edges: usize) -> Block {
        let mut starts = Vec::with_capacity(states + 1);
        starts.push(0);
        Block {
            starts,
            edges: Vec::with_capacity(edges),
        }
    }

    /// Adds an edge to the state that is not ended yet.
    #[inline]
    pub(super) fn push(&mut self, edge: Edge) {
        self.edges.push(edge);
    }

    /// The same edges into what each state of the layer after became.
    pub(super) fn lead_to(&mut self, became: &[u32]) {
        for edge in &mut self.edges {
            edge.to = became[edge.to as usize];
        }
    }

    /// Ends the edges of a state; those of the next follow.
    pub(super) fn close_state(&mut self) {
        self.starts.push(self.edges.len() as u32);
    }

    /// The same edges into states of the layer after as they `became` by merging; states whose edges are then
    /// equal are merged too, if they may be. Gives what each state became.
    pub(super) fn merged(&self, became: &[u32], may_merge: bool) -> (Block, Vec<u32>) {
        let mut block = Block::with_room(self.states(), self.edges.len());
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
        let first: Arc<[(u8, u32, u32)]> = entries
            .iter()
            .map(|&state| {
                let (rules, tastes) = skeleton.numbers_of(state);
                (state.key().unwrap_or(Edge::SILENT), rules, tastes)
            })
            .collect();
        let mut workings = skeleton.take_workings();
        let mut blocks: Vec<Arc<Block>> = Vec::with_capacity(onsets.len());
        let mut met: FxHashSet<*const Block> = FxHashSet::default();
        let mut edges = 0;
        let mut layer = workings.layer(first);
        for (number, onset) in onsets.iter().enumerate().skip(1) {
            let (block, after) = workings.block(skeleton, layer, onset);
            if met.insert(Arc::as_ptr(&block)) {
                edges += block.len();
            }
            if edges > MOST_EDGES {
                return Err(TooLarge {
                    onset: number,
                    most: MOST_EDGES,
                });
            }
            blocks.push(block);
            layer = after;
        }
        let (join, exits) = workings.join(skeleton, layer, next);
        blocks.push(join);
        let blocks = workings.merge_equal_futures(&blocks, exits.len());
        skeleton.leave(workings);
        Ok(Lattice {
            blocks,
            entries: entries.into(),
            exits,
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
        let mut block = Block::with_room(0, 0);
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
