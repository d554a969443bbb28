//! Bars of a walked chorus drawn once more, so that they take up others.

use super::{
    Motif,
    figure::{Model, Place, Reading, Strictness, Want, of_motif, readings},
    form::Form,
    likeness::{Likeness, Restated, Theme},
    scheme::{Restatement, Scheme, windows},
};
use crate::{
    lattice::{redraw::Path, sums::choose},
    line::{
        choruses::{Drawn, LISTENED, Purpose},
        walker::{Link, Walker},
    },
};
use rand::Rng;
use std::ops::Range;

/// A chorus whose bars took up others.
#[derive(Clone, Debug)]
pub(crate) struct Phrased {
    /// The key of each of its onsets.
    pub keys: Vec<u8>,
    /// What its bars are found to take up.
    pub phrases: Vec<Restated>,
}

/// How many onsets before and after a motif may be drawn anew with it, so that it is reached and left by some way.
const AROUND: usize = 2;

impl Walker {
    /// The form of a turn.
    fn form(&self, turn: usize) -> &Form {
        let development = self.plan.turns()[turn].development;
        self.links[turn].form(development)
    }

    /// Whether the bars of a chorus (from 0) take up others.
    pub(crate) fn has_phrases(&self, chorus: u64) -> bool {
        chorus < LISTENED && self.turn_has_phrases(self.plan.turn_of(chorus))
    }

    fn turn_has_phrases(&self, turn: usize) -> bool {
        let phrases = &self.options.phrases;
        let level = self.plan.turns()[turn].development.level;
        phrases.motif.is_some() || (phrases.on && Form::has_phrases(level))
    }

    /// The greatest probability of what the phrases of a turn leave as it was walked; 0 if there are none.
    pub(crate) fn odds_of_phrases(&self, turn: usize) -> f64 {
        match (&self.options.phrases.motif, self.turn_has_phrases(turn)) {
            (_, false) => 0.0,
            // A motif may leave little.
            (Some(_), true) => 1.0,
            (None, true) => {
                let link = &self.links[turn];
                let next = &self.links[self.plan.after(turn)].alive;
                let exits = link.entry_of_exit.iter().map(|&entry| next[entry]);
                let exits: Vec<bool> = exits.collect();
                let windows = windows(self.form(turn));
                let weights = link.weights();
                weights.greatest_odds_of_rest(&windows, &link.alive, &exits)
            }
        }
    }

    /// The place of the chorus before the one at a place; none before the first, whether or not there is an intro.
    fn chorus_before(&self, place: u64) -> Option<u64> {
        let before = place.checked_sub(1)?;
        (before >= self.plan.first_turn() as u64).then_some(before)
    }

    /// The scheme of a chorus (from 0).
    fn scheme(&self, seed: u64, chorus: u64) -> Scheme {
        if !self.has_phrases(chorus) || self.options.phrases.motif.is_some() {
            return Scheme::default();
        }
        let form = self.form(self.plan.turn_of(chorus));
        let before = self.chorus_before(chorus);
        let before = before.map(|before| self.form(self.plan.turn_of(before)));
        Scheme::draw(
            form,
            before,
            &mut self.stream(seed, chorus, Purpose::Scheme),
        )
    }

    /// Lets the bars of a walked chorus take up others; `before` has the keys of the chorus before, as walked or as
    /// it came out.
    pub(crate) fn take_up(
        &self,
        (seed, attempt): (u64, u32),
        drawn: &Drawn,
        before: Option<&[u8]>,
    ) -> Phrased {
        let turn = self.plan.turn_of(drawn.chorus);
        let link = &self.links[turn];
        let as_walked = || Phrased {
            keys: drawn.keys.clone(),
            phrases: Vec::new(),
        };
        let scheme = self.scheme(seed, drawn.chorus);
        let motif = self.options.phrases.motif.as_ref();
        if scheme.restatements.is_empty() && motif.is_none() {
            return as_walked();
        }
        let ends = (drawn.entry, link.exit_to(drawn.next));
        let Some(path) = Path::new(link.lattice(), link.along(), ends, drawn.keys.clone()) else {
            return as_walked();
        };
        let mut rng = self.stream(seed, drawn.chorus, Purpose::Phrases(attempt));
        let mut taking = Taking {
            link,
            form: self.form(turn),
            number: self.plan.number_at(drawn.chorus),
            lift: self.plan.turns()[turn].development.lift,
            path,
        };
        let phrases = match motif {
            Some(motif) => taking.state(motif, &mut rng),
            None => {
                let looks_back = scheme.restatements.iter().any(|one| one.of.before);
                let before = before.filter(|_| looks_back);
                let earlier = before.zip(self.chorus_before(drawn.chorus));
                let earlier = earlier.map(|(keys, chorus)| {
                    let turn = self.plan.turn_of(chorus);
                    Earlier {
                        link: &self.links[turn],
                        form: self.form(turn),
                        scheme: self.scheme(seed, chorus),
                        keys,
                    }
                });
                taking.follow(&scheme, earlier.as_ref(), &mut rng)
            }
        };
        Phrased {
            keys: taking.into_keys(),
            phrases,
        }
    }
}

