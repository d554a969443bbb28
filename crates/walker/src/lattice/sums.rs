//! What follows each state of a lattice, gathered from the back over any semiring: how many lines, their total
//! weight to each exit, the least that one costs.
//!
//! One traversal serves all (M. Mohri, F. Pereira, M. Riley, "Weighted finite-state transducers in speech
//! recognition", Computer Speech and Language 16(1), 2002). Weights are `f64`, combined by + and × only and
//! rescaled by powers of two, which is exact: the same numbers come out on every platform.

use super::{
    draw::{Row, alias_row},
    graph::{Along, Edge, Lattice},
};
use num_bigint::BigUint;
use rand::Rng;
use std::{borrow::Cow, sync::Arc};

/// How what follows a state is gathered: a sum over its edges of what each makes of what follows it. A state
/// may have several such numbers, side by side.
pub trait Semiring {
    /// What is summed.
    type Item: Clone;

    /// How many numbers a state has.
    fn width(&self) -> usize {
        1
    }

    /// The empty sum.
    fn zero(&self) -> Self::Item;

    /// Adds to the numbers of a state in `layer` those of the state to which an edge leads.
    fn add(&mut self, sum: &mut [Self::Item], layer: usize, edge: &Edge, after: &[Self::Item]);

    /// Ends the sum of a state.
    fn close(&mut self, _sum: &mut [Self::Item]) {}

    /// Looks at a finished layer.
    fn settle(&mut self, _layer: usize, _sums: &mut [Self::Item]) {}
}

impl Lattice {
    /// Gathers what follows each state, from the numbers of the states after the layers `layers` back to the
    /// first of them; `keep` is given every layer on the way, the first last.
    pub fn gather<S: Semiring>(
        &self,
        semiring: &mut S,
        layers: std::ops::Range<usize>,
        after: Vec<S::Item>,
        mut keep: impl FnMut(usize, Vec<S::Item>),
    ) {
        let width = semiring.width();
        let mut after = after;
        for layer in layers.rev() {
            let block = &self.blocks()[layer];
            let mut sums = vec![semiring.zero(); block.states() * width];
            for (state, sum) in sums.chunks_exact_mut(width).enumerate() {
                for edge in block.edges(state) {
                    let at = edge.to as usize * width;
                    semiring.add(sum, layer, edge, &after[at..at + width]);
                }
                semiring.close(sum);
            }
            semiring.settle(layer, &mut sums);
            keep(layer + 1, std::mem::replace(&mut after, sums));
        }
        keep(0, after);
    }

    /// The same over the whole lattice, for the entries alone.
    fn total<S: Semiring>(&self, semiring: &mut S, exits: Vec<S::Item>) -> Vec<S::Item> {
        let mut first = Vec::new();
        self.gather(semiring, 0..self.onsets(), exits, |layer, sums| {
            if layer == 0 {
                first = sums;
            }
        });
        first
    }

    /// Exact number of different lines from each entry that some exit completes; weights do not matter.
    ///
    /// Lines differ if their notes do; the exits reached after the last note are not counted apart.
    pub fn count_completed(&self) -> Vec<BigUint> {
        let last = self.onsets() - 1;
        let join = &self.blocks()[last];
        let completed = (0..join.states()).map(|state| !join.edges(state).is_empty());
        let after = completed
            .map(|some| BigUint::from(u8::from(some)))
            .collect();
        let mut first = Vec::new();
        self.gather(&mut Counting, 0..last, after, |_, sums| first = sums);
        first
    }

    /// Exact number of lines from all entries that some exit completes.
    pub fn count_lines(&self) -> BigUint {
        self.count_completed().into_iter().sum()
    }

    /// Exact number of lines that close into a loop: those that reach again the state they began with.
    pub fn count_loops(&self) -> BigUint {
        let loops = self
            .entries()
            .iter()
            .enumerate()
            .filter_map(|(entry, state)| {
                let exit = self.exits().iter().position(|exit| exit == state)?;
                let mut exits = vec![BigUint::ZERO; self.exits().len()];
                exits[exit] = BigUint::from(1u8);
                Some(self.total(&mut Counting, exits).swap_remove(entry))
            });
        loops.sum()
    }

