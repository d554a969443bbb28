//! Devices that move by step, or from root to fifth.

use crate::judge::played::Played;

/// The move into a note, in semitones, if it is a step.
fn step_into(line: &Played<'_>, note: usize) -> Option<i16> {
    if note == 0 || note >= line.heard.len() {
        return None;
    }
    let moved = line.key(note) - line.key(note - 1);
    matches!(moved.abs(), 1 | 2).then_some(moved)
}

/// Whether a note spells its chord, or is in its scale.
fn belongs(line: &Played<'_>, note: usize) -> bool {
    line.harmony(note).is_some() && line.place(note).onset.connects(line.heard[note].key)
}

/// Whether the chord arrives on one of its tones, reached by step, or a note of the chord before leads into that
/// arrival.
pub(super) fn inverts(line: &Played<'_>, note: usize) -> bool {
    let arrives = |note: usize| {
        let onset = &line.place(note).onset;
        let by_step = step_into(line, note).is_some();
        by_step && onset.arrival && onset.tones.contains(line.heard[note].key)
    };
    let leads = note + 1 < line.heard.len() && !line.place(note).onset.arrival;
    arrives(note) || (leads && arrives(note + 1))
}

/// Whether the bass falls by a step from the arrival of one chord to that of the next, over one root, from tone to
/// tone.
pub(super) fn descends(line: &Played<'_>, note: usize) -> bool {
    let onset = &line.place(note).onset;
    let here = (line.heard[note].chorus, line.stands[note].span);
    let before = (0..note)
        .rev()
        .take(line.heard.len().min(32))
        .find(|&other| line.place(other).onset.arrival);
    let Some(before) = before.filter(|_| onset.arrival) else {
        return false;
    };
    let there = (line.heard[before].chorus, line.stands[before].span);
    let next_span = there.0 == here.0 && there.1.zip(here.1).is_some_and(|(a, b)| a + 1 == b);
    let fell = line.key(before) - line.key(note);
    let tones = |note: usize| {
        let onset = &line.place(note).onset;
        onset.tones.contains(line.heard[note].key)
    };
    let one_root = line.place(before).onset.root == onset.root;
    next_span && one_root && matches!(fell, 1 | 2) && tones(note) && tones(before)
}

/// Whether a chord arrives on its fifth in a half note, and its root comes in the second half.
pub(super) fn fifth_first(line: &Played<'_>, note: usize) -> bool {
    let onset = &line.place(note).onset;
    let half = line.stands[note].beat_length.0 * 2;
    let is_fifth = onset.fifth != onset.root && line.heard[note].key % 12 == onset.fifth;
    let then = line.heard.get(note + 1).is_some_and(|next| {
        let same = line.stands[note + 1].span == line.stands[note].span;
        let later = (line.stands[note + 1].time - line.stands[note].time).0;
        same && later == half && next.key % 12 == onset.root
    });
    onset.arrival && is_fifth && then
}

/// Whether a note on a medium beat stands between two steps the same way: one of the scale, or any between two
/// semitones. The note may be struck twice.
pub(super) fn passes(line: &Played<'_>, note: usize) -> bool {
    let key = line.key(note);
    let again = |other: &usize| line.key(*other) == key;
    let first = (0..note).rev().take(1).find(again).unwrap_or(note);
    let last = (note + 1..line.heard.len())
        .take(1)
        .find(again)
        .unwrap_or(note);
    let arrives = (first..=last).any(|note| line.place(note).onset.arrival);
    let steps = step_into(line, first).zip(step_into(line, last + 1));
    let passes = steps.is_some_and(|(into, on)| match into == on && into.abs() == 1 {
        true => belongs(line, first - 1) || belongs(line, last + 1),
        false => into.signum() == on.signum() && belongs(line, note),
    });
    last - first < 2 && !arrives && passes
}

/// Notes that make a walk.
const WALK: usize = 4;

/// Whether a note stands in a run of steps one way, through chord and scale, that begins on a root.
pub(super) fn walks(line: &Played<'_>, note: usize) -> bool {
    [1, -1].into_iter().any(|way| {
        let goes = |note: &usize| {
            step_into(line, *note).is_some_and(|step| step.signum() == way) && belongs(line, *note)
        };
        let back = (1..=note).rev().take_while(goes).count();
        let first = note - back;
        let on = (note + 1..line.heard.len()).take_while(goes).count();
        let onset = &line.place(first).onset;
        let is_root = line.harmony(first).is_some() && onset.is_bass(line.heard[first].key);
        back + on + 1 >= WALK && is_root
    })
}
