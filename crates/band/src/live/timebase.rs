//! From musical position to moments, exactly: a straight line from an anchor, moved only where
//! the tempo changes, with nothing rounded away that could add up.

use super::clock::Nanos;

/// A position in play: ticks of [`endpin_theory::Ticks::QUARTER`] to the quarter note since
/// the first beat. It goes on counting over choruses and jumps, unlike a place in a chorus.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct PlayTick(pub i64);

/// The length of a quarter note in nanoseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quarter(u64);

impl Quarter {
    /// The slowest and the fastest tempo that play accepts, in quarter notes a minute.
    pub const TEMPI: (f64, f64) = (20.0, 400.0);

    /// From quarter notes a minute, held within [`Quarter::TEMPI`].
    pub fn from_tempo(tempo: f64) -> Quarter {
        let held = tempo.clamp(Self::TEMPI.0, Self::TEMPI.1);
        Quarter((60e9 / held).round() as u64)
    }

    /// From nanoseconds; nought counts as one.
    pub fn from_nanos(nanos: u64) -> Quarter {
        Quarter(nanos.max(1))
    }

    /// Quarter notes a minute.
    pub fn tempo(self) -> f64 {
        60e9 / self.0 as f64
    }

    /// Nanoseconds.
    pub fn nanos(self) -> u64 {
        self.0
    }
}

const TICKS: i128 = endpin_theory::Ticks::QUARTER.0 as i128;

/// The line from position to moment.
#[derive(Clone, Copy, Debug)]
pub struct Timebase {
    anchor: PlayTick,
    /// The moment of the anchor in nanoseconds times [`TICKS`], so that an anchor set at any tick
    /// keeps its fraction of a nanosecond.
    moment: i128,
    quarter: Quarter,
}

impl Timebase {
    /// The line through `anchor` at `moment`.
    pub fn new(anchor: PlayTick, moment: Nanos, quarter: Quarter) -> Timebase {
        Timebase {
            anchor,
            moment: i128::from(moment.0) * TICKS,
            quarter,
        }
    }

    fn exact(&self, tick: PlayTick) -> i128 {
        self.moment + i128::from(tick.0 - self.anchor.0) * i128::from(self.quarter.0)
    }

    /// When `tick` is due, to the nanosecond below.
    pub fn at(&self, tick: PlayTick) -> Nanos {
        Nanos(u64::try_from(self.exact(tick).div_euclid(TICKS)).unwrap_or(0))
    }

    /// The position at `moment`, to the tick below.
    pub fn position(&self, moment: Nanos) -> PlayTick {
        let past = i128::from(moment.0) * TICKS - self.moment;
        let ticks = past.div_euclid(i128::from(self.quarter.0));
        PlayTick(self.anchor.0 + ticks as i64)
    }

    /// Changes the tempo from `tick` on; what comes before keeps its moments.
    pub fn change_tempo(&mut self, tick: PlayTick, quarter: Quarter) {
        self.moment = self.exact(tick);
        self.anchor = tick;
        self.quarter = quarter;
    }

    /// The present length of a quarter note.
    pub fn quarter(&self) -> Quarter {
        self.quarter
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_quarter_at_120_is_half_a_second() {
        let line = Timebase::new(PlayTick(0), Nanos(1_000), Quarter::from_tempo(120.0));
        assert_eq!(line.at(PlayTick(960)), Nanos(500_001_000));
        assert_eq!(line.at(PlayTick(0)), Nanos(1_000));
        assert_eq!(line.position(Nanos(500_001_000)), PlayTick(960));
        assert_eq!(line.position(Nanos(500_000_999)), PlayTick(959));
    }

    proptest! {
        /// However often the tempo changes, the end is the exact sum of the parts' lengths.
        #[test]
        fn changes_of_tempo_lose_nothing(parts in prop::collection::vec((1i64..5_000, 20u32..400), 1..200)) {
            let mut line = Timebase::new(PlayTick(0), Nanos(0), Quarter::from_tempo(100.0));
            let (mut tick, mut sum) = (PlayTick(0), 0i128);
            for (length, tempo) in parts {
                let quarter = Quarter::from_tempo(f64::from(tempo));
                line.change_tempo(tick, quarter);
                tick.0 += length;
                sum += i128::from(length) * i128::from(quarter.nanos());
            }
            prop_assert_eq!(i128::from(line.at(tick).0), sum / TICKS);
        }
    }
}
