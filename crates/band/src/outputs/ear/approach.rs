//! The ways into a change: each approach written into the two beats before it.

use super::{
    balance::shuffle,
    excerpt::Excerpt,
    vary::{QuestionBounds, chord_pitches},
};
use endpin_theory::{Interval, Pitch};
use rand_chacha::rand_core::Rng;

/// The answers by name, with the interval from the goal to the last note before it. The names are those of
/// `endpin_walker::Role`.
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
        base: &Excerpt,
        goal: usize,
        bounds: &QuestionBounds,
        rng: &mut impl Rng,
    ) -> Option<Approaches> {
        if !is_place(base, goal) {
            return None;
        }
        let mut firsts = chord_pitches(base, goal - 2, &bounds.range);
        if base.is_arrival(goal - 2) {
            firsts = vec![base.notes[goal - 2]];
        }
        shuffle(rng, &mut firsts);
        let ways = Ways {
            base,
            goal,
            bounds,
            firsts,
        };
        let single = ways.single(rng)?;
        // Both are drawn whether they can be played or not, so that what is drawn next does not hang on it.
        let (double, enclosure) = (ways.double(rng), ways.enclosure(rng));
        Some(Approaches {
            single,
            double: double?,
            enclosure: enclosure?,
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

/// The ways into a change, with the notes that may stand first, in the order in which they are tried.
struct Ways<'a> {
    base: &'a Excerpt,
    goal: usize,
    bounds: &'a QuestionBounds,
    firsts: Vec<Pitch>,
}

impl Ways<'_> {
    fn target(&self) -> Pitch {
        self.base.notes[self.goal]
    }

    /// How far a note lies above the goal.
    fn off(&self, note: Pitch) -> i16 {
        distance(note, self.target())
    }

    /// One of these pairs of notes that can be played, drawn.
    fn one_of(&self, mut pairs: Vec<[Pitch; 2]>, rng: &mut impl Rng) -> Option<[Pitch; 2]> {
        shuffle(rng, &mut pairs);
        pairs.into_iter().find(|notes| {
            let excerpt = self.base.with(self.goal - 2, notes);
            excerpt.is_playable(&self.bounds.range)
        })
    }

    fn single(&self, rng: &mut impl Rng) -> Option<[[Pitch; 2]; 5]> {
        let far = self
            .firsts
            .iter()
            .filter(|&&first| self.off(first).abs() > 2);
        far.copied().find_map(|first| {
            let mut written = [[first; 2]; 5];
            for (pair, (_, intervals)) in written.iter_mut().zip(SINGLE) {
                let seconds = intervals.iter().map(|&interval| self.target() + interval);
                *pair = self.one_of(seconds.map(|second| [first, second]).collect(), rng)?;
            }
            Some(written)
        })
    }

    fn double(&self, rng: &mut impl Rng) -> Option<[Pitch; 2]> {
        let pairs = DOUBLE.iter().filter_map(|&intervals| {
            let [first, second] = intervals.map(|interval| self.target() + interval);
            let mut firsts = self.firsts.iter();
            // As the chord spells it.
            let first = firsts.find(|other| other.midi() == first.midi())?;
            Some([*first, second])
        });
        self.one_of(pairs.collect(), rng)
    }

    fn enclosure(&self, rng: &mut impl Rng) -> Option<[Pitch; 2]> {
        let steps = SINGLE[..4].iter();
        let seconds = steps.map(|(_, intervals)| self.target() + intervals[0]);
        let firsts = self.firsts.iter().copied();
        let close = firsts.filter(|&first| (1..=2).contains(&self.off(first).abs()));
        let pairs = close.flat_map(|first| {
            let other_side =
                move |second: &Pitch| self.off(first).signum() != self.off(*second).signum();
            let seconds = seconds.clone().filter(other_side);
            seconds.map(move |second| [first, second])
        });
        self.one_of(pairs.collect(), rng)
    }
}

/// Semitones of `note` above the goal.
fn distance(note: Pitch, goal: Pitch) -> i16 {
    note.midi() - goal.midi()
}

/// Whether a chord arrives there on its root, out of a weak beat, with two beats before it in the excerpt.
fn is_place(base: &Excerpt, goal: usize) -> bool {
    let chord = &base.chord_at(goal).chord;
    goal >= 2
        && base.is_arrival(goal)
        && !base.is_stressed(goal - 1)
        && chord.slash().is_none()
        && base.notes[goal].name().chroma() == chord.root().chroma()
}

/// Whether the change at `goal` is approached by one step, and not by two notes together.
pub fn is_by_step(base: &Excerpt, goal: usize) -> bool {
    let target = base.notes[goal];
    let [first, second] = [goal - 2, goal - 1].map(|beat| distance(base.notes[beat], target));
    let two_notes = (1..=2).contains(&first.abs())
        && (first.signum() != second.signum() || (first.abs(), second.abs()) == (2, 1));
    is_place(base, goal) && (1..=2).contains(&second.abs()) && !two_notes
}

/// Why notes before a change are the approach of that name.
pub fn why(base: &Excerpt, goal: usize, name: &str, notes: [Pitch; 2]) -> String {
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
