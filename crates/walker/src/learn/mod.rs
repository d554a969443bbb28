//! Weights in the manner of given lines.
//!
//! A line is as likely as the product of the weights along it, over the sum of that product over all lines that
//! keep the rules; so the lattice itself says how often each weight is to be expected, and weights are fitted by
//! the difference between that and how often the lines use it. The table that was there before pulls on each
//! weight as if it had been learnt from some notes already: one chorus moves little, a hundred move much.
//!
//! Fitting is the only place in this crate where logarithms are taken. What comes out is rounded to whole
//! numbers, with which lines are then drawn as ever.

mod ascent;
mod model;
mod stretches;
mod words;

pub use words::Habit;

use crate::{
    judge::Heard,
    lattice::{Skeleton, TooLarge},
    line::layout::Layout,
    options::{Level, Options},
    plan::Development,
    rules::{Conditions, Liberties, rules},
    tastes::{WEIGHT_RANGE, Weights, tastes},
};
use ascent::{Height, climb};
use endpin_theory::{analysis::Understood, chart::Chorus};
use model::{Model, Sample, numbered};
use stretches::{Cutter, Stretch};

/// How far a weight is thought to lie from its default before anything was heard: the standard deviation of its
/// logarithm. One weight in three then lies farther off than by two thirds.
pub const SPREAD: f64 = 0.5;

/// Parts of which each in turn is held out.
const PARTS: usize = 5;

/// The steepest slope, in notes a note, at which a fit is done.
const FLAT: f64 = 1e-6;

/// The same where a part is held out, of which only bits are wanted.
const NEARLY_FLAT: f64 = 1e-4;

/// Bits a note takes under weights: the fewer, the better they foretell it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bits {
    /// If all lines that keep the rules were as likely.
    pub uniform: f64,
    /// Under the weights that were there before.
    pub default: f64,
    /// Under those that were learnt.
    pub learnt: f64,
}

/// A weight that was learnt.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// Its name, that of its table before it.
    pub weight: String,
    /// What it is for.
    pub meaning: &'static str,
    /// As it was.
    pub from: f64,
    /// As it is, in the same scale.
    pub to: f64,
    /// How often the lines use it.
    pub played: f64,
    /// How often it was to be expected under the weights before.
    pub expected: f64,
}

/// What was learnt.
#[derive(Clone, Debug, PartialEq)]
pub struct Learnt {
    /// The weights.
    pub weights: Weights,
    /// Every weight, those that moved most first.
    pub moved: Vec<Moved>,
    /// Notes that were heard.
    pub notes: usize,
    /// Notes that were learnt from: those that keep the rules, with neighbours that do too.
    pub used: usize,
    /// Bits a note, on what was learnt from.
    pub bits: Bits,
    /// The same on choruses that were held out, each by weights learnt from others; none of a single chorus.
    pub held_out: Option<Bits>,
    /// What the lines do otherwise than expected, in words.
    pub habits: Vec<Habit>,
}

/// Nothing to learn from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "none of the {notes} notes keeps the rules of level {level} together with its neighbours, so there is nothing to learn from"
)]
pub struct NothingToLearn {
    /// Notes that were heard.
    pub notes: usize,
    /// The level.
    pub level: Level,
}

/// Collects lines and learns from them.
#[derive(Debug)]
pub struct Learner {
    level: Level,
    loose: Liberties,
    skeleton: Skeleton,
    cutter: Cutter,
    stretches: Vec<Stretch>,
    choruses: usize,
    notes: usize,
}

impl Learner {
    /// By the rules of a level, with some liberties.
    pub fn new(level: Level, loose: Liberties) -> Learner {
        Learner {
            level,
            loose,
            skeleton: Skeleton::naming(rules(Conditions::of(level)), tastes(&numbered(), level)),
            cutter: Cutter::default(),
            stretches: Vec::new(),
            choruses: 0,
            notes: 0,
        }
    }

    /// Adds a take of so many choruses on an instrument from the lowest to the highest key; its notes are in
    /// order of time.
    ///
    /// # Errors
    /// A chart too large.
    pub fn add(
        &mut self,
        chorus: &Chorus,
        understood: &[Understood],
        range: (u8, u8),
        heard: &[Heard],
        choruses: u32,
    ) -> Result<(), TooLarge> {
        let development = Development {
            loose: self.loose,
            ..Development::plain(self.level)
        };
        let options = Options {
            level: self.level,
            range,
            ..Options::default()
        };
        let next = chorus.spans[0].chord.as_ref();
        let next = next.map(|chord| chord.bass().chroma());
        let mut layout = Layout::of(chorus, understood, development, &options, next, false);
        for slot in &mut layout.slots {
            slot.onset.busy = 0;
        }
        let cut = self
            .cutter
            .cut(&mut self.skeleton, &layout, heard, choruses, self.choruses);
        self.stretches.extend(cut?);
        self.choruses += choruses as usize;
        self.notes += heard.len();
        Ok(())
    }

