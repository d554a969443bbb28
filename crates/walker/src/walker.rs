//! The walker: a plan, its lattices joined end to end, and lines drawn from them.

use crate::{
    annotate,
    diagnose::diagnose,
    grammar::{Grammar, State},
    lattice::{Edge, Lattice},
    layout::{Layout, Stage},
    line::{ChorusLine, LineNote},
    options::{Level, Options},
    place::{Leads, Place, Sound},
    plan::Plan,
    rules::{
        Approach, ArrivalRoot, OffBeats, Playable, RootToSeventh, Rule, StrongBeats, WeakBeats,
    },
    sums::{Sums, choose},
    tastes::tastes,
};
use num_bigint::BigUint;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeSet;

/// Why there is no line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum WalkError {
    /// A range that is upside down or beyond MIDI.
    #[error(
        "the range is empty: its lowest note {lowest} lies above its highest {highest} (MIDI keys)"
    )]
    Range {
        /// Lowest MIDI key.
        lowest: u8,
        /// Highest MIDI key.
        highest: u8,
    },
    /// No note can stand at a place.
    #[error("bar {bar}, beat {beat}: no note between the lowest and the highest obeys rule {rule}")]
    NoNote {
        /// Bar, from 1.
        bar: u32,
        /// Beat, from 1.
        beat: u32,
        /// The rule in the way.
        rule: &'static str,
    },
    /// No line goes through.
    #[error("no line goes through bar {bar}, beat {beat}: rule {rule} is in the way")]
    NoLine {
        /// Bar of the first beat that no line reaches, from 1.
        bar: u32,
        /// Its beat, from 1.
        beat: u32,
        /// The rule without which there would be lines.
        rule: &'static str,
    },
}

/// The rules of a level (design section 6).
pub fn rules(stage: Stage) -> Vec<Box<dyn Rule>> {
    let dominants = stage.level >= Level::DOMINANTS;
    vec![
        Box::new(ArrivalRoot),
        Box::new(StrongBeats),
        Box::new(WeakBeats {
            scale_notes: stage.level >= Level::DOMINANTS,
            inner_approaches: stage.level >= Level::DOMINANTS,
            dominants,
            two_notes: stage.level >= Level::PAIRS,
        }),
        Box::new(Approach {
            before: Leads::IntoChange,
            dominants,
        }),
        Box::new(RootToSeventh),
        Box::new(Playable),
        Box::new(Approach {
            before: Leads::IntoChorus,
            dominants,
        }),
        Box::new(OffBeats),
    ]
}

/// One turn of the plan with its lattice, leading into the next turn.
#[derive(Debug)]
struct Link {
    layout: Layout,
    lattice: Lattice,
    sums: Sums,
    /// For each exit, the entry of the next turn that it is.
    entry_of_exit: Vec<usize>,
    /// For each entry, whether lines go on from it for ever.
    alive: Vec<bool>,
}

/// Draws lines over the choruses of a plan.
#[derive(Debug)]
pub struct Walker {
    plan: Plan,
    options: Options,
    links: Vec<Link>,
    /// Weight of each entry of the first turn as a beginning.
    beginnings: Vec<f64>,
}

/// Which stream of the seed a draw reads from.
#[derive(Clone, Copy)]
enum Purpose {
    /// The root on which a chorus begins.
    Start,
    /// Its notes, at the n-th attempt.
    Notes(u64),
}

fn stream(seed: u64, chorus: u64, purpose: Purpose) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let purpose = match purpose {
        Purpose::Start => 0,
        Purpose::Notes(attempt) => 1 + attempt,
    };
    rng.set_stream(chorus << 20 | purpose);
    rng
}

