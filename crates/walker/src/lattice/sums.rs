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
use std::{borrow::Cow, ops::Range, sync::Arc};

/// How what follows a state is gathered: a sum over its edges of what each makes of what follows it.
pub trait Semiring {
    /// What is summed.
    type Item: Clone;

    /// The empty sum.
    fn zero(&self) -> Self::Item;

    /// Adds to the sum of a state in `layer` what an edge makes of the sum of the state to which it leads.
    fn add(&mut self, sum: &mut Self::Item, layer: usize, edge: &Edge, after: &Self::Item);

    /// Ends the sum of a state.
    fn close(&mut self, _sum: &mut Self::Item) {}

    /// Looks at a finished layer.
    fn settle(&mut self, _layer: usize, _sums: &mut [Self::Item]) {}
}

impl Lattice {
    /// Gathers what follows each state, from the sums of the states after the layers `layers` back to the
    /// first of them; `keep` is given every layer on the way, the first last.
    pub fn gather<S: Semiring>(
        &self,
        semiring: &mut S,
        layers: Range<usize>,
        after: Vec<S::Item>,
        mut keep: impl FnMut(usize, Vec<S::Item>),
    ) {
        let first = layers.start;
        let mut after = after;
        for layer in layers.rev() {
            let block = &self.blocks()[layer];
            let mut sums = Vec::with_capacity(block.states());
            for state in 0..block.states() {
                let mut sum = semiring.zero();
                for edge in block.edges(state) {
                    semiring.add(&mut sum, layer, edge, &after[edge.to as usize]);
                }
                semiring.close(&mut sum);
                sums.push(sum);
            }
            semiring.settle(layer, &mut sums);
            keep(layer + 1, std::mem::replace(&mut after, sums));
        }
        keep(first, after);
    }

    /// The same over the whole lattice, for the entries alone.
    pub(crate) fn total<S: Semiring>(&self, semiring: &mut S, exits: Vec<S::Item>) -> Vec<S::Item> {
        let mut first = Vec::new();
        self.gather(semiring, 0..self.onsets(), exits, |_, sums| first = sums);
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

    fn add(&mut self, sum: &mut BigUint, _: usize, _: &Edge, after: &BigUint) {
        *sum += after;
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

    fn add(&mut self, sum: &mut u32, layer: usize, edge: &Edge, after: &u32) {
        *sum = (*sum).min(after.saturating_add(self.0(layer, edge.key)));
    }
}

/// Exits that are gathered together.
const TOGETHER: usize = 3;

/// Total weights of lines to a few exits: a number for each statement before them and each exit. How many there
/// are is known when this is compiled, so that a sum stays in the processor's registers.
struct Weighing<'a, const WIDTH: usize> {
    weights: &'a Weights,
    /// Whether weights are squared.
    squared: bool,
    /// What the edges of a state state, and the weights to each exit after that, answers apart.
    stated: [f64; WIDTH],
    states: bool,
    /// The power of two that is divided out of each layer; none: what fits.
    given: Option<&'a [i64]>,
    powers: Vec<i64>,
}

impl<const WIDTH: usize> Weighing<'_, WIDTH> {
    fn square(&self, weight: f64) -> f64 {
        if self.squared {
            weight * weight
        } else {
            weight
        }
    }
}

impl<const WIDTH: usize> Semiring for Weighing<'_, WIDTH> {
    type Item = [f64; WIDTH];

    fn zero(&self) -> [f64; WIDTH] {
        [0.0; WIDTH]
    }

    #[inline(always)]
    fn add(&mut self, sum: &mut [f64; WIDTH], layer: usize, edge: &Edge, after: &[f64; WIDTH]) {
        let along = self.weights.along[layer][usize::from(edge.key)];
        let weight = self.square(edge.weight * along);
        if edge.statement == 0 {
            for number in 0..WIDTH {
                sum[number] += weight * after[number];
            }
            return;
        }
        // Whatever was stated before, the same follows; it is only weighed otherwise, once for all edges.
        self.states = true;
        let at = usize::from(edge.statement) * TOGETHER;
        for number in at..at + TOGETHER {
            self.stated[number] += weight * after[number];
        }
    }

    fn close(&mut self, sum: &mut [f64; WIDTH]) {
        if !self.states {
            return;
        }
        let answers = self.weights.lattice.answers();
        for (before, sum) in sum.chunks_exact_mut(TOGETHER).enumerate() {
            for (now, stated) in self.stated.chunks_exact(TOGETHER).enumerate().skip(1) {
                let answer = self.square(answers.weight(before, now));
                for (sum, stated) in sum.iter_mut().zip(stated) {
                    *sum += answer * stated;
                }
            }
        }
        self.states = false;
        self.stated = [0.0; WIDTH];
    }

    fn settle(&mut self, layer: usize, sums: &mut [[f64; WIDTH]]) {
        let numbers = sums.as_flattened_mut();
        let power = self
            .given
            .map_or_else(|| power_of(numbers), |given| given[layer]);
        let factor = power_of_two(-power);
        numbers.iter_mut().for_each(|number| *number *= factor);
        self.powers[layer] = power;
    }
}

