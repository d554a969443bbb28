//! How likely what is left of a line can be at most, where some stretches of it may be drawn anew.
//!
//! Whatever becomes of those stretches, two lines are equal only if the rest of one, as it was drawn first, is what the
//! other has there. So the greatest probability of any rest bounds the odds of equals, if one line was drawn without
//! regard to the other.

use super::sums::Weights;
use std::ops::Range;

/// Stretches of onsets of which some may be drawn anew.
#[derive(Clone, Debug)]
pub(crate) struct Window {
    /// One after the other.
    pub stretches: Vec<Range<usize>>,
    /// How many of them at most.
    pub most: usize,
}

/// Onsets from which on nothing is looked at any more: the rest of what comes before is unlikely enough.
const FAR: usize = 256;

/// For each number of stretches that may still be drawn anew, for each state and statement, the greatest probability
/// of the rest of what follows.
type Greatest = Vec<Vec<f64>>;

impl Weights {
    /// The greatest probability of the rest of a line, from any of the entries that count to any exit that does.
    pub(crate) fn greatest_odds_of_rest(
        &self,
        windows: &[Window],
        entries: &[bool],
        exits: &[bool],
    ) -> f64 {
        let near = windows.iter().take_while(|window| {
            let last = window.stretches.last();
            last.is_some_and(|last| last.end <= FAR) || last.is_none()
        });
        let near: Vec<&Window> = near.collect();
        let ends = near.iter().filter_map(|window| window.stretches.last());
        let Some(end) = ends.map(|last| last.end).max() else {
            return 1.0;
        };
        let sums = self.to_all_exits(end - 1, exits);
        let width = self.lattice().answers().count;
        let states = sums.last().map_or(0, Vec::len);
        let mut all = vec![1.0; states];
        for window in near.into_iter().rev() {
            let mut greatest = vec![all; window.most + 1];
            for stretch in window.stretches.iter().rev() {
                let (mut kept, mut anew) = (greatest.clone(), greatest);
                for onset in stretch.clone().rev().filter(|&onset| onset > 0) {
                    let sums = &sums[onset - 1];
                    kept = self.before(onset - 1, sums, &kept, f64::max);
                    anew = self.before(onset - 1, sums, &anew, |one, other| one + other);
                }
                greatest = kept;
                for more in 1..greatest.len() {
                    let pairs = greatest[more].iter_mut().zip(&anew[more - 1]);
                    pairs.for_each(|(one, other)| *one = one.max(*other));
                }
            }
            all = greatest.pop().unwrap_or_default();
        }
        let entries = entries.iter().enumerate().filter(|(_, counts)| **counts);
        entries
            .map(|(entry, _)| all.get(entry * width).copied().unwrap_or(1.0))
            .fold(0.0, f64::max)
    }

    /// For each layer after the first onsets the weights of the ways to all exits that count, by state and statement.
    fn to_all_exits(&self, layers: usize, exits: &[bool]) -> Vec<Vec<f64>> {
        let width = self.lattice().answers().count;
        let counting = exits.iter().enumerate().filter(|(_, counts)| **counts);
        let mut all: Vec<Vec<f64>> = Vec::new();
        for (exit, _) in counting {
            let sums = self.stretch(0..layers, exit);
            all.resize(sums.len(), Vec::new());
            for (layer, (all, sums)) in all.iter_mut().zip(&sums).enumerate() {
                let states = self.lattice().blocks()[layer + 1].states();
                all.resize(states * width, 0.0);
                for (at, sum) in all.iter_mut().enumerate() {
                    *sum += self.sum_at(sums, at / width, at % width, exit);
                }
            }
        }
        all
    }

    /// The greatest probabilities before a step, from those after it.
    fn before(
        &self,
        layer: usize,
        sums: &[f64],
        after: &Greatest,
        join: impl Fn(f64, f64) -> f64,
    ) -> Greatest {
        let block = &self.lattice().blocks()[layer];
        let along = self.along_at(layer);
        let width = self.lattice().answers().count;
        let mut greatest = vec![vec![0.0; block.states() * width]; after.len()];
        for at in 0..block.states() * width {
            let mut total = 0.0;
            for edge in block.edges(at / width) {
                let (answer, now) = self.lattice().answers().answer(at % width, edge);
                let to = edge.to as usize * width + now;
                let weight = edge.weight * along[usize::from(edge.key)] * answer * sums[to];
                total += weight;
                for (greatest, after) in greatest.iter_mut().zip(after) {
                    greatest[at] = join(greatest[at], weight * after[to]);
                }
            }
            if total > 0.0 {
                greatest
                    .iter_mut()
                    .for_each(|greatest| greatest[at] /= total);
            }
        }
        greatest
    }
}