impl Walker {
    /// Builds the lattices of a plan.
    ///
    /// # Errors
    /// A range or pins that leave no line, with the rule and the beat in the way.
    pub fn new(plan: Plan, options: Options) -> Result<Walker, WalkError> {
        let (lowest, highest) = options.range;
        if lowest > highest || highest > 127 {
            return Err(WalkError::Range { lowest, highest });
        }
        let layouts: Vec<Layout> = (0..plan.turns().len())
            .map(|turn| layout(&plan, turn, &options))
            .collect();
        layouts.iter().try_for_each(check_places)?;
        let grammars: Vec<Grammar> = plan
            .turns()
            .iter()
            .map(|turn| Grammar::new(rules(turn.stage), tastes(&options.weights)))
            .collect();
        let mut entries: Vec<Vec<State>> = vec![Vec::new(); layouts.len()];
        let begin = beginnings(&grammars[0], &layouts[0].slots[0].place);
        entries[0] = begin.iter().map(|&(state, _)| state).collect();
        entries[0].sort();
        let mut lattices: Vec<Option<Lattice>> = layouts.iter().map(|_| None).collect();
        // Exits of one turn are entries of the next; where that adds entries, the turn is built anew.
        let mut stale = BTreeSet::from([0]);
        while let Some(turn) = stale.pop_first() {
            let next = plan.after(turn);
            let lattice = Lattice::build(
                &grammars[turn],
                &places(&layouts[turn]),
                entries[turn].clone(),
                &layouts[next].slots[0].place,
            );
            let mut merged = entries[next].clone();
            merged.extend(lattice.exits());
            merged.sort();
            merged.dedup();
            if merged != entries[next] {
                entries[next] = merged;
                stale.insert(next);
            }
            lattices[turn] = Some(lattice);
        }
        let mut links: Vec<Link> = Vec::with_capacity(layouts.len());
        for (turn, (layout, lattice)) in layouts.into_iter().zip(lattices).enumerate() {
            let Some(lattice) = lattice else {
                return Err(diagnose(&plan, &options));
            };
            // Every exit was made an entry of the next turn above.
            let next = &entries[plan.after(turn)];
            let entry_of_exit = lattice.exits().iter();
            links.push(Link {
                entry_of_exit: entry_of_exit
                    .filter_map(|exit| next.binary_search(exit).ok())
                    .collect(),
                sums: Sums::new(&lattice),
                alive: vec![true; lattice.entries().len()],
                layout,
                lattice,
            });
        }
        let beginnings = links[0]
            .lattice
            .entries()
            .iter()
            .map(|entry| {
                let found = begin.iter().find(|(state, _)| state == entry);
                found.map_or(0.0, |&(_, weight)| weight)
            })
            .collect();
        let mut walker = Walker {
            plan,
            options,
            links,
            beginnings,
        };
        walker.bury_dead_ends();
        walker.check_alive()?;
        Ok(walker)
    }

    /// Marks entries from which no endless line goes on, until nothing changes.
    fn bury_dead_ends(&mut self) {
        let mut changed = true;
        while changed {
            changed = false;
            for turn in 0..self.links.len() {
                for entry in 0..self.links[turn].alive.len() {
                    if self.links[turn].alive[entry] && self.onward(turn, entry) == 0.0 {
                        self.links[turn].alive[entry] = false;
                        changed = true;
                    }
                }
            }
        }
    }

    /// Weight of all lines of a turn from an entry.
    fn onward(&self, turn: usize, entry: usize) -> f64 {
        let exits = 0..self.links[turn].lattice.exits().len();
        exits.map(|exit| self.weight(turn, entry, exit)).sum()
    }

    /// Weight of all lines of a turn from an entry to an exit that goes on.
    fn weight(&self, turn: usize, entry: usize, exit: usize) -> f64 {
        let link = &self.links[turn];
        let next = &self.links[self.plan.after(turn)];
        match next.alive[link.entry_of_exit[exit]] {
            true => link.sums.total(entry, exit),
            false => 0.0,
        }
    }

