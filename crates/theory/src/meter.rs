//! Meter, the strength of its beats, and exact notated time.
//!
//! Beat 1 is the strongest, beat 3 of 4/4 next, and 2 and 4 are equally weak; other meters fall into groups
//! whose first beats are strong (common practice, no source). 6/8, 9/8 and 12/8 are counted in dotted quarters. Time is counted in whole ticks, 960 to the
//! quarter note, which divides evenly into triplets and sixteenths.
//!
//! ```
//! use endpin_theory::{Meter, Strength};
//! let five: Meter = "5/4".parse().unwrap();
//! assert_eq!(five.grouping(), [3, 2]);
//! assert_eq!(five.strength(3), Strength::Strong); // beat 4 opens the second group
//! ```

use std::{
    fmt,
    iter::Sum,
    ops::{Add, AddAssign, Mul, Neg, Sub},
    str::FromStr,
};

/// Ticks in a quarter note.
pub const TICKS_PER_QUARTER: i64 = 960;

/// A notated time or length: 960 ticks are a quarter note.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ticks(pub i64);

impl Ticks {
    /// The beginning, or no length.
    pub const ZERO: Ticks = Ticks(0);
    /// A quarter note.
    pub const QUARTER: Ticks = Ticks(TICKS_PER_QUARTER);

    /// As a number of quarter notes, for reports and pages.
    pub fn quarters(self) -> f64 {
        self.0 as f64 / TICKS_PER_QUARTER as f64
    }
}

impl Add for Ticks {
    type Output = Ticks;
    fn add(self, other: Ticks) -> Ticks {
        Ticks(self.0 + other.0)
    }
}

impl AddAssign for Ticks {
    fn add_assign(&mut self, other: Ticks) {
        self.0 += other.0;
    }
}

impl Sub for Ticks {
    type Output = Ticks;
    fn sub(self, other: Ticks) -> Ticks {
        Ticks(self.0 - other.0)
    }
}

impl Neg for Ticks {
    type Output = Ticks;
    fn neg(self) -> Ticks {
        Ticks(-self.0)
    }
}

impl Mul<i64> for Ticks {
    type Output = Ticks;
    fn mul(self, times: i64) -> Ticks {
        Ticks(self.0 * times)
    }
}

impl Sum for Ticks {
    fn sum<I: Iterator<Item = Ticks>>(ticks: I) -> Ticks {
        ticks.fold(Ticks::ZERO, Add::add)
    }
}

/// How strong a beat is in its bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Strength {
    /// Between the strong beats: beats 2 and 4.
    Weak,
    /// The second of the strong beats: beat 3 of 4/4.
    Medium,
    /// The first of a group: beat 1.
    Strong,
}

impl fmt::Display for Strength {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Strength::Weak => "weak",
            Strength::Medium => "medium",
            Strength::Strong => "strong",
        })
    }
}

/// A time signature with the grouping of its beats.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Meter {
    /// The upper number of the signature.
    upper: u8,
    unit: u8,
    /// How many of the units are one beat: three in compound meters.
    units_a_beat: u8,
    /// In beats.
    grouping: Vec<u8>,
}

impl Meter {
    /// `beats` in a bar (1 to 24), each a `unit`-th note (2, 4, 8 or 16), in the usual groups: 5 as 3+2,
    /// 6 as 3+3, 7 as 4+3, 4 as one group with a medium beat 3. Eighths (and shorter) that come in threes, more
    /// than three of them, are counted three to a beat: 12/8 has the four beats of 4/4 (common practice, no
    /// source).
    ///
    /// # Errors
    /// Numbers outside these ranges.
    pub fn new(upper: u8, unit: u8) -> Result<Meter, MeterError> {
        if !(1..=24).contains(&upper) || !matches!(unit, 2 | 4 | 8 | 16) {
            return Err(MeterError::Signature(format!("{upper}/{unit}")));
        }
        let is_compound = unit >= 8 && upper > 3 && upper.is_multiple_of(3);
        let units_a_beat = if is_compound { 3 } else { 1 };
        let beats = upper / units_a_beat;
        let grouping = match beats {
            5 => vec![3, 2],
            7 => vec![4, 3],
            _ if beats > 3 && beats.is_multiple_of(3) => vec![3; usize::from(beats) / 3],
            _ if beats > 4 && beats.is_multiple_of(4) => vec![4; usize::from(beats) / 4],
            8.. => {
                let twos = usize::from(beats - 3) / 2;
                let three = usize::from(beats) - 2 * twos;
                let mut groups = vec![2; twos];
                groups.push(three as u8);
                groups
            }
            _ => vec![beats],
        };
        Ok(Meter {
            upper,
            unit,
            units_a_beat,
            grouping,
        })
    }

    /// The same meter in other groups, such as `2+3`.
    ///
    /// # Errors
    /// Groups that do not add up to the bar.
    pub fn grouped(&self, grouping: &str) -> Result<Meter, MeterError> {
        let wrong = || MeterError::Grouping {
            found: grouping.to_owned(),
            beats: self.upper,
        };
        let groups = grouping
            .split('+')
            .map(|part| part.trim().parse::<u8>().ok().filter(|&group| group > 0))
            .collect::<Option<Vec<u8>>>()
            .ok_or_else(wrong)?;
        let sum: u32 = groups.iter().map(|&group| u32::from(group)).sum();
        if sum != u32::from(self.upper) {
            return Err(wrong());
        }
        if self.is_compound() && groups.iter().all(|&group| group == 3) {
            return Ok(self.clone());
        }
        Ok(Meter {
            grouping: groups,
            units_a_beat: 1,
            ..self.clone()
        })
    }

