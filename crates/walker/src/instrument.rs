//! The instruments a line is made for, and what the left hand does in what time.
//!
//! Tunings, ranges and the two ways to finger (a finger a fret; 1-2-4 over a whole tone) are common practice,
//! from memory, without a single source; so are the times of a shift, which are ours.

use crate::line::spelling::pitch_of_key;
use endpin_theory::{Pitch, Ticks, did_you_mean, meter::TICKS_PER_QUARTER};
use std::{fmt, str::FromStr};

/// An instrument, its strings and its hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Instrument {
    /// Its name in options and reports.
    pub name: &'static str,
    /// Open strings as MIDI keys, highest first, as tablature draws them.
    pub strings: &'static [u8],
    /// Semitones that a string can be shortened by.
    pub neck: u8,
    /// The finger (1 to 4) on each semitone under the hand, from the index finger up the string.
    pub fingers: &'static [u8],
    /// Lowest and highest MIDI key of a line unless others are asked for.
    pub range: (u8, u8),
}

const E_A_D_G: &[u8] = &[43, 38, 33, 28];
const B_E_A_D_G: &[u8] = &[43, 38, 33, 28, 23];
const FINGER_A_FRET: &[u8] = &[1, 2, 3, 4];

impl Instrument {
    /// Four strings, twenty frets.
    pub const BASS: Instrument = Instrument {
        name: "bass",
        strings: E_A_D_G,
        neck: 20,
        fingers: FINGER_A_FRET,
        range: (28, 55),
    };

    /// All there are.
    pub const ALL: [Instrument; 3] = [
        Instrument::BASS,
        Instrument {
            name: "five-string",
            strings: B_E_A_D_G,
            range: (23, 55),
            ..Instrument::BASS
        },
        // To the octave of the open string, beyond which the thumb comes up; walking stays lower, on the neck.
        Instrument {
            name: "double-bass",
            strings: E_A_D_G,
            neck: 12,
            fingers: &[1, 2, 4],
            range: (28, 50),
        },
    ];

    /// The lowest and the highest MIDI key that it has.
    pub fn reach(&self) -> (u8, u8) {
        let lowest = self.strings.iter().copied().min().unwrap_or(0);
        let highest = self.strings.iter().copied().max().unwrap_or(0);
        (lowest, highest + self.neck)
    }

    /// The range of a line between these notes, or the usual ones where none are given.
    ///
    /// # Errors
    /// A note that it does not have, or a range upside down.
    pub fn range_between(
        &self,
        lowest: Option<Pitch>,
        highest: Option<Pitch>,
    ) -> Result<(u8, u8), RangeError> {
        let (least, most) = self.reach();
        let key = |asked: Option<Pitch>, usual: u8| match asked {
            None => Ok(usual),
            Some(pitch) => u8::try_from(pitch.midi())
                .ok()
                .filter(|key| (least..=most).contains(key))
                .ok_or(RangeError::Beyond(pitch, *self)),
        };
        let range = (key(lowest, self.range.0)?, key(highest, self.range.1)?);
        match range.0 < range.1 {
            true => Ok(range),
            false => Err(RangeError::Empty(range.0, range.1)),
        }
    }

    /// How far up the neck the index finger can be, from 1.
    pub fn positions(&self) -> u8 {
        self.neck + 1 - self.fingers.len() as u8
    }
}

/// A range that an instrument cannot have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RangeError {
    /// A note that it does not have.
    #[error("{0} is beyond the {name}, which reaches from {low} to {high}; give --lowest and --highest between them, or another --instrument ({names})",
        name = .1.name, low = pitch_of_key(.1.reach().0), high = pitch_of_key(.1.reach().1), names = names())]
    Beyond(Pitch, Instrument),
    /// Upside down.
    #[error(
        "the lowest note, {low}, has to lie below the highest, {high}",
        low = pitch_of_key(*.0), high = pitch_of_key(*.1)
    )]
    Empty(u8, u8),
}

fn names() -> String {
    Instrument::ALL.map(|instrument| instrument.name).join(", ")
}

impl fmt::Display for Instrument {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

/// No instrument.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not an instrument{near}; the instruments are {names}", near = did_you_mean(.0, Instrument::ALL), names = names())]
pub struct InstrumentError(String);

impl FromStr for Instrument {
    type Err = InstrumentError;

    fn from_str(text: &str) -> Result<Instrument, InstrumentError> {
        Instrument::ALL
            .into_iter()
            .find(|instrument| instrument.name == text)
            .ok_or_else(|| InstrumentError(text.to_owned()))
    }
}

/// The left hand on an instrument, at a tempo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hand {
    /// What it plays.
    pub instrument: Instrument,
    /// Microseconds of a quarter note; none: all the time it needs.
    pub quarter: Option<u32>,
}

