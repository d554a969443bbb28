//! A stretch of a line drawn once more, exactly, given all the rest of the line and what the new notes are to keep to.
//!
//! Only the ways through the stretch are looked at, forwards from the state in which it begins, until all of them
//! stand where the line stood before; few are left where much is asked of them, so this costs microseconds where
//! sums over the whole lattice cost milliseconds.

use super::{
    graph::{Along, Edge, Lattice},
    sums::{choose, divide, power_of, power_of_two},
};
use rand::Rng;
use std::{ops::Range, sync::Arc};

/// A state in which a line stands, with the statement that is remembered.
type Standing = (u32, u8);

/// A line on its way through a lattice.
#[derive(Debug)]
pub(crate) struct Path<'a> {
    lattice: &'a Lattice,
    along: &'a [Arc<Along>],
    exit: usize,
    /// The key of each onset, or [`Edge::SILENT`].
    keys: Vec<u8>,
    /// Where it stands after each onset.
    standing: Vec<Standing>,
}

/// A place on a way through a stretch: where the line stands, and its last key, which the lattice forgets.
#[derive(Clone, Copy, PartialEq)]
struct Place {
    standing: Standing,
    key: u8,
}

/// A step from a place of one layer (by number) to one of the next.
#[derive(Clone, Copy)]
struct Step {
    from: usize,
    to: usize,
    key: u8,
    weight: f64,
}

/// All ways through a stretch.
#[derive(Debug)]
pub(crate) struct Ways {
    slots: Range<usize>,
    /// For each onset from the first of the stretch on, the steps into it.
    steps: Vec<Vec<Step>>,
    /// For each of those, what may follow each place before it, in a unit of its own.
    sums: Vec<Vec<f64>>,
    /// The total weight is the first sum times 2 to this power.
    power: i64,
}

impl std::fmt::Debug for Step {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}-{}->{}", self.from, self.key, self.to)
    }
}