    /// A line that costs least, from any entry to any exit: its entry, the edge taken in each layer, by
    /// number among those of its state, and its exit; none if there is no line.
    pub fn cheapest(&self, cost: impl Fn(usize, u8) -> u32) -> Option<(usize, Vec<Edge>, usize)> {
        let mut layers = vec![Vec::new(); self.onsets() + 1];
        let mut cheapest = Cheapest(cost);
        let exits = vec![0; self.exits().len()];
        self.gather(&mut cheapest, 0..self.onsets(), exits, |layer, costs| {
            layers[layer] = costs;
        });
        let (entry, _) = layers[0]
            .iter()
            .enumerate()
            .min_by_key(|&(_, cost)| cost)
            .filter(|&(_, &cost)| cost < Cheapest::<fn(usize, u8) -> u32>::NONE)?;
        let mut state = entry;
        let mut path = Vec::with_capacity(self.onsets());
        for (layer, block) in self.blocks().iter().enumerate() {
            let costs = |edge: &&Edge| {
                let after = layers[layer + 1][edge.to as usize];
                after.saturating_add(cheapest.0(layer, edge.key))
            };
            let edge = *block.edges(state).iter().min_by_key(costs)?;
            path.push(edge);
            state = edge.to as usize;
        }
        Some((entry, path, state))
    }
}

/// Numbers of lines.
struct Counting;

impl Semiring for Counting {
    type Item = BigUint;

    fn zero(&self) -> BigUint {
        BigUint::ZERO
    }

    fn add(&mut self, sum: &mut [BigUint], _: usize, _: &Edge, after: &[BigUint]) {
        sum[0] += &after[0];
    }
}

/// Least costs of a line, given what each note costs in each layer.
struct Cheapest<C>(C);

impl<C> Cheapest<C> {
    /// There is no line.
    const NONE: u32 = u32::MAX;
}

impl<C: Fn(usize, u8) -> u32> Semiring for Cheapest<C> {
    type Item = u32;

    fn zero(&self) -> u32 {
        Self::NONE
    }

    fn add(&mut self, sum: &mut [u32], layer: usize, edge: &Edge, after: &[u32]) {
        sum[0] = sum[0].min(after[0].saturating_add(self.0(layer, edge.key)));
    }
}

/// Total weights of lines: for each statement before them and each exit.
struct Weighing<'a> {
    lattice: &'a Lattice,
    along: &'a [Arc<Along>],
    exits: usize,
    /// Whether weights are squared.
    squared: bool,
    /// What the edges of a state state, and the weights to each exit after that, answers apart.
    stated: Vec<f64>,
    states: bool,
    /// The power of two that was divided out of each layer.
    powers: Vec<i64>,
}

impl Semiring for Weighing<'_> {
    type Item = f64;

    fn width(&self) -> usize {
        self.exits * self.lattice.answers().count
    }

    fn zero(&self) -> f64 {
        0.0
    }

    #[inline(always)]
    fn add(&mut self, sum: &mut [f64], layer: usize, edge: &Edge, after: &[f64]) {
        let square = |weight: f64| {
            if self.squared {
                weight * weight
            } else {
                weight
            }
        };
        let weight = square(edge.weight * self.along[layer][usize::from(edge.key)]);
        if edge.statement == 0 {
            // In sixes, which the compiler turns into few instructions: so many statements there are.
            let (sums, rest) = sum.as_chunks_mut::<6>();
            let (afters, rest_after) = after.as_chunks::<6>();
            for (sums, afters) in sums.iter_mut().zip(afters) {
                for number in 0..6 {
                    sums[number] += weight * afters[number];
                }
            }
            for (sum, after) in rest.iter_mut().zip(rest_after) {
                *sum += weight * after;
            }
            return;
        }
        // Whatever was stated before, the same follows; it is only weighed otherwise, once for all edges.
        self.states = true;
        let at = usize::from(edge.statement) * self.exits;
        let stated = &mut self.stated[at..at + self.exits];
        for (sum, after) in stated.iter_mut().zip(&after[at..]) {
            *sum += weight * after;
        }
    }

    fn close(&mut self, sum: &mut [f64]) {
        if !self.states {
            return;
        }
        self.states = false;
        let answers = self.lattice.answers();
        for (before, sum) in sum.chunks_exact_mut(self.exits).enumerate() {
            for (now, stated) in self.stated.chunks_exact(self.exits).enumerate().skip(1) {
                let answer = answers.weight(before, now);
                let answer = if self.squared {
                    answer * answer
                } else {
                    answer
                };
                for (sum, stated) in sum.iter_mut().zip(stated) {
                    *sum += answer * stated;
                }
            }
        }
        self.stated.fill(0.0);
    }

    fn settle(&mut self, layer: usize, sums: &mut [f64]) {
        self.powers[layer] = rescale(sums);
    }
}