    fn check_alive(&self) -> Result<(), WalkError> {
        let begins = |(entry, &weight): (usize, &f64)| weight > 0.0 && self.links[0].alive[entry];
        if self.beginnings.iter().enumerate().any(begins) {
            return Ok(());
        }
        Err(diagnose(&self.plan, &self.options))
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The options.
    pub fn options(&self) -> &Options {
        &self.options
    }

    /// Entries on which the choruses from the first to `count` choruses on begin, and that of the next.
    fn starts(&self, seed: u64, count: u64) -> Vec<u32> {
        let entries: Vec<usize> = (0..self.beginnings.len()).collect();
        let begin = |&entry: &usize| match self.links[0].alive[entry] {
            true => self.beginnings[entry] * self.onward(0, entry),
            false => 0.0,
        };
        let mut entry = *choose(&entries, begin, &mut stream(seed, 0, Purpose::Start));
        let mut starts = vec![entry as u32];
        for chorus in 0..count {
            let turn = self.plan.turn_of(chorus);
            let exits: Vec<usize> = (0..self.links[turn].lattice.exits().len()).collect();
            let weight = |&exit: &usize| self.weight(turn, entry, exit);
            let exit = *choose(
                &exits,
                weight,
                &mut stream(seed, chorus + 1, Purpose::Start),
            );
            entry = self.links[turn].entry_of_exit[exit];
            starts.push(entry as u32);
        }
        starts
    }

    /// The chorus `index` (from 1) of the line with this seed.
    ///
    /// It is the same whether made alone or among others.
    pub fn line(&self, seed: u64, index: u32) -> ChorusLine {
        self.lines(seed, index, 1).pop().unwrap_or(ChorusLine {
            chorus: index,
            notes: Vec::new(),
        })
    }

    /// `count` choruses of the line with this seed, from chorus `from` (from 1) on.
    pub fn lines(&self, seed: u64, from: u32, count: u32) -> Vec<ChorusLine> {
        let first = u64::from(from.max(1)) - 1;
        let end = first + u64::from(count);
        let starts = self.starts(seed, end);
        let mut keys = Vec::new();
        (first..end)
            .map(|chorus| {
                let (entry, next) = (starts[chorus as usize], starts[chorus as usize + 1]);
                self.draw(seed, chorus, entry as usize, next as usize, 0, &mut keys);
                let turn = self.plan.turn_of(chorus);
                let link = &self.links[turn];
                let following = self.links[self.plan.after(turn)].lattice.entries()[next as usize];
                annotate::chorus(
                    chorus as u32 + 1,
                    &link.layout,
                    self.plan.turns()[turn].stage,
                    &keys,
                    self.following(turn, following),
                )
            })
            .collect()
    }

    /// What follows a chorus: the key and the name on which the next begins.
    fn following(&self, turn: usize, state: State) -> Option<annotate::Following> {
        let next = &self.links[self.plan.after(turn)].layout;
        let chord = next.harmonies[0].chord.as_ref()?;
        let place = &next.slots[0].place;
        (place.sound == Sound::Note).then_some(annotate::Following {
            key: state.key()?,
            name: chord.bass(),
        })
    }

    /// Draws the keys of a chorus (from 0), one for each of its places.
    fn draw(
        &self,
        seed: u64,
        chorus: u64,
        entry: usize,
        next: usize,
        attempt: u64,
        keys: &mut Vec<u8>,
    ) {
        let link = &self.links[self.plan.turn_of(chorus)];
        let exit = link.entry_of_exit.iter().position(|&entry| entry == next);
        let mut rng = stream(seed, chorus, Purpose::Notes(attempt));
        // `next` was drawn among the exits of this link, so it is one of them.
        let exit = exit.unwrap_or(0);
        link.sums.draw(&link.lattice, entry, exit, &mut rng, keys);
        let first = link.lattice.entries()[entry].key().unwrap_or(Edge::SILENT);
        let sounds = link.layout.slots[0].place.sound == Sound::Note;
        keys.insert(0, if sounds { first } else { Edge::SILENT });
    }

    /// The note on which a line ends after `chorus` (its last): the root of the home key, held for a bar.
    pub fn ending(&self, seed: u64, last: &ChorusLine) -> LineNote {
        let chorus = u64::from(last.chorus) - 1;
        let starts = self.starts(seed, chorus + 1);
        let turn = self.plan.turn_of(chorus);
        let following = self.links[self.plan.after(turn)].lattice.entries()
            [starts[chorus as usize + 1] as usize];
        annotate::ending(
            &self.plan.turns()[turn].chorus,
            last,
            self.following(turn, following),
            self.options.range,
        )
    }

    /// Exact number of different note sequences of the first chorus that some following root completes.
    pub fn count(&self) -> BigUint {
        let layout = &self.links[0].layout;
        let stage = self.plan.turns()[0].stage;
        let grammar = Grammar::new(rules(stage), Vec::new());
        let places = places(layout);
        let entries = beginnings(&grammar, &places[0]);
        let entries = entries.into_iter().map(|(state, _)| state).collect();
        let next = &self.links[self.plan.after(0)].layout.slots[0].place;
        let lattice = Lattice::build(&grammar, &places, entries, next);
        lattice.count_completed().into_iter().sum()
    }
}

pub(crate) fn layout(plan: &Plan, turn: usize, options: &Options) -> Layout {
    let next = &plan.turns()[plan.after(turn)].chorus.spans[0];
    let next = next.chord.as_ref().map(|chord| chord.bass().chroma());
    let turn = &plan.turns()[turn];
    Layout::new(&turn.chorus, turn.stage, options, next)
}

pub(crate) fn places(layout: &Layout) -> Vec<Place> {
    layout.slots.iter().map(|slot| slot.place.clone()).collect()
}

/// The states in which a line may begin, with the weights of beginning so.
pub(crate) fn beginnings(grammar: &Grammar, place: &Place) -> Vec<(State, f64)> {
    Grammar::choices(place)
        .filter_map(|to| grammar.step(State::START, place, to).ok())
        .map(|(state, weight)| (grammar.across_join(state), weight))
        .collect()
}

/// Every place where a note must start has a note to start with.
fn check_places(layout: &Layout) -> Result<(), WalkError> {
    let empty =
        |slot: &&crate::layout::Slot| slot.place.sound == Sound::Note && slot.place.keys.is_empty();
    match layout.slots.iter().find(empty) {
        None => Ok(()),
        Some(slot) => Err(WalkError::NoNote {
            bar: slot.bar,
            beat: (slot.in_bar.0 / slot.beat_length.0) as u32 + 1,
            rule: match slot.place.leads {
                _ if slot.place.arrival => "arrival-root",
                Leads::IntoChange => "approach",
                Leads::IntoChorus => "join",
                Leads::Nowhere if slot.place.stressed => "strong-beats",
                Leads::Nowhere => "weak-beats",
            },
        }),
    }
}
