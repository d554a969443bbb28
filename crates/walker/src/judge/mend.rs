//! What would mend a broken note: the line nearest to what was played that keeps the rules.
//!
//! From a chord before the note to a chord after it, every note is left as it was or changed at a price:
//! as few as possible change, and those near the broken one. The cheapest line of the lattice of that stretch
//! is the mend. Notes that are broken elsewhere, or explained by a device, are taken as right.

use super::{
    Verdict,
    played::{Place, Played},
    words,
};
use crate::{
    lattice::{Costs, Skeleton},
    rules::{Chromas, Keys, Leads, Onset, Sound, Vocabulary, Within},
};
use endpin_theory::Pitch;

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

/// The most notes of a take that get a mend: nobody reads more.
const MOST: usize = 100;

/// Notes so near to a broken one that they may change with it.
const NEAR: usize = 3;

/// Onsets on either side beyond which nothing is looked at.
const FAR: usize = 256;

/// The most notes that a mend changes: a student who has to change more of a bar needs another bar.
const MOST_CHANGES: u32 = 3;

/// The price of changing a note, more than that of any distance.
const CHANGE: u32 = 1 << 16;

/// Mends broken notes that no device explains, in order; a mended note is good for the ones after it.
pub(super) fn all(line: &Played<'_>, verdicts: &mut [Verdict]) {
    let faulty = (0..verdicts.len()).filter(|&note| !verdicts[note].stands());
    let faulty: Vec<usize> = faulty.take(MOST).collect();
    let mut mended = line.heard.to_vec();
    let right = verdicts.iter().map(|verdict| verdict.broken.is_empty());
    let mut right: Vec<bool> = right.collect();
    let skeleton = Skeleton::new(line.judge.rules.clone(), Vec::new());
    for note in faulty {
        let stretch = Stretch {
            line: line.with(&mended),
            right: &right,
            note,
        };
        let is_mended = mended[note].key != line.heard[note].key;
        let changes = match is_mended {
            true => vec![(note, mended[note].key)],
            false => {
                let between_chords = stretch.cheapest(&skeleton, Reach::BetweenChords);
                let changes = between_chords.or_else(|| stretch.cheapest(&skeleton, Reach::Beside));
                changes.unwrap_or_default()
            }
        };
        for &(changed, key) in &changes {
            mended[changed].key = key;
            right[changed] = true;
        }
        let (Some(first), Some(last)) = (changes.first(), changes.last()) else {
            continue;
        };
        // Names follow from those of the notes after.
        let notes = first.0..(last.0 + 4).min(mended.len());
        let read = words::verdicts(&line.with(&mended), notes, |_| (Vec::new(), None));
        let others = changes.iter().filter(|change| change.0 != note);
        verdicts[note].mend = Some(Mend {
            pitch: read[note - first.0].pitch,
            why: read[note - first.0].why.clone(),
            others: others
                .map(|&(other, _)| (other, read[other - first.0].pitch))
                .collect(),
        });
    }
}

/// What a mend looks at.
#[derive(Clone, Copy, PartialEq)]
enum Reach {
    /// From a chord to a chord, with a few notes that may change.
    BetweenChords,
    /// The notes beside the broken one alone, whether broken themselves or not, all of which may change: where
    /// too much around them is broken to be kept.
    Beside,
}

/// What is near enough to a broken note for the rules to know of it.
struct Stretch<'a> {
    line: Played<'a>,
    /// Notes that break no rule, or are mended.
    right: &'a [bool],
    note: usize,
}

