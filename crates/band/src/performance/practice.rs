//! Aids for practising: trading bars with the student, tempo and key by chorus, a loop of some bars.

use crate::players::random_streams::{Purpose, below, stream};
use endpin_theory::{
    Interval, Key,
    chart::{Bar, Chorus, Span, TEMPO_RANGE},
    did_you_mean,
};
use std::{fmt, str::FromStr};

/// Whether the student plays in a bar: when trading, every other group of so many bars, the band first.
/// `bars_before` counts from the start of the music over all choruses.
pub fn is_students_turn(trade: Option<u32>, bars_before: u64) -> bool {
    trade.is_some_and(|bars| bars_before / u64::from(bars.max(1)) % 2 == 1)
}

/// A bar of a trade.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TradeBar {
    /// Whether the student plays in it, and not the bass of the band.
    pub is_students: bool,
    /// Whether it is the last of its turn: the drummer leads into the next.
    pub is_last: bool,
}

/// What a bar is in trades of so many bars; `bars_before` as for [`is_students_turn`].
pub fn trade_bar(trade: Option<u32>, bars_before: u64) -> Option<TradeBar> {
    let bars = u64::from(trade?.max(1));
    Some(TradeBar {
        is_students: is_students_turn(trade, bars_before),
        is_last: bars_before % bars == bars - 1,
    })
}

/// The choruses in which the band plays on the first beat of each bar alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopTime {
    /// All of them.
    Always,
    /// One of them, counted from 1.
    Chorus(u32),
}

/// The last chorus that can be asked to be in stop-time: each up to it is planned by itself.
const LAST_STOP_TIME: u32 = 64;

/// A word that names no choruses.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is not the number of a chorus; write one from 1 to {LAST_STOP_TIME}, or none for all choruses"
)]
pub struct StopTimeError(String);

impl FromStr for StopTime {
    type Err = StopTimeError;

    fn from_str(text: &str) -> Result<Self, StopTimeError> {
        let number = text.parse().ok();
        let number = number.filter(|number| (1..=LAST_STOP_TIME).contains(number));
        match text {
            "all" => Ok(StopTime::Always),
            _ => number
                .map(StopTime::Chorus)
                .ok_or_else(|| StopTimeError(text.to_owned())),
        }
    }
}

impl StopTime {
    /// Whether a chorus, counted from 1, is in stop-time.
    pub fn includes(self, number: u32) -> bool {
        match self {
            StopTime::Always => true,
            StopTime::Chorus(own) => own == number,
        }
    }

    /// The first chorus, counted from 1, from which on all are alike.
    pub fn settles_in(self) -> u32 {
        match self {
            StopTime::Always => 1,
            StopTime::Chorus(number) => number + 1,
        }
    }
}

/// The tempo of a bar in the `chorus`-th chorus (from 1) if each is `step` quarters a minute faster than the
/// one before, kept within what a chart may have.
pub fn tempo(written: f64, step: f64, chorus: u32) -> f64 {
    let stepped = written + step * f64::from(chorus.saturating_sub(1));
    stepped.clamp(*TEMPO_RANGE.start(), *TEMPO_RANGE.end())
}

/// How the key changes from chorus to chorus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KeyOrder {
    /// Up a fourth each time, round all twelve.
    Fourths,
    /// Up a half step each time.
    HalfSteps,
    /// All twelve in an order drawn by the seed, the home key first.
    All,
}

impl KeyOrder {
    /// All orders.
    pub const ALL: [KeyOrder; 3] = [KeyOrder::Fourths, KeyOrder::HalfSteps, KeyOrder::All];
}

/// A word that names no order of keys.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not an order of keys{near}; write fourths, half-steps or all", near = did_you_mean(.0, KeyOrder::ALL))]
pub struct KeyOrderError(String);

impl FromStr for KeyOrder {
    type Err = KeyOrderError;

