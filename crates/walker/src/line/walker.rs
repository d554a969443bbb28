//! The walker: a plan, its lattices joined end to end, and lines drawn from them.

use super::{annotate, diagnose::diagnose, feels::arrives_on, layout::Layout};
use crate::{
    lattice::{
        self, Favours, Lattice, Semiring, Skeleton, State, TooLarge, Weights,
        draw::Tables,
        graph::{Along, Edge},
    },
    options::{Level, Options},
    phrases::form::Form,
    plan::{Development, Plan},
    rules::{Conditions, InTime, Liberty, Onset, Rule, Sound, rules},
    tastes::{self, tastes},
};
use endpin_theory::NoteName;
use num_bigint::BigUint;
use rustc_hash::FxHashMap;
use std::{
    collections::BTreeSet,
    sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError},
};

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
    /// A motif that no line plays.
    #[error(
        "no bar of this chart lets the motif \"{motif}\" begin on its first beat at level {level}: strong beats take \
         chord tones only, and the note before a change has to lead into it; other degrees, another level or another \
         feel may do"
    )]
    Motif {
        /// As it was asked for.
        motif: String,
        /// The level.
        level: Level,
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
    /// More memory than a chart may take.
    #[error(
        "the lines of this chart at level {level} need too much memory: by bar {bar} {limit}; choose a lower level, a narrower range or longer beats, or fewer liberties if it takes any"
    )]
    TooLarge {
        /// The bar in which the limit was met, from 1.
        bar: u32,
        /// The level.
        level: Level,
        /// The limit.
        limit: TooLarge,
    },
}

/// One turn of the plan with its lattice, leading into the next turn.
#[derive(Debug)]
pub(crate) struct Link {
    pub(crate) layout: Layout,
    lattice: Arc<Lattice>,
    along: Vec<Arc<Along>>,
    /// The weights of its lines, once asked for.
    weights: OnceLock<Weights>,
    /// Tables for drawing many choruses, once asked for; none where they would be too large.
    tables: OnceLock<Option<Tables>>,
    /// Its bars as phrases see them, once asked for.
    form: OnceLock<Form>,
    /// For each exit, the entry of the next turn that it is.
    pub(crate) entry_of_exit: Vec<usize>,
    /// For each entry, whether lines go on from it for ever.
    pub(crate) alive: Vec<bool>,
    /// How much the taking of liberties is favoured, where shares are asked for.
    pub(crate) favours: Option<Favours>,
}

impl Link {
    pub(crate) fn new(
        layout: Layout,
        lattice: Arc<Lattice>,
        along: Vec<Arc<Along>>,
        entry_of_exit: Vec<usize>,
    ) -> Link {
        Link {
            alive: vec![true; lattice.entries().len()],
            favours: None,
            weights: OnceLock::new(),
            tables: OnceLock::new(),
            form: OnceLock::new(),
            entry_of_exit,
            layout,
            lattice,
            along,
        }
    }

    pub(crate) fn lattice(&self) -> &Lattice {
        &self.lattice
    }

    /// What varies along the form.
    pub(crate) fn along(&self) -> &[Arc<Along>] {
        &self.along
    }

    /// Its bars as phrases see them.
    pub(crate) fn form(&self, development: Development) -> &Form {
        self.form
            .get_or_init(|| Form::of(&self.layout, development))
    }

    /// The weights of its lines, gathered when first asked for.
    pub(crate) fn weights(&self) -> &Weights {
        self.weights
            .get_or_init(|| Weights::new(self.lattice.clone(), self.along.clone()))
    }

    /// Tables for drawing many choruses, made when first asked for.
    pub(crate) fn tables(&self) -> Option<&Tables> {
        self.tables
            .get_or_init(|| Tables::new(self.weights()))
            .as_ref()
    }

    /// All lines from an entry with their exits, unless there are more than `most`.
    pub(crate) fn list(&self, entry: usize, most: usize) -> Option<Vec<crate::lattice::Listed>> {
        self.lattice.list(entry, &self.along, most)
    }
}

/// Draws lines over the choruses of a plan.
#[derive(Debug)]
pub struct Walker {
    pub(crate) plan: Plan,
    pub(crate) options: Options,
    pub(crate) grammars: Grammars,
    pub(crate) links: Vec<Link>,
    /// Weight of each entry of the first turn as a beginning.
    pub(crate) beginnings: Vec<f64>,
    /// The odds that two choruses are equal, once asked for.
    pub(crate) odds: OnceLock<f64>,
    /// The same of those whose bars take up others.
    pub(crate) rest_odds: OnceLock<f64>,
}

