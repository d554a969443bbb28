//! The likelihood of stretches under weights, with its slope: real counts of each weight less expected ones.

use super::stretches::Stretch;
use crate::{
    lattice::{Edge, Lattice, Named, Skeleton, StepWeights},
    tastes::Weights,
};
use rayon::prelude::*;
use rustc_hash::FxHashMap;
use std::sync::Arc;

/// Weights by number, with what tastes say put into them.
struct Spoken<'a> {
    stretch: &'a Stretch,
    /// The weight of each saying.
    sayings: &'a [f64],
    /// The weight of each statement after each other.
    answers: &'a [f64; 64],
}

impl StepWeights for Spoken<'_> {
    fn edge(&self, layer: usize, edge: &Edge) -> f64 {
        let weight = self.sayings[edge.weight as usize];
        match along(self.stretch, layer, edge) {
            Some(along) => weight * self.sayings[along],
            None => weight,
        }
    }

    fn answer(&self, before: usize, now: usize) -> f64 {
        self.answers[before * 8 + now]
    }
}

/// What is said of a note by where it lies.
fn along(stretch: &Stretch, layer: usize, edge: &Edge) -> Option<usize> {
    let along = stretch.along[layer].get(usize::from(edge.key));
    along.map(|&along| along as usize)
}

/// Stretches to learn from.
#[derive(Debug)]
pub(super) struct Sample<'a> {
    /// Notes that are learnt from.
    pub notes: usize,
    /// How often they, as played, use each weight.
    pub counts: Vec<f64>,
    /// Those over one lattice, of which the same is to be expected, and how many they are.
    alike: Vec<(&'a Stretch, f64)>,
}

/// What tastes may say, in numbers of weights from 0.
#[derive(Debug)]
pub(super) struct Model {
    /// How many weights there are.
    weights: usize,
    sayings: Vec<Named>,
    /// The number of the weight that an answer uses, if any.
    answers: [Option<usize>; 64],
}

/// A likelihood and its slope.
#[derive(Clone, Debug)]
pub(super) struct Slope {
    /// Natural logarithm.
    pub likelihood: f64,
    /// By weight, for a change of its logarithm.
    pub slope: Vec<f64>,
}

impl Slope {
    fn flat(weights: usize) -> Slope {
        Slope {
            likelihood: 0.0,
            slope: vec![0.0; weights],
        }
    }

    fn add(&mut self, other: &Slope) {
        self.likelihood += other.likelihood;
        let pairs = self.slope.iter_mut().zip(&other.slope);
        pairs.for_each(|(sum, one)| *sum += one);
    }
}

/// The number by which a taste names the first weight; 1 is said where none is used.
const FIRST: u32 = 2;

/// A table in which each weight is its own number, so that tastes reading it name what they use.
pub(super) fn numbered() -> Weights {
    let mut weights = Weights::default();
    for (number, value) in (FIRST..).zip(weights.values_mut()) {
        *value = number;
    }
    weights
}

/// Stretches of which the likelihood is worked out together, always the same ones, so that sums come out the
/// same.
const TOGETHER: usize = 32;

impl Model {
    pub fn new(skeleton: &Skeleton) -> Model {
        let sayings = (0..skeleton.sayings()).map(|number| skeleton.saying(number));
        let answer = |at: usize| {
            // 0 states nothing.
            if at.is_multiple_of(8) {
                return None;
            }
            let said = skeleton.saying_of_answer((at / 8) as u8, (at % 8) as u8);
            said.checked_sub(FIRST).map(|number| number as usize)
        };
        Model {
            weights: numbered().values_mut().len(),
            sayings: sayings.collect(),
            answers: std::array::from_fn(answer),
        }
    }

    /// The numbers of the weights in a saying.
    fn said(&self, saying: usize) -> impl Iterator<Item = usize> {
        self.sayings[saying]
            .iter()
            .map(|&number| (number - FIRST) as usize)
    }

    /// Adds how often the steps of a stretch, as played, use each weight.
    fn count(&self, stretch: &Stretch, counts: &mut [f64]) {
        let steps = stretch.lattice.steps(0, &stretch.keys).unwrap_or_default();
        for (layer, (edge, before)) in steps.iter().enumerate() {
            let said = self.said(edge.weight as usize);
            let along = along(stretch, layer, edge).into_iter();
            let along = along.flat_map(|along| self.said(along));
            let answer = self.answers[before * 8 + usize::from(edge.statement)];
            for weight in said.chain(along).chain(answer) {
                counts[weight] += 1.0;
            }
        }
    }

    /// Stretches to learn from.
    pub fn sample<'a>(&self, stretches: &[&'a Stretch]) -> Sample<'a> {
        let mut counts = vec![0.0; self.weights];
        let mut alike: Vec<(&Stretch, f64)> = Vec::new();
        let mut numbers: FxHashMap<*const Lattice, usize> = FxHashMap::default();
        for stretch in stretches {
            self.count(stretch, &mut counts);
            let next = alike.len();
            let number = *numbers.entry(Arc::as_ptr(&stretch.lattice)).or_insert(next);
            match number == next {
                true => alike.push((stretch, 1.0)),
                false => alike[number].1 += 1.0,
            }
        }
        Sample {
            notes: stretches.iter().map(|stretch| stretch.notes).sum(),
            counts,
            alike,
        }
    }

    /// The likelihood of stretches where weights have these logarithms, and its slope.
    pub fn slope(&self, sample: &Sample<'_>, logarithms: &[f64]) -> Slope {
        let weight = |number: usize| logarithms[number].exp();
        let sayings = (0..self.sayings.len()).map(|saying| self.said(saying).map(weight).product());
        let sayings: Vec<f64> = sayings.collect();
        let answers = self.answers.map(|answer| answer.map_or(1.0, weight));
        let parts: Vec<Slope> = sample
            .alike
            .par_chunks(TOGETHER)
            .map(|stretches| {
                let mut sum = Slope::flat(self.weights);
                let mut expected = vec![0.0; self.sayings.len()];
                for (stretch, times) in stretches {
                    let spoken = Spoken {
                        stretch,
                        sayings: &sayings,
                        answers: &answers,
                    };
                    self.expect(&spoken, *times, &mut sum, &mut expected);
                }
                for (saying, expected) in expected.iter().enumerate().filter(|(_, e)| **e > 0.0) {
                    self.said(saying)
                        .for_each(|weight| sum.slope[weight] -= expected);
                }
                sum
            })
            .collect();
        let weights = sample.counts.iter().zip(logarithms);
        let mut sum = Slope {
            likelihood: weights.map(|(count, logarithm)| count * logarithm).sum(),
            slope: sample.counts.clone(),
        };
        parts.iter().for_each(|part| sum.add(part));
        sum
    }

    /// Takes off what is to be expected of so many stretches; that of sayings is kept apart, to be put into
    /// weights once.
    fn expect(&self, spoken: &Spoken<'_>, times: f64, sum: &mut Slope, expected: &mut [f64]) {
        let lattice = &spoken.stretch.lattice;
        let found = lattice.expect(0..1, usize::MAX, spoken, |layer, edge, share| {
            expected[edge.weight as usize] += share * times;
            if let Some(along) = along(spoken.stretch, layer, edge) {
                expected[along] += share * times;
            }
        });
        // Every stretch has a line, the one that was played.
        let Some(found) = found else { return };
        sum.likelihood -= found.logarithm * times;
        for (answer, share) in self.answers.iter().zip(found.answers) {
            if let Some(weight) = answer {
                sum.slope[*weight] -= share * times;
            }
        }
    }
}
