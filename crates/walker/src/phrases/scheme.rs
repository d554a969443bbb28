//! The scheme of a chorus: which bars take up which, and how, drawn before any note.
//!
//! It is drawn from the seed and the number of the chorus, phrase by phrase, and looks at the form alone. Numbers in
//! this file are whole-number weights, chosen so that bars come back about as often as with players
//! (`tests/outside/players_recur.py`; beat tracks of the Weimar Jazz Database, Jazzomat project, Open Database
//! Licence 1.0); which phrase does what is common practice, no source.

use super::form::{Form, FormBar, Relation};
use crate::lattice::rest::Window;
use rand::Rng;
use std::ops::Range;

/// How a bar takes up another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Manner {
    /// The same notes.
    Again,
    /// The same degrees, over its own chords.
    Degrees,
    /// The same moves up and down, by steps and skips.
    Shape,
    /// The same moves the other way round: an answer.
    Mirror,
    /// Its own notes in the same rhythm.
    Rhythm,
}

/// What is taken up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Source {
    /// Whether it is the chorus before.
    pub before: bool,
    /// The first bar, from 0.
    pub bar: usize,
}

/// Bars that take up others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Restatement {
    /// From 0.
    pub bars: Range<usize>,
    pub of: Source,
    pub manner: Manner,
}

/// What a phrase does.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Deed {
    /// It goes its own way: states something, or lets go.
    Free,
    /// Its second bar takes up its first.
    Second,
    /// Its third bar takes up its first.
    Third,
    /// Its second half takes up its first.
    Half,
    /// It opens as the phrase before.
    Opening,
    /// It opens as the last phrase that opened over the same chords.
    Refrain,
    /// A bar is that of the chorus before.
    Bar,
    /// Two bars are those of the chorus before.
    Bars,
}

const DEEDS: [(Deed, u32); 8] = [
    (Deed::Free, 26),
    (Deed::Second, 8),
    (Deed::Third, 8),
    (Deed::Half, 8),
    (Deed::Opening, 8),
    (Deed::Refrain, 6),
    (Deed::Bar, 32),
    (Deed::Bars, 18),
];

/// By how much more the last phrase of a chorus lets go.
const LAST_IS_FREE: u32 = 2;

/// Of so many bars, and of what is left at the end, a third at most takes up others.
const WINDOW: usize = 12;

/// The manners in which a bar may take up another, by how their chords stand.
const fn manners(relation: Relation, before: bool) -> &'static [(Manner, u32)] {
    use Manner::{Again, Degrees, Mirror, Rhythm, Shape};
    match (relation, before) {
        (Relation::Same, true) => &[(Again, 1)],
        (Relation::Same, false) => &[(Again, 4), (Shape, 2), (Mirror, 1), (Rhythm, 1)],
        (Relation::Moved, true) => &[(Degrees, 1)],
        (Relation::Moved, false) => &[(Degrees, 4), (Shape, 3), (Mirror, 1), (Rhythm, 1)],
        (Relation::Other, true) => &[(Shape, 1)],
        (Relation::Other, false) => &[(Degrees, 2), (Shape, 4), (Mirror, 1), (Rhythm, 1)],
    }
}

/// Chooses among things by their weights and a random number.
fn choose<T: Copy>(among: &[(T, u32)], random: u32) -> Option<T> {
    let total: u64 = among.iter().map(|&(_, weight)| u64::from(weight)).sum();
    let mut left = (u64::from(random) * total) >> 32;
    let found = among.iter().find(|&&(_, weight)| {
        let here = left < u64::from(weight);
        left = left.saturating_sub(u64::from(weight));
        here
    });
    found.map(|&(one, _)| one)
}

/// The scheme of one chorus.
#[derive(Clone, Debug, Default)]
pub(crate) struct Scheme {
    /// In the order of their bars.
    pub restatements: Vec<Restatement>,
    /// For each bar whether it may be drawn anew.
    pub redrawn: Vec<bool>,
}

impl Scheme {
    /// Draws the scheme of a chorus; `before` is the form of the chorus before, if there is one.
    pub fn draw(form: &Form, before: Option<&Form>, rng: &mut impl Rng) -> Scheme {
        let mut scheme = Scheme {
            restatements: Vec::new(),
            redrawn: vec![false; form.bars.len()],
        };
        for number in 0..form.phrases.len() {
            let last = number + 1 == form.phrases.len();
            let weight = |deed: Deed, weight: u32| match deed {
                Deed::Free if last => weight * LAST_IS_FREE,
                _ => weight,
            };
            let deeds = DEEDS.map(|(deed, own)| (deed, weight(deed, own)));
            // As many random numbers whatever comes of it, so that a phrase does not hang on those before it.
            let Some(deed) = choose(&deeds, rng.next_u32()) else {
                continue;
            };
            let (place, manner) = (rng.next_u32(), rng.next_u32());
            let Some((bars, of)) = scheme.place(form, number, deed, place) else {
                continue;
            };
            scheme.add(form, before, (bars, of), manner);
        }
        scheme
    }

