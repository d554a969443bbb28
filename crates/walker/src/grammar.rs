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
    rules: Vec<Box<dyn Rule>>,
    tastes: Vec<Box<dyn Taste>>,
    rule_bits: u32,
}

impl Grammar {
    /// Reads these rules and tastes together.
    ///
    /// # Panics
    /// If together they remember more than 64 bits.
    pub fn new(rules: Vec<Box<dyn Rule>>, tastes: Vec<Box<dyn Taste>>) -> Grammar {
        let rule_bits = rules.iter().map(|rule| rule.memory_bits()).sum();
        let taste_bits: u32 = tastes.iter().map(|taste| taste.memory_bits()).sum();
        assert!(
            rule_bits + taste_bits <= 64,
            "rules and tastes remember too much"
        );
        Grammar {
            rules,
            tastes,
            rule_bits,
        }
    }

    /// The same without the rules of one name, to find out what is in the way.
    pub fn without(mut self, name: &str) -> Grammar {
        self.rules.retain(|rule| rule.name() != name);
        Grammar::new(self.rules, self.tastes)
    }

    /// The rules.
    pub fn rules(&self) -> impl Iterator<Item = &dyn Rule> {
        self.rules.iter().map(|rule| &**rule)
    }

    /// Takes a step: the state after it and its weight, or the name of the first rule that it breaks.
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
        let mut memory = 0u64;
        let mut shift = 0;
        let mut recall = |bits: u32| {
            let kept = (state.memory >> shift & ((1 << bits) - 1)) as Memory;
            shift += bits;
            (kept, shift - bits)
        };
        for rule in &self.rules {
            let (kept, at) = recall(rule.memory_bits());
            let kept = rule.read(kept, &step).ok_or(rule.name())?;
            memory |= u64::from(kept) << at;
        }
        let mut weight = 1.0;
        for taste in &self.tastes {
            let (kept, at) = recall(taste.memory_bits());
            let (factor, kept) = taste.weigh(kept, &step);
            weight *= f64::from(factor);
            memory |= u64::from(kept) << at;
        }
        let key = to.unwrap_or(state.key);
        Ok((State { key, memory }, weight))
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