/// Layers whose weights are kept; of longer lattices every so many, the others being worked out again.
const STRETCH: usize = 512;

/// The weights of the states of a layer, as many numbers each as a sum has.
type Layer = Box<[f64]>;

/// Weights towards a few exits.
#[derive(Debug, Default)]
struct Group {
    /// The weights after each stretch of the lattice.
    after: Vec<Layer>,
    /// Those of all layers of the first stretch.
    first: Vec<Layer>,
}

/// Total weights of all lines of a lattice, from each state to each exit.
#[derive(Debug)]
pub struct Weights {
    lattice: Arc<Lattice>,
    along: Vec<Arc<Along>>,
    groups: Vec<Group>,
    /// The power of two that was divided out of each layer.
    powers: Vec<i64>,
}

impl Weights {
    /// Gathers the weights of lines from the back; `along` is what varies along the form.
    pub fn new(lattice: Arc<Lattice>, along: Vec<Arc<Along>>) -> Weights {
        let mut weights = Weights {
            powers: Vec::new(),
            groups: Vec::new(),
            along,
            lattice,
        };
        for group in 0..weights.lattice.exits().len().div_ceil(TOGETHER) {
            let stretches = weights.lattice.onsets().div_ceil(STRETCH);
            let mut made = Group::default();
            let mut after = weights.at_exits(group);
            let mut powers = vec![0; weights.lattice.onsets()];
            for stretch in (0..stretches).rev() {
                let mut kept = Vec::new();
                let given = (group > 0).then_some(&*weights.powers);
                let layers = weights.layers(stretch);
                let divided =
                    weights.gather(layers.clone(), &after, false, given, |layer, sums| {
                        if layer == layers.start || stretch == 0 {
                            kept.push(sums);
                        }
                    });
                powers[layers.clone()].copy_from_slice(&divided[layers]);
                made.after.push(std::mem::replace(
                    &mut after,
                    kept.last().cloned().unwrap_or_default(),
                ));
                if stretch == 0 {
                    kept.reverse();
                    made.first = kept;
                }
            }
            made.after.reverse();
            if group == 0 {
                weights.powers = powers;
            }
            weights.groups.push(made);
        }
        weights
    }

    /// How many numbers a sum has: the statements, rounded up to what was compiled, times the exits together.
    fn width(&self) -> usize {
        TOGETHER
            * match self.lattice.answers().count {
                1 => 1,
                ..=6 => 6,
                _ => 8,
            }
    }

    /// Weights of the exits of a group: one, each for itself, whatever was stated before.
    fn at_exits(&self, group: usize) -> Layer {
        let width = self.width();
        (0..self.lattice.exits().len() * width)
            .map(|place| {
                let (state, exit) = (place / width, group * TOGETHER + place % TOGETHER);
                f64::from(u8::from(state == exit))
            })
            .collect()
    }

    /// The layers of a stretch.
    fn layers(&self, stretch: usize) -> Range<usize> {
        stretch * STRETCH..self.lattice.onsets().min((stretch + 1) * STRETCH)
    }

    /// Gathers over layers, and gives the powers of two that were divided out.
    fn gather(
        &self,
        layers: Range<usize>,
        after: &[f64],
        squared: bool,
        given: Option<&[i64]>,
        keep: impl FnMut(usize, Layer),
    ) -> Vec<i64> {
        match self.width() {
            3 => self.gather_wide::<3>(layers, after, squared, given, keep),
            18 => self.gather_wide::<18>(layers, after, squared, given, keep),
            _ => self.gather_wide::<24>(layers, after, squared, given, keep),
        }
    }

