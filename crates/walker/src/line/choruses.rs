//! The choruses of a seed in their order: roots to start on, notes between them, and no chorus twice.
//!
//! Every chorus has random numbers of its own, named by the seed and its number: one for the root on which it
//! starts, a stream for its notes. The starting roots form a chain, each drawn with the
//! exact total weight of all choruses that lead to it; a chorus is then drawn given both its ends, so it
//! comes out the same alone, among others, and on any machine.

use super::{
    ChorusLine, LineNote, annotate,
    apart::Apart,
    walker::{Link, WalkError, Walker},
};
use crate::{
    lattice::{Drawing, Edge, sums::choose},
    phrases::{Phrased, Restated},
    rules::Sound,
};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::ops::Range;

/// Choruses whose bars may take up others: the first ones. So many blues take five hours and more, and beyond that
/// a set is no longer listened to in one go.
pub(crate) const LISTENED: u64 = 1000;

/// Odds of a repeat between two choruses up to which lines are said to abound: 2^-36, one in 7e10. A thousand
/// choruses then hold a repeat with odds below 8e-6.
const ABOUNDING: f64 = 1.0 / (1u64 << 36) as f64;

/// Draws of one chorus before its lines are looked through one by one.
const ATTEMPTS: u32 = 64;

/// The most lines that are looked through one by one.
const MOST_LISTED: usize = 50_000;

/// Choruses from which on all cores are used.
const MANY: u64 = 64;

/// Choruses from which on they are drawn side by side: tables for that cost as much as some thousands.
const ABREAST: u64 = 4096;

/// Choruses up to which a set is simply made in order, which costs less than to find out whether lines abound.
const FEW: u64 = 64;

/// Choruses drawn side by side at a time.
const BATCH: usize = 128;

/// Which stream of the seed a draw reads from.
#[derive(Clone, Copy)]
pub(crate) enum Purpose {
    /// Its notes, at the n-th attempt.
    Notes(u32),
    /// Its scheme of phrases.
    Scheme,
    /// The notes of bars that take up others, at the n-th attempt.
    Phrases(u32),
    /// Another version of some of its bars, by number and attempt.
    Version(u32, u32),
}

/// A drawn chorus, not yet named.
#[derive(Clone, Debug)]
pub(crate) struct Drawn {
    /// Its place in the order of playing, from 0.
    pub chorus: u64,
    /// The entry on which it begins.
    pub entry: usize,
    /// The entry on which the next begins.
    pub next: usize,
    /// The key of each of its onsets.
    pub keys: Vec<u8>,
    /// What its bars take up.
    pub phrases: Vec<Restated>,
}

impl Drawn {
    /// A chorus as it is walked between two entries, its bars taking up nothing yet.
    fn walked(chorus: u64, (entry, next): (usize, usize), keys: Vec<u8>) -> Drawn {
        Drawn {
            chorus,
            entry,
            next,
            keys,
            phrases: Vec::new(),
        }
    }
}

impl Walker {
    /// The chorus `number` (from 1; 0 is the intro, if the plan has one) of the line with this seed.
    ///
    /// It is the same whether made alone or among others. Choruses of one seed differ from each other for
    /// as long as there are different ones; see [`Walker::distinct`] for a set that must.
    pub fn line(&self, seed: u64, number: u32) -> ChorusLine {
        self.name(&self.drawn(seed, number))
    }

    /// `count` choruses of the line with this seed, from chorus `from` (from 1) on.
    pub fn lines(&self, seed: u64, from: u32, count: u32) -> Vec<ChorusLine> {
        self.name_all(&self.draw(seed, from, count))
    }