/// The chorus before.
pub(super) struct Earlier<'a> {
    link: &'a Link,
    form: &'a Form,
    scheme: Scheme,
    keys: &'a [u8],
}

impl Earlier<'_> {
    /// Whether these bars are not drawn anew.
    fn keeps(&self, mut bars: Range<usize>) -> bool {
        let redrawn = &self.scheme.redrawn;
        bars.all(|bar| !redrawn.get(bar).copied().unwrap_or(false))
    }
}

/// A chorus whose bars are taking up others.
pub(super) struct Taking<'a> {
    link: &'a Link,
    form: &'a Form,
    /// From 1; 0 is the intro.
    number: u32,
    /// Whether the chorus is to lie higher (above 0) or lower than others.
    lift: i8,
    path: Path<'a>,
}

impl<'a> Taking<'a> {
    /// A chorus that lies as any other; the first.
    #[cfg(test)]
    pub fn new(link: &'a Link, form: &'a Form, path: Path<'a>) -> Taking<'a> {
        Taking {
            link,
            form,
            number: 1,
            lift: 0,
            path,
        }
    }

    /// The key of each of its onsets.
    pub fn into_keys(self) -> Vec<u8> {
        self.path.into_keys()
    }

    /// Follows a scheme, and says what came of it.
    pub fn follow(
        &mut self,
        scheme: &Scheme,
        earlier: Option<&Earlier<'_>>,
        rng: &mut impl Rng,
    ) -> Vec<Restated> {
        let mut phrases = Vec::new();
        for restatement in &scheme.restatements {
            let Restatement { bars, of, .. } = restatement;
            let stays = |earlier: &&Earlier<'_>| earlier.keeps(of.bar..of.bar + bars.len());
            let earlier = earlier.filter(stays).filter(|_| of.before);
            if of.before && earlier.is_none() {
                continue;
            }
            if !self.restate(restatement, earlier, rng) && bars.len() > 1 {
                for number in 0..bars.len() {
                    let mut one = restatement.clone();
                    one.bars = bars.start + number..bars.start + number + 1;
                    one.of.bar += number;
                    self.restate(&one, earlier, rng);
                }
            }
            phrases.extend(self.told(restatement, earlier));
        }
        phrases
    }

    /// Draws bars once more among the ways that follow what they take up, as strictly as there are any; whether there
    /// were.
    fn restate(
        &mut self,
        restatement: &Restatement,
        earlier: Option<&Earlier<'_>>,
        rng: &mut impl Rng,
    ) -> bool {
        let Restatement { bars, of, manner } = restatement;
        let form = earlier.map_or(self.form, |earlier| earlier.form);
        let models = &form.bars[of.bar..of.bar + bars.len()];
        let first = self.form.bars[bars.start].slots.start;
        Strictness::ALL.into_iter().any(|strictness| {
            let model = Model {
                form,
                layout: &earlier.map_or(self.link, |earlier| earlier.link).layout,
                keys: earlier.map_or(self.path.keys(), |earlier| earlier.keys),
                slots: (models[0].slots.start, models[bars.len() - 1].slots.end),
            };
            let place = Place {
                form: self.form,
                layout: &self.link.layout,
                keys: self.path.keys(),
                bars: (bars.start, bars.end),
            };
            let readings = readings(model, place, *manner, strictness);
            self.draw(first, &readings, rng)
        })
    }

    /// Draws a stretch anew by one of the readings, each as likely as all ways through it together.
    fn draw(&mut self, first: usize, readings: &[Reading], rng: &mut impl Rng) -> bool {
        let keys = self.path.keys();
        // The first note of the chorus stays.
        let from = first.max(1);
        let opens = |reading: &&Reading| from == first || reading[0].allows(keys[0], keys[0]);
        let ways = readings.iter().filter(opens).filter_map(|reading| {
            let allows = |slot: usize, from: u8, key: u8| reading[slot - first].allows(from, key);
            self.path.ways(from..first + reading.len(), allows)
        });
        let ways: Vec<_> = ways.collect();
        let Some(unit) = ways.iter().map(|ways| ways.power()).max() else {
            return false;
        };
        // Readings are ordered from low to high.
        let rises = |number: usize| match self.lift {
            0 => 1,
            lift if (lift > 0) == (number + 1 == ways.len()) => 1 + u32::from(lift.unsigned_abs()),
            _ => 1,
        };
        let weight = |number: usize| f64::from(rises(number)) * ways[number].weight(unit);
        let chosen = &ways[choose(ways.len(), weight, rng.next_u64())];
        self.path.take(chosen, rng);
        true
    }

    /// What the notes of some bars have in common with those that they took up.
    fn told(&self, restatement: &Restatement, earlier: Option<&Earlier<'_>>) -> Vec<Restated> {
        let Restatement { bars, of, .. } = restatement;
        let compare = |from: usize, to: usize| -> Option<Restated> {
            let ours = Place {
                form: self.form,
                layout: &self.link.layout,
                keys: self.path.keys(),
                bars: (bars.start + from, bars.start + to),
            };
            let theirs = Place {
                form: earlier.map_or(self.form, |earlier| earlier.form),
                layout: &earlier.map_or(self.link, |earlier| earlier.link).layout,
                keys: earlier.map_or(self.path.keys(), |earlier| earlier.keys),
                bars: (of.bar + from, of.bar + to),
            };
            let (likeness, until_it_leads) = ours.likeness(theirs)?;
            let counted = |from: usize, to: usize| from as u32 + 1..=to as u32;
            Some(Restated {
                chorus: self.number,
                bars: counted(bars.start + from, bars.start + to),
                of: Theme::Bars {
                    chorus: self.number - u32::from(earlier.is_some()),
                    bars: counted(of.bar + from, of.bar + to),
                },
                likeness,
                until_it_leads,
            })
        };
        match compare(0, bars.len()) {
            Some(phrase) => vec![phrase],
            None if bars.len() == 1 => Vec::new(),
            None => (0..bars.len())
                .filter_map(|bar| compare(bar, bar + 1))
                .collect(),
        }
    }

    /// Plays a motif once in each phrase, or twice, where there is a way.
    fn state(&mut self, motif: &Motif, rng: &mut impl Rng) -> Vec<Restated> {
        let form = self.form;
        let (mut phrases, mut free) = (Vec::new(), 0);
        for phrase in &form.phrases {
            let mut wanted = 1 + (rng.next_u32() >> 31);
            for bar in phrase.clone() {
                let Some(slots) = self.stretch_of(motif, bar, free).filter(|_| wanted > 0) else {
                    continue;
                };
                if let Some(end) = self.state_in(motif, (bar, slots), free, rng) {
                    free = end;
                    wanted -= 1;
                    let last = form.bars.partition_point(|other| other.slots.end < end);
                    phrases.push(Restated {
                        chorus: self.number,
                        bars: bar as u32 + 1..=last as u32 + 1,
                        of: Theme::Motif(motif.to_string()),
                        likeness: Likeness::Moved(0),
                        until_it_leads: false,
                    });
                }
            }
        }
        phrases
    }

    /// The bars that a motif takes from a bar on, if they are free from this onset on: the one after the last.
    fn stretch_of(&self, motif: &Motif, bar: usize, free: usize) -> Option<usize> {
        let bars = &self.form.bars;
        let end = last_bar_of(motif, self.link, bar)?;
        let sounds = bars[bar..end].iter().all(|bar| bar.sounds);
        (sounds && bars[bar].slots.start >= free).then_some(end)
    }

    /// Plays a motif from a bar on, where the line is free from an onset on; where the motif ends.
    fn state_in(
        &mut self,
        motif: &Motif,
        (bar, end): (usize, usize),
        free: usize,
        rng: &mut impl Rng,
    ) -> Option<usize> {
        let place = Place {
            form: self.form,
            layout: &self.link.layout,
            keys: self.path.keys(),
            bars: (bar, end),
        };
        let readings = of_motif(motif, place);
        let first = self.form.bars[bar].slots.start;
        let last = first + readings.first()?.len();
        let before = (first - free).min(AROUND);
        let after = (self.path.keys().len() - last).min(AROUND);
        let around = |reading: Reading| -> Reading {
            let any = |count: usize| std::iter::repeat_n(Want::Any, count);
            any(before).chain(reading).chain(any(after)).collect()
        };
        let readings: Vec<Reading> = readings.into_iter().map(around).collect();
        self.draw(first - before, &readings, rng).then_some(last)
    }
}

/// The bar after the last of those in which a motif sounds that begins with a bar; none beyond the chorus.
pub(super) fn last_bar_of(motif: &Motif, link: &Link, bar: usize) -> Option<usize> {
    let mut left = motif.length();
    let bars = link.layout.bars[bar..].iter();
    let mut lengths = bars.map(|bar| i64::from(bar.meter.beats()) * super::motif::PARTS);
    let last = lengths.position(|length| {
        left -= length;
        left <= 0
    });
    last.map(|last| bar + last + 1)
}
