//! The edges that leave the states of a layer, as rules and tastes let them.

use super::{
    graph::{Block, Edge},
    skeleton::{Kind, Skeleton},
};
use crate::rules::{Chances, Onset};
use std::sync::Arc;

/// A layer while the graph is made: the last key of each state, and the numbers of what rules and tastes
/// remember.
pub(super) type Layer = Arc<[(u8, u32, u32)]>;

/// Numbers from which on a table begins anew.
const MOST_NUMBERED: u32 = u32::MAX / 2;

/// Numbers things that are known by their place in a table, in the order in which they are met; the table is
/// used again without being cleared.
#[derive(Debug, Default)]
struct Numbering {
    /// Numbers counted on from one use to the next; those of earlier uses lie below `base`.
    table: Vec<u32>,
    base: u32,
    count: u32,
}

impl Numbering {
    fn clear(&mut self) {
        // The table begins with zeros, which are nobody's number.
        match self.base.checked_add(self.count.max(1)) {
            Some(base) if base < MOST_NUMBERED => self.base = base,
            _ => {
                self.table.clear();
                self.base = 1;
            }
        }
        self.count = 0;
    }

    /// The number of what stands at a place, and whether it is new.
    #[inline]
    fn of(&mut self, place: usize) -> (u32, bool) {
        if self.table.len() <= place {
            self.table.resize((place + 1).next_power_of_two(), 0);
        }
        let number = &mut self.table[place];
        if *number >= self.base {
            return (*number - self.base, false);
        }
        *number = self.base + self.count;
        self.count += 1;
        (self.count - 1, true)
    }
}

/// A choice that the rules allow: the move, the key, and the number of that key with what rules remember.
#[derive(Clone, Copy, Debug)]
struct Allowed {
    up: Option<i8>,
    key: u8,
    chances: Chances,
    pair: u32,
}

/// Makes blocks; its tables are kept from one to the next.
#[derive(Debug, Default)]
pub(super) struct Expander {
    allowed: Vec<Allowed>,
    /// What is allowed after each key with what rules remember.
    before: Numbering,
    ranges: Vec<(u32, u32)>,
    /// The keys with what rules remember that the block reaches.
    after: Numbering,
    pairs: Vec<(u8, u32)>,
    /// Those with what tastes remember.
    states: Numbering,
    /// The states that the last block reached, in the order in which they were met.
    reached: Vec<(u8, u32, u32)>,
}

impl Expander {
    /// The edges from the states of a layer into an onset.
    ///
    /// Rules do not look at what tastes remember, so they are asked once for all states that differ in that
    /// only.
    pub fn expand(&mut self, skeleton: &mut Skeleton, layer: &Layer, onset: &Onset) -> Block {
        let kind = skeleton.kind(onset);
        let ranges: Vec<(u32, u32)> = self.allow(skeleton, kind, layer, onset);
        self.states.clear();
        self.reached.clear();
        let count = ranges
            .iter()
            .map(|(first, last)| (last - first) as usize)
            .sum();
        let mut block = Block::with_room(layer.len(), count);
        for (&(key, _, tastes), (first, last)) in layer.iter().zip(ranges) {
            let from = (key != Edge::SILENT).then_some(key);
            let row = skeleton.taste_row(kind, tastes, from);
            for allowed in &self.allowed[first as usize..last as usize] {
                let weighed = skeleton.weigh(row, allowed.up, kind, tastes, from);
                let place = weighed.tastes as usize * self.pairs.len() + allowed.pair as usize;
                let (to, new) = self.states.of(place);
                if new {
                    let (key, rules) = self.pairs[allowed.pair as usize];
                    self.reached.push((key, rules, weighed.tastes));
                }
                block.push(Edge {
                    to,
                    key: allowed.key,
                    statement: weighed.statement,
                    chances: allowed.chances,
                    weight: weighed.weight,
                });
            }
            block.close_state();
        }
        block
    }

    /// The layer that the last block reached.
    pub fn reached(&self) -> Layer {
        self.reached.as_slice().into()
    }

    /// What the rules allow after each state of a layer.
    fn allow(
        &mut self,
        skeleton: &mut Skeleton,
        kind: Kind,
        layer: &Layer,
        onset: &Onset,
    ) -> Vec<(u32, u32)> {
        let place = |key: u8, rules: u32| rules as usize * 256 + usize::from(key);
        self.before.clear();
        self.ranges.clear();
        self.after.clear();
        self.pairs.clear();
        self.allowed.clear();
        let ranges = layer.iter().map(|&(key, rules, _)| {
            let (number, new) = self.before.of(place(key, rules));
            if new {
                let from = (key != Edge::SILENT).then_some(key);
                let first = self.allowed.len() as u32;
                for number in skeleton.moves(kind, onset, rules, from) {
                    let passed = skeleton.passed(number);
                    let to = passed
                        .up
                        .map(|up| from.unwrap_or(0).wrapping_add_signed(up));
                    if to.is_some_and(|to| !onset.keys.contains(to)) {
                        continue;
                    }
                    let sounding = to.unwrap_or(key);
                    let (pair, new) = self.after.of(place(sounding, passed.rules));
                    if new {
                        self.pairs.push((sounding, passed.rules));
                    }
                    self.allowed.push(Allowed {
                        up: passed.up,
                        key: to.unwrap_or(Edge::SILENT),
                        chances: passed.chances,
                        pair,
                    });
                }
                self.ranges.push((first, self.allowed.len() as u32));
            }
            self.ranges[number as usize]
        });
        ranges.collect()
    }
}