    /// The same, any two of all choruses up to the last of them differing in what sounds on at least
    /// `apart` beats (1: any difference will do).
    ///
    /// With `apart` above 1 the set is made in order, each chorus redrawn until it differs enough from
    /// all before it; the difference is checked, not likely.
    ///
    /// # Errors
    /// More choruses than exist, with their exact number, or than could be found so far apart.
    pub fn distinct(
        &self,
        seed: u64,
        from: u32,
        count: u32,
        apart: u32,
    ) -> Result<Vec<ChorusLine>, WalkError> {
        let first = self.plan.place_of(from);
        let end = first + u64::from(count);
        if apart <= 1 && end > FEW && self.lines_abound() {
            return Ok(self.lines(seed, from, count));
        }
        let mut set = Apart::new(apart.max(1));
        let mut drawn = self.in_order(seed, end, &mut set);
        if (drawn.len() as u64) < end {
            let turns = 0..self.links.len();
            let asked = |turn| (0..end).filter(move |&chorus| self.plan.turn_of(chorus) == turn);
            for (turn, asked) in turns.map(|turn| (turn, asked(turn).count() as u64)) {
                let exist = self.count_of(turn);
                if exist < asked.into() {
                    return Err(WalkError::TooFew { asked, exist });
                }
            }
            let exist = self.count();
            return Err(WalkError::Exhausted {
                made: drawn.len() as u64,
                apart: apart.max(1),
                exist,
            });
        }
        drawn.drain(..first as usize);
        Ok(self.name_all(&drawn))
    }

    /// The notes of many choruses as MIDI keys alone, one an onset of the chorus and [`Edge::SILENT`] where
    /// none starts: what [`Walker::lines`] names and explains.
    pub fn keys(&self, seed: u64, from: u32, count: u32) -> Vec<Vec<u8>> {
        let drawn = self.draw(seed, from, count).into_iter();
        drawn.map(|drawn| drawn.keys).collect()
    }

    /// A bound on the odds that two given choruses of a seed are equal: the greatest sum of squared
    /// probabilities between any two ends. Where bars take up others and what stays as it was walked does not tell
    /// choruses apart so well, the first thousand are held against each other; of the others the bound is that of a walked
    /// chorus against one of those. Among *n* choruses a repeat has odds below *n*²/2 times this.
    pub fn repeat_odds(&self) -> f64 {
        *self.odds.get_or_init(|| {
            let equals = self.turns_again();
            let equals = equals.map(|turn| self.links[turn].weights().greatest_odds_of_equals());
            let equals = equals.fold(0.0, f64::max);
            // By the inequality of Cauchy and Schwarz.
            equals.max((equals * self.rest_odds()).sqrt())
        })
    }

    /// The turns that come again: an intro and a last chorus are played once.
    fn turns_again(&self) -> Range<usize> {
        self.plan.first_turn()..self.plan.endless()
    }

    /// A bound on the odds that choruses whose bars take up others are equal; 0 if there are none.
    fn rest_odds(&self) -> f64 {
        let odds = self.turns_again().map(|turn| self.odds_of_phrases(turn));
        *self.rest_odds.get_or_init(|| odds.fold(0.0, f64::max))
    }

    /// Whether lines are so many that no repeat is to be expected (see [`Walker::repeat_odds`]): choruses
    /// are then drawn without regard to each other. Otherwise they are made in order, and a repeat is
    /// redrawn from its next stream.
    pub fn lines_abound(&self) -> bool {
        self.repeat_odds() < ABOUNDING
    }

    /// Draws choruses by number; it never fails, and repeats itself when there is nothing new.
    fn draw(&self, seed: u64, from: u32, count: u32) -> Vec<Drawn> {
        let first = self.plan.place_of(from);
        let end = first + u64::from(count);
        if end <= FEW || !self.lines_abound() {
            let mut drawn = self.in_order(seed, end, &mut Apart::new(1));
            let mut entry = drawn
                .last()
                .map_or_else(|| self.begin(seed), |last| last.next);
            for chorus in drawn.len() as u64..end {
                let next = self.next_entry(chorus, entry, self.start(seed, chorus + 1));
                let keys = self.draw_keys(seed, chorus, entry, next);
                drawn.push(Drawn::walked(chorus, (entry, next), keys));
                entry = next;
            }
            drawn.drain(..first as usize);
            return drawn;
        }
        if first < LISTENED && self.rest_odds() >= ABOUNDING {
            let near = end.min(LISTENED);
            let mut drawn = self.independent(seed, 0, near);
            let mut set = Apart::new(1);
            let differs = |drawn: &Drawn| {
                let link = &self.links[self.plan.turn_of(drawn.chorus)];
                set.take(link.beats(&drawn.keys))
            };
            if !drawn.iter().all(differs) {
                drawn = self.in_order(seed, near, &mut Apart::new(1));
            }
            drawn.drain(..drawn.len().min(first as usize));
            if end > LISTENED {
                drawn.extend(self.independent(seed, LISTENED, end));
            }
            return drawn;
        }
        self.independent(seed, first, end)
    }