/// What all turns of a plan are read by.
#[derive(Clone, Debug)]
pub(crate) struct Grammars {
    /// The rule of the hand, where it is in a hurry.
    pub in_time: Option<InTime>,
    /// Whether lattices tell of liberties, so that these can be favoured.
    pub tells_chances: bool,
    /// Rules from outside.
    pub own: Vec<Arc<dyn Rule>>,
}

/// A skeleton that all who need it share.
pub(crate) type Shared = Arc<Mutex<Skeleton>>;

/// What a skeleton is compiled from: level, tastes, and whether it tells of liberties.
type Source = (Level, Option<tastes::Weights>, bool);

/// Skeletons that this process has compiled.
#[derive(Default)]
struct Compiled {
    plain: FxHashMap<Source, Shared>,
    /// Those for a hand in a hurry, the last few, where lattices are to leave anything to later ones. Else each
    /// walker has its own, so that none waits for another.
    timed: Vec<(Source, InTime, Shared)>,
}

/// Skeletons for a hand in a hurry that are kept: for two tempi, with tastes and without.
const MOST_TIMED: usize = 4;

static COMPILED: OnceLock<Mutex<Compiled>> = OnceLock::new();

/// A skeleton, for as long as it is read; one that was left in the middle of reading knows less, not wrong.
pub(crate) fn open(skeleton: &Shared) -> MutexGuard<'_, Skeleton> {
    skeleton.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Grammars {
    /// The rules of a level.
    pub fn rules(&self, level: Level) -> Vec<Arc<dyn Rule>> {
        let mut rules = rules(Conditions {
            in_time: self.in_time.as_ref(),
            ..Conditions::of(level)
        });
        rules.extend(self.own.iter().cloned());
        rules
    }

    /// The skeleton of a level, with the tastes of these weights if any: compiled once in a process, unless
    /// there are rules that hold here only.
    pub fn skeleton(&self, level: Level, weights: Option<&tastes::Weights>) -> Shared {
        let tastes = weights.map_or_else(Vec::new, |weights| tastes(weights, level));
        let tells_chances = self.tells_chances && weights.is_some();
        let make = || {
            let plain = Skeleton::new(self.rules(level), tastes);
            Arc::new(Mutex::new(match tells_chances {
                true => plain.telling_chances(),
                false => plain,
            }))
        };
        if !self.own.is_empty() || self.in_time.is_some() && !lattice::keeps() {
            return make();
        }
        let compiled = COMPILED.get_or_init(Mutex::default);
        let mut compiled = compiled.lock().unwrap_or_else(PoisonError::into_inner);
        let source = (level, weights.copied(), tells_chances);
        let Some(in_time) = &self.in_time else {
            return compiled.plain.entry(source).or_insert_with(make).clone();
        };
        let timed = &mut compiled.timed;
        let known = timed
            .iter()
            .position(|(of, rule, _)| *of == source && rule == in_time);
        let kept = match known {
            Some(known) => timed.remove(known),
            None => (source, in_time.clone(), make()),
        };
        let skeleton = kept.2.clone();
        timed.push(kept);
        if timed.len() > MOST_TIMED {
            timed.remove(0);
        }
        skeleton
    }
}

impl Walker {
    /// Builds the lattices of a plan.
    ///
    /// # Errors
    /// A range or pins that leave no line, with the rule and the beat in the way; a chart too large.
    pub fn new(plan: Plan, options: Options) -> Result<Walker, WalkError> {
        Walker::with_rules(plan, options, Vec::new())
    }

