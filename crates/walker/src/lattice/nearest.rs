//! The line that costs least, found without building the graph: states are asked for in the order of what the lines
//! to them cost, so that where a line is kept as it is, nothing else is looked at.
//!
//! The automaton is the one of the graph. The search is that of P. Hart, N. Nilsson and B. Raphael, "A Formal Basis for
//! the Heuristic Determination of Minimum Cost Paths", 1968.

use super::{Edge, Skeleton, State};
use crate::rules::{Onset, Step};
use rustc_hash::FxHashMap;
use std::{cmp::Reverse, collections::BinaryHeap};

/// What the notes of a line cost.
pub trait Costs {
    /// What a note costs at an onset.
    fn note(&self, onset: usize, key: u8) -> u32;

    /// What all the rest of a line costs at least, once it has come past an onset: never more from one onset to the
    /// next than what the note there costs.
    fn rest(&self, onset: usize) -> u32;

    /// The most that a line may cost.
    fn most(&self) -> u32;
}

/// A state that a line reaches.
struct Reached {
    state: State,
    /// The key that led to it.
    played: u8,
    /// What the line has cost.
    cost: u32,
    /// The number of the state before.
    before: usize,
}

/// The most states that are asked for: beyond them nothing is found.
const MOST_STATES: usize = 1 << 16;

impl Skeleton {
    /// The keys of the line over these onsets that costs least, and can go on to what comes `next`;
    /// [`Edge::SILENT`] where no note starts. None if there is no line, or none that costs as little as it may.
    pub fn nearest(&self, onsets: &[Onset], next: &Onset, costs: &impl Costs) -> Option<Vec<u8>> {
        let onset = |number: usize| onsets.get(number).unwrap_or(next);
        // Choices by onset, as far as lines have come.
        let mut known: Vec<Vec<Option<u8>>> = Vec::with_capacity(onsets.len() + 1);
        let mut reached = vec![Reached {
            state: State::START,
            played: Edge::SILENT,
            cost: 0,
            before: 0,
        }];
        let mut least: FxHashMap<(usize, State), u32> = FxHashMap::default();
        // The least cost first, then the line that has come farthest, then the one found first.
        let mut open = BinaryHeap::from([(Reverse(0), 0, Reverse(0))]);
        while let Some((_, at, Reverse(number))) = open.pop() {
            let Reached { state, cost, .. } = reached[number];
            if least.get(&(at, state)).is_some_and(|&least| least < cost) {
                continue;
            }
            if at > onsets.len() {
                return Some(path(&reached, number, onsets.len()));
            }
            if known.len() <= at {
                known.push(self.choices(onset(at)));
            }
            for &to in &known[at] {
                let step = Step {
                    onset: onset(at),
                    from: state.key(),
                    to,
                };
                let cost = cost + to.map_or(0, |key| costs.note(at, key));
                let all = cost.saturating_add(costs.rest(at));
                if all > costs.most() {
                    continue;
                }
                let Some(after) = self.past(state, &step) else {
                    continue;
                };
                let known = least.entry((at + 1, after)).or_insert(u32::MAX);
                if *known <= cost {
                    continue;
                }
                *known = cost;
                open.push((Reverse(all), at + 1, Reverse(reached.len())));
                reached.push(Reached {
                    state: after,
                    played: to.unwrap_or(Edge::SILENT),
                    cost,
                    before: number,
                });
            }
            if reached.len() > MOST_STATES {
                return None;
            }
        }
        None
    }
}

/// The keys on the way to a state past the last onset.
fn path(reached: &[Reached], mut number: usize, onsets: usize) -> Vec<u8> {
    let mut keys = vec![Edge::SILENT; onsets];
    // The last step leads to what comes next.
    number = reached[number].before;
    for key in keys.iter_mut().rev() {
        *key = reached[number].played;
        number = reached[number].before;
    }
    keys
}
