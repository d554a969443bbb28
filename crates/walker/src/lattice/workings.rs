//! What one lattice leaves to the next: layers, and the edges between them.
//!
//! Where lines over one chart are drawn again and again, each time with another note held, only a few bars round
//! that note differ. Layers and onsets are known by what they hold, so what is found here is what would be made.

use super::{
    expand::{Expander, Layer},
    graph::Block,
    skeleton::{Skeleton, State},
};
use crate::rules::Onset;
use rustc_hash::FxHashMap;
use std::sync::{
    Arc,
    atomic::{AtomicBool, Ordering},
};

/// A layer or a block, and what comes after it, by their numbers.
type Place = (usize, usize);

/// A block whose states were merged, and what each of them became.
type Merged = (Arc<Block>, Arc<[u32]>);

/// Whether lattices leave anything.
static KEEPS: AtomicBool = AtomicBool::new(false);

/// The most edges that are left to later lattices of one level: 16 bytes each.
const MOST_KEPT: usize = 1 << 21;

/// From now on lattices of this process leave to later ones what these have in common with them. That takes memory,
/// and pays where lines over one chart are drawn again and again.
pub fn keep_workings() {
    KEEPS.store(true, Ordering::Relaxed);
}

/// Whether lattices leave anything to later ones.
pub(crate) fn keeps() -> bool {
    KEEPS.load(Ordering::Relaxed)
}

/// Layers, onsets and what lies between them, each made once.
#[derive(Debug, Default)]
pub(super) struct Workings {
    layers: Vec<Layer>,
    layer_numbers: FxHashMap<Layer, usize>,
    onset_numbers: FxHashMap<Onset, usize>,
    built: FxHashMap<Place, (Arc<Block>, usize)>,
    joins: FxHashMap<Place, (Arc<Block>, Arc<[State]>)>,
    became_numbers: FxHashMap<Arc<[u32]>, usize>,
    /// By the address of a block among those above, which stay where they are.
    merged: FxHashMap<Place, Merged>,
    expander: Expander,
    /// How many edges all of it has.
    edges: usize,
}

impl Workings {
    /// The number of a layer.
    pub fn layer(&mut self, layer: Layer) -> usize {
        let next = self.layers.len();
        let number = *self.layer_numbers.entry(layer.clone()).or_insert(next);
        if number == next {
            self.layers.push(layer);
        }
        number
    }

    fn onset(&mut self, onset: &Onset) -> usize {
        let next = self.onset_numbers.len();
        *self
            .onset_numbers
            .entry(onset.without_form())
            .or_insert(next)
    }

    /// The edges from a layer into an onset, and the layer after it.
    pub fn block(
        &mut self,
        skeleton: &mut Skeleton,
        layer: usize,
        onset: &Onset,
    ) -> (Arc<Block>, usize) {
        let place = (layer, self.onset(onset));
        if let Some(known) = self.built.get(&place) {
            return known.clone();
        }
        let block = self.expander.expand(skeleton, &self.layers[layer], onset);
        self.edges += block.len();
        let after = self.layer(self.expander.reached());
        let made = (Arc::new(block), after);
        self.built.insert(place, made.clone());
        made
    }

    /// The edges from a layer across the join into the onset that comes next, and the states that they reach there.
    pub fn join(
        &mut self,
        skeleton: &mut Skeleton,
        layer: usize,
        next: &Onset,
    ) -> (Arc<Block>, Arc<[State]>) {
        let place = (layer, self.onset(next));
        if let Some(known) = self.joins.get(&place) {
            return known.clone();
        }
        let mut join = self.expander.expand(skeleton, &self.layers[layer], next);
        let mut exits: Vec<State> = Vec::new();
        let mut numbers: FxHashMap<State, u32> = FxHashMap::default();
        let reached = self.expander.reached();
        let became = reached.iter().map(|&(key, rules, _)| {
            let exit = skeleton.across_join(key, rules);
            *numbers.entry(exit).or_insert_with(|| {
                exits.push(exit);
                exits.len() as u32 - 1
            })
        });
        let became: Vec<u32> = became.collect();
        join.lead_to(&became);
        self.edges += join.len();
        let made = (Arc::new(join), exits.into());
        self.joins.insert(place, made.clone());
        made
    }

    /// The same blocks with those states of a layer made one that have the same future: the same edges into merged
    /// states. The first layer keeps all its states, which are the entries, and the last its exits; lines and
    /// their weights stay as they are.
    pub fn merge_equal_futures(&mut self, blocks: &[Arc<Block>], exits: usize) -> Vec<Arc<Block>> {
        // What each state of the layer after became. Equal lists get equal numbers, so that a shared block is
        // merged once and stays shared.
        let mut became: Arc<[u32]> = (0..exits as u32).collect();
        let mut merged = Vec::with_capacity(blocks.len());
        for (layer, block) in blocks.iter().enumerate().rev() {
            if layer == 0 {
                let (first, _) = block.merged(&became, false);
                merged.push(Arc::new(first));
                break;
            }
            let next = self.became_numbers.len();
            let number = *self.became_numbers.entry(became.clone()).or_insert(next);
            let edges = &mut self.edges;
            let merge = || {
                let (block, states) = block.merged(&became, true);
                *edges += block.len();
                (Arc::new(block), states.into())
            };
            let place = (Arc::as_ptr(block).addr(), number);
            let (block, states) = self.merged.entry(place).or_insert_with(merge).clone();
            merged.push(block);
            became = states;
        }
        merged.reverse();
        merged
    }

    /// What is left to later lattices: all of it, unless it is too much.
    pub fn left(self) -> Workings {
        match keeps() && self.edges <= MOST_KEPT {
            // Its tables are large, and soon made.
            true => Workings {
                expander: Expander::default(),
                ..self
            },
            false => Workings::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Hand, Instrument, Options, Plan, Walker};
    use endpin_theory::Chart;

    /// A line and the number of lines, as made alone and as made of what others left, with notes held here and there;
    /// with all the time that the hand needs, and in a hurry.
    #[test]
    fn what_others_left_changes_nothing() {
        let chart = Chart::from_bars("F7 | Bb7 | F7 D7 | Gm7 C7", "4/4".parse().unwrap()).unwrap();
        let walk = |level: u8, quarter: Option<u32>, pins: &str| {
            let options = Options {
                level: level.try_into().unwrap(),
                pins: pins
                    .split_whitespace()
                    .map(|pin| pin.parse().unwrap())
                    .collect(),
                hand: Hand {
                    instrument: Instrument::BASS,
                    quarter,
                },
                ..Options::default()
            };
            let plan = Plan::of(chart.chorus(), &options);
            let walker = Walker::new(plan, options).unwrap();
            let keys = walker
                .line(1, 1)
                .notes
                .into_iter()
                .map(|note| note.pitch.midi());
            (keys.collect::<Vec<_>>(), walker.count())
        };
        let all = || {
            let pins = ["", "2.1=Bb1", "2.1=Bb1 3.2=A2", "3.2=A2", ""];
            let tempi = [None, Some(60_000_000 / 240)];
            let each = move |quarter| pins.into_iter().map(move |pins| (quarter, pins));
            tempi.into_iter().flat_map(each)
        };
        let made = || -> Vec<_> {
            let at = |level| all().map(move |(quarter, pins)| walk(level, quarter, pins));
            [4, 6].into_iter().flat_map(at).collect()
        };
        let alone = made();
        keep_workings();
        assert_eq!(alone, made());
        assert_eq!(alone, made());
    }
}
