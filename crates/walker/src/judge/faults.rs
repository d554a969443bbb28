//! Each rule by itself turned on a played line: the notes at which it is broken.

use super::played::{Place, Played};
use crate::rules::{Memory, Rule, Step};

/// The rules that each note breaks, by number.
pub(super) fn of(line: &Played<'_>) -> Vec<Vec<usize>> {
    let mut broken = vec![Vec::new(); line.heard.len()];
    let meant: Vec<Meant> = line.places.iter().map(|place| meant(line, place)).collect();
    for (number, rule) in line.judge.rules.iter().enumerate() {
        let mut listener = Listener {
            line,
            meant: &meant,
            rule: &**rule,
            readings: vec![Reading::default()],
            promise: None,
            faulty: vec![false; line.heard.len()],
        };
        listener.listen();
        let faulty = broken.iter_mut().zip(listener.faulty);
        faulty
            .filter(|(_, is)| *is)
            .for_each(|(rules, _)| rules.push(number));
    }
    broken
}

/// What should sound at a place.
#[derive(Clone, Copy)]
enum Meant {
    /// What was played, as far as one note by itself can tell.
    Played,
    /// Another note: the right one nearest to what was played, if there is one.
    Other(Option<u8>),
}

fn meant(line: &Played<'_>, place: &Place) -> Meant {
    let rules = &line.judge.rules;
    let is_right = |key: &u8| rules.iter().all(|rule| place.admits(&**rule, *key));
    let key = place.note.map(|note| line.heard[note].key);
    if key.map_or(!place.left_out, |key| is_right(&key)) {
        return Meant::Played;
    }
    let right = place.onset.keys.iter().filter(is_right);
    Meant::Other(right.min_by_key(|right| key.map_or(0, |key| key.abs_diff(*right))))
}

/// A promise over more notes than this is not looked into again.
const LOOK_BACK: usize = 64;

/// The most ways in which a line is read at once.
const WAYS: usize = 4;

/// What a rule has made of the line so far.
#[derive(Clone, Copy, Default, PartialEq)]
struct Reading {
    memory: Memory,
    /// The last note that it has read.
    from: Option<u8>,
}

/// A rule that listens to a line. Where the line breaks rules it can be read in more than one way, as if a note
/// had not been played, or another in its place: what one way allows is no further fault.
struct Listener<'a> {
    line: &'a Played<'a>,
    meant: &'a [Meant],
    rule: &'a dyn Rule,
    readings: Vec<Reading>,
    /// The place at which something was promised, and the readings before it.
    promise: Option<(usize, Vec<Reading>)>,
    faulty: Vec<bool>,
}

impl Listener<'_> {
    fn listen(&mut self) {
        let mut at = 0;
        while let Some(place) = self.line.places.get(at) {
            at = match place.note {
                Some(note) => self.hear(at, place, note),
                None => self.wait(at, place),
            };
        }
    }

    /// Reads a note, and gives the place to go on from.
    fn hear(&mut self, at: usize, place: &Place, note: usize) -> usize {
        let key = self.line.heard[note].key;
        let admitted = place.admits(self.rule, key);
        let mut after = self.read_all(place, key);
        if admitted && !after.is_empty() {
            if let Meant::Other(Some(other)) = self.meant[at] {
                after.extend(self.read_all(place, other));
            }
            self.go_on(at, after);
            return at + 1;
        }
        if admitted && self.owes(&self.readings) {
            return self.miss(at, place, Some(key));
        }
        // The last note may come from anywhere, as the first does.
        let is_first = self.readings.iter().all(|reading| reading.from.is_none());
        self.faulty[note] |= !admitted || !(place.ending || is_first);
        let mut after = self.passing(&self.readings, place);
        after.push(self.begin(place, key));
        self.go_on(at, after);
        at + 1
    }

    /// Reads a place at which no note starts.
    fn wait(&mut self, at: usize, place: &Place) -> usize {
        let sounding = place.last.map(|note| self.line.heard[note].key);
        let stays = |reading: &&Reading| {
            let from = sounding;
            self.read(Reading { from, ..**reading }, place, None)
                .is_some()
        };
        if self.readings.iter().any(|reading| stays(&reading)) {
            let staying: Vec<Reading> = self.readings.iter().filter(stays).copied().collect();
            let after = self.passing(&staying, place);
            self.go_on(at, after);
            return at + 1;
        }
        if self.owes(&self.readings) {
            return self.miss(at, place, None);
        }
        if let Some(note) = place.last {
            self.faulty[note] = true;
        }
        at + 1
    }

    fn go_on(&mut self, at: usize, mut after: Vec<Reading>) {
        after.dedup();
        after.truncate(WAYS);
        let before = std::mem::replace(&mut self.readings, after);
        if self.owes(&self.readings) && (self.promise.is_none() || !self.owes(&before)) {
            self.promise = Some((at, before));
        }
    }

    /// Whether something is owed however the line is read.
    fn owes(&self, readings: &[Reading]) -> bool {
        let mut readings = readings.iter();
        readings.all(|reading| self.rule.owes(reading.memory))
    }

    /// A promise is not kept here: the note that made it is at fault, unless what stands here in its place is
    /// wrong itself and some right note would have kept it.
    fn miss(&mut self, at: usize, place: &Place, key: Option<u8>) -> usize {
        if !self.would_keep(at, place)
            && let Some((began, before)) = self.promise.take()
        {
            let promised = &self.line.places[began];
            if let Some(note) = promised.note {
                self.faulty[note] = true;
            }
            if at - began <= LOOK_BACK {
                self.readings = self.passing(&before, promised);
                return began + 1;
            }
        }
        self.promise = None;
        self.readings.clear();
        let afresh = key.map_or(Reading::default(), |key| self.begin(place, key));
        self.go_on(at, vec![afresh]);
        at + 1
    }

    /// Whether a right note would have kept the promise here, where there is none; the end leads home or round
    /// again.
    fn would_keep(&self, at: usize, place: &Place) -> bool {
        let rules = &self.line.judge.rules;
        let is_right = |key: &u8| rules.iter().all(|rule| place.admits(&**rule, *key));
        let is_wrong = matches!(self.meant[at], Meant::Other(_));
        let mut right = place.onset.keys.iter().filter(is_right);
        (is_wrong || place.ending) && right.any(|key| !self.read_all(place, key).is_empty())
    }

    fn read(&self, reading: Reading, place: &Place, to: Option<u8>) -> Option<Memory> {
        let step = Step {
            onset: &place.onset,
            from: reading.from,
            to,
        };
        self.rule.read(reading.memory, &step)
    }

    /// What becomes of the readings by a note.
    fn read_all(&self, place: &Place, key: u8) -> Vec<Reading> {
        let read = |reading: &Reading| {
            let memory = self.read(*reading, place, Some(key))?;
            let from = Some(key);
            Some(Reading { memory, from })
        };
        self.readings.iter().filter_map(read).collect()
    }

    /// What becomes of readings at a place whose note is passed over, or that has none.
    fn passing(&self, readings: &[Reading], place: &Place) -> Vec<Reading> {
        let pass = |reading: &Reading| Reading {
            memory: self.read(*reading, place, None).unwrap_or(reading.memory),
            from: reading.from,
        };
        readings.iter().map(pass).collect()
    }

    /// The reading of a note as if it were the first.
    fn begin(&self, place: &Place, key: u8) -> Reading {
        let memory = self.read(Reading::default(), place, Some(key));
        Reading {
            memory: memory.unwrap_or(0),
            from: Some(key),
        }
    }
}
