//! Rules and tastes read side by side: the automaton whose paths are the admissible lines.

use crate::{
    place::{Place, Sound},
    rules::{Memory, Rule, Step},
    tastes::Taste,
};

/// What has to be known of a line so far to say how it may go on: its last note and all that the rules and
/// tastes remember.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct State {
    key: u8,
    memory: u64,
}

impl State {
    /// Before any note.
    pub const START: State = State {
        key: u8::MAX,
        memory: 0,
    };

    /// MIDI key of the last note; none before the first.
    pub fn key(self) -> Option<u8> {
        (self.key != u8::MAX).then_some(self.key)
    }
}

/// Rules and tastes that are read together.
#[derive(Debug)]
pub struct Grammar {
    rules: Vec<Reader<dyn Rule>>,
    /// Tastes that remember nothing, then those that do.
    plain_tastes: Vec<Reader<dyn Taste>>,
    tastes: Vec<Reader<dyn Taste>>,
    /// How many bits all rules together remember.
    rule_bits: u32,
}

/// A rule or taste, and where its memory stands among that of all.
#[derive(Debug)]
struct Reader<T: ?Sized> {
    reads: Box<T>,
    shift: u32,
    mask: u64,
}

impl<T: ?Sized> Reader<T> {
    fn recall(&self, memory: u64) -> Memory {
        (memory >> self.shift & self.mask) as Memory
    }

    fn keep(&self, kept: Memory) -> u64 {
        u64::from(kept) << self.shift
    }
}

impl Reader<dyn Taste> {
    /// The weight so far times its own, where it has a say, and its memory from here on.
    fn weigh(&self, memory: u64, step: &Step<'_>, weight: f64) -> (f64, u64) {
        let (factor, kept) = self.reads.weigh(self.recall(memory), step);
        let has_a_say = step.place.sound != Sound::Option || self.reads.weighs_options();
        let factor = if has_a_say { f64::from(factor) } else { 1.0 };
        (weight * factor, self.keep(kept))
    }
}

/// Places the memories side by side; gives how many bits they take.
fn side_by_side<T: ?Sized>(all: Vec<Box<T>>, bits: impl Fn(&T) -> u32) -> (Vec<Reader<T>>, u32) {
    let mut shift = 0;
    let readers = all
        .into_iter()
        .map(|reads| {
            let bits = bits(&reads);
            let reader = Reader {
                reads,
                shift,
                mask: (1 << bits) - 1,
            };
            shift += bits;
            reader
        })
        .collect();
    (readers, shift)
}

impl Grammar {
    /// Reads these rules and tastes together.
    ///
    /// # Panics
    /// If together they remember more than 64 bits.
    pub fn new(rules: Vec<Box<dyn Rule>>, tastes: Vec<Box<dyn Taste>>) -> Grammar {
        let (rules, rule_bits) = side_by_side(rules, |rule| rule.memory_bits());
        let (tastes, taste_bits) = side_by_side(tastes, |taste| taste.memory_bits());
        assert!(
            rule_bits + taste_bits <= 64,
            "rules and tastes remember too much"
        );
        let (plain_tastes, tastes) = tastes.into_iter().partition(|taste| taste.mask == 0);
        Grammar {
            rules,
            plain_tastes,
            tastes,
            rule_bits,
        }
    }

    /// The same without the rules of one name, to find out what is in the way.
    pub fn without(self, name: &str) -> Grammar {
        let rules = self.rules.into_iter().map(|rule| rule.reads);
        let tastes = self.plain_tastes.into_iter().chain(self.tastes);
        Grammar::new(
            rules.filter(|rule| rule.name() != name).collect(),
            tastes.map(|taste| taste.reads).collect(),
        )
    }

    /// The rules.
    pub fn rules(&self) -> impl Iterator<Item = &dyn Rule> {
        self.rules.iter().map(|rule| &*rule.reads)
    }

    /// Takes a step: the state after it and its weight, or the name of the first rule that it breaks.
    ///
    /// # Errors
    /// The name of a rule.
    pub fn step(
        &self,
        state: State,
        place: &Place,
        to: Option<u8>,
    ) -> Result<(State, f64), &'static str> {
        let step = Step {
            place,
            from: state.key(),
            to,
        };
        let (rules, tastes) = self.split(state);
        let rules = self.read(rules, &step)?;
        let (weight, tastes) = self.weigh(tastes, &step, self.weigh_plainly(&step));
        Ok((self.join(to.unwrap_or(state.key), rules, tastes), weight))
    }

    /// What the rules and what the tastes remember in a state.
    pub(crate) fn split(&self, state: State) -> (u64, u64) {
        let rules = state.memory & ((1 << self.rule_bits) - 1);
        (rules, state.memory >> self.rule_bits)
    }

    /// The state of a last note, and what rules and tastes remember of the line up to it.
    pub(crate) fn join(&self, key: u8, rules: u64, tastes: u64) -> State {
        State {
            key,
            memory: tastes << self.rule_bits | rules,
        }
    }

    /// Lets the rules read a step: what they remember from here on, or the first that is broken.
    pub(crate) fn read(&self, memory: u64, step: &Step<'_>) -> Result<u64, &'static str> {
        let mut after = 0;
        for rule in &self.rules {
            let kept = rule.reads.read(rule.recall(memory), step);
            after |= rule.keep(kept.ok_or_else(|| rule.reads.name())?);
        }
        Ok(after)
    }

    /// The product of the weights that need no memory.
    pub(crate) fn weigh_plainly(&self, step: &Step<'_>) -> f64 {
        self.plain_tastes
            .iter()
            .fold(1.0, |weight, taste| taste.weigh(0, step, weight).0)
    }

    /// Lets the tastes that remember weigh a step: the product of their weights and of the `plain` one, and
    /// what they remember from here on.
    pub(crate) fn weigh(&self, memory: u64, step: &Step<'_>, plain: f64) -> (f64, u64) {
        let mut after = 0;
        let mut weight = plain;
        for taste in &self.tastes {
            let kept;
            (weight, kept) = taste.weigh(memory, step, weight);
            after |= kept;
        }
        (weight, after)
    }

    /// The state with which the next chorus begins: rules go on remembering, tastes start afresh.
    pub fn across_join(&self, state: State) -> State {
        State {
            memory: state.memory & ((1 << self.rule_bits) - 1),
            ..state
        }
    }

    /// All that may happen at a place, in a fixed order: nothing, then the notes from low to high.
    pub fn choices(place: &Place) -> impl Iterator<Item = Option<u8>> {
        let silent = (place.sound != Sound::Note).then_some(None);
        let sounds = matches!(place.sound, Sound::Note | Sound::Option);
        let notes = sounds.then(|| place.keys.iter().map(Some));
        silent.into_iter().chain(notes.into_iter().flatten())
    }
}