    fn gather_wide<const WIDTH: usize>(
        &self,
        layers: Range<usize>,
        after: &[f64],
        squared: bool,
        given: Option<&[i64]>,
        mut keep: impl FnMut(usize, Layer),
    ) -> Vec<i64> {
        let mut weighing = Weighing {
            weights: self,
            squared,
            stated: [0.0; WIDTH],
            states: false,
            given,
            powers: vec![0; self.lattice.onsets()],
        };
        let (after, _) = after.as_chunks::<WIDTH>();
        self.lattice
            .gather(&mut weighing, layers, after.to_vec(), |layer, sums| {
                keep(layer, sums.into_flattened().into());
            });
        weighing.powers
    }

    /// The lattice.
    pub fn lattice(&self) -> &Lattice {
        &self.lattice
    }

    /// Total weight of all lines from an entry to an exit, in a unit of the whole lattice.
    pub fn total(&self, entry: usize, exit: usize) -> f64 {
        self.groups[exit / TOGETHER].first[0][entry * self.width() + exit % TOGETHER]
    }

    /// The odds that two lines drawn between the same ends are equal, at the ends where they are greatest.
    pub fn greatest_odds_of_equals(&self) -> f64 {
        let mut odds = 0.0f64;
        for group in 0..self.groups.len() {
            let mut after = self.at_exits(group);
            let mut exponent = -2 * self.powers.iter().sum::<i64>();
            for stretch in (0..self.groups[group].after.len()).rev() {
                let mut first = Layer::default();
                let layers = self.layers(stretch);
                let powers = self.gather(layers, &after, true, None, |_, sums| first = sums);
                exponent += powers.iter().sum::<i64>();
                after = first;
            }
            let mut greatest = 0.0f64;
            for entry in 0..self.lattice.entries().len() {
                let at = entry * self.width();
                for exit in at..at + TOGETHER {
                    let total = self.groups[group].first[0][exit];
                    if total > 0.0 {
                        greatest = greatest.max(after[exit] / (total * total));
                    }
                }
            }
            while exponent < 0 && greatest > 0.0 {
                greatest *= 0.5;
                exponent += 1;
            }
            odds = odds.max(greatest);
        }
        odds.min(1.0)
    }

    /// The weights of all layers of a stretch towards an exit, the layer after it included.
    pub(super) fn stretch(&self, stretch: usize, exit: usize) -> Cow<'_, [Layer]> {
        let group = &self.groups[exit / TOGETHER];
        if stretch == 0 {
            return Cow::Borrowed(&group.first);
        }
        let mut layers = Vec::new();
        let after = &group.after[stretch];
        self.gather(
            self.layers(stretch),
            after,
            false,
            Some(&self.powers),
            |_, sums| {
                layers.push(sums);
            },
        );
        layers.reverse();
        Cow::Owned(layers)
    }

    /// How many stretches there are.
    pub(super) fn stretches(&self) -> usize {
        self.lattice.onsets().div_ceil(STRETCH)
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
        let width = self.width();
        let along = &self.along[layer];
        let edges = self.lattice.blocks()[layer].edges(state).iter();
        edges.map(move |edge| {
            let (answer, now) = self.lattice.answers().answer(stated, edge);
            let weight = edge.weight * along[usize::from(edge.key)] * answer;
            let at = edge.to as usize * width + now * TOGETHER + exit % TOGETHER;
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
            let layers = self.stretch(stretch, exit);
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

/// The power of two by which the greatest number has to be divided to lie between 1 and 2.
fn power_of(numbers: &[f64]) -> i64 {
    let greatest = numbers.iter().copied().fold(0.0, f64::max);
    match greatest > 0.0 {
        true => (greatest.to_bits() >> 52) as i64 - 1023,
        false => 0,
    }
}

/// 2 to a power; weights keep sums far from the ends of the range, so it is a normal number.
fn power_of_two(power: i64) -> f64 {
    f64::from_bits(((1023 + power) as u64) << 52)
}