    fn from_str(text: &str) -> Result<Self, KeyOrderError> {
        KeyOrder::ALL
            .into_iter()
            .find(|order| order.to_string() == text)
            .ok_or_else(|| KeyOrderError(text.to_owned()))
    }
}

impl fmt::Display for KeyOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            KeyOrder::Fourths => "fourths",
            KeyOrder::HalfSteps => "half-steps",
            KeyOrder::All => "all",
        })
    }
}

/// The key of the `chorus`-th chorus (from 1).
pub fn key(home: Key, order: KeyOrder, chorus: u32, seed: u64) -> Key {
    let index = chorus.saturating_sub(1) % 12;
    let half_steps = match order {
        KeyOrder::HalfSteps => index,
        KeyOrder::Fourths => index * 5 % 12,
        KeyOrder::All => {
            let mut others: Vec<u32> = (1..12).collect();
            let mut rng = stream(seed, 0, Purpose::Keys);
            for last in (1..others.len()).rev() {
                others.swap(last, below(&mut rng, last as u32 + 1) as usize);
            }
            match index {
                0 => 0,
                index => others[index as usize - 1],
            }
        }
    };
    transposed(home, half_steps as i16)
}

/// The key so many half steps up, or down, spelled by whichever name has the fewer sharps or flats.
pub fn transposed(home: Key, half_steps: i16) -> Key {
    match half_steps.rem_euclid(12) {
        0 => home,
        up => Key {
            tonic: home.tonic + Interval::new(0, up),
            mode: home.mode,
        }
        .simplest(),
    }
}

/// A range of bars to loop, such as `9-12`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BarRange {
    /// First bar, from 1.
    pub first: u32,
    /// Last bar, itself included.
    pub last: u32,
}

/// A range that cannot be looped.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BarRangeError {
    /// No range at all.
    #[error("\"{0}\" is not a range of bars; write the first and the last bar, such as 9-12")]
    Unreadable(String),
    /// Bars beyond the chorus.
    #[error("bars {first}-{last} are not all in the chorus, which has bars 1 to {bars}")]
    Beyond {
        /// First bar asked for.
        first: u32,
        /// Last bar asked for.
        last: u32,
        /// Bars of the chorus.
        bars: usize,
    },
}

impl FromStr for BarRange {
    type Err = BarRangeError;

    fn from_str(text: &str) -> Result<Self, BarRangeError> {
        let read = || {
            let (first, last) = text.split_once('-').unwrap_or((text, text));
            let first = first.trim().parse().ok()?;
            let last = last.trim().parse().ok()?;
            (1..=last)
                .contains(&first)
                .then_some(BarRange { first, last })
        };
        read().ok_or_else(|| BarRangeError::Unreadable(text.to_owned()))
    }
}

impl BarRange {
    /// How many bars it has, which is one at least.
    pub fn bars(self) -> usize {
        (self.last - self.first) as usize + 1
    }