    /// The bars that a phrase redraws by its deed, and what they take up.
    fn place(
        &self,
        form: &Form,
        number: usize,
        deed: Deed,
        random: u32,
    ) -> Option<(Range<usize>, Source)> {
        let phrase = form.phrases[number].clone();
        let at = phrase.start;
        let within = |bar: usize| Source { before: false, bar };
        let opening = |earlier: &Range<usize>| {
            let bars = phrase.len().min(earlier.len()).min(2);
            // One bar or two.
            let bars = bars.min(1 + (random & 1) as usize);
            (at..at + bars, within(earlier.start))
        };
        let long = |bars: usize| phrase.len() >= bars;
        match deed {
            Deed::Free => None,
            Deed::Second => long(2).then(|| (at + 1..at + 2, within(at))),
            Deed::Third => long(3).then(|| (at + 2..at + 3, within(at))),
            Deed::Half => long(4).then(|| (at + 2..at + 4, within(at))),
            Deed::Opening => Some(opening(form.phrases[..number].last()?)),
            Deed::Refrain => {
                let same = |earlier: &&Range<usize>| {
                    let (one, other) = (&form.bars[at], &form.bars[earlier.start]);
                    one.lies_as(other) && one.relation(other) == Relation::Same
                };
                Some(opening(form.phrases[..number].iter().rev().find(same)?))
            }
            Deed::Bar | Deed::Bars => {
                let bars = if deed == Deed::Bar { 1 } else { 2 };
                let places = (phrase.len() + 1).checked_sub(bars).filter(|&n| n > 0)?;
                let bar = at + ((u64::from(random) * places as u64) >> 32) as usize;
                Some((bar..bar + bars, Source { before: true, bar }))
            }
        }
    }

    /// Adds a restatement, if its bars lie as those that they take up, these stay as they are, and not too much is
    /// taken up already.
    fn add(
        &mut self,
        form: &Form,
        before: Option<&Form>,
        (bars, of): (Range<usize>, Source),
        random: u32,
    ) {
        let Some(source) = (if of.before { before } else { Some(form) }) else {
            return;
        };
        let mut pairs = bars.clone().zip(of.bar..);
        let lie = |(bar, model): (usize, usize)| {
            let stays = of.before || !self.redrawn[model];
            let model = source.bars.get(model);
            stays && model.is_some_and(|model| form.bars[bar].lies_as(model))
        };
        if !pairs.all(lie) || !self.has_room(bars.clone()) {
            return;
        }
        let relation = relation(&form.bars[bars.clone()], &source.bars[of.bar..]);
        let skips = form.bars[bars.start].has_options;
        let manners = manners(relation, of.before).iter().copied();
        let manners: Vec<(Manner, u32)> = manners
            .filter(|&(manner, _)| manner != Manner::Rhythm || skips)
            .collect();
        if let Some(manner) = choose(&manners, random) {
            self.redrawn[bars.clone()].fill(true);
            self.restatements.push(Restatement { bars, of, manner });
        }
    }

    /// Whether so many bars may still be drawn anew.
    fn has_room(&self, bars: Range<usize>) -> bool {
        let all = self.redrawn.len();
        let mut windows = bars.clone().map(|bar| bar / WINDOW);
        windows.all(|window| {
            let window = window * WINDOW..all.min((window + 1) * WINDOW);
            let taken = self.redrawn[window.clone()].iter();
            let more = bars.clone().filter(|bar| window.contains(bar)).count();
            taken.filter(|&&redrawn| redrawn).count() + more <= most_redrawn(window.len())
        })
    }
}

/// The bars of a form by windows, with how many of each may be drawn anew.
pub(crate) fn windows(form: &Form) -> Vec<Window> {
    let windows = form.bars.chunks(WINDOW).map(|bars| Window {
        stretches: bars.iter().map(|bar| bar.slots.clone()).collect(),
        most: most_redrawn(bars.len()),
    });
    windows.collect()
}

/// How many of so many bars are drawn anew at most.
fn most_redrawn(bars: usize) -> usize {
    bars.div_ceil(3).min(WINDOW / 3)
}

/// How the chords of all bars stand to those of others.
fn relation(bars: &[FormBar], others: &[FormBar]) -> Relation {
    let by = |pair: &(&FormBar, &FormBar)| pair.0.root_above(pair.1);
    let pairs: Vec<(&FormBar, &FormBar)> = bars.iter().zip(others).collect();
    let together = pairs.iter().all(|pair| by(pair) == by(&pairs[0]));
    let relations = pairs.iter().map(|(bar, other)| bar.relation(other));
    relations.fold(Relation::Same, |all, one| match (all, one) {
        (Relation::Same, Relation::Same) => Relation::Same,
        (Relation::Other, _) | (_, Relation::Other) => Relation::Other,
        _ if together => Relation::Moved,
        _ => Relation::Other,
    })
}
