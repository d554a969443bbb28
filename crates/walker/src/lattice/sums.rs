//! What follows each state of a lattice, gathered from the back over any semiring: how many lines, their total
//! weight to each exit.
//!
//! One traversal serves all (M. Mohri, F. Pereira, M. Riley, "Weighted finite-state transducers in speech
//! recognition", Computer Speech and Language 16(1), 2002). Weights are `f64`, combined by + and × only and
//! rescaled by powers of two, which is exact: the same numbers come out on every platform.

use super::{
    draw::{Row, alias_row, random, randoms},
    graph::{Along, Block, Edge, Lattice},
};
use num_bigint::BigUint;
use rand::Rng;
use rustc_hash::FxHashMap;
use std::{ops::Range, sync::Arc};

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
}

impl Lattice {
    /// The sums of the states of a layer, given those of the layer after.
    pub fn gather<S: Semiring>(
        &self,
        semiring: &mut S,
        layer: usize,
        after: &[S::Item],
    ) -> Vec<S::Item> {
        let block = &self.blocks()[layer];
        let sums = (0..block.states()).map(|state| {
            let mut sum = semiring.zero();
            for edge in block.edges(state) {
                semiring.add(&mut sum, layer, edge, &after[edge.to as usize]);
            }
            semiring.close(&mut sum);
            sum
        });
        sums.collect()
    }

    /// The same from the exits, or from the layer before `last`, back to the entries.
    pub(crate) fn total<S: Semiring>(
        &self,
        semiring: &mut S,
        last: usize,
        after: Vec<S::Item>,
    ) -> Vec<S::Item> {
        let layers = (0..last).rev();
        layers.fold(after, |after, layer| self.gather(semiring, layer, &after))
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
        self.total(&mut Counting, last, after)
    }

    /// Exact number of lines from all entries that some exit completes.
    pub fn count_lines(&self) -> BigUint {
        self.count_completed().into_iter().sum()
    }

    /// The logarithm to base 10 of the number of lines, to a dozen digits; none if there is no line. For long
    /// charts it is found much sooner than the number.
    pub fn digits(&self) -> Option<f64> {
        let last = self.onsets() - 1;
        let join = &self.blocks()[last];
        let completed = (0..join.states()).map(|state| !join.edges(state).is_empty());
        let mut sums: Vec<f64> = completed.map(|some| f64::from(u8::from(some))).collect();
        let mut power = 0;
        for layer in (0..last).rev() {
            sums = self.gather(&mut Magnitude, layer, &sums);
            let divided = power_of(&sums);
            divide(&mut sums, power_of_two(divided));
            power += divided;
        }
        let total: f64 = sums.iter().sum();
        (total > 0.0).then(|| total.log10() + power as f64 * 2f64.log10())
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
                let first = self.total(&mut Counting, self.onsets(), exits);
                first.into_iter().nth(entry)
            });
        loops.sum()
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

/// Numbers of lines, nearly.
struct Magnitude;

impl Semiring for Magnitude {
    type Item = f64;

    fn zero(&self) -> f64 {
        0.0
    }