    /// Draws choruses from one number (from 0) to before another without regard to each other's notes, but for bars
    /// that they take up.
    fn independent(&self, seed: u64, first: u64, end: u64) -> Vec<Drawn> {
        let mut starting = starting(seed, 1);
        let mut starts = vec![self.begin(seed)];
        for chorus in 0..end {
            let random = starting.next_u64();
            starts.push(self.next_entry(chorus, starts[chorus as usize], random));
        }
        // What its bars take up may lie in the chorus before.
        let with_before = first.saturating_sub(u64::from(self.has_phrases(first)));
        let mut drawn: Vec<Drawn> = (with_before..end)
            .map(|chorus| {
                let ends = (starts[chorus as usize], starts[chorus as usize + 1]);
                Drawn::walked(chorus, ends, Vec::new())
            })
            .collect();
        let draw = |drawn: &mut Drawn| {
            drawn.keys = self.draw_keys(seed, drawn.chorus, drawn.entry, drawn.next);
        };
        match end - first {
            ABREAST.. => drawn
                .par_chunks_mut(BATCH)
                .for_each(|batch| self.draw_abreast(seed, batch)),
            MANY.. => drawn.par_iter_mut().for_each(draw),
            _ => drawn.iter_mut().for_each(draw),
        }
        self.all_take_up(seed, drawn, (first - with_before) as usize)
    }

    /// Lets the bars of walked choruses, from the `first` of them on, take up others.
    fn all_take_up(&self, seed: u64, walked: Vec<Drawn>, first: usize) -> Vec<Drawn> {
        if !walked.iter().any(|drawn| self.has_phrases(drawn.chorus)) {
            return walked;
        }
        let take_up = |number: usize| {
            let before = number.checked_sub(1).map(|before| &*walked[before].keys);
            self.phrased((seed, 0), walked[number].clone(), before)
        };
        let numbers = first..walked.len();
        match numbers.len() as u64 {
            MANY.. => numbers.into_par_iter().map(take_up).collect(),
            _ => numbers.map(take_up).collect(),
        }
    }

    /// A walked chorus with its bars taking up others, if they do.
    fn phrased(&self, seed: (u64, u32), walked: Drawn, before: Option<&[u8]>) -> Drawn {
        if !self.has_phrases(walked.chorus) {
            return walked;
        }
        let Phrased { keys, phrases } = self.take_up(seed, &walked, before);
        Drawn {
            keys,
            phrases,
            ..walked
        }
    }

    /// Draws the keys of choruses side by side, a turn at a time: the same as one by one.
    fn draw_abreast(&self, seed: u64, batch: &mut [Drawn]) {
        for (turn, link) in self.links.iter().enumerate() {
            let of_turn = batch
                .iter_mut()
                .filter(|drawn| self.plan.turn_of(drawn.chorus) == turn);
            let Some(tables) = link.tables() else {
                of_turn.for_each(|drawn| {
                    drawn.keys = self.draw_keys(seed, drawn.chorus, drawn.entry, drawn.next);
                });
                continue;
            };
            let mut drawings: Vec<Drawing<'_>> = of_turn
                .map(|drawn| {
                    drawn.keys = vec![link.first_key(drawn.entry); link.lattice().onsets()];
                    Drawing {
                        entry: drawn.entry,
                        exit: link.exit_to(drawn.next),
                        rng: self.stream(seed, drawn.chorus, Purpose::Notes(0)),
                        keys: &mut drawn.keys,
                    }
                })
                .collect();
            tables.draw(link.weights(), &mut drawings);
        }
    }