impl<'a> Path<'a> {
    /// The line with these keys, one for each onset, from an entry of the lattice to an exit; `along` as the sums
    /// have it. None if the lattice does not have it.
    pub fn new(
        lattice: &'a Lattice,
        along: &'a [Arc<Along>],
        (entry, exit): (usize, usize),
        keys: Vec<u8>,
    ) -> Option<Path<'a>> {
        let mut standing = Vec::with_capacity(keys.len());
        standing.push((entry as u32, 0));
        let mut path = Path {
            lattice,
            along,
            exit,
            keys,
            standing,
        };
        path.walk(1).then_some(path)
    }

    /// Finds again where the line stands from an onset on.
    fn walk(&mut self, from: usize) -> bool {
        self.standing.truncate(from);
        for slot in from..self.keys.len() {
            let (state, stated) = self.standing[slot - 1];
            let edges = self.lattice.blocks()[slot - 1].edges(state as usize).iter();
            let Some(edge) = edges.into_iter().find(|edge| edge.key == self.keys[slot]) else {
                return false;
            };
            let (_, now) = self.lattice.answers().answer(usize::from(stated), edge);
            self.standing.push((edge.to, now as u8));
        }
        true
    }

    /// The key of each onset.
    pub fn keys(&self) -> &[u8] {
        &self.keys
    }

    /// The same, given away.
    pub fn into_keys(self) -> Vec<u8> {
        self.keys
    }

    /// All ways through a stretch of onsets, the first onset of the line not among them, that keep to what is
    /// asked: whether a key (or silence) may stand at an onset after the last key. None if there is no way.
    pub fn ways(
        &self,
        slots: Range<usize>,
        allows: impl Fn(usize, u8, u8) -> bool,
    ) -> Option<Ways> {
        let before = self.keys[..slots.start].iter().rev();
        let key = before.copied().find(|&key| key != Edge::SILENT);
        let mut places = vec![Place {
            standing: self.standing[slots.start - 1],
            key: key.unwrap_or(Edge::SILENT),
        }];
        let mut steps = Vec::with_capacity(slots.len() + 4);
        let mut counts = vec![places.len()];
        for slot in slots.start..=self.keys.len() {
            let (into, after) = self.step(slot, &places, &slots, &allows);
            if after.is_empty() {
                return None;
            }
            steps.push(into);
            counts.push(after.len());
            places = after;
            let rejoined = slot >= slots.end
                && slot < self.keys.len()
                && places.len() == 1
                && places[0].standing == self.standing[slot];
            if rejoined {
                break;
            }
        }
        Some(Ways::new(slots, steps, &counts))
    }

    /// The steps into an onset from the places before it, and the places that they reach.
    fn step(
        &self,
        slot: usize,
        places: &[Place],
        stretch: &Range<usize>,
        allows: &impl Fn(usize, u8, u8) -> bool,
    ) -> (Vec<Step>, Vec<Place>) {
        let block = &self.lattice.blocks()[slot - 1];
        let along = &self.along[slot - 1];
        let (mut steps, mut after) = (Vec::new(), Vec::<Place>::new());
        for (from, place) in places.iter().enumerate() {
            for edge in block.edges(place.standing.0 as usize) {
                let taken = match self.keys.get(slot) {
                    None => edge.to as usize == self.exit,
                    Some(_) if stretch.contains(&slot) => allows(slot, place.key, edge.key),
                    Some(&key) => edge.key == key,
                };
                if !taken {
                    continue;
                }
                let (answer, now) = self
                    .lattice
                    .answers()
                    .answer(usize::from(place.standing.1), edge);
                let reached = match self.keys.get(slot) {
                    // Beyond the join nothing is told apart.
                    None => Place {
                        standing: (0, 0),
                        key: 0,
                    },
                    Some(_) => Place {
                        standing: (edge.to, now as u8),
                        key: match (stretch.contains(&slot), edge.key) {
                            (false, _) => 0,
                            (true, Edge::SILENT) => place.key,
                            (true, key) => key,
                        },
                    },
                };
                let known = after.iter().position(|other| *other == reached);
                let to = known.unwrap_or_else(|| {
                    after.push(reached);
                    after.len() - 1
                });
                steps.push(Step {
                    from,
                    to,
                    key: edge.key,
                    weight: edge.weight * along[usize::from(edge.key)] * answer,
                });
            }
        }
        (steps, after)
    }

    /// Takes one of the ways, by random numbers: each as likely as its weight.
    pub fn take(&mut self, ways: &Ways, rng: &mut impl Rng) {
        let mut place = 0;
        for (number, slot) in ways.slots.clone().enumerate() {
            let after = &ways.sums[number + 1];
            let leaving: Vec<&Step> = ways.steps[number]
                .iter()
                .filter(|step| step.from == place)
                .collect();
            let weight = |step: usize| leaving[step].weight * after[leaving[step].to];
            let step = leaving[choose(leaving.len(), weight, rng.next_u64())];
            self.keys[slot] = step.key;
            place = step.to;
        }
        let walked = self.walk(ways.slots.start);
        debug_assert!(walked, "a way leads back into the line");
    }
}

impl Ways {
    /// Gathers the sums from the back; `counts` says how many places there are before each step and after the last.
    fn new(slots: Range<usize>, steps: Vec<Vec<Step>>, counts: &[usize]) -> Ways {
        let mut sums = vec![vec![1.0; counts[steps.len()]]];
        let mut power = 0;
        for (layer, &places) in steps.iter().zip(counts).rev() {
            let after = &sums[sums.len() - 1];
            let mut before = vec![0.0; places];
            for step in layer {
                before[step.from] += step.weight * after[step.to];
            }
            let divided = power_of(&before);
            divide(&mut before, power_of_two(divided));
            power += divided;
            sums.push(before);
        }
        sums.reverse();
        Ways {
            slots,
            steps,
            sums,
            power,
        }
    }

    /// The total weight, in a unit of 2 to the given power.
    pub fn weight(&self, unit: i64) -> f64 {
        match self.power - unit {
            ..-1000 => 0.0,
            power => self.sums[0][0] * power_of_two(power.min(1000)),
        }
    }

    /// The power of two of the total weight.
    pub fn power(&self) -> i64 {
        self.power
    }
}