    fn add(&mut self, sum: &mut f64, _: usize, _: &Edge, after: &f64) {
        *sum += after;
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
        let stated = &mut self.stated[at..at + TOGETHER];
        for (sum, after) in stated.iter_mut().zip(&after[at..]) {
            *sum += weight * after;
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
}

/// Of long lattices the weights of every so many layers are kept, the others being worked out again when they
/// are asked for.
const STRETCH: usize = 512;

/// The most numbers that are kept of other layers: 128 MiB.
const MOST_KEPT: usize = 1 << 24;

/// Onsets from which on the layers are brought to the same size, and one that agrees with another to within
/// [`AGREES`] is taken for it, so that in a chart that goes on and on they come to stay the same. A lattice of
/// which not all layers are kept is longer.
const LONG: usize = 2 * STRETCH;

/// By what part two numbers of a long lattice may differ: one in 2 to the thirty-second. Sums of positive numbers
/// forget where they began, so that what is taken for equal once stays as near from there on.
const AGREES: f64 = 1.0 / (1u64 << 32) as f64;

/// The weights of the states of a layer, as many numbers each as a sum has. Equal layers are one.
type Layer = Arc<[f64]>;

/// Layers that have been gathered of late, by the edges and the weights along the form that led to them: the layer
/// after, the layer itself, and what it was divided by.
type Gathered = FxHashMap<(*const Block, *const Along), Vec<(Layer, Layer, f64)>>;

/// Layers that are remembered for the same edges and weights: a form comes round in few bars.
const REMEMBERED: usize = 8;

/// Total weights of all lines of a lattice, from each state to each exit.
#[derive(Debug)]
pub struct Weights {
    lattice: Arc<Lattice>,
    along: Vec<Arc<Along>>,
    /// For each few exits the layers, those of the entries first; none if it is not kept.
    groups: Vec<Vec<Option<Layer>>>,
    /// What each layer was divided by.
    units: Vec<f64>,
}

impl Weights {
    /// Gathers the weights of lines from the back; `along` is what varies along the form.
    pub fn new(lattice: Arc<Lattice>, along: Vec<Arc<Along>>) -> Weights {
        let onsets = lattice.onsets();
        let mut weights = Weights {
            units: Vec::new(),
            groups: Vec::new(),
            along,
            lattice,
        };
        for group in 0..weights.lattice.exits().len().div_ceil(TOGETHER) {
            let mut after = weights.at_exits(group);
            let mut layers = vec![Some(after.clone())];
            let mut units = vec![1.0; onsets];
            let mut gathered = Gathered::default();
            let mut kept = 0;
            for layer in (0..onsets).rev() {
                let given = weights.units.get(layer).copied();
                let (sums, unit, new) = weights.known_or_new(&mut gathered, layer, &after, given);
                kept += if new { sums.len() } else { 0 };
                let keep = !new || kept <= MOST_KEPT || layer % STRETCH == 0;
                layers.push(keep.then(|| sums.clone()));
                units[layer] = unit;
                after = sums;
            }
            layers.reverse();
            weights.groups.push(layers);
            weights.units = units;
        }
        weights
    }

    /// A layer, what it was divided by, and whether it is one that was not met before: in a chart that goes on and on the
    /// weights come to stay the same, and are then found instead of gathered.
    fn known_or_new(
        &self,
        gathered: &mut Gathered,
        layer: usize,
        after: &Layer,
        given: Option<f64>,
    ) -> (Layer, f64, bool) {
        let edges = Arc::as_ptr(&self.lattice.blocks()[layer]);
        let key = (edges, Arc::as_ptr(&self.along[layer]));
        let known = gathered.entry(key).or_default();
        let same = |(before, _, unit): &&(Layer, Layer, f64)| {
            Arc::ptr_eq(before, after) && given.is_none_or(|given| given == *unit)
        };
        if let Some((_, sums, unit)) = known.iter().find(same) {
            return (sums.clone(), *unit, false);
        }
        let mut numbers = self.gather(layer, after, false);
        let unit = given.unwrap_or_else(|| match self.is_long() {
            true => greatest(&numbers),
            false => power_of_two(power_of(&numbers)),
        });
        divide(&mut numbers, unit);
        let alike = |one: &f64, other: &f64| match self.is_long() {
            true => (one - other).abs() <= AGREES * one,
            false => one == other,
        };
        let same = known.iter().find(|(_, sums, _)| {
            sums.len() == numbers.len() && sums.iter().zip(&numbers).all(|(a, b)| alike(a, b))
        });
        let (sums, new) = match same {
            Some((_, sums, _)) => (sums.clone(), false),
            None => (numbers.into(), true),
        };
        if known.len() == REMEMBERED {
            known.remove(0);
        }
        known.push((after.clone(), sums.clone(), unit));
        (sums, unit, new)
    }

    fn is_long(&self) -> bool {
        self.lattice.onsets() > LONG
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

    /// The weights of a layer, given those of the layer after; not rescaled.
    fn gather(&self, layer: usize, after: &[f64], squared: bool) -> Vec<f64> {
        match self.width() {
            3 => self.gather_wide::<3>(layer, after, squared),
            18 => self.gather_wide::<18>(layer, after, squared),
            _ => self.gather_wide::<24>(layer, after, squared),
        }
    }

    fn gather_wide<const WIDTH: usize>(
        &self,
        layer: usize,
        after: &[f64],
        squared: bool,
    ) -> Vec<f64> {
        let mut weighing = Weighing {
            weights: self,
            squared,
            stated: [0.0; WIDTH],
            states: false,
        };
        let (after, _) = after.as_chunks::<WIDTH>();
        let sums = self.lattice.gather(&mut weighing, layer, after);
        sums.into_flattened()
    }

    /// The lattice.
    pub fn lattice(&self) -> &Lattice {
        &self.lattice
    }

    /// Total weight of all lines from an entry to an exit, in a unit of the whole lattice.
    pub fn total(&self, entry: usize, exit: usize) -> f64 {
        let entries = self.groups[exit / TOGETHER][0].as_deref();
        entries.map_or(0.0, |entries| {
            entries[entry * self.width() + exit % TOGETHER]
        })
    }

    /// The odds that two lines drawn between the same ends are equal, at the ends where they are greatest.
    pub fn greatest_odds_of_equals(&self) -> f64 {
        let odds = |group: usize| {
            let divided: f64 = self.units.iter().map(|unit| unit.log2()).sum();
            let mut exponent = -2 * divided as i64;
            let mut squares = self.at_exits(group).to_vec();
            for layer in (0..self.lattice.onsets()).rev() {
                squares = self.gather(layer, &squares, true);
                let power = power_of(&squares);
                divide(&mut squares, power_of_two(power));
                exponent += power;
            }
            let totals = self.groups[group][0].as_deref().unwrap_or_default();
            // Before the first note nothing was stated.
            let exits = (0..totals.len()).filter(|at| at % self.width() < TOGETHER);
            let ratio = |exit: usize| match totals[exit] {
                total if total > 0.0 => squares[exit] / (total * total),
                _ => 0.0,
            };
            let mut odds = exits.map(ratio).fold(0.0, f64::max);
            while exponent < 0 && odds > 0.0 {
                odds *= 0.5;
                exponent += 1;
            }
            odds
        };
        (0..self.groups.len())
            .map(odds)
            .fold(0.0, f64::max)
            .min(1.0)
    }

    /// The layers after those of a stretch of the lattice, towards an exit.
    pub(super) fn stretch(&self, layers: Range<usize>, exit: usize) -> Vec<Layer> {
        let group = &self.groups[exit / TOGETHER];
        let mut made: Vec<Layer> = Vec::with_capacity(layers.len());
        // The last one is kept, or those before it can be.
        for layer in layers.rev() {
            let kept = group[layer + 1].clone();
            let after = made.last().cloned();
            let again = || {
                let mut sums = self.gather(layer + 1, &after?, false);
                divide(&mut sums, self.units[layer + 1]);
                Some(sums.into())
            };
            made.extend(kept.or_else(again));
        }
        made.reverse();
        made
    }

    /// The layers of the chorus in stretches, but for the join.
    pub(super) fn stretches(&self) -> impl Iterator<Item = Range<usize>> {
        let last = self.lattice.onsets() - 1;
        (0..last)
            .step_by(STRETCH)
            .map(move |first| first..last.min(first + STRETCH))
    }

    /// Of a layer as [`Weights::stretch`] gives it, the weight of what follows a state after a statement to an exit.
    pub(super) fn sum_at(&self, layer: &[f64], state: usize, stated: usize, exit: usize) -> f64 {
        layer[state * self.width() + stated * TOGETHER + exit % TOGETHER]
    }

    /// What varies along the form at the onset after a layer.
    pub(super) fn along_at(&self, layer: usize) -> &Along {
        &self.along[layer]
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
        let (mut state, mut stated) = (entry, 0);
        let mut row = Row::default();
        let randoms = randoms(rng, self.lattice.onsets() - 1);
        for layers in self.stretches() {
            let sums = self.stretch(layers.clone(), exit);
            for (layer, after) in layers.zip(&sums) {
                alias_row(self.of_edges(layer, state, stated, exit, after), &mut row);
                let Some(chosen) = row.choose(random(&randoms, layer)) else {
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

fn greatest(numbers: &[f64]) -> f64 {
    let greatest = numbers.iter().copied().fold(0.0, f64::max);
    if greatest > 0.0 { greatest } else { 1.0 }
}

/// The power of two by which the greatest number has to be divided to lie between 1 and 2.
pub(super) fn power_of(numbers: &[f64]) -> i64 {
    (greatest(numbers).to_bits() >> 52) as i64 - 1023
}

pub(super) fn divide(numbers: &mut [f64], by: f64) {
    let factor = 1.0 / by;
    numbers.iter_mut().for_each(|number| *number *= factor);
}

/// 2 to a power; weights keep sums far from the ends of the range, so it is a normal number.
pub(super) fn power_of_two(power: i64) -> f64 {
    f64::from_bits(((1023 + power) as u64) << 52)
}
