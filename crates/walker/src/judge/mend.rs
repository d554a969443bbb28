//! What would mend a broken note: a line of the exact sampler through all the good notes around it.
//!
//! The stretch from the chord before to the chord after is laid out for the walker, every good note pinned.
//! If no line goes through with the broken note alone set free, notes next to it are, one and then two,
//! nearest first, and at last the other broken ones too; so few notes are changed.

use super::{Heard, Line, Verdict, part, rules, words};
use crate::{
    grammar::{Grammar, State},
    lattice::Lattice,
    layout::{Layout, Slot, Stage},
    options::{Level, Options},
    place::{Keys, Place, Sound},
    sums::{Sums, choose},
    tastes::tastes,
    walker,
};
use endpin_theory::{Feel, Pitch, Ticks};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::ops::Range;

/// A way to mend a note.
#[derive(Clone, Debug, PartialEq)]
pub struct Mend {
    /// The note to play in its place.
    pub pitch: Pitch,
    /// What that note would be, in words for a student.
    pub why: String,
    /// Other notes that have to change with it: their number in the line and what to play.
    pub others: Vec<(usize, Pitch)>,
}

/// Notes that are set free besides the broken one, by their distance from it.
const FREED: [&[isize]; 12] = [
    &[],
    &[1],
    &[-1],
    &[-1, 1],
    &[2],
    &[-2],
    &[1, 2],
    &[-2, -1],
    &[-1, 1, 2],
    &[-2, -1, 1],
    &[-2, -1, 1, 2],
    &[-3, -2, -1, 1, 2, 3],
];

/// The most notes of a take that get a mend: nobody reads more.
const MOST: usize = 100;

/// Mends every broken note that no device explains, in order; a mended note is good for the ones after it.
pub(super) fn all(line: &Line<'_>, verdicts: &mut [Verdict]) {
    let broken = (0..verdicts.len()).filter(|&note| !verdicts[note].stands());
    let broken: Vec<usize> = broken.collect();
    if broken.is_empty() {
        return;
    }
    let mut free: Vec<bool> = vec![false; verdicts.len()];
    broken.iter().for_each(|&note| free[note] = true);
    let mut mender = Mender::new(line, free);
    for note in broken.into_iter().take(MOST) {
        if verdicts[note].mend.is_some() {
            continue;
        }
        let Some(changes) = mender.mend(line, note) else {
            continue;
        };
        for &(changed, key) in &changes {
            mender.keys[changed] = key;
            mender.free[changed] = false;
        }
        let around = mender.around(note);
        let heard = mender.heard(line, &around);
        let mended = local(line, &heard, &around);
        let read =
            |changed: usize| part::verdict(&mended, changed - around.start, Vec::new(), None);
        let moved = |&&(changed, key): &&(usize, u8)| key != line.heard[changed].key;
        for &(changed, _) in changes
            .iter()
            .filter(|change| change.0 == note || moved(change))
        {
            let verdict = read(changed);
            let others = changes.iter().filter(moved).map(|change| change.0);
            let others = others.filter(|&other| other != changed);
            let pitch = |other| (other, read(other).pitch);
            let mend = Mend {
                pitch: verdict.pitch,
                why: words::why(&mended, changed - around.start, &verdict),
                others: others.map(pitch).collect(),
            };
            if !verdicts[changed].broken.is_empty() {
                verdicts[changed].mend = Some(mend);
            }
        }
    }
}

struct Mender {
    slots: Vec<Slot>,
    grammar: Grammar,
    /// Keys of the line as mended so far.
    keys: Vec<u8>,
    /// Notes that are still broken.
    free: Vec<bool>,
    range: (u8, u8),
}

impl Mender {
    fn new(line: &Line<'_>, free: Vec<bool>) -> Mender {
        let options = Options {
            level: Level::PAIRS,
            range: line.range,
            ..Options::default()
        };
        let stage = Stage {
            level: options.level,
            feel: is_in_two(line).then_some(Feel::Two),
            busy: 0,
            lift: 0,
            loose: false,
        };
        let next = line.ground.sounding(0).map(|first| first.bass());
        let layout = Layout::new(&line.ground.chorus, stage, &options, next);
        Mender {
            slots: layout.slots,
            grammar: Grammar::new(
                walker::rules(stage, None),
                tastes(&options.weights, options.level),
            ),
            keys: line.heard.iter().map(|note| note.key).collect(),
            free,
            range: line.range,
        }
    }

