//! The layered graph of admissible states, its weights, and backward sums over it.
//!
//! Layer *i* holds the states in which a line may stand once place *i* has been played; edges from layer
//! *i* to layer *i* + 1 are what may happen at place *i* + 1. The last layer stands after the first place
//! of whatever follows: the join belongs to the chorus that it closes. A path through the layers is a
//! chorus, and since rules and tastes are deterministic readers, a chorus is one path.
//!
//! Equal places met by equal sets of states have the same edges, so these are built once and shared: a long
//! chart costs little more than its different bars. What has been remembered and will not be asked for any
//! more is forgotten: states with equal futures are merged, about half of them.

use crate::{
    grammar::{Grammar, State},
    place::Place,
    rules::Step,
};
use num_bigint::BigUint;
use rustc_hash::{FxHashMap, FxHasher};
use std::{
    hash::{Hash, Hasher},
    ops::Range,
    sync::Arc,
};

/// What may happen in a state: the state that follows (by number in its layer), the weight, and the note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Number of the state reached, in the next layer.
    pub to: u32,
    /// MIDI key of the note that starts; [`Edge::SILENT`] if none does.
    pub key: u8,
    /// Product of the weights of all tastes.
    pub weight: f64,
}

impl Edge {
    /// No note starts.
    pub const SILENT: u8 = u8::MAX;
}

/// All edges between two layers.
#[derive(Debug)]
pub struct Block {
    /// Where the edges of each state begin; one entry more than there are states.
    starts: Vec<u32>,
    edges: Vec<Edge>,
}

