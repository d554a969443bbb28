//! Where players put a note against the grid, in milliseconds.
//!
//! The band breathes together: one slow bend, drawn every two bars and led from one to the next, that all follow,
//! so that the time leans and eases as that of players does without tearing the band apart. Beside it each has a
//! bend of their own, much smaller, and a last trembling of the hand. On the beat the bass leans a little ahead
//! of the ride and the comp sits behind it; on the off-beat all meet. The shape follows A. Friberg and
//! A. Sundström, "Swing ratios and ensemble timing in jazz performance", Music Perception 19(3), 2002 (from
//! memory: downbeats late by some tens of milliseconds, off-beats together); the sizes are ours, smaller than
//! players' asynchrony, which R. Rasch, "Synchronization in performed ensemble music", Acustica 43, 1979 gives
//! as 30 to 50 ms between onsets (from memory).

use crate::players::random_streams::{Purpose, below, stream};
use endpin_theory::{Ticks, meter::TICKS_PER_QUARTER};
use rand_chacha::ChaCha8Rng;

/// How one player places notes, all in milliseconds at human 1.
#[derive(Clone, Copy, Debug)]
pub struct Habit {
    /// What is drawn for them.
    pub purpose: Purpose,
    /// How far they stand behind the ride on the beat; negative: ahead.
    pub late: f64,
    /// How far their own bend reaches.
    pub bend: f64,
    /// How far a single note may stray besides.
    pub stray: f64,
}

/// The bass, a little ahead of the ride.
pub const BASS: Habit = Habit {
    purpose: Purpose::BassPlacement,
    late: -4.0,
    bend: 4.0,
    stray: 2.0,
};
/// The comp, a little behind it.
pub const COMP: Habit = Habit {
    purpose: Purpose::CompPlacement,
    late: 6.0,
    bend: 4.0,
    stray: 2.0,
};
/// The ride itself.
pub const TIME: Habit = Habit {
    purpose: Purpose::TimePlacement,
    late: 0.0,
    bend: 0.0,
    stray: 2.0,
};

/// How far the bend of the whole band reaches, in milliseconds at human 1.
const BREATH: f64 = 24.0;
/// Bars from one drawn point of a bend to the next.
const PHRASE: usize = 2;

/// A slow bend over the bars of a chorus, from -1 to 1.
#[derive(Clone, Debug)]
struct Bend(Vec<f64>);

impl Bend {
    /// The bend of a chorus; it ends where that of the next begins.
    fn draw(seed: u64, chorus: u32, purpose: Purpose, bars: usize) -> Bend {
        // Two dice make a triangle.
        let dice =
            |rng: &mut ChaCha8Rng| f64::from(below(rng, 1001) + below(rng, 1001)) / 1000.0 - 1.0;
        let mut rng = stream(seed, chorus, purpose);
        let mut points: Vec<f64> = (0..bars.div_ceil(PHRASE)).map(|_| dice(&mut rng)).collect();
        points.push(dice(&mut stream(seed, chorus + 1, purpose)));
        Bend(points)
    }

    /// Its height so many bars into the chorus.
    fn at(&self, bars: f64) -> f64 {
        let along = (bars / PHRASE as f64).max(0.0);
        let last = self.0.len() - 1;
        let index = (along as usize).min(last);
        let (from, to) = (self.0[index], self.0[(index + 1).min(last)]);
        from + (to - from) * (along - index as f64).min(1.0)
    }
}

/// How one player places the notes of one chorus.
#[derive(Debug)]
pub struct Placement {
    human: f64,
    habit: Habit,
    breath: Bend,
    own: Bend,
    rng: ChaCha8Rng,
}

impl Placement {
    /// For a chorus of so many bars; at human 0 everything stands on the grid.
    pub fn new(seed: u64, chorus: u32, bars: usize, human: f64, habit: Habit) -> Placement {
        Placement {
            human,
            habit,
            breath: Bend::draw(seed, chorus, Purpose::Breath, bars),
            own: Bend::draw(seed, chorus, habit.purpose, bars),
            // The points of the bend come from the same stream, of which this is far behind.
            rng: stream(seed, chorus | 1 << 31, habit.purpose),
        }
    }

    /// The shift of a note so many bars into the chorus, on a beat or off it.
    pub fn shift(&mut self, bars: f64, on_beat: bool, tempo: f64) -> Ticks {
        // Drawn even at human 0, so that the setting changes nothing else.
        let stray = f64::from(below(&mut self.rng, 2001)) / 1000.0 - 1.0;
        let late = if on_beat { self.habit.late } else { 0.0 };
        let bends = BREATH * self.breath.at(bars) + self.habit.bend * self.own.at(bars);
        let ms = self.human * (late + bends + self.habit.stray * stray);
        Ticks((ms * tempo * TICKS_PER_QUARTER as f64 / 60_000.0).round() as i64)
    }

    /// The stream from which loudness is drawn.
    pub fn rng(&mut self) -> &mut ChaCha8Rng {
        &mut self.rng
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bends_lead_from_chorus_to_chorus_and_stay_within_reach() {
        for chorus in 1..20 {
            let here = Bend::draw(3, chorus, Purpose::Breath, 12);
            let next = Bend::draw(3, chorus + 1, Purpose::Breath, 12);
            assert_eq!(here.at(12.0), next.at(0.0));
            for step in 0..120 {
                let (one, other) = (f64::from(step) / 10.0, f64::from(step + 1) / 10.0);
                assert!(here.at(one).abs() <= 1.0);
                assert!((here.at(one) - here.at(other)).abs() <= 0.11);
            }
        }
    }

    #[test]
    fn off_beats_of_the_band_meet_within_ten_milliseconds() {
        let mut bass = Placement::new(7, 1, 200, 1.0, BASS);
        let mut comp = Placement::new(7, 1, 200, 1.0, COMP);
        let mut ride = Placement::new(7, 1, 200, 1.0, TIME);
        // At 62.5 a minute a tick is a millisecond.
        let mut furthest = 0;
        for bar in 0..200 {
            let at = |player: &mut Placement| player.shift(f64::from(bar), false, 62.5).0;
            let shifts = [at(&mut bass), at(&mut comp), at(&mut ride)];
            let spread = shifts.iter().max().unwrap() - shifts.iter().min().unwrap();
            furthest = furthest.max(spread);
        }
        assert!((3..=12).contains(&furthest), "{furthest}");
        let mut still = Placement::new(7, 1, 12, 0.0, COMP);
        assert_eq!(still.shift(3.0, true, 120.0), Ticks::ZERO);
    }
}
