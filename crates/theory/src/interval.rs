//! Intervals that keep spelling, and degrees counted from a root.
//!
//! An [`Interval`] is two numbers, steps of the staff and semitones; adding both to a spelled note gives a
//! spelled note, so transposing up and down again is the identity and intervals form a group.
//!
//! ```
//! use endpin_theory::{Interval, NoteName};
//! let gb: NoteName = "Gb".parse().unwrap();
//! let minor_seventh: Interval = "m7".parse().unwrap();
//! assert_eq!((gb + minor_seventh).to_string(), "Fb");
//! ```

use crate::pitch::{NoteName, Pitch};
use std::{
    fmt,
    ops::{Add, Neg, Sub},
    str::FromStr,
};

/// A distance between two spelled notes, upward if positive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Interval {
    steps: i16,
    semitones: i16,
}

/// Semitones of the major or perfect interval of each step within an octave: the major scale.
const MAJOR_SCALE: [i16; 7] = [0, 2, 4, 5, 7, 9, 11];

impl Interval {
    /// No distance at all.
    pub const UNISON: Interval = Interval::new(0, 0);
    /// Twelve semitones, seven steps.
    pub const OCTAVE: Interval = Interval::new(7, 12);

    /// `steps` of the staff (a third is 2) that sound `semitones`.
    pub const fn new(steps: i16, semitones: i16) -> Self {
        Interval { steps, semitones }
    }

    /// From one pitch to another.
    pub fn between(from: Pitch, to: Pitch) -> Self {
        Interval {
            steps: to.staff_step() - from.staff_step(),
            semitones: to.midi() - from.midi(),
        }
    }

    /// The shortest way up from one name to another, less than an octave of steps.
    pub fn up_between(from: NoteName, to: NoteName) -> Self {
        let steps = (to.letter().index() - from.letter().index()).rem_euclid(7);
        let octave = if to.letter() < from.letter() { 12 } else { 0 };
        let natural = to.letter().semitones() - from.letter().semitones() + octave;
        Interval {
            steps,
            semitones: natural + i16::from(to.alteration()) - i16::from(from.alteration()),
        }
    }

    /// Steps of the staff: a unison is 0, a third 2.
    pub fn steps(self) -> i16 {
        self.steps
    }

    /// Semitones it sounds.
    pub fn semitones(self) -> i16 {
        self.semitones
    }

    /// Semitones beyond the major or perfect interval of as many steps.
    fn alteration(self) -> i16 {
        let natural =
            MAJOR_SCALE[self.steps.rem_euclid(7) as usize] + 12 * self.steps.div_euclid(7);
        self.semitones - natural
    }
}

impl Add for Interval {
    type Output = Interval;
    fn add(self, other: Interval) -> Interval {
        Interval::new(self.steps + other.steps, self.semitones + other.semitones)
    }
}

impl Neg for Interval {
    type Output = Interval;
    fn neg(self) -> Interval {
        Interval::new(-self.steps, -self.semitones)
    }
}

impl Sub for Interval {
    type Output = Interval;
    fn sub(self, other: Interval) -> Interval {
        self + -other
    }
}

impl Add<Interval> for NoteName {
    type Output = NoteName;
    fn add(self, interval: Interval) -> NoteName {
        (Pitch::new(self, 4) + interval).name()
    }
}

impl Add<Interval> for Pitch {
    type Output = Pitch;
    fn add(self, interval: Interval) -> Pitch {
        let step = self.staff_step() + interval.steps;
        let letter = self.name().letter().up(interval.steps);
        let octave = step.div_euclid(7);
        let natural = (octave + 1) * 12 + letter.semitones();
        let alteration = self.midi() + interval.semitones - natural;
        Pitch::new(NoteName::new(letter, alteration as i8), octave as i8)
    }
}

/// Whether an interval of so many steps (within an octave) is perfect rather than major or minor.
fn is_perfect(steps: i16) -> bool {
    matches!(steps.rem_euclid(7), 0 | 3 | 4)
}

/// The usual short name: quality letter (`P M m A d`) and number, `-` in front of a downward one.
impl fmt::Display for Interval {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.steps < 0 || (self.steps == 0 && self.semitones < 0) {
            return write!(f, "-{}", -*self);
        }
        let number = self.steps + 1;
        let alteration = self.alteration();
        let letters = |letter: &str, count: i16| letter.repeat(usize::from(count.unsigned_abs()));
        let quality = match (is_perfect(self.steps), alteration) {
            (true, 0) => "P".to_owned(),
            (false, 0) => "M".to_owned(),
            (false, -1) => "m".to_owned(),
            (_, 1..) => letters("A", alteration),
            (true, _) => letters("d", alteration),
            (false, _) => letters("d", alteration + 1),
        };
        write!(f, "{quality}{number}")
    }
}

/// Text that is no interval or degree.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is not {wanted}")]
pub struct IntervalError {
    found: String,
    wanted: &'static str,
}

impl FromStr for Interval {
    type Err = IntervalError;