    /// Notes so near that the rules know of one another.
    fn around(&self, note: usize) -> Range<usize> {
        note.saturating_sub(16)..(note + 17).min(self.keys.len())
    }

    /// A part of the line as mended so far.
    fn heard(&self, line: &Line<'_>, around: &Range<usize>) -> Vec<Heard> {
        let notes = line.heard[around.clone()].iter();
        notes
            .zip(&self.keys[around.clone()])
            .map(|(note, &key)| Heard { key, ..*note })
            .collect()
    }

    /// New keys for a broken note and for those that have to change with it, if a line goes through.
    fn mend(&self, line: &Line<'_>, note: usize) -> Option<Vec<(usize, u8)>> {
        let stand = &line.stands[note];
        if stand.ending {
            return self.mend_ending(line, note);
        }
        if self.stands_by_now(line, note) {
            return Some(vec![(note, self.keys[note])]);
        }
        let window = Window::around(self, line, note)?;
        // With the other broken notes as they are, if a line goes through, else with them free.
        let attempts = [false, true]
            .into_iter()
            .flat_map(|all_broken| FREED.iter().map(move |beside| (all_broken, beside)));
        attempts.into_iter().find_map(|(all_broken, beside)| {
            let freed: Vec<usize> = beside
                .iter()
                .filter_map(|&step| note.checked_add_signed(step))
                .filter(|&other| other < self.keys.len())
                .chain([note])
                .collect();
            let changes = window.draw(self, &freed, all_broken, note as u64)?;
            self.is_better(line, note, &changes).then_some(changes)
        })
    }

    /// The ending has one right chroma: its key nearest to the note before.
    fn mend_ending(&self, line: &Line<'_>, note: usize) -> Option<Vec<(usize, u8)>> {
        let home = line.ground.home.chroma();
        let from = note
            .checked_sub(1)
            .map_or(self.keys[note], |before| self.keys[before]);
        let key = (self.range.0..=self.range.1)
            .filter(|key| key % 12 == home)
            .min_by_key(|key| key.abs_diff(from))?;
        line.stands[note].arrival.then(|| vec![(note, key)])
    }

    /// Whether what was mended before has mended this note too.
    fn stands_by_now(&self, line: &Line<'_>, note: usize) -> bool {
        self.is_better(line, note, &[])
    }

    /// Whether by the judge's own rules the note is mended and no other note broken.
    fn is_better(&self, line: &Line<'_>, note: usize, changes: &[(usize, u8)]) -> bool {
        let around = self.around(note);
        let mut heard = self.heard(line, &around);
        let before = rules::broken(&local(line, &heard, &around));
        for &(changed, key) in changes {
            heard[changed - around.start].key = key;
        }
        let after = rules::broken(&local(line, &heard, &around));
        let worse =
            |(before, after): (&Vec<_>, &Vec<_>)| after.iter().any(|rule| !before.contains(rule));
        after[note - around.start].is_empty() && !before.iter().zip(&after).any(worse)
    }
}

/// A part of a line with other keys.
fn local<'a>(line: &'a Line<'_>, heard: &'a [Heard], around: &Range<usize>) -> Line<'a> {
    Line {
        ground: line.ground,
        range: line.range,
        hand: line.hand,
        heard,
        stands: line.stands[around.clone()].to_vec(),
        choruses: line.choruses,
    }
}

/// Whether the line moves in half notes: most of its notes last more than a beat and a half.
fn is_in_two(line: &Line<'_>) -> bool {
    let long = |pair: &&[super::ground::Stand]| {
        let [now, next] = pair else { return false };
        (next.time - now.time).0 * 2 > now.beat_length.0 * 3
    };
    let pairs = line.stands.windows(2);
    pairs.clone().filter(long).count() * 2 > pairs.len()
}

/// The places from the chord before a note to the chord after.
struct Window<'a> {
    slots: &'a [Slot],
    /// The place after the last.
    next: &'a Place,
    /// For each place, and the one after, the note that starts there.
    notes: Vec<Option<usize>>,
}

