//! The line problem of the reference values (`line-problem.md`), stated through the public interface of rules.

use endpin_walker::{
    lattice::{Lattice, Skeleton},
    rules::{Chromas, Keys, Memory, Onset, Rule, Step},
};
use std::sync::Arc;

/// Rules 1 and 2 of the problem, and the pitches of rule 3 that need no other note.
#[derive(Debug)]
struct Harmony;

impl Rule for Harmony {
    fn name(&self) -> &'static str {
        "harmony"
    }

    fn words(&self) -> &'static str {
        "Roots on arrivals, chord tones on beats 1 and 3; else a chord tone, a scale note, or a semitone \
         from a root that follows."
    }

    fn memory_bits(&self) -> u32 {
        1
    }

    /// Remembers whether the last note has yet to resolve into a root a semitone away.
    fn read(&self, owes: Memory, step: &Step<'_>) -> Option<Memory> {
        let (onset, to) = (step.onset, step.to?);
        if owes == 1 && (step.distance()?.abs() != 1 || to % 12 != onset.root) {
            return None;
        }
        match (onset.arrival, onset.stressed) {
            (true, _) => (to % 12 == onset.root).then_some(0),
            (_, true) => onset.tones.contains(to).then_some(0),
            _ => Some((!onset.tones.contains(to) && !onset.scale.contains(to)).into()),
        }
    }
}

/// Rule 4: the last beat before each chord is one or two semitones from its root, or its dominant.
#[derive(Debug)]
struct Leading;

impl Rule for Leading {
    fn name(&self) -> &'static str {
        "leading"
    }

    fn words(&self) -> &'static str {
        "Approach each chord by step or from its dominant."
    }

    fn read(&self, _: Memory, step: &Step<'_>) -> Option<Memory> {
        match step.distance() {
            Some(distance) if step.onset.arrival => {
                matches!(distance, 1 | -1 | 2 | -2 | -7 | 5).then_some(0)
            }
            _ => Some(0),
        }
    }
}

/// Rule 5: successive notes differ, by at most 7 semitones or exactly 12.
#[derive(Debug)]
struct Reach;

impl Rule for Reach {
    fn name(&self) -> &'static str {
        "reach"
    }

    fn words(&self) -> &'static str {
        "No repeats, nothing between a fifth and an octave."
    }

    fn widest_move(&self) -> u8 {
        12
    }

    fn read(&self, _: Memory, step: &Step<'_>) -> Option<Memory> {
        let Some(distance) = step.distance() else {
            return Some(0);
        };
        matches!(distance.abs(), 1..=7 | 12).then_some(0)
    }
}

/// The onsets of the problem: 48 beats.
pub fn onsets() -> Vec<Onset> {
    const DOMINANT: ([u8; 4], [u8; 7]) = ([0, 4, 7, 10], [0, 2, 4, 5, 7, 9, 10]);
    const MINOR: ([u8; 4], [u8; 7]) = ([0, 3, 7, 10], [0, 2, 3, 5, 7, 9, 10]);
    const FLAT_NINE: ([u8; 4], [u8; 8]) = ([0, 4, 7, 10], [0, 1, 3, 4, 6, 7, 9, 10]);
    const DIMINISHED: ([u8; 4], [u8; 8]) = ([0, 3, 6, 9], [0, 2, 3, 5, 6, 8, 9, 11]);
    let chord = |root: u8, (tones, scale): (&[u8], &[u8]), beats: usize| {
        let above = |notes: &[u8]| {
            notes
                .iter()
                .map(|note| (root + note) % 12)
                .collect::<Chromas>()
        };
        let (tones, scale) = (above(tones), above(scale));
        (0..beats).map(move |beat| Onset {
            keys: Keys::between(28, 55),
            tones,
            scale,
            root,
            arrival: beat == 0,
            stressed: beat % 2 == 0,
            ..Onset::default()
        })
    };
    let dominant = (&DOMINANT.0[..], &DOMINANT.1[..]);
    let minor = (&MINOR.0[..], &MINOR.1[..]);
    let flat_nine = (&FLAT_NINE.0[..], &FLAT_NINE.1[..]);
    let diminished = (&DIMINISHED.0[..], &DIMINISHED.1[..]);
    let (c, d, f, g, bb, b) = (0, 2, 5, 7, 10, 11);
    [
        chord(f, dominant, 4),
        chord(bb, dominant, 4),
        chord(f, dominant, 4),
        chord(c, minor, 2),
        chord(f, dominant, 2),
        chord(bb, dominant, 4),
        chord(b, diminished, 4),
        chord(f, dominant, 4),
        chord(d, flat_nine, 4),
        chord(g, minor, 4),
        chord(c, dominant, 4),
        chord(f, dominant, 2),
        chord(d, dominant, 2),
        chord(g, minor, 2),
        chord(c, dominant, 2),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Its lattice.
pub fn lattice() -> Lattice {
    lattice_of(&onsets())
}

/// Its rules, side by side.
pub fn skeleton() -> Skeleton {
    let rules: Vec<Arc<dyn Rule>> = vec![Arc::new(Harmony), Arc::new(Leading), Arc::new(Reach)];
    Skeleton::new(rules, Vec::new())
}

/// The lattice of these onsets, closed into a loop.
pub fn lattice_of(onsets: &[Onset]) -> Lattice {
    Lattice::from_beginnings(&mut skeleton(), onsets, &onsets[0]).unwrap()
}