    fn from_str(text: &str) -> Result<Self, IntervalError> {
        let read = || {
            let (down, body) = match text.strip_prefix('-') {
                Some(rest) => (true, rest),
                None => (false, text),
            };
            let digits = body.find(|c: char| c.is_ascii_digit())?;
            let (quality, number) = body.split_at(digits);
            let steps = number
                .parse::<i16>()
                .ok()
                .filter(|n| (1..=70).contains(n))?
                - 1;
            let count = quality.len() as i16;
            let all = |letter: char| count > 0 && quality.chars().all(|c| c == letter);
            let alteration = match quality {
                "P" if is_perfect(steps) => 0,
                "M" if !is_perfect(steps) => 0,
                "m" if !is_perfect(steps) => -1,
                _ if count > 4 => return None,
                _ if all('A') => count,
                _ if all('d') && is_perfect(steps) => -count,
                _ if all('d') => -count - 1,
                _ => return None,
            };
            let natural = MAJOR_SCALE[(steps % 7) as usize] + 12 * (steps / 7);
            let up = Interval::new(steps, natural + alteration);
            Some(if down { -up } else { up })
        };
        read().ok_or_else(|| IntervalError {
            found: text.to_owned(),
            wanted: "an interval (such as m3, P5, A4 or -M2)",
        })
    }
}

/// A place counted from a root along its major scale: `b7`, `#11`, `5`.
///
/// Degrees order by number, then by alteration, as tables list them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Degree {
    number: u8,
    alteration: i8,
}

impl Degree {
    /// The degree `number` (from 1), raised or lowered by `alteration` semitones.
    pub const fn new(number: u8, alteration: i8) -> Self {
        Degree { number, alteration }
    }

    /// Counted from 1 at the root; 9 is the second an octave up.
    pub const fn number(self) -> u8 {
        self.number
    }

    /// Semitones against the major scale on the root.
    pub const fn alteration(self) -> i8 {
        self.alteration
    }

    /// Its distance above the root.
    pub fn interval(self) -> Interval {
        let steps = i16::from(self.number) - 1;
        let natural = MAJOR_SCALE[(steps % 7) as usize] + 12 * (steps / 7);
        Interval::new(steps, natural + i16::from(self.alteration))
    }

    /// The degree of a note over a root, 1 to 7.
    pub fn of(root: NoteName, note: NoteName) -> Degree {
        let interval = Interval::up_between(root, note);
        Degree {
            number: interval.steps as u8 + 1,
            alteration: interval.alteration() as i8,
        }
    }
}

impl fmt::Display for Degree {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.alteration < 0 { "b" } else { "#" };
        let signs = sign.repeat(usize::from(self.alteration.unsigned_abs()));
        f.pad(&format!("{signs}{}", self.number))
    }
}

impl FromStr for Degree {
    type Err = IntervalError;

    fn from_str(text: &str) -> Result<Self, IntervalError> {
        let digits = text.trim_start_matches(['b', '#', '♭', '♯']);
        let signs = &text[..text.len() - digits.len()];
        let flats = signs.chars().filter(|c| matches!(c, 'b' | '♭')).count();
        let sharps = signs.chars().count() - flats;
        match digits.parse() {
            Ok(number @ 1..=15) if (flats == 0 || sharps == 0) && flats + sharps <= 2 => {
                Ok(Degree::new(number, sharps as i8 - flats as i8))
            }
            _ => Err(IntervalError {
                found: text.to_owned(),
                wanted: "a degree (a number with its sharps or flats, such as b7 or #11)",
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Letter;
    use proptest::prelude::*;

    #[test]
    fn spelled_transposition() {
        for (from, interval, to) in [
            ("Gb4", "m7", "Fb5"),
            ("C4", "A9", "D#5"),
            ("F#4", "m6", "D5"),
            ("C5", "m9", "Db6"),
            ("B3", "d7", "Ab4"),
            ("C4", "-M2", "Bb3"),
            ("Fb2", "-P4", "Cb2"),
        ] {
            let from: Pitch = from.parse().unwrap();
            let by: Interval = interval.parse().unwrap();
            assert_eq!((from + by).to_string(), to, "{from} + {interval}");
            assert_eq!(by.to_string(), interval);
        }
        let degree: Degree = "#11".parse().unwrap();
        assert_eq!(degree.interval(), "A11".parse().unwrap());
        let f7 = "F".parse().unwrap();
        assert_eq!(Degree::of(f7, "Eb".parse().unwrap()).to_string(), "b7");
    }

    fn interval() -> impl Strategy<Value = Interval> {
        (-20i16..=20, -2i16..=2).prop_map(|(steps, alteration)| {
            let natural = MAJOR_SCALE[steps.rem_euclid(7) as usize] + 12 * steps.div_euclid(7);
            Interval::new(steps, natural + alteration)
        })
    }

    proptest! {
        #[test]
        fn intervals_are_a_group(a in interval(), b in interval(), c in interval()) {
            prop_assert_eq!((a + b) + c, a + (b + c));
            prop_assert_eq!(a + Interval::UNISON, a);
            prop_assert_eq!(a - a, Interval::UNISON);
            prop_assert_eq!(a.to_string().parse::<Interval>(), Ok(a));
        }

        #[test]
        fn up_and_down_is_the_identity(
            letter in 0usize..7, alteration in -2i8..=2, octave in 0i8..8, by in interval(),
        ) {
            let pitch = Pitch::new(NoteName::new(Letter::ALL[letter], alteration), octave);
            prop_assert_eq!(pitch + by + -by, pitch);
            prop_assert_eq!(Interval::between(pitch, pitch + by), by);
            prop_assert_eq!(pitch.name() + by, (pitch + by).name());
        }

        #[test]
        fn degrees_find_themselves(number in 1u8..=7, alteration in -2i8..=2, letter in 0usize..7) {
            let root = NoteName::new(Letter::ALL[letter], 0);
            let degree = Degree::new(number, alteration);
            prop_assert_eq!(Degree::of(root, root + degree.interval()), degree);
        }
    }
}