impl Block {
    /// No states yet.
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
        let mut block = Block::empty();
        let mut by_hash: FxHashMap<u64, u32> = FxHashMap::default();
        let mut states = Vec::with_capacity(self.states());
        for state in 0..self.states() {
            let first = block.edges.len();
            let mut hasher = FxHasher::default();
            for &edge in self.edges(state) {
                let to = became[edge.to as usize];
                (to, edge.key, edge.weight.to_bits()).hash(&mut hasher);
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
    pub(crate) fn len(&self) -> usize {
        self.edges.len()
    }

    /// How many edges leave the states before a state.
    pub(crate) fn first(&self, state: usize) -> usize {
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
    /// The key that starts at each place after the first, or [`Edge::SILENT`].
    pub keys: Vec<u8>,
    /// Product of all weights along it.
    pub weight: f64,
    /// Number of its exit.
    pub exit: usize,
}

/// The layered graph of one chorus.
#[derive(Debug)]
pub struct Lattice {
    entries: Arc<[State]>,
    exits: Arc<[State]>,
    blocks: Vec<Arc<Block>>,
}

impl Lattice {
    /// Builds the graph of a chorus: from the `entries`, states that have already played the first place,
    /// through the other places and across the join to the place that comes `next`.
    pub fn build(
        grammar: &Grammar,
        places: &[Place],
        entries: Vec<State>,
        next: &Place,
    ) -> Lattice {
        let entries: Arc<[State]> = entries.into();
        let mut layers = vec![entries.clone()];
        let mut blocks = Vec::with_capacity(places.len());
        // Layers and places by what they hold; numbers stand for contents, so equal keys are equal blocks.
        let mut layer_numbers = FxHashMap::from_iter([(entries.clone(), 0)]);
        let mut place_numbers: FxHashMap<&Place, usize> = FxHashMap::default();
        let mut built: FxHashMap<(usize, usize), (Arc<Block>, usize)> = FxHashMap::default();
        let mut layer = 0;
        for place in &places[1..] {
            let count = place_numbers.len();
            let place_number = *place_numbers.entry(place).or_insert(count);
            if let Some((block, after)) = built.get(&(layer, place_number)) {
                blocks.push(block.clone());
                layer = *after;
                continue;
            }
            let (block, after) = expand(grammar, &layers[layer], place, |state| state);
            let after: Arc<[State]> = after.into();
            let number = *layer_numbers.entry(after.clone()).or_insert(layers.len());
            if number == layers.len() {
                layers.push(after);
            }
            let block = Arc::new(block);
            built.insert((layer, place_number), (block.clone(), number));
            blocks.push(block);
            layer = number;
        }
        let (join, exits) = expand(grammar, &layers[layer], next, |state| {
            grammar.across_join(state)
        });
        blocks.push(Arc::new(join));
        Lattice {
            blocks: merge_equal_futures(&blocks, exits.len()),
            entries,
            exits: exits.into(),
        }
    }

    /// Places of the chorus.
    pub fn places(&self) -> usize {
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

    /// The edges after each place.
    pub fn blocks(&self) -> &[Arc<Block>] {
        &self.blocks
    }

    /// Sum over all paths from each state to the accepted exits, from the last layer back to the first;
    /// `weigh` gives what an edge counts.
    fn backward<T: Clone>(
        &self,
        exits: Vec<T>,
        zero: T,
        add: impl Fn(&mut T, &Edge, &T),
    ) -> Vec<T> {
        self.blocks.iter().rev().fold(exits, |after, block| {
            (0..block.states())
                .map(|state| {
                    let mut sum = zero.clone();
                    for edge in block.edges(state) {
                        add(&mut sum, edge, &after[edge.to as usize]);
                    }
                    sum
                })
                .collect()
        })
    }

    /// Exact number of paths from each entry that some exit completes; weights do not matter.
    ///
    /// Paths differ if their notes do; the exits reached after the last note are not counted apart.
    pub fn count_completed(&self) -> Vec<BigUint> {
        let (join, inner) = match self.blocks.split_last() {
            Some(split) => split,
            None => return Vec::new(),
        };
        let last: Vec<BigUint> = (0..join.states())
            .map(|state| BigUint::from(u8::from(!join.edges(state).is_empty())))
            .collect();
        inner.iter().rev().fold(last, |after, block| {
            (0..block.states())
                .map(|state| {
                    let edges = block.edges(state).iter();
                    edges.map(|edge| &after[edge.to as usize]).sum()
                })
                .collect()
        })
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

    /// Exact number of lines from all entries that some exit completes (see
    /// [`Lattice::count_completed`]).
    pub fn count_lines(&self) -> BigUint {
        self.count_completed().into_iter().sum()
    }

    /// All lines from an entry with their exits, unless there are more than `most`.
    pub fn list(&self, entry: usize, most: usize) -> Option<Vec<Listed>> {
        let mut paths = vec![(
            entry as u32,
            Listed {
                keys: Vec::new(),
                weight: 1.0,
                exit: 0,
            },
        )];
        let last = self.blocks.len() - 1;
        for (layer, block) in self.blocks.iter().enumerate() {
            let mut longer = Vec::new();
            for (state, path) in &paths {
                for edge in block.edges(*state as usize) {
                    let mut path = path.clone();
                    path.weight *= edge.weight;
                    if layer < last {
                        path.keys.push(edge.key);
                    }
                    path.exit = edge.to as usize;
                    longer.push((edge.to, path));
                }
            }
            if longer.len() > most {
                return None;
            }
            paths = longer;
        }
        Some(paths.into_iter().map(|(_, path)| path).collect())
    }

    /// Exact number of lines that close into a loop: those that reach again the state they began with.
    pub fn count_loops(&self) -> BigUint {
        (0..self.entries.len())
            .filter_map(|entry| {
                let state = self.entries[entry];
                let exit = self.exits.iter().position(|&exit| exit == state)?;
                let mut exits = vec![BigUint::ZERO; self.exits.len()];
                exits[exit] = BigUint::from(1u8);
                let sums = self.backward(exits, BigUint::ZERO, |sum, _, after| *sum += after);
                Some(sums[entry].clone())
            })
            .sum()
    }
}

/// A choice that the rules allow at a place: its number, what they remember after it, and its weight as far
/// as it needs no memory.
type Allowed = (usize, u64, f64);

/// The edges from the states of a layer into a place, and the states that they reach, in the order in which
/// they are met.
///
/// Rules do not look at what tastes remember, so they are asked once for all states that differ in that only.
fn expand(
    grammar: &Grammar,
    states: &[State],
    place: &Place,
    settle: impl Fn(State) -> State,
) -> (Block, Vec<State>) {
    let choices: Vec<Option<u8>> = Grammar::choices(place).collect();
    let mut allowed: Vec<Allowed> = Vec::new();
    let mut allowed_after: FxHashMap<(Option<u8>, u64), Range<usize>> = FxHashMap::default();
    let mut numbers: FxHashMap<State, u32> = FxHashMap::default();
    let mut after = Vec::new();
    let mut block = Block::empty();
    for &state in states {
        let from = state.key();
        let (rules, tastes) = grammar.split(state);
        let step = |to: Option<u8>| Step { place, from, to };
        let here = allowed_after.entry((from, rules)).or_insert_with(|| {
            let first = allowed.len();
            for (choice, &to) in choices.iter().enumerate() {
                if let Ok(rules) = grammar.read(rules, &step(to)) {
                    allowed.push((choice, rules, grammar.weigh_plainly(&step(to))));
                }
            }
            first..allowed.len()
        });
        for &(choice, rules, plain) in &allowed[here.clone()] {
            let to = choices[choice];
            let (weight, tastes) = grammar.weigh(tastes, &step(to), plain);
            let key = to.or(from).unwrap_or(Edge::SILENT);
            let reached = settle(grammar.join(key, rules, tastes));
            let number = *numbers.entry(reached).or_insert_with(|| {
                after.push(reached);
                after.len() as u32 - 1
            });
            block.edges.push(Edge {
                to: number,
                key: to.unwrap_or(Edge::SILENT),
                weight,
            });
        }
        block.close_state();
    }
    (block, after)
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
