//! The exact law of small charts, by listing every line: what the sampler is held against. Probabilities come
//! from the listed lines' own weights, not from the sums that the sampler uses.

use endpin_theory::Chorus;
use endpin_walker::{
    Development, Options,
    lattice::{Edge, Lattice, Listed, Skeleton, State},
    line::layout::Layout,
    rules::{Conditions, rules},
    tastes::tastes,
};
use std::collections::BTreeMap;

/// More lines than this from one starting root are not listed.
const MOST: usize = 1_000_000;

/// All lines of a chart that is played over and over in the same way.
pub struct Law {
    beginnings: Vec<(State, f64)>,
    /// For each state in which a chorus may begin, the lines from it.
    lines: BTreeMap<State, Vec<(Listed, State)>>,
}

impl Law {
    pub fn of(chorus: &Chorus, options: &Options) -> Law {
        let development = Development {
            feel: options.feel,
            loose: endpin_walker::Liberties::NONE,
            ..Development::plain(options.level)
        };
        let next = chorus.spans[0]
            .chord
            .as_ref()
            .map(|chord| chord.bass().chroma());
        let layout = Layout::new(chorus, development, options, next);
        let onsets: Vec<_> = layout.slots.iter().map(|slot| slot.onset.clone()).collect();
        let mut skeleton = Skeleton::new(
            rules(Conditions::of(options.level)),
            tastes(&options.weights, options.level),
        );
        let beginnings = skeleton.beginnings(&onsets[0]);
        let along = Lattice::along(&skeleton, &onsets, &onsets[0]);
        let mut lines = BTreeMap::new();
        let mut left: Vec<State> = beginnings.iter().map(|&(state, _)| state).collect();
        while let Some(state) = left.pop() {
            let lattice = Lattice::build(&mut skeleton, &onsets, &[state], &onsets[0]).unwrap();
            let listed = lattice.list(0, &along, MOST).unwrap();
            let exits = lattice.exits();
            let from = listed.into_iter().map(|line| {
                let exit = exits[line.exit];
                (line, exit)
            });
            lines.insert(state, from.collect());
            left.extend(exits.iter().filter(|exit| !lines.contains_key(exit)));
        }
        Law { beginnings, lines }
    }

    /// Every line of the first chorus (the key of each of its onsets) with its probability.
    pub fn of_lines(&self) -> BTreeMap<Vec<u8>, f64> {
        let mut law: BTreeMap<Vec<u8>, f64> = BTreeMap::new();
        for (state, beginning) in &self.beginnings {
            for (line, _) in &self.lines[state] {
                let first = state.key().unwrap_or(Edge::SILENT);
                let keys = [&[first], &*line.keys].concat();
                *law.entry(keys).or_default() += beginning * line.weight;
            }
        }
        normalise(&mut law);
        law
    }

    /// Probability of each key on which chorus `number` (from 1) may begin.
    pub fn of_starts(&self, number: u32) -> BTreeMap<u8, f64> {
        let total =
            |state: &State| -> f64 { self.lines[state].iter().map(|(line, _)| line.weight).sum() };
        let beginnings = self.beginnings.iter();
        let mut law: BTreeMap<State, f64> = beginnings
            .map(|(state, weight)| (*state, weight * total(state)))
            .collect();
        normalise(&mut law);
        for _ in 1..number {
            let mut next: BTreeMap<State, f64> = BTreeMap::new();
            for (state, probability) in law {
                for (line, exit) in &self.lines[&state] {
                    *next.entry(*exit).or_default() += probability * line.weight / total(&state);
                }
            }
            law = next;
        }
        let mut keys: BTreeMap<u8, f64> = BTreeMap::new();
        for (state, probability) in law {
            *keys.entry(state.key().unwrap()).or_default() += probability;
        }
        keys
    }
}

fn normalise<K: Ord>(law: &mut BTreeMap<K, f64>) {
    let total: f64 = law.values().sum();
    law.values_mut()
        .for_each(|probability| *probability /= total);
}