    /// Fits the weights of a table; `spread` says how far they may be thought to lie from it before anything was
    /// heard ([`SPREAD`] is usual), none leaves them free.
    ///
    /// # Errors
    /// If no note can be learnt from.
    pub fn learn(&self, from: &Weights, spread: Option<f64>) -> Result<Learnt, NothingToLearn> {
        let model = Model::new(&self.skeleton);
        let all: Vec<&Stretch> = self.stretches.iter().collect();
        let used = all.iter().map(|stretch| stretch.notes).sum();
        if used == 0 {
            return Err(NothingToLearn {
                notes: self.notes,
                level: self.level,
            });
        }
        let before = logarithms(from);
        let sample = model.sample(&all);
        let fitted = fit(&model, &sample, (&before, spread), &before, FLAT);
        let bits = |sample: &Sample<'_>, logarithms: &[f64]| {
            -model.slope(sample, logarithms).likelihood / std::f64::consts::LN_2
        };
        let even = vec![0.0; before.len()];
        let in_all = |logarithms: &[f64]| bits(&sample, logarithms) / used as f64;
        let bits_per_note = Bits {
            uniform: in_all(&even),
            default: in_all(&before),
            learnt: in_all(&fitted),
        };
        let parts = PARTS.min(self.choruses);
        let held_out = (parts > 1).then(|| {
            let part = |number: usize| {
                let (held, others): (Vec<&Stretch>, Vec<&Stretch>) = all
                    .iter()
                    .partition(|stretch| stretch.chorus % parts == number);
                let others = model.sample(&others);
                let fitted = fit(&model, &others, (&before, spread), &fitted, NEARLY_FLAT);
                bits(&model.sample(&held), &fitted)
            };
            Bits {
                learnt: (0..parts).map(part).sum::<f64>() / used as f64,
                ..bits_per_note
            }
        });
        let slope = model.slope(&sample, &before).slope;
        let counts = sample.counts.iter().zip(&slope);
        let expected: Vec<f64> = counts.map(|(count, slope)| count - slope).collect();
        let moved = moved(from, &fitted, &sample.counts, &expected);
        Ok(Learnt {
            weights: rounded(from, &fitted),
            habits: words::habits(&moved),
            moved,
            notes: self.notes,
            used,
            bits: bits_per_note,
            held_out,
        })
    }
}

/// Fits weights to stretches, given what they were before and how far they may be thought to lie from it,
/// beginning somewhere.
fn fit(
    model: &Model,
    sample: &Sample<'_>,
    (before, spread): (&[f64], Option<f64>),
    begin: &[f64],
    flat: f64,
) -> Vec<f64> {
    let pull = spread.map_or(0.0, |spread| 1.0 / (spread * spread));
    let hill = |logarithms: &[f64]| {
        let mut slope = model.slope(sample, logarithms);
        let all = slope.slope.iter_mut().zip(logarithms).zip(before);
        for ((slope, now), before) in all {
            *slope -= pull * (now - before);
        }
        let off = logarithms.iter().zip(before);
        let off: f64 = off.map(|(now, before)| (now - before).powi(2)).sum();
        Height {
            height: slope.likelihood - 0.5 * pull * off,
            slope: slope.slope,
        }
    };
    climb(begin.to_vec(), flat * sample.notes as f64, hill).0
}

fn logarithms(weights: &Weights) -> Vec<f64> {
    let mut weights = *weights;
    let values = weights.values_mut().into_iter();
    values.map(|value| f64::from(*value).ln()).collect()
}

/// Fitted weights as whole numbers: only proportions within a table matter, so the greatest of each is as great
/// as may be. A table of which nothing was heard stays as it was.
fn rounded(from: &Weights, fitted: &[f64]) -> Weights {
    let before = logarithms(from);
    let mut weights = *from;
    let lengths: Vec<usize> = from.tables().iter().map(|(.., rows)| rows.len()).collect();
    let mut values = weights.values_mut().into_iter();
    let mut first = 0;
    for length in lengths {
        let table = first..first + length;
        let greatest = fitted[table.clone()]
            .iter()
            .copied()
            .fold(f64::MIN, f64::max);
        let heard = table.clone().any(|at| fitted[at] != before[at]);
        for at in table.clone() {
            let Some(value) = values.next().filter(|_| heard) else {
                continue;
            };
            let share = (fitted[at] - greatest).exp() * f64::from(*WEIGHT_RANGE.end());
            *value = (share.round() as u32).max(*WEIGHT_RANGE.start());
        }
        first = table.end;
    }
    weights
}

fn moved(from: &Weights, fitted: &[f64], played: &[f64], expected: &[f64]) -> Vec<Moved> {
    let names = from.names().into_iter();
    let tables = from.tables().into_iter();
    let rows = tables.flat_map(|(.., rows)| rows);
    let mut moved: Vec<Moved> = names
        .zip(rows)
        .enumerate()
        .map(|(at, ((path, name), (_, value, meaning)))| Moved {
            weight: format!("{path}.{name}"),
            meaning: meaning.trim(),
            from: value.into(),
            to: fitted[at].exp(),
            played: played[at],
            expected: expected[at],
        })
        .collect();
    let far = |moved: &Moved| (moved.to / moved.from).ln().abs();
    moved.sort_by(|a, b| far(b).total_cmp(&far(a)));
    moved
}

#[cfg(test)]
mod tests;