    /// These bars of a chorus as a chorus of their own, counted from 1; a chord that sounds before or after
    /// them is cut at their ends.
    ///
    /// # Errors
    /// Bars that the chorus does not have.
    pub fn of(self, chorus: &Chorus) -> Result<Chorus, BarRangeError> {
        let (first, last) = (self.first as usize - 1, self.last as usize - 1);
        if last >= chorus.bars.len() {
            return Err(BarRangeError::Beyond {
                first: self.first,
                last: self.last,
                bars: chorus.bars.len(),
            });
        }
        let opening = &chorus.bars[first];
        let closing = &chorus.bars[last];
        let beats = opening.first_beat..closing.first_beat + usize::from(closing.meter.beats());
        let bars = chorus.bars[first..=last].iter().enumerate();
        let bars: Vec<Bar> = bars
            .map(|(index, bar)| Bar {
                number: index as u32 + 1,
                opens_section: bar.opens_section || index == 0,
                first_beat: bar.first_beat - opening.first_beat,
                start: bar.start - opening.start,
                ..bar.clone()
            })
            .collect();
        let within = chorus
            .spans
            .iter()
            .filter(|span| span.start < beats.end && span.start + span.beats > beats.start);
        let spans = within
            .map(|span| {
                let start = span.start.max(beats.start);
                let end = (span.start + span.beats).min(beats.end);
                let bar = chorus.bar_at(start);
                Span {
                    start: start - beats.start,
                    beats: end - start,
                    bar: bar.number - opening.number + 1,
                    beat: (start - bar.first_beat) as u32 + 1,
                    ..span.clone()
                }
            })
            .collect();
        Ok(Chorus {
            bars,
            spans,
            ..chorus.clone()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use endpin_theory::{Chart, Meter};

    fn keys(home: &str, order: KeyOrder) -> Vec<String> {
        let home: Key = home.parse().unwrap();
        (1..=13)
            .map(|chorus| key(home, order, chorus, 5).to_string())
            .collect()
    }

    #[test]
    fn keys_go_round_all_twelve() {
        // The circle of fourths (common practice, no source).
        let fourths = "F Bb Eb Ab Db Gb B E A D G C F";
        assert_eq!(keys("F", KeyOrder::Fourths).join(" "), fourths);
        let half_steps = "C Db D Eb E F Gb G Ab A Bb B C";
        assert_eq!(keys("C", KeyOrder::HalfSteps).join(" "), half_steps);
        let mut all = keys("C", KeyOrder::All);
        assert_eq!((all[0].as_str(), all[12].as_str()), ("C", "C"));
        all.truncate(12);
        assert_ne!(all.join(" ") + " C", half_steps);
        all.sort();
        all.dedup();
        assert_eq!(all.len(), 12);
        assert!(
            keys("G minor", KeyOrder::Fourths)
                .iter()
                .all(|key| key.ends_with("minor"))
        );
    }

    #[test]
    fn a_range_of_bars_stands_alone() {
        let four: Meter = "4/4".parse().unwrap();
        let chorus = Chart::from_bars("F7 | % | Bb7 | Cm7 F7", four)
            .unwrap()
            .chorus();
        let range: BarRange = "2-4".parse().unwrap();
        let cut = range.of(&chorus).unwrap();
        let spans: Vec<(&str, usize, usize, u32, u32)> = cut
            .spans
            .iter()
            .map(|span| {
                (
                    span.symbol.as_str(),
                    span.start,
                    span.beats,
                    span.bar,
                    span.beat,
                )
            })
            .collect();
        assert_eq!(
            spans,
            [
                ("F7", 0, 4, 1, 1),
                ("Bb7", 4, 4, 2, 1),
                ("Cm7", 8, 2, 3, 1),
                ("F7", 10, 2, 3, 3)
            ]
        );
        assert_eq!(cut.beats(), 12);
        assert!(cut.bars[0].opens_section && cut.bars[0].number == 1);
        let beyond: BarRange = "4-5".parse().unwrap();
        assert_eq!(
            beyond.of(&chorus).unwrap_err().to_string(),
            "bars 4-5 are not all in the chorus, which has bars 1 to 4"
        );
        for bad in ["", "0-3", "5-4", "a-b", "1-", "-3"] {
            assert!(bad.parse::<BarRange>().is_err(), "{bad}");
        }
    }

    #[test]
    fn the_band_trades_first_and_tempo_steps_stay_in_range() {
        let turns: Vec<bool> = (0..10).map(|bar| is_students_turn(Some(4), bar)).collect();
        assert_eq!(turns, [0, 0, 0, 0, 1, 1, 1, 1, 0, 0].map(|turn| turn == 1));
        assert!(!is_students_turn(None, 5));
        assert_eq!(tempo(138.0, 4.0, 3), 146.0);
        assert_eq!(tempo(138.0, 100.0, 50), 400.0);
    }
}
