//! Devices that lead into a chord in another way than by one step of the last beat.

use crate::judge::played::Played;

/// Whether a chord arrives with a note, on its bass.
fn is_met(line: &Played<'_>, note: usize) -> bool {
    let is_met = |key: u8| {
        let onset = &line.place(note).onset;
        onset.arrival && onset.is_bass(key)
    };
    line.heard.get(note).is_some_and(|heard| is_met(heard.key))
}

/// Whether the last note before a chord is a half step from its root but for the octave.
pub(super) fn leads_from_another_octave(line: &Played<'_>, note: usize) -> bool {
    is_met(line, note + 1)
        && !line.place(note).onset.stressed
        && matches!((line.key(note + 1) - line.key(note)).rem_euclid(12), 1 | 11)
}

/// Whether a note and the next, the last before a chord that is met by its root, are the fifth and the root of the
/// dominant a half step above it.
pub(super) fn spells_dominant(line: &Played<'_>, note: usize) -> bool {
    if !is_met(line, note + 2) || line.place(note + 1).onset.arrival {
        return false;
    }
    let above = |note: usize, root: u8| (line.heard[note].key + 12 - root) % 12;
    let root = line.heard[note + 2].key % 12;
    (above(note, root), above(note + 1, root)) == (8, 1)
}

/// Notes that make a run of half steps.
const RUN: usize = 5;

/// Whether a note stands in a run of half steps one way that begins and ends on chord tones.
pub(super) fn runs_by_half_steps(line: &Played<'_>, note: usize) -> bool {
    let belongs = |note: usize| line.place(note).onset.tones.contains(line.heard[note].key);
    [1, -1].into_iter().any(|way| {
        let goes = |note: &usize| line.key(*note) - line.key(note - 1) == way;
        let first = note - (1..=note).rev().take_while(goes).count();
        let last = note + (note + 1..line.heard.len()).take_while(goes).count();
        let begins = (first..=note).find(|&note| belongs(note));
        let ends = (note..=last).rev().find(|&note| belongs(note));
        let long = |(begin, end): (usize, usize)| end - begin + 1 >= RUN;
        begins.zip(ends).is_some_and(long)
    })
}