impl Default for Hand {
    /// On a bass, with all the time it needs.
    fn default() -> Hand {
        Hand {
            instrument: Instrument::BASS,
            quarter: None,
        }
    }
}

impl Hand {
    /// Milliseconds to let go and to settle on another fret.
    const SETTLE: i64 = 80;
    /// Milliseconds on the way from a fret to the next.
    const TRAVEL: i64 = 15;

    /// How many frets the hand can shift between two notes that start so far apart.
    pub fn shift_in(&self, time: Ticks) -> u8 {
        let Some(quarter) = self.quarter else {
            return u8::MAX;
        };
        let milliseconds = time.0 * i64::from(quarter) / TICKS_PER_QUARTER / 1000;
        ((milliseconds - Self::SETTLE) / Self::TRAVEL).clamp(0, i64::from(u8::MAX)) as u8
    }

    /// The least time in which the hand can shift by so many frets.
    pub fn time_for(&self, frets: u8) -> Ticks {
        let Some(quarter) = self.quarter.filter(|_| frets > 0) else {
            return Ticks::ZERO;
        };
        let milliseconds = Self::SETTLE + Self::TRAVEL * i64::from(frets);
        let needed = milliseconds * 1000 * TICKS_PER_QUARTER;
        Ticks((needed as u64).div_ceil(u64::from(quarter.max(1))) as i64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_reads_back_and_holds_its_own_range() {
        for instrument in Instrument::ALL {
            assert_eq!(instrument.to_string().parse(), Ok(instrument));
            let (lowest, highest) = instrument.reach();
            assert!(lowest <= instrument.range.0 && instrument.range.1 <= highest);
            assert!(instrument.strings.is_sorted_by(|high, low| high > low));
        }
        let error = "lute".parse::<Instrument>().unwrap_err();
        assert_eq!(
            error.to_string(),
            "\"lute\" is not an instrument; the instruments are bass, five-string, double-bass"
        );
    }

    #[test]
    fn tunings_are_fourths() {
        // Scientific pitch, common practice, no source: E1 A1 D2 G2, and B0 below.
        let named = |names: &[&str]| -> Vec<u8> {
            let key = |name: &&str| name.parse::<Pitch>().unwrap().midi() as u8;
            names.iter().map(key).collect()
        };
        let [bass, five, double] = Instrument::ALL;
        assert_eq!(bass.strings, named(&["G2", "D2", "A1", "E1"]));
        assert_eq!(five.strings, named(&["G2", "D2", "A1", "E1", "B0"]));
        assert_eq!(double.strings, bass.strings);
    }

    #[test]
    fn a_range_beyond_the_instrument_is_named() {
        let pitch = |name: &str| Some(name.parse().unwrap());
        let bass = Instrument::BASS;
        assert_eq!(bass.range_between(None, pitch("C3")), Ok((28, 48)));
        let error = bass.range_between(pitch("D1"), None).unwrap_err();
        assert_eq!(
            error.to_string(),
            "D1 is beyond the bass, which reaches from E1 to Eb4; give --lowest and --highest between them, or another --instrument (bass, five-string, double-bass)"
        );
        let [_, five, double] = Instrument::ALL;
        assert_eq!(five.range_between(pitch("D1"), None), Ok((26, 55)));
        assert!(double.range_between(None, pitch("G#3")).is_err());
        let error = bass.range_between(pitch("C3"), pitch("C2")).unwrap_err();
        assert!(error.to_string().contains("C3"), "{error}");
    }

    #[test]
    fn a_shift_takes_time() {
        let at = |quarter| Hand {
            quarter,
            ..Hand::default()
        };
        let beat = Ticks::QUARTER;
        assert_eq!(at(None).shift_in(beat), u8::MAX);
        assert_eq!(at(Some(60_000)).shift_in(beat), 0);
        assert_eq!(at(Some(94_999)).shift_in(beat), 0);
        assert_eq!(at(Some(95_000)).shift_in(beat), 1);
        assert_eq!(at(Some(420_000)).shift_in(Ticks(320)), 4);
        assert_eq!(at(None).time_for(16), Ticks::ZERO);
        for quarter in [100_000, 150_000, 333_333, 3_000_000] {
            let hand = at(Some(quarter));
            for frets in 1..=16 {
                let time = hand.time_for(frets);
                assert!(hand.shift_in(time) >= frets);
                assert!(hand.shift_in(Ticks(time.0 - 1)) < frets);
            }
        }
    }
}