impl<'a> Window<'a> {
    fn around(mender: &'a Mender, line: &Line<'_>, note: usize) -> Option<Window<'a>> {
        let all = &mender.slots;
        let stand = &line.stands[note];
        let turn = i64::from(stand.chorus) - 1;
        let start = stand.time - line.ground.chorus.length() * turn;
        let at = all.iter().position(|slot| slot.start == start)?;
        let sounds = |slot: &Slot| slot.place.sound != Sound::Rest;
        let arrival = |&index: &usize| all[index].place.arrival && sounds(&all[index]);
        let before = (0..=at).rev().filter(arrival).take(2).last()?;
        let silent = (before..=at).rev().find(|&index| !sounds(&all[index]));
        let from = silent.map_or(before, |silent| silent + 1);
        // Long spans are cut: the state of the rules is known a bar away.
        let from = from.max(at.saturating_sub(12));
        let from = (from..=at)
            .find(|&index| all[index].place.stressed)
            .unwrap_or(from);
        let after = (at + 1..all.len()).find(|index| arrival(index) || !sounds(&all[*index]));
        let to = after.unwrap_or(all.len()).min(at + 12);
        let next = &all.get(to).unwrap_or(&all[0]).place;
        let time = |index: usize| {
            let into = match all.get(index) {
                Some(slot) => slot.start,
                None => line.ground.chorus.length(),
            };
            line.ground.chorus.length() * turn + into
        };
        let notes = (from..=to)
            .map(|index| note_at(line, time(index)))
            .collect();
        Some(Window {
            slots: &all[from..to],
            next,
            notes,
        })
    }

    /// A line through the window with every note pinned but those set free, and `all_broken` ones if so
    /// wished.
    fn draw(
        &self,
        mender: &Mender,
        freed: &[usize],
        all_broken: bool,
        seed: u64,
    ) -> Option<Vec<(usize, u8)>> {
        let is_free = |note: usize| freed.contains(&note) || (all_broken && mender.free[note]);
        let place = |place: &Place, note: Option<usize>| match note {
            Some(note) if !is_free(note) => {
                let key = mender.keys[note];
                let keys = Keys::between(key, key);
                Place {
                    sound: Sound::Note,
                    keys,
                    ..place.clone()
                }
            }
            Some(_) => Place {
                sound: Sound::Note,
                ..place.clone()
            },
            None => place.clone(),
        };
        let places: Vec<Place> = self
            .slots
            .iter()
            .zip(&self.notes)
            .map(|(slot, &note)| place(&slot.place, note))
            .collect();
        let next = place(self.next, self.notes[self.slots.len()]);
        let entries: Vec<(State, f64)> = walker::beginnings(&mender.grammar, &places[0]);
        let states = entries.iter().map(|&(state, _)| state).collect();
        let lattice = Lattice::build(&mender.grammar, &places, states, &next);
        let exits = lattice.exits().len();
        let sums = Sums::new(&lattice);
        let ways: Vec<(usize, usize)> = (0..entries.len() * exits)
            .map(|way| (way / exits, way % exits))
            .filter(|&(entry, exit)| sums.total(entry, exit) > 0.0)
            .collect();
        if ways.is_empty() {
            return None;
        }
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let weight = |way: usize| {
            let (entry, exit) = ways[way];
            entries[entry].1 * sums.total(entry, exit)
        };
        let (entry, exit) = ways[choose(ways.len(), weight, rng.next_u64())];
        let mut keys = vec![lattice.entries()[entry].key()?];
        sums.draw(&lattice, entry, exit, &mut rng, &mut keys);
        keys.push(lattice.exits()[exit].key()?);
        let changed = self
            .notes
            .iter()
            .zip(keys)
            .filter_map(|(note, key)| Some(((*note)?, key)));
        let changes: Vec<(usize, u8)> = changed.filter(|&(note, _)| is_free(note)).collect();
        Some(changes)
    }
}

/// The note that starts at a time.
fn note_at(line: &Line<'_>, time: Ticks) -> Option<usize> {
    let at = line.stands.partition_point(|stand| stand.time < time);
    line.stands
        .get(at)
        .filter(|stand| stand.time == time)
        .map(|_| at)
}