    /// Beats in a bar, as they are counted: four in 4/4 and in 12/8.
    pub fn beats(&self) -> u8 {
        self.upper / self.units_a_beat
    }

    /// The upper number of the signature.
    pub fn upper(&self) -> u8 {
        self.upper
    }

    /// The lower number of the signature: the note of which a bar has [`Meter::upper`].
    pub fn unit(&self) -> u8 {
        self.unit
    }

    /// Whether a beat is three of the units, as in 12/8.
    pub fn is_compound(&self) -> bool {
        self.units_a_beat == 3
    }

    /// Beats of each group, adding up to the beats of the bar.
    pub fn grouping(&self) -> &[u8] {
        &self.grouping
    }

    /// The grouping as a chart writes it, such as `3+2`.
    pub fn grouping_text(&self) -> String {
        let groups: Vec<String> = self.grouping.iter().map(u8::to_string).collect();
        groups.join("+")
    }

    /// Strength of a beat, counted from 0 at the bar line: strong at the head of a group, medium in the
    /// middle of a group of four, else weak.
    pub fn strength(&self, beat: usize) -> Strength {
        let mut into = beat % usize::from(self.beats());
        for &group in &self.grouping {
            let group = usize::from(group);
            if into < group {
                return match into {
                    0 => Strength::Strong,
                    2 if group == 4 => Strength::Medium,
                    _ => Strength::Weak,
                };
            }
            into -= group;
        }
        Strength::Weak
    }

    /// Length of one beat.
    pub fn beat_ticks(&self) -> Ticks {
        Ticks(TICKS_PER_QUARTER * 4 / i64::from(self.unit)) * i64::from(self.units_a_beat)
    }

    /// Length of a bar.
    pub fn bar_ticks(&self) -> Ticks {
        self.beat_ticks() * i64::from(self.beats())
    }
}

impl fmt::Display for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{}/{}", self.upper, self.unit))
    }
}

/// A meter that cannot be.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MeterError {
    /// No time signature.
    #[error(
        "\"{0}\" is not a meter; write beats (1 to 24) over 2, 4, 8 or 16, such as \"4/4\" or \"3/4\""
    )]
    Signature(String),
    /// Groups that do not fill the bar.
    #[error(
        "grouping \"{found}\" does not add up to the {beats} beats of the bar; write it as \"3+2\""
    )]
    Grouping {
        /// As written.
        found: String,
        /// Beats in the bar.
        beats: u8,
    },
}

impl FromStr for Meter {
    type Err = MeterError;

    fn from_str(text: &str) -> Result<Self, MeterError> {
        let wrong = || MeterError::Signature(text.to_owned());
        let (beats, unit) = text.split_once('/').ok_or_else(wrong)?;
        Meter::new(
            beats.trim().parse().map_err(|_| wrong())?,
            unit.trim().parse().map_err(|_| wrong())?,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strengths_follow_the_groups() {
        // Common practice, no source.
        for (meter, strengths) in [
            ("4/4", "SwMw"),
            ("3/4", "Sww"),
            ("2/4", "Sw"),
            ("5/4", "SwwSw"),
            ("6/4", "SwwSww"),
            ("7/4", "SwMwSww"),
            ("12/8", "SwMw"),
            ("6/8", "Sw"),
            ("9/8", "Sww"),
            ("3/8", "Sww"),
            ("8/8", "SwMwSwMw"),
            ("11/8", "SwSwSwSwSww"),
        ] {
            let parsed: Meter = meter.parse().unwrap();
            let found: String = (0..usize::from(parsed.beats()))
                .map(|beat| match parsed.strength(beat) {
                    Strength::Strong => 'S',
                    Strength::Medium => 'M',
                    Strength::Weak => 'w',
                })
                .collect();
            assert_eq!(found, strengths, "{meter}");
            let sum: u8 = parsed.grouping().iter().sum();
            assert_eq!(sum, parsed.beats());
        }
    }

    #[test]
    fn groupings_must_fill_the_bar() {
        let five: Meter = "5/4".parse().unwrap();
        assert_eq!(five.grouped("2+3").unwrap().strength(2), Strength::Strong);
        let twelve: Meter = "12/8".parse().unwrap();
        assert_eq!(twelve.grouped("3+3+3+3").unwrap(), twelve);
        let uneven = twelve.grouped("3+3+2+2+2").unwrap();
        assert_eq!((twelve.beats(), uneven.beats()), (4, 12));
        assert_eq!(
            (twelve.beat_ticks(), uneven.beat_ticks()),
            (Ticks(1440), Ticks(480))
        );
        for bad in ["", "2+2", "5+0", "three", "255+6"] {
            assert!(five.grouped(bad).is_err(), "{bad}");
        }
        for bad in ["4", "0/4", "25/4", "4/3", "x/4", "4/4/4", ""] {
            assert!(bad.parse::<Meter>().is_err(), "{bad}");
        }
        assert_eq!("6/8".parse::<Meter>().unwrap().bar_ticks(), Ticks(2880));
    }
}
