//! The walker: a plan, its lattices joined end to end, and lines drawn from them.

use crate::{
    annotate,
    diagnose::diagnose,
    grammar::{Grammar, State},
    guide::Guide,
    hand::InTime,
    lattice::Lattice,
    layout::{Layout, Stage},
    options::{Level, Options},
    place::{Leads, Place, Sound},
    plan::Plan,
    rules::{
        Approach, ArrivalRoot, OffBeats, Playable, RootToSeventh, Rule, StrongBeats, WeakBeats,
    },
    sums::Sums,
    tastes::tastes,
};
use num_bigint::BigUint;
use std::{collections::BTreeSet, sync::OnceLock};

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
    /// A pin or rest where the line has no note.
    #[error(
        "no note starts at bar {bar}, beat {beat} of this chart in this feel, so nothing can be fixed there"
    )]
    NoPlace {
        /// Bar, from 1.
        bar: u32,
        /// Beat, from 1.
        beat: u32,
    },
    /// A beat that is to be two things.
    #[error("bar {bar}, beat {beat} cannot be both {first} and {second}")]
    Twice {
        /// Bar, from 1.
        bar: u32,
        /// Beat, from 1.
        beat: u32,
        /// A note or a rest.
        first: String,
        /// The other.
        second: String,
    },
    /// A bar beyond the end of the chart.
    #[error("there is no bar {bar}; the chorus has {last} bars")]
    NoBar {
        /// The bar asked for.
        bar: u32,
        /// The last bar.
        last: u32,
    },
    /// A pinned note that a rule forbids where it stands.
    #[error("{pitch} cannot be pinned to bar {bar}, beat {beat}: rule {rule} is in the way")]
    Pin {
        /// Bar, from 1.
        bar: u32,
        /// Beat, from 1.
        beat: u32,
        /// The note.
        pitch: String,
        /// The rule in the way.
        rule: &'static str,
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
    /// More different choruses asked for than there are.
    #[error(
        "{asked} different choruses were asked for, and exactly {exist} exist at this level, in this range and with these pins"
    )]
    TooFew {
        /// Choruses asked for, from the first on.
        asked: u64,
        /// How many there are.
        exist: BigUint,
    },
    /// No further chorus differs enough from those before it.
    #[error(
        "after {made} choruses none was found that follows on and differs from each in at least {apart} beats ({exist} exist in all)"
    )]
    Exhausted {
        /// Choruses made.
        made: u64,
        /// Beats by which any two must differ.
        apart: u32,
        /// How many choruses there are.
        exist: BigUint,
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

/// The rules of a level (design section 6), and that of the hand where it is in a hurry.
pub fn rules(stage: Stage, in_time: Option<&InTime>) -> Vec<Box<dyn Rule>> {
    let dominants = stage.level >= Level::DOMINANTS;
    let mut rules: Vec<Box<dyn Rule>> = vec![
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
    ];
    if let Some(rule) = in_time {
        rules.push(Box::new(rule.clone()));
    }
    rules
}

/// One turn of the plan with its lattice, leading into the next turn.
#[derive(Debug)]
pub(crate) struct Link {
    pub(crate) layout: Layout,
    pub(crate) lattice: Lattice,
    pub(crate) sums: Sums,
    /// Tables for drawing many choruses, once asked for; none where they would be too large.
    pub(crate) guide: OnceLock<Option<Guide>>,
    /// For each exit, the entry of the next turn that it is.
    pub(crate) entry_of_exit: Vec<usize>,
    /// For each entry, whether lines go on from it for ever.
    pub(crate) alive: Vec<bool>,
}

/// Draws lines over the choruses of a plan.
#[derive(Debug)]
pub struct Walker {
    pub(crate) plan: Plan,
    pub(crate) options: Options,
    pub(crate) links: Vec<Link>,
    /// The rule of the hand, where it is in a hurry.
    pub(crate) in_time: Option<InTime>,
    /// Weight of each entry of the first turn as a beginning.
    pub(crate) beginnings: Vec<f64>,
    /// The odds that two choruses are equal, once asked for.
    pub(crate) odds: OnceLock<f64>,
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
        let (layouts, in_time) = layouts(&plan, &options)?;
        layouts.iter().try_for_each(check_places)?;
        let grammars: Vec<Grammar> = plan
            .turns()
            .iter()
            .map(|turn| {
                Grammar::new(
                    rules(turn.stage, in_time.as_ref()),
                    tastes(&options.weights, turn.stage.level),
                )
            })
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
                &layouts[turn].before(&layouts[next], in_time.is_some()),
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
                guide: OnceLock::new(),
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
            in_time,
            beginnings,
            odds: OnceLock::new(),
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
    pub(crate) fn onward(&self, turn: usize, entry: usize) -> f64 {
        let exits = 0..self.links[turn].lattice.exits().len();
        exits.map(|exit| self.weight(turn, entry, exit)).sum()
    }

    /// Weight of all lines of a turn from an entry to an exit that goes on.
    pub(crate) fn weight(&self, turn: usize, entry: usize, exit: usize) -> f64 {
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

    /// What follows a chorus of a turn, if the next begins in this entry: the key and the name of its note.
    pub(crate) fn following(&self, turn: usize, entry: usize) -> Option<annotate::Following> {
        let next = &self.links[self.plan.after(turn)];
        let chord = next.layout.harmonies[0].chord.as_ref()?;
        let sounds = next.layout.slots[0].place.sound == Sound::Note;
        sounds.then_some(annotate::Following {
            key: next.lattice.entries()[entry].key()?,
            name: chord.bass(),
        })
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The options.
    pub fn options(&self) -> &Options {
        &self.options
    }

    /// Exact number of different note sequences of the first chorus that some following root completes.
    pub fn count(&self) -> BigUint {
        let layout = &self.links[0].layout;
        let stage = self.plan.turns()[0].stage;
        let grammar = Grammar::new(rules(stage, self.in_time.as_ref()), Vec::new());
        let places = places(layout);
        let entries = beginnings(&grammar, &places[0]);
        let entries = entries.into_iter().map(|(state, _)| state).collect();
        let next = layout.before(
            &self.links[self.plan.after(0)].layout,
            self.in_time.is_some(),
        );
        let lattice = Lattice::build(&grammar, &places, entries, &next);
        lattice.count_lines()
    }
}

/// The layouts of all turns, and the rule of the hand if it is in a hurry there.
pub(crate) fn layouts(
    plan: &Plan,
    options: &Options,
) -> Result<(Vec<Layout>, Option<InTime>), WalkError> {
    let layouts = (0..plan.turns().len()).map(|turn| layout(plan, turn, options));
    let mut layouts = layouts.collect::<Result<Vec<Layout>, _>>()?;
    let after = |turn| plan.after(turn);
    let in_time = InTime::needed(&options.hand, options.range, &layouts, after);
    if in_time.is_some() {
        layouts.iter_mut().for_each(Layout::tell_time);
    }
    Ok((layouts, in_time))
}

fn layout(plan: &Plan, turn: usize, options: &Options) -> Result<Layout, WalkError> {
    let next = &plan.turns()[plan.after(turn)].chorus.spans[0];
    let next = next.chord.as_ref().map(|chord| chord.bass().chroma());
    let turn = &plan.turns()[turn];
    let mut layout = Layout::new(&turn.chorus, turn.stage, options, next);
    for fixed in &turn.fixed {
        fixed.apply(&mut layout)?;
    }
    Ok(layout)
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
            beat: slot.beat_in_bar(),
            rule: slot.rule_of_keys(),
        }),
    }
}