    /// The same, with rules of your own besides those of the level.
    ///
    /// # Errors
    /// As [`Walker::new`].
    pub fn with_rules(
        plan: Plan,
        options: Options,
        own: Vec<Arc<dyn Rule>>,
    ) -> Result<Walker, WalkError> {
        let (lowest, highest) = options.range;
        if lowest > highest || highest > 127 {
            return Err(WalkError::Range { lowest, highest });
        }
        let (layouts, in_time) = layouts(&plan, &options)?;
        let grammars = Grammars {
            tells_chances: !options.shares.is_none(),
            in_time,
            own,
        };
        let skeletons: Vec<Shared> = plan
            .turns()
            .iter()
            .map(|turn| grammars.skeleton(turn.development.level, Some(&options.weights)))
            .collect();
        let begin = open(&skeletons[0]).beginnings(&layouts[0].slots[0].onset);
        let mut entries: Vec<Vec<State>> = vec![Vec::new(); layouts.len()];
        entries[0] = begin.iter().map(|&(state, _)| state).collect();
        entries[0].sort();
        if let (Some(0), Some(last)) = (plan.in_place_of_last(), plan.last_turn()) {
            entries[last] = entries[0].clone();
        }
        let ways: Vec<Way> = (0..layouts.len())
            .map(|turn| {
                let next = layouts[turn].before(&layouts[plan.after(turn)], grammars.is_timed());
                Way {
                    onsets: onsets(&layouts[turn]),
                    next,
                }
            })
            .collect();
        let mut lattices: Vec<Option<Arc<Lattice>>> = vec![None; layouts.len()];
        // Exits of one turn are entries of the next; where that adds entries, the turn is built anew.
        let mut stale = BTreeSet::from([0]);
        while let Some(turn) = stale.pop_first() {
            let next = plan.after(turn);
            // The last chorus begins as the one in whose place it is played.
            let follow = match (plan.in_place_of_last(), plan.last_turn()) {
                (Some(like), Some(last)) if like == next => vec![next, last],
                _ => vec![next],
            };
            let level = plan.turns()[turn].development.level;
            let same = |other: &usize| {
                plan.turns()[*other].development.level == level
                    && entries[*other] == entries[turn]
                    && ways[*other].is_like(&ways[turn])
            };
            let known = (0..turn)
                .find(same)
                .and_then(|other| lattices[other].clone());
            let lattice = match known {
                Some(known) => known,
                None => {
                    let mut skeleton = open(&skeletons[turn]);
                    let way = &ways[turn];
                    let built =
                        Lattice::build(&mut skeleton, &way.onsets, &entries[turn], &way.next);
                    let built = built.map_err(|limit| layouts[turn].too_large(level, limit));
                    Arc::new(built?)
                }
            };
            let mut merged = entries[next].clone();
            merged.extend(lattice.exits());
            merged.sort();
            merged.dedup();
            for next in follow {
                if merged != entries[next] {
                    entries[next].clone_from(&merged);
                    stale.insert(next);
                }
            }
            lattices[turn] = Some(lattice);
        }
        let mut links: Vec<Link> = Vec::with_capacity(layouts.len());
        // Turns over one lattice share their favours.
        let mut favoured: Vec<(Arc<Lattice>, Favours, Arc<Lattice>)> = Vec::new();
        for (turn, (layout, lattice)) in layouts.into_iter().zip(lattices).enumerate() {
            let Some(lattice) = lattice else {
                return Err(diagnose(&plan, &options, &grammars));
            };
            // Every exit was made an entry of the next turn above.
            let next = &entries[plan.after(turn)];
            let entry_of_exit = lattice.exits().iter();
            let entry_of_exit = entry_of_exit.filter_map(|exit| next.binary_search(exit).ok());
            let entry_of_exit = entry_of_exit.collect();
            let along = Lattice::along(
                &open(&skeletons[turn]),
                &ways[turn].onsets,
                &ways[turn].next,
            );
            if options.shares.is_none() || plan.turns()[turn].development.loose.is_none() {
                links.push(Link::new(layout, lattice, along, entry_of_exit));
                continue;
            }
            let known = favoured
                .iter()
                .position(|(plain, ..)| Arc::ptr_eq(plain, &lattice));
            let known = known.unwrap_or_else(|| {
                let begin = favoured.last().map(|(_, favours, _)| favours);
                let favours = Favours::find(&lattice, &along, options.shares, begin);
                let made = Arc::new(lattice.favouring(&favours.of_sets()));
                favoured.push((lattice, favours, made));
                favoured.len() - 1
            });
            let (_, favours, lattice) = &favoured[known];
            let link = Link::new(layout, lattice.clone(), along, entry_of_exit);
            links.push(Link {
                favours: Some(favours.clone()),
                ..link
            });
        }
        let beginnings = links[0].lattice.entries().iter().map(|entry| {
            let found = begin.iter().find(|(state, _)| state == entry);
            found.map_or(0.0, |&(_, weight)| weight)
        });
        let mut walker = Walker {
            beginnings: beginnings.collect(),
            plan,
            options,
            grammars,
            links,
            odds: OnceLock::new(),
            rest_odds: OnceLock::new(),
        };
        walker.bury_dead_ends();
        walker.check_alive()?;
        if let Some(motif) = walker.options.phrases.motif.as_ref()
            && !walker.can_play(motif)
        {
            return Err(WalkError::Motif {
                motif: motif.to_string(),
                level: walker.options.level,
            });
        }
        Ok(walker)
    }

