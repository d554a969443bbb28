//! Deliberate devices that break a rule with reason: they are described, not punished (common practice, no
//! source).

use super::played::Played;
use endpin_theory::Ticks;
use std::fmt;

/// A device that explains notes against the rules.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Device {
    /// The tonic or the dominant of the key, held or repeated under changing chords.
    Pedal,
    /// The coming root, struck early and kept.
    Anticipation,
    /// A figure taken up again on other steps.
    Sequence,
}

impl Device {
    /// Its name in every output.
    pub fn name(&self) -> &'static str {
        match self {
            Device::Pedal => "pedal",
            Device::Anticipation => "anticipation",
            Device::Sequence => "sequence",
        }
    }

    /// What it is, for a student.
    pub fn words(&self) -> &'static str {
        match self {
            Device::Pedal => "a pedal: one note of the key kept while the chords move over it",
            Device::Anticipation => "an anticipation: the coming root, struck early and kept",
            Device::Sequence => "a sequence: the same figure taken up again on another step",
        }
    }
}

impl fmt::Display for Device {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// The device that explains each note which breaks a rule, if any; rules are given by number.
pub(super) fn find(line: &Played<'_>, broken: &[Vec<usize>]) -> Vec<Option<Device>> {
    let pedal = pedals(line);
    let find = |(note, rules): (usize, &Vec<usize>)| {
        let found = [
            (Device::Pedal, pedal[note]),
            (Device::Anticipation, anticipates(line, note)),
            (Device::Sequence, in_sequence(line, note)),
        ];
        let excuses = |device: &Device| {
            let mut rules = rules.iter().map(|&rule| &line.judge.rules[rule]);
            rules.all(|rule| rule.is_excused_by(device))
        };
        let mut found = found
            .into_iter()
            .filter(|(device, is)| *is && excuses(device));
        found.next().map(|(device, _)| device)
    };
    let notes = broken.iter().enumerate();
    notes
        .map(|(note, rules)| match rules.is_empty() {
            true => None,
            false => find((note, rules)),
        })
        .collect()
}

/// Notes of stretches in which one chroma, the tonic or the dominant of the key, lasts through three chords
/// and at least two bars.
fn pedals(line: &Played<'_>) -> Vec<bool> {
    let chorus = &line.judge.chorus;
    let tonic = chorus.key.tonic.chroma();
    let dominant = (tonic + 7) % 12;
    let mut found = vec![false; line.heard.len()];
    let mut begin = 0;
    while begin < line.heard.len() {
        let chroma = line.heard[begin].key % 12;
        let count = (begin..line.heard.len())
            .take_while(|&note| line.heard[note].key % 12 == chroma)
            .count();
        let end = begin + count;
        let mut spans: Vec<_> = (begin..end)
            .filter_map(|note| Some((line.heard[note].chorus, line.stands[note].span?)))
            .collect();
        spans.dedup();
        let under: usize = (begin..end)
            .map(|note| line.under(note).filter(|place| place.onset.arrival).count())
            .sum();
        let last = &line.heard[end - 1];
        let length = line.stands[end - 1].time + last.length - line.stands[begin].time;
        let bar = chorus.bars[0].meter.bar_ticks();
        let long = length.0 * 10 >= bar.0 * 19;
        if spans.len() + under >= 3 && long && (chroma == tonic || chroma == dominant) {
            found[begin..end].fill(true);
        }
        begin = end;
    }
    found
}

/// Whether a note is the coming root, struck at most a beat early and held over its arrival, or struck
/// between the beats and taken up again there.
fn anticipates(line: &Played<'_>, note: usize) -> bool {
    let stand = &line.stands[note];
    let key = line.heard[note].key;
    let mut stressed = line.under(note).filter(|place| place.onset.stressed);
    let held = stressed
        .next()
        .is_some_and(|place| place.onset.arrival && place.onset.is_bass(key));
    let end = stand.time + line.heard[note].length;
    let taken_up = line.stands.get(note + 1).is_some_and(|next| {
        let close = next.time - stand.time < stand.beat_length && next.time <= end + Ticks(1);
        let arrives = line.place(note + 1).onset.arrival;
        arrives && !stand.on_beat() && close && line.heard[note + 1].key % 12 == key % 12
    });
    held || taken_up
}

/// Notes in a figure.
const FIGURE: [usize; 3] = [4, 3, 6];

/// Whether a note stands in a figure of three notes or more that came just before on other steps with the
/// same moves in the same rhythm, or comes again just after.
fn in_sequence(line: &Played<'_>, note: usize) -> bool {
    FIGURE.into_iter().any(|size| {
        let starts = note.saturating_sub(size - 1)..=note;
        starts
            .into_iter()
            .any(|start| is_figure(line, start, size) && repeats(line, start, size))
    })
}

/// A figure moves, and lies within chords.
fn is_figure(line: &Played<'_>, start: usize, size: usize) -> bool {
    let Some(stands) = line.stands.get(start..start + size) else {
        return false;
    };
    let mut keys: Vec<u8> = line.heard[start..start + size]
        .iter()
        .map(|note| note.key)
        .collect();
    keys.sort_unstable();
    keys.dedup();
    stands.iter().all(|stand| stand.span.is_some()) && keys.len() >= 3
}

fn repeats(line: &Played<'_>, start: usize, size: usize) -> bool {
    let copies = |other: usize| {
        if other + size > line.heard.len() {
            return false;
        }
        let moved = line.key(other) - line.key(start);
        let later = line.stands[other].time - line.stands[start].time;
        moved != 0
            && (0..size).all(|note| {
                line.key(other + note) - line.key(start + note) == moved
                    && line.stands[other + note].time - line.stands[start + note].time == later
            })
    };
    let before = start.checked_sub(size).is_some_and(copies);
    before || copies(start + size)
}
