//! The ways into a change: each approach written into the two beats before it.

use super::{
    balance::shuffle,
    passage::Passage,
    vary::{Bounds, chord_pitches},
};
use endpin_theory::{Interval, Pitch};
use rand_chacha::rand_core::Rng;

/// The answers by name, with the interval from the goal to the last note before it. The names are the roles
/// of the design, section 2.
const SINGLE: [(&str, &[Interval]); 5] = [
    ("chromatic-below", &[Interval::new(-1, -1)]),
    ("chromatic-above", &[Interval::new(1, 1)]),
    ("scale-below", &[Interval::new(-1, -2)]),
    ("scale-above", &[Interval::new(1, 2)]),
    ("dominant", &[Interval::new(4, 7), Interval::new(-3, -5)]),
];

/// Two notes on one side, by semitones, from the goal; the first a whole step away.
const DOUBLE: [[Interval; 2]; 2] = [
    [Interval::new(1, 2), Interval::new(1, 1)],
    [Interval::new(-1, -2), Interval::new(-1, -1)],
];

/// The last two notes before a change, for every answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Approaches {
    single: [[Pitch; 2]; 5],
    double: [Pitch; 2],
    enclosure: [Pitch; 2],
}

impl Approaches {
    /// Every approach into the arrival at beat `goal`, each as the last two notes before it; `None` if one
    /// of them cannot be played there, or the place is none for approaches.
    ///
    /// The note before last is a chord tone, the root if it is an arrival itself; for all one-note approaches
    /// it is the same, a third or more from the goal, so that the two are never heard as one approach.
    pub fn into(
        base: &Passage,
        goal: usize,
        bounds: &Bounds,
        rng: &mut impl Rng,
    ) -> Option<Approaches> {
        if !is_place(base, goal) {
            return None;
        }
        let target = base.notes[goal];
        let playable = |notes: &[Pitch; 2]| base.with(goal - 2, notes).is_playable(&bounds.range);
        let mut firsts = chord_pitches(base, goal - 2, &bounds.range);
        if base.is_arrival(goal - 2) {
            firsts = vec![base.notes[goal - 2]];
        }
        shuffle(rng, &mut firsts);

        let far = |first: &&Pitch| distance(**first, target).abs() > 2;
        let single = firsts.iter().filter(far).find_map(|&first| {
            let mut written = [[first; 2]; 5];
            for (pair, (_, intervals)) in written.iter_mut().zip(SINGLE) {
                let mut options: Vec<[Pitch; 2]> = intervals
                    .iter()
                    .map(|&interval| [first, target + interval])
                    .collect();
                shuffle(rng, &mut options);
                *pair = options.into_iter().find(playable)?;
            }
            Some(written)
        })?;

        let near = |pitch: Pitch| {
            firsts
                .iter()
                .find(|first| first.midi() == pitch.midi())
                .copied()
        };
        let pair =
            |&[first, second]: &[Interval; 2]| Some([near(target + first)?, target + second]);
        let mut doubles: Vec<[Pitch; 2]> = DOUBLE.iter().filter_map(pair).collect();
        shuffle(rng, &mut doubles);

        let steps = SINGLE[..4]
            .iter()
            .map(|(_, intervals)| target + intervals[0]);
        let around = |&first: &Pitch| {
            let other_side = move |second: &Pitch| {
                distance(first, target).signum() != distance(*second, target).signum()
            };
            steps
                .clone()
                .filter(other_side)
                .map(move |second| [first, second])
        };
        let close = |first: &&Pitch| (1..=2).contains(&distance(**first, target).abs());
        let mut enclosures: Vec<[Pitch; 2]> =
            firsts.iter().filter(close).flat_map(around).collect();
        shuffle(rng, &mut enclosures);

        Some(Approaches {
            single,
            double: doubles.into_iter().find(playable)?,
            enclosure: enclosures.into_iter().find(playable)?,
        })
    }

    /// All, by name, in the order of the answers.
    pub fn all(&self) -> impl Iterator<Item = (&'static str, [Pitch; 2])> + '_ {
        let single = SINGLE
            .iter()
            .zip(self.single)
            .map(|((name, _), notes)| (*name, notes));
        single.chain([
            ("double-chromatic", self.double),
            ("enclosure", self.enclosure),
        ])
    }

    /// The one of that name.
    pub fn named(&self, name: &str) -> Option<[Pitch; 2]> {
        self.all()
            .find(|(found, _)| *found == name)
            .map(|(_, notes)| notes)
    }
}

/// Semitones of `note` above the goal.
fn distance(note: Pitch, goal: Pitch) -> i16 {
    note.midi() - goal.midi()
}

/// Whether a chord arrives there on its root, out of a weak beat, with two beats before it in the passage.
fn is_place(base: &Passage, goal: usize) -> bool {
    let chord = &base.chord_at(goal).chord;
    goal >= 2
        && base.is_arrival(goal)
        && !base.is_stressed(goal - 1)
        && chord.slash().is_none()
        && base.notes[goal].name().chroma() == chord.root().chroma()
}

/// Whether the change at `goal` is approached by one step, and not by two notes together.
pub fn is_by_step(base: &Passage, goal: usize) -> bool {
    let target = base.notes[goal];
    let [first, second] = [goal - 2, goal - 1].map(|beat| distance(base.notes[beat], target));
    let two_notes = (1..=2).contains(&first.abs())
        && (first.signum() != second.signum() || (first.abs(), second.abs()) == (2, 1));
    is_place(base, goal) && (1..=2).contains(&second.abs()) && !two_notes
}

/// Why notes before a change are the approach of that name.
pub fn why(base: &Passage, goal: usize, name: &str, notes: [Pitch; 2]) -> String {
    let [first, second] = notes;
    let target = base.notes[goal];
    let symbol = &base.chord_at(goal).symbol;
    let into = format!("{target}, the root of {symbol}");
    match name {
        "chromatic-below" => format!("{second} is a semitone below {into}"),
        "chromatic-above" => format!("{second} is a semitone above {into}"),
        "scale-below" => format!("{second} is a whole step below {into}"),
        "scale-above" => format!("{second} is a whole step above {into}"),
        "dominant" if second.midi() > target.midi() => format!("{second} is a fifth above {into}"),
        "dominant" => format!("{second} is a fourth below {into}"),
        "double-chromatic" => format!("{first} and {second} come by semitones into {into}"),
        _ => format!("{first} and {second} surround {into}"),
    }
}
