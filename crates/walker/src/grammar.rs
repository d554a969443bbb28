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
    /// How many bits each rule and each taste remembers, and all rules together.
    bits_of_rules: Vec<u32>,
    bits_of_tastes: Vec<u32>,
    rule_bits: u32,
}

impl Grammar {
    /// Reads these rules and tastes together.
    ///
    /// # Panics
    /// If together they remember more than 64 bits.
    pub fn new(rules: Vec<Box<dyn Rule>>, tastes: Vec<Box<dyn Taste>>) -> Grammar {
        let bits_of_rules: Vec<u32> = rules.iter().map(|rule| rule.memory_bits()).collect();
        let bits_of_tastes: Vec<u32> = tastes.iter().map(|taste| taste.memory_bits()).collect();
        let rule_bits: u32 = bits_of_rules.iter().sum();
        let taste_bits: u32 = bits_of_tastes.iter().sum();
        assert!(
            rule_bits + taste_bits <= 64,
            "rules and tastes remember too much"
        );
        Grammar {
            rules,
            tastes,
            bits_of_rules,
            bits_of_tastes,
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
        let (weight, tastes) = self.weigh(tastes, &step);
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
        let mut shift = 0;
        let mut after = 0;
        for (rule, bits) in self.rules.iter().zip(&self.bits_of_rules) {
            let kept = (memory >> shift & ((1 << bits) - 1)) as Memory;
            let kept = rule.read(kept, step).ok_or(rule.name())?;
            after |= u64::from(kept) << shift;
            shift += bits;
        }
        Ok(after)
    }

    /// Lets the tastes weigh a step: the product of their weights, and what they remember from here on.
    pub(crate) fn weigh(&self, memory: u64, step: &Step<'_>) -> (f64, u64) {
        let mut shift = 0;
        let mut after = 0;
        let mut weight = 1.0;
        for (taste, bits) in self.tastes.iter().zip(&self.bits_of_tastes) {
            let kept = (memory >> shift & ((1 << bits) - 1)) as Memory;
            let (factor, kept) = taste.weigh(kept, step);
            if step.place.sound != Sound::Option || taste.weighs_options() {
                weight *= f64::from(factor);
            }
            after |= u64::from(kept) << shift;
            shift += bits;
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