    /// Draws the choruses from the first to `end` in order, each far enough from those before it; fewer
    /// if there are no more.
    fn in_order(&self, seed: u64, end: u64, set: &mut Apart) -> Vec<Drawn> {
        let mut drawn: Vec<Drawn> = Vec::new();
        let mut entry = self.begin(seed);
        for chorus in 0..end {
            let planned = self.next_entry(chorus, entry, self.start(seed, chorus + 1));
            let turn = self.plan.turn_of(chorus);
            let link = &self.links[turn];
            let alive = &self.links[self.plan.after(turn)].alive;
            let notes = |attempt| self.stream(seed, chorus, Purpose::Notes(attempt));
            let exit = link.exit_to(planned);
            let before = drawn.last().map(|before| &*before.keys);
            let found = (0..ATTEMPTS).find_map(|attempt| {
                let keys = link.draw(entry, exit, &mut notes(attempt));
                let walked = Drawn::walked(chorus, (entry, planned), keys);
                let drawn = self.phrased((seed, attempt), walked, before);
                set.take(link.beats(&drawn.keys)).then_some(drawn)
            });
            let found = found.or_else(|| {
                let goes_on = |exit: usize| alive[link.entry_of_exit[exit]];
                let chosen = link.choose_unused(entry, goes_on, set, &mut notes(u32::MAX))?;
                let ends = (entry, link.entry_of_exit[chosen.0]);
                Some(Drawn::walked(chorus, ends, chosen.1))
            });
            let Some(found) = found else { break };
            entry = found.next;
            drawn.push(found);
        }
        drawn
    }

    /// One chorus, drawn.
    pub(crate) fn drawn(&self, seed: u64, number: u32) -> Drawn {
        let mut drawn = self.draw(seed, number, 1);
        // `draw` gives as many as are asked for.
        drawn.swap_remove(0)
    }

    /// A stream of random numbers.
    pub(crate) fn stream(&self, seed: u64, chorus: u64, purpose: Purpose) -> ChaCha8Rng {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let (kind, attempt) = match purpose {
            Purpose::Scheme => (0, u32::MAX),
            Purpose::Phrases(attempt) => (0, attempt),
            Purpose::Notes(attempt) => (1, attempt),
            Purpose::Version(version, attempt) => (2 + u64::from(version), attempt),
        };
        // Attempts are few; the last one stands for choosing from a list.
        rng.set_stream(chorus << 24 | (kind & 0xffff) << 8 | u64::from(attempt & 0xff));
        rng
    }

    /// The entry on which the first chorus begins.
    fn begin(&self, seed: u64) -> usize {
        let first = self.plan.turn_of(0);
        let weight = |entry: usize| match self.links[first].alive[entry] {
            true => self.beginnings[entry] * self.onward(first, entry),
            false => 0.0,
        };
        choose(self.beginnings.len(), weight, self.start(seed, 0))
    }

    /// The random number that chooses the entry on which a chorus (from 0) begins.
    fn start(&self, seed: u64, chorus: u64) -> u64 {
        starting(seed, chorus).next_u64()
    }

    /// The entry on which the chorus after `chorus` (from 0) begins, if that one begins on `entry`.
    fn next_entry(&self, chorus: u64, entry: usize, random: u64) -> usize {
        let turn = self.plan.turn_of(chorus);
        let entries = &self.links[turn].entry_of_exit;
        let weight = |exit: usize| self.weight(turn, entry, exit);
        entries[choose(entries.len(), weight, random)]
    }

    /// Draws the keys of a chorus (from 0) between two entries, one for each of its onsets.
    fn draw_keys(&self, seed: u64, chorus: u64, entry: usize, next: usize) -> Vec<u8> {
        let link = &self.links[self.plan.turn_of(chorus)];
        let mut rng = self.stream(seed, chorus, Purpose::Notes(0));
        link.draw(entry, link.exit_to(next), &mut rng)
    }

    fn name_all(&self, drawn: &[Drawn]) -> Vec<ChorusLine> {
        match drawn.len() as u64 {
            MANY.. => drawn.par_iter().map(|drawn| self.name(drawn)).collect(),
            _ => drawn.iter().map(|drawn| self.name(drawn)).collect(),
        }
    }

    pub(crate) fn name(&self, drawn: &Drawn) -> ChorusLine {
        let turn = self.plan.turn_of(drawn.chorus);
        let named = annotate::chorus(
            self.plan.number_at(drawn.chorus),
            &self.links[turn].layout,
            self.plan.turns()[turn].development,
            &drawn.keys,
            self.following(turn, drawn.next),
        );
        ChorusLine {
            phrases: drawn.phrases.clone(),
            ..named
        }
    }

