//! What to expect of a line drawn from a lattice: for every step, the exact share of lines that take it.
//!
//! A pass from the back gathers the weight of all that can follow each state, a pass from the front the weight
//! of all that leads there; their product over the total is the share (J. Eisner, "Parameter estimation for
//! probabilistic finite-state transducers", ACL 2002). These numbers serve to fit weights and to say what
//! weights amount to; nothing is drawn by them.

use super::{
    graph::{Edge, Lattice},
    sums::Semiring,
};
use std::ops::Range;

/// Weights of the steps of a lattice.
pub trait StepWeights {
    /// The weight of an edge in a layer, answers apart.
    fn edge(&self, layer: usize, edge: &Edge) -> f64;

    /// The weight of a statement, 1 to 7, after another or after none (0).
    fn answer(&self, before: usize, now: usize) -> f64;
}

/// Statements, that there was none among them; see [`crate::tastes::Taste::statements`].
const STATEMENTS: usize = 8;

/// What follows a state, or leads to it, for each statement before it.
type Item = [f64; STATEMENTS];

/// Weights of what follows each state.
struct Following<'a, W>(&'a W);

impl<W: StepWeights> Semiring for Following<'_, W> {
    type Item = Item;

    fn zero(&self) -> Item {
        [0.0; STATEMENTS]
    }

    fn add(&mut self, sum: &mut Item, layer: usize, edge: &Edge, after: &Item) {
        let weight = self.0.edge(layer, edge);
        match usize::from(edge.statement) {
            0 => (0..STATEMENTS).for_each(|before| sum[before] += weight * after[before]),
            now => {
                let weight = weight * after[now];
                (0..STATEMENTS)
                    .for_each(|before| sum[before] += weight * self.0.answer(before, now));
            }
        }
    }
}

/// What to expect of a line.
#[derive(Clone, Debug)]
pub struct Expected {
    /// The natural logarithm of the total weight of all lines.
    pub logarithm: f64,
    /// How often a statement (column) comes after another or after none (row), 8 by 8.
    pub answers: [f64; STATEMENTS * STATEMENTS],
}

impl Lattice {
    /// What to expect of a line drawn from any of these entries to any exit; none if there is no line. `each` is
    /// told of every edge in every layer, and the share of the weight of all lines that lies on those taking it. Of longer lattices only so
    /// many onsets are looked at, as if whatever followed them were as likely.
    pub fn expect(
        &self,
        entries: Range<usize>,
        most: usize,
        weights: &impl StepWeights,
        mut each: impl FnMut(usize, &Edge, f64),
    ) -> Option<Expected> {
        let mut following = Following(weights);
        let last = self.onsets().min(most);
        let states = match self.blocks().get(last) {
            Some(block) => block.states(),
            None => self.exits().len(),
        };
        let mut after = vec![vec![[1.0; STATEMENTS]; states]];
        let mut units = vec![1.0; last];
        for layer in (0..last).rev() {
            let mut sums = self.gather(&mut following, layer, &after[after.len() - 1]);
            let greatest = sums.iter().flatten().copied().fold(0.0, f64::max);
            if greatest > 0.0 {
                let numbers = sums.iter_mut().flatten();
                numbers.for_each(|number| *number /= greatest);
                units[layer] = greatest;
            }
            after.push(sums);
        }
        after.reverse();
        let total: f64 = after[0][entries.clone()].iter().map(|item| item[0]).sum();
        if total <= 0.0 {
            return None;
        }
        let mut expected = Expected {
            logarithm: total.ln() + units.iter().map(|unit| unit.ln()).sum::<f64>(),
            answers: [0.0; STATEMENTS * STATEMENTS],
        };
        // The weight of all ways to each state, in such a unit that with what follows they add up to 1.
        let mut ways = vec![[0.0; STATEMENTS]; after[0].len()];
        ways[entries]
            .iter_mut()
            .for_each(|way| way[0] = 1.0 / total);
        for (layer, block) in self.blocks()[..last].iter().enumerate() {
            let after = &after[layer + 1];
            let mut next = vec![[0.0; STATEMENTS]; after.len()];
            for (state, ways) in ways.iter().enumerate() {
                if ways.iter().all(|&way| way == 0.0) {
                    continue;
                }
                for edge in block.edges(state) {
                    let to = edge.to as usize;
                    let weight = weights.edge(layer, edge) / units[layer];
                    let mut share = 0.0;
                    match usize::from(edge.statement) {
                        0 => {
                            let next = next[to].iter_mut().zip(&after[to]);
                            for ((next, after), way) in next.zip(ways) {
                                *next += weight * way;
                                share += weight * way * after;
                            }
                        }
                        now => {
                            for (before, way) in ways.iter().enumerate() {
                                let way = weight * way * weights.answer(before, now);
                                next[to][now] += way;
                                let way = way * after[to][now];
                                expected.answers[before * STATEMENTS + now] += way;
                                share += way;
                            }
                        }
                    }
                    if share > 0.0 {
                        each(layer, edge, share);
                    }
                }
            }
            ways = next;
        }
        Some(expected)
    }

    /// The steps of a line from an entry, by the key that starts at each onset after the first and at the one
    /// that comes next ([`Edge::SILENT`] for none): each edge with the statement before it; none if the lattice
    /// does not have the line.
    pub fn steps(&self, entry: usize, keys: &[u8]) -> Option<Vec<(Edge, usize)>> {
        let (mut state, mut stated) = (entry, 0);
        let steps = self.blocks().iter().zip(keys).map(|(block, &key)| {
            let edge = *block.edges(state).iter().find(|edge| edge.key == key)?;
            let step = (edge, stated);
            state = edge.to as usize;
            if edge.statement > 0 {
                stated = usize::from(edge.statement);
            }
            Some(step)
        });
        steps.collect()
    }
}