/// Layers whose weights are kept; of longer lattices every so many, the others being worked out again.
const STRETCH: usize = 512;

/// Total weights of all lines of a lattice, from each state to each exit.
#[derive(Debug)]
pub struct Weights {
    lattice: Arc<Lattice>,
    along: Vec<Arc<Along>>,
    exits: usize,
    /// For each stretch of the lattice the weights of the layer after it; of the first stretch all.
    after: Vec<Box<[f64]>>,
    first: Vec<Box<[f64]>>,
    /// The weights of the entries are to be multiplied by 2 to this power.
    exponent: i64,
}

impl Weights {
    /// Gathers the weights of lines from the back; `along` is what varies along the form.
    pub fn new(lattice: Arc<Lattice>, along: Vec<Arc<Along>>) -> Weights {
        let exits = lattice.exits().len();
        let mut weights = Weights {
            exits,
            after: Vec::new(),
            first: Vec::new(),
            exponent: 0,
            along,
            lattice,
        };
        let stretches = weights.lattice.onsets().div_ceil(STRETCH);
        let mut after = weights.at_exits();
        for stretch in (0..stretches).rev() {
            let mut first = Vec::new();
            weights.after.push(after.as_slice().into());
            let exponent = weights.gather(stretch, after, false, |layer, sums| {
                if layer == stretch * STRETCH || stretch == 0 {
                    first.push(sums);
                }
            });
            weights.exponent += exponent;
            after = first.last().cloned().unwrap_or_default();
            if stretch == 0 {
                first.reverse();
                weights.first = first.into_iter().map(Into::into).collect();
            }
        }
        weights.after.reverse();
        weights
    }

    /// Weights of the exits: one, each for itself, whatever was stated before.
    fn at_exits(&self) -> Vec<f64> {
        let width = self.exits * self.lattice.answers().count;
        (0..self.exits * width)
            .map(|place| {
                let (state, exit) = (place / width, place % self.exits);
                f64::from(u8::from(state == exit))
            })
            .collect()
    }

    /// Gathers over a stretch, and gives the power of two that was divided out.
    fn gather(
        &self,
        stretch: usize,
        after: Vec<f64>,
        squared: bool,
        keep: impl FnMut(usize, Vec<f64>),
    ) -> i64 {
        let last = self.lattice.onsets().min((stretch + 1) * STRETCH);
        let mut weighing = Weighing {
            lattice: &self.lattice,
            along: &self.along,
            exits: self.exits,
            squared,
            stated: vec![0.0; self.exits * self.lattice.answers().count],
            states: false,
            powers: vec![0; self.lattice.onsets()],
        };
        let layers = stretch * STRETCH..last;
        self.lattice.gather(&mut weighing, layers, after, keep);
        weighing.powers.iter().sum()
    }

    /// The lattice.
    pub fn lattice(&self) -> &Lattice {
        &self.lattice
    }

    /// Total weight of all lines from an entry to an exit, in a unit of the whole lattice.
    pub fn total(&self, entry: usize, exit: usize) -> f64 {
        let width = self.exits * self.lattice.answers().count;
        self.first[0][entry * width + exit]
    }