    /// Marks entries from which no endless line goes on, until nothing changes.
    fn bury_dead_ends(&mut self) {
        let mut reached: Vec<Arc<Vec<Vec<bool>>>> = Vec::with_capacity(self.links.len());
        for (turn, link) in self.links.iter().enumerate() {
            let same = |other: &usize| Arc::ptr_eq(&self.links[*other].lattice, &link.lattice);
            let known = (0..turn).find(same).map(|other| reached[other].clone());
            reached.push(known.unwrap_or_else(|| Arc::new(link.lattice.reached())));
        }
        let mut changed = true;
        while changed {
            changed = false;
            for turn in 0..self.links.len() {
                let next = self.plan.after(turn);
                for entry in 0..self.links[turn].alive.len() {
                    let exits = reached[turn][entry]
                        .iter()
                        .zip(&self.links[turn].entry_of_exit);
                    let goes_on = |(reached, next_entry): (&bool, &usize)| {
                        *reached && self.links[next].alive[*next_entry]
                    };
                    let alive = exits.into_iter().any(goes_on);
                    changed |= self.links[turn].alive[entry] && !alive;
                    self.links[turn].alive[entry] &= alive;
                }
            }
            // What leads to the one chorus has to lead on in the other as well.
            if let (Some(like), Some(last)) = (self.plan.in_place_of_last(), self.plan.last_turn())
            {
                for entry in 0..self.links[like].alive.len() {
                    let both = self.links[like].alive[entry] && self.links[last].alive[entry];
                    for turn in [like, last] {
                        changed |= self.links[turn].alive[entry] != both;
                        self.links[turn].alive[entry] = both;
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
            true => link.weights().total(entry, exit),
            false => 0.0,
        }
    }

    fn check_alive(&self) -> Result<(), WalkError> {
        let begins = |(entry, &weight): (usize, &f64)| weight > 0.0 && self.links[0].alive[entry];
        if self.beginnings.iter().enumerate().any(begins) {
            return Ok(());
        }
        Err(diagnose(&self.plan, &self.options, &self.grammars))
    }

    /// What follows a chorus of a turn, if the next begins in this entry: the key and the name of its note.
    pub(crate) fn following(&self, turn: usize, entry: usize) -> Option<annotate::Following> {
        let next = &self.links[self.plan.after(turn)];
        let harmony = &next.layout.harmonies[0];
        let sounds = next.layout.slots[0].onset.sound == Sound::Note;
        let key = next.lattice.entries()[entry].key().filter(|_| sounds)?;
        Some(annotate::Following {
            key,
            name: harmony.name(key, None),
        })
    }

    /// The shares of liberties that were asked for, each with the one to be expected where it is farthest off, both of a
    /// hundred places; those that have no place in this chart are left out.
    pub fn shares(&self) -> Vec<(Liberty, u8, f64)> {
        let share = |(number, liberty): (usize, Liberty)| {
            let asked = self.options.shares.of(liberty)?;
            let favours = self.links.iter().filter_map(|link| link.favours.as_ref());
            let found = favours.filter_map(|favours| favours.found[number]);
            let off = |found: &f64| (found - f64::from(asked)).abs();
            let farthest = found.max_by(|one, other| off(one).total_cmp(&off(other)))?;
            Some((liberty, asked, farthest))
        };
        Liberty::ALL
            .into_iter()
            .enumerate()
            .filter_map(share)
            .collect()
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
        self.count_of(self.plan.first_turn())
    }

    /// The same for chorus `number`, from 1.
    pub fn count_in(&self, number: u32) -> BigUint {
        self.count_of(self.plan.turn_of(self.plan.place_of(number)))
    }

    /// Those note sequences of the first chorus, the key that starts at each onset or [`Edge::SILENT`], unless there are
    /// more than `most` that begin with one note.
    pub fn list(&self, most: usize) -> Option<Vec<Vec<u8>>> {
        let lattice = self.all_lines(self.plan.first_turn())?;
        let even: Arc<Along> = Arc::new([1.0; 256]);
        let along: Vec<Arc<Along>> = (0..lattice.onsets()).map(|_| even.clone()).collect();
        let mut lines = Vec::new();
        for (number, entry) in lattice.entries().iter().enumerate() {
            let first = entry.key().unwrap_or(Edge::SILENT);
            let listed = lattice.list(number, &along, most)?.into_iter();
            lines.extend(listed.map(|line| [&[first], &*line.keys].concat()));
        }
        // One line may lead into several roots.
        lines.sort();
        lines.dedup();
        Some(lines)
    }

    /// The logarithm to base 10 of that number; none if there is no line.
    pub fn digits(&self) -> Option<f64> {
        self.all_lines(self.plan.first_turn())?.digits()
    }

    /// The same number of the choruses of a turn, from wherever they may begin.
    pub(crate) fn count_of(&self, turn: usize) -> BigUint {
        let lattice = self.all_lines(turn);
        lattice.map_or(BigUint::ZERO, |lattice| lattice.count_lines())
    }

    /// All lines of a turn, without tastes.
    fn all_lines(&self, turn: usize) -> Option<Lattice> {
        let layout = &self.links[turn].layout;
        let level = self.plan.turns()[turn].development.level;
        let next = &self.links[self.plan.after(turn)].layout;
        let next = layout.before(next, self.grammars.is_timed());
        let skeleton = self.grammars.skeleton(level, None);
        // With its tastes, which remember more, it was not too large.
        Lattice::from_beginnings(&mut open(&skeleton), &onsets(layout), &next).ok()
    }
}

impl Grammars {
    /// Whether onsets tell how long ago the one before was.
    pub fn is_timed(&self) -> bool {
        self.in_time.is_some()
    }
}

/// What a lattice is built over.
struct Way {
    onsets: Vec<Onset>,
    next: Onset,
}

impl Way {
    /// Whether the lattice over another way is the same; what varies along the form does not matter.
    fn is_like(&self, other: &Way) -> bool {
        let like = |a: &Onset, b: &Onset| a.without_form() == b.without_form();
        let mut pairs = self.onsets.iter().zip(&other.onsets);
        self.onsets.len() == other.onsets.len()
            && like(&self.next, &other.next)
            && pairs.all(|(a, b)| like(a, b))
    }
}

impl Lattice {
    /// For each entry, whether each exit can be reached.
    fn reached(&self) -> Vec<Vec<bool>> {
        let mut reached = vec![Vec::new(); self.entries().len()];
        let exits = self.exits().len();
        // As many exits at a time as there are bits.
        for first in (0..exits).step_by(128) {
            let bit = |exit: usize| match exit.checked_sub(first) {
                Some(bit @ ..128) => 1 << bit,
                _ => 0,
            };
            let last = (0..exits).map(bit).collect();
            let sets = self.total(&mut Reaching, self.onsets(), last);
            for (set, reached) in sets.into_iter().zip(&mut reached) {
                let last = exits.min(first + 128);
                reached.extend((first..last).map(|exit| set & bit(exit) != 0));
            }
        }
        reached
    }
}

/// Which exits can be reached, as a set of bits.
struct Reaching;

impl Semiring for Reaching {
    type Item = u128;

    fn zero(&self) -> u128 {
        0
    }

    fn add(&mut self, sum: &mut u128, _: usize, _: &Edge, after: &u128) {
        *sum |= after;
    }
}

/// Whether every rule by itself lets a note stand on a beat of the first chorus, whatever stands around it; not
/// where no note starts.
pub fn admits(plan: &Plan, options: &Options, bar: u32, beat: u32, key: u8) -> bool {
    let Ok(layout) = layout(plan, plan.first_turn(), options) else {
        return false;
    };
    let slot = layout.slots.iter().find(|slot| slot.is_on(bar, beat));
    let first = &plan.turns()[plan.first_turn()];
    let rules = rules(Conditions::of(first.development.level));
    slot.is_some_and(|slot| {
        let sounds = matches!(slot.onset.sound, Sound::Note | Sound::Option);
        sounds && rules.iter().all(|rule| rule.admits(&slot.onset, key))
    })
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
    let next = &plan.turns()[plan.after(turn)];
    let next = arrives_on(&next.chorus, 0, next.development).map(NoteName::chroma);
    let turn = &plan.turns()[turn];
    let mut layout = Layout::new(&turn.chorus, turn.development, options, next);
    for fixed in &turn.fixed {
        fixed.apply(&mut layout)?;
    }
    Ok(layout)
}

pub(crate) fn onsets(layout: &Layout) -> Vec<Onset> {
    layout.slots.iter().map(|slot| slot.onset.clone()).collect()
}