impl Stretch<'_> {
    /// The notes that change, with their keys, in the line that costs least.
    fn cheapest(&self, skeleton: &Skeleton, reach: Reach) -> Option<Vec<(usize, u8)>> {
        let places = &self.line.places;
        let (start, end) = self.ends(reach);
        let onset = |place: &Place| self.onset(place, reach);
        let silence = Onset {
            sound: Sound::Rest,
            ..Onset::default()
        };
        let stretch = places[start..end].iter().map(onset);
        let mut onsets: Vec<Onset> = [silence.clone()].into_iter().chain(stretch).collect();
        let next = match places.get(end).filter(|_| reach == Reach::BetweenChords) {
            Some(place) if place.ending => {
                let (last, next) = self.way_home(place, &onsets[end - start]);
                onsets[end - start] = last;
                next
            }
            Some(place) => onset(place),
            None => silence,
        };
        let prices = Prices {
            stretch: self,
            // Before the first place is silence.
            places: &places[start..end],
            broken: self.line.stands[self.note].place + 1 - start,
        };
        let keys = skeleton.nearest(&onsets, &next, &prices)?;
        let played = places[start..end].iter().zip(&keys[1..]);
        let played = played.filter_map(|(place, &key)| Some((place.note?, key)));
        let moved = |&(note, key): &(usize, u8)| key != self.line.heard[note].key;
        Some(played.filter(moved).collect())
    }

    /// The first place of the stretch, and the one after its last.
    fn ends(&self, reach: Reach) -> (usize, usize) {
        let (places, stands) = (&self.line.places, &self.line.stands);
        let at = stands[self.note].place;
        if reach == Reach::Beside {
            let first = stands[self.note.saturating_sub(NEAR)].place;
            let on_beat = |place: &usize| {
                let place = &places[*place];
                place.note.is_some() && place.onset.within == Within::Beat
            };
            let first = (0..=first).rev().find(on_beat).unwrap_or(first);
            let last = stands.get(self.note + NEAR + 1);
            return (first, last.map_or(places.len(), |stand| stand.place));
        }
        // Two notes beyond those that may change may answer them.
        let away = |&place: &usize| {
            let last = places[place].last.unwrap_or(0);
            places[place].onset.arrival && last.abs_diff(self.note) > NEAR + 2
        };
        let first = at.saturating_sub(FAR);
        let last = places.len().min(at + FAR);
        let start = (first..at).rev().find(away);
        (
            start.unwrap_or(first),
            (at + 1..last).find(away).unwrap_or(last),
        )
    }

    /// What a place asks for: of the broken note another key, of those beside it any nearby, of others the one
    /// that was played, which counts as right even where it is not.
    fn onset(&self, place: &Place, reach: Reach) -> Onset {
        let onset = place.onset.clone();
        let Some(note) = place.note else { return onset };
        let key = self.line.heard[note].key;
        let is_free = self.right[note] || reach == Reach::Beside;
        let beside = note.abs_diff(self.note) <= NEAR || reach == Reach::Beside;
        let keys = match is_free && beside {
            _ if note == self.note => onset.keys.retain(|other| other != key),
            true if self.right[note] => onset.keys.retain(|other| other.abs_diff(key) <= 7),
            true => onset.keys,
            false => Keys::between(key, key),
        };
        if is_free || note == self.note {
            return Onset { keys, ..onset };
        }
        Onset {
            keys,
            tones: Chromas::ALL,
            scale: Chromas::ALL,
            bass: key % 12,
            vocabulary: Vocabulary::Scale,
            leads: Leads::Nowhere,
            no_triple: false,
            ..onset
        }
    }

    /// The last onset before the ending and the one that it leads into: home in any octave, unless it leads
    /// round again.
    fn way_home(&self, ending: &Place, last: &Onset) -> (Onset, Onset) {
        let keys = ending.onset.keys;
        let again = ending.or.as_ref().filter(|again| {
            let mut rules = self.line.judge.rules.iter();
            let mut led = last.keys.iter();
            last.keys.len() == 1
                && last.coming == Some(again.bass)
                && led.any(|key| rules.all(|rule| rule.admits(last, key)))
        });
        match again {
            Some(again) => (last.clone(), again.clone()),
            None => {
                let coming = last.coming.map(|_| ending.onset.bass);
                let home = ending.onset.clone();
                (
                    Onset {
                        coming,
                        ..last.clone()
                    },
                    Onset { keys, ..home },
                )
            }
        }
    }
}

/// What it costs to play other keys at the places of a stretch, after the silence before them.
struct Prices<'a> {
    stretch: &'a Stretch<'a>,
    places: &'a [Place],
    /// The onset of the broken note.
    broken: usize,
}

impl Prices<'_> {
    /// The number of the note at an onset.
    fn note_at(&self, onset: usize) -> Option<usize> {
        self.places.get(onset.checked_sub(1)?)?.note
    }
}

impl Costs for Prices<'_> {
    fn note(&self, onset: usize, key: u8) -> u32 {
        let Some(note) = self.note_at(onset) else {
            return 0;
        };
        let away = note.abs_diff(self.stretch.note) as u32;
        match u32::from(key.abs_diff(self.stretch.line.heard[note].key)) {
            0 => 0,
            moved => CHANGE + away * 128 + moved,
        }
    }

    /// The broken note is still to change.
    fn rest(&self, onset: usize) -> u32 {
        match onset < self.broken {
            true => CHANGE + 1,
            false => 0,
        }
    }

    fn most(&self) -> u32 {
        MOST_CHANGES * (CHANGE + NEAR as u32 * 128 + 127)
    }
}