    /// The odds that two lines drawn between the same ends are equal, at the ends where they are greatest.
    pub fn greatest_odds_of_equals(&self) -> f64 {
        let width = self.exits * self.lattice.answers().count;
        let mut after = self.at_exits();
        let mut exponent = -2 * self.exponent;
        for stretch in (0..self.after.len()).rev() {
            let mut first = Vec::new();
            exponent += self.gather(stretch, after, true, |_, sums| first = sums);
            after = first;
        }
        let ends = (0..self.lattice.entries().len() * width).filter(|end| end % width < self.exits);
        let ratio = |end: usize| match self.first[0][end] {
            total if total > 0.0 => after[end] / (total * total),
            _ => 0.0,
        };
        let mut odds = ends.map(ratio).fold(0.0, f64::max);
        while exponent < 0 && odds > 0.0 {
            odds *= 0.5;
            exponent += 1;
        }
        odds.min(1.0)
    }

    /// The weights of all layers of a stretch, the one after it included.
    pub(super) fn stretch(&self, stretch: usize) -> Cow<'_, [Box<[f64]>]> {
        if stretch == 0 {
            return Cow::Borrowed(&self.first);
        }
        let mut layers: Vec<Box<[f64]>> = Vec::new();
        let after = self.after[stretch].to_vec();
        self.gather(stretch, after, false, |layer, sums| {
            if layer > 0 {
                layers.push(sums.into());
            }
        });
        layers.reverse();
        Cow::Owned(layers)
    }

    /// How many stretches there are.
    pub(super) fn stretches(&self) -> usize {
        self.after.len()
    }

    /// The weights of the edges of a state towards an exit, given what was stated before it and the weights of
    /// the layer after.
    pub(super) fn of_edges<'a>(
        &'a self,
        layer: usize,
        state: usize,
        stated: usize,
        exit: usize,
        after: &'a [f64],
    ) -> impl Iterator<Item = (&'a Edge, usize, f64)> {
        let width = self.exits * self.lattice.answers().count;
        let along = &self.along[layer];
        let edges = self.lattice.blocks()[layer].edges(state).iter();
        edges.map(move |edge| {
            let (answer, now) = self.lattice.answers().answer(stated, edge);
            let weight = edge.weight * along[usize::from(edge.key)] * answer;
            let at = edge.to as usize * width + now * self.exits + exit;
            (edge, now, weight * after[at])
        })
    }

    /// Draws one chorus between an entry and an exit between which there are lines: the key that starts at
    /// each onset after the first ([`Edge::SILENT`] for none) is added to `keys`.
    pub fn draw(&self, entry: usize, exit: usize, rng: &mut impl Rng, keys: &mut Vec<u8>) {
        let last = self.lattice.onsets() - 1;
        let (mut state, mut stated) = (entry, 0);
        let mut row = Row::default();
        for stretch in 0..self.stretches() {
            let layers = self.stretch(stretch);
            let from = stretch * STRETCH;
            for layer in from..last.min(from + STRETCH) {
                let after = &layers[layer - from + 1];
                alias_row(self.of_edges(layer, state, stated, exit, after), &mut row);
                let Some(chosen) = row.choose(rng.next_u64()) else {
                    return;
                };
                keys.push(chosen.key());
                (state, stated) = (chosen.state(), chosen.stated());
            }
        }
    }
}

/// Chooses among the numbers below `count` with probability proportional to their weights, by a random
/// number; if none has a weight above 0, the last is given.
///
/// # Panics
/// If there are none at all.
pub(crate) fn choose(count: usize, weight: impl Fn(usize) -> f64, random: u64) -> usize {
    let mut total = 0.0;
    for number in 0..count {
        total += weight(number);
    }
    let mut left = unit(random) * total;
    let mut chosen = count - 1;
    for number in 0..count {
        let weight = weight(number);
        if weight > 0.0 {
            chosen = number;
            if left < weight {
                break;
            }
            left -= weight;
        }
    }
    chosen
}

/// A number from 0 up to 1, in steps of 2^-53, out of a random one.
fn unit(random: u64) -> f64 {
    (random >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
}

/// Divides by the power of two that brings the greatest number to between 1 and 2, and gives the power.
fn rescale(numbers: &mut [f64]) -> i64 {
    let greatest = numbers.iter().copied().fold(0.0, f64::max);
    if greatest == 0.0 {
        return 0;
    }
    let exponent = (greatest.to_bits() >> 52) as i64 - 1023;
    let factor = f64::from_bits(((1023 - exponent) as u64) << 52);
    numbers.iter_mut().for_each(|number| *number *= factor);
    exponent
}