    /// The note on which the line ends after its chorus `last`: the root of the home key, held for a bar.
    pub fn ending(&self, seed: u64, last: &ChorusLine) -> LineNote {
        let drawn = self.draw(seed, last.chorus, 1);
        let turn = self.plan.turn_of(self.plan.place_of(last.chorus));
        let following = drawn
            .first()
            .and_then(|drawn| self.following(turn, drawn.next));
        annotate::ending(
            &self.plan.turns()[turn].chorus,
            last,
            following,
            &self.options,
        )
    }
}

/// The random numbers that choose the entries on which choruses begin, from this chorus (from 0) on: a stream
/// of the seed apart from those of notes, in which each chorus has its own number.
fn starting(seed: u64, chorus: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(u64::MAX);
    rng.set_word_pos(2 * u128::from(chorus));
    rng
}

impl Link {
    /// The exit that is this entry of the next turn; the entry must have been drawn among the exits.
    pub(crate) fn exit_to(&self, entry: usize) -> usize {
        let exit = self.entry_of_exit.iter().position(|&next| next == entry);
        exit.unwrap_or(0)
    }

    /// The key of the first onset of a chorus that begins on an entry.
    pub(crate) fn first_key(&self, entry: usize) -> u8 {
        let key = self.lattice().entries()[entry].key();
        let sounds = self.layout.slots[0].onset.sound == Sound::Note;
        key.filter(|_| sounds).unwrap_or(Edge::SILENT)
    }

    /// Draws the keys of a chorus between an entry and an exit, one for each of its onsets.
    fn draw(&self, entry: usize, exit: usize, rng: &mut ChaCha8Rng) -> Vec<u8> {
        let mut keys = Vec::with_capacity(self.lattice().onsets());
        keys.push(self.first_key(entry));
        self.weights().draw(entry, exit, rng, &mut keys);
        keys
    }

    /// Draws from one stream after the other until a chorus is far enough from the set, and adds it.
    pub(crate) fn draw_apart(
        &self,
        entry: usize,
        exit: usize,
        set: &mut Apart,
        stream: impl Fn(u32) -> ChaCha8Rng,
    ) -> Option<Vec<u8>> {
        (0..ATTEMPTS).find_map(|attempt| {
            let keys = self.draw(entry, exit, &mut stream(attempt));
            set.take(self.beats(&keys)).then_some(keys)
        })
    }

    /// Chooses among all lines from an entry that are far enough from the set, and adds it, if there are
    /// not too many to look through; gives its exit as well.
    pub(crate) fn choose_unused(
        &self,
        entry: usize,
        goes_on: impl Fn(usize) -> bool,
        set: &mut Apart,
        rng: &mut ChaCha8Rng,
    ) -> Option<(usize, Vec<u8>)> {
        let mut lines = self.list(entry, MOST_LISTED)?;
        let first = self.first_key(entry);
        lines.retain_mut(|line| {
            line.keys.insert(0, first);
            goes_on(line.exit) && set.admits(&self.beats(&line.keys))
        });
        if lines.is_empty() {
            return None;
        }
        let line = &lines[choose(lines.len(), |line| lines[line].weight, rng.next_u64())];
        set.take(self.beats(&line.keys));
        Some((line.exit, line.keys.clone()))
    }

    /// What sounds on each beat of a chorus, as a number: equal numbers, equal beats.
    pub(crate) fn beats(&self, keys: &[u8]) -> Vec<u64> {
        let slots = &self.layout.slots;
        let beats = slots.last().map_or(0, |slot| slot.beat + 1);
        let mut sounding = vec![0u64; beats];
        for (slot, &key) in slots.iter().zip(keys) {
            let event = match (key, slot.onset.sound) {
                (Edge::SILENT, Sound::Rest) => 0xff,
                (Edge::SILENT, _) => continue,
                (key, _) => u64::from(key) + 1,
            };
            let within = slot.onset.within as u64 + 1;
            sounding[slot.beat] = sounding[slot.beat] << 16 | within << 8 | event;
        }
        sounding
    }
}
