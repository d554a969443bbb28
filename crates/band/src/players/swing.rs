//! From notated beats to performed ticks: swing, placement, note lengths and dynamics.
//!
//! Swing ratios follow A. Friberg and A. Sundström, "Swing ratios and ensemble timing in jazz performance",
//! Music Perception 19(3), 2002: the ride swings up to 3.5:1 at slow tempi and evenly at fast ones, the
//! soloist less than the ride, the short note stays near 100 ms. The two straight lines are those of the
//! same author's research code (reference file `walking-bass-statistics.md`).

use crate::players::random_streams::below;
use endpin_theory::{Meter, Strength, Ticks, meter::TICKS_PER_QUARTER};
use rand_chacha::rand_core::Rng;

/// How off-beats are played.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Swing {
    /// Ride and line each by the published figure for the tempo.
    #[default]
    ByTempo,
    /// Long to short, for everyone: 1.0 is even, 2.0 a triplet.
    Ratio(f64),
    /// Notated positions, and nothing shifted.
    Straight,
}

/// Who plays: the ride swings more than the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SwungPart {
    /// The time-keeper.
    Ride,
    /// Bass and comp.
    Line,
}

/// The shortest that the short note of a swung pair gets, in milliseconds.
pub const SHORTEST_MS: f64 = 80.0;

/// Long to short eighth at this tempo (quarter notes a minute), from 1.0 to 3.5.
pub fn ratio_by_tempo(player: SwungPart, tempo: f64) -> f64 {
    let line = match player {
        SwungPart::Ride => 4.9396 - 0.0124 * tempo,
        SwungPart::Line => 2.0483 - 0.0031 * tempo,
    };
    let beat_ms = 60_000.0 / tempo;
    line.min(3.5).min(beat_ms / SHORTEST_MS - 1.0).max(1.0)
}

/// The map from notated to performed ticks within a bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Warp {
    /// Where the off-beat eighth falls in its quarter.
    off_beat: i64,
}

impl Warp {
    /// For a player at a tempo. Meters that count eighths are played evenly.
    pub fn new(swing: Swing, player: SwungPart, tempo: f64, meter: &Meter) -> Warp {
        let ratio = match swing {
            _ if meter.unit() > 4 => 1.0,
            Swing::Straight => 1.0,
            Swing::Ratio(ratio) => ratio,
            Swing::ByTempo => ratio_by_tempo(player, tempo),
        };
        let quarter = TICKS_PER_QUARTER as f64;
        Warp {
            off_beat: (quarter * ratio / (ratio + 1.0)).round() as i64,
        }
    }

    /// The performed place of a notated place, both from the bar line. Quarters stay where they are, the
    /// off-beat eighth moves, what lies between moves in proportion; written triplets stay as written.
    pub fn place(self, in_bar: Ticks) -> Ticks {
        let quarter = in_bar.0.div_euclid(TICKS_PER_QUARTER) * TICKS_PER_QUARTER;
        let into = in_bar.0 - quarter;
        let half = TICKS_PER_QUARTER / 2;
        let third = TICKS_PER_QUARTER / 3;
        let moved = if into == third || into == 2 * third {
            into
        } else if into <= half {
            into * self.off_beat / half
        } else {
            self.off_beat + (into - half) * (TICKS_PER_QUARTER - self.off_beat) / half
        };
        Ticks(quarter + moved)
    }
}

/// A small shift of a note, in ticks: triangular around `mean_ms`, never further than `reach_ms` from it,
/// and drawn anew for each note, so that it does not drift.
pub fn shift(rng: &mut impl Rng, human: f64, mean_ms: f64, reach_ms: f64, tempo: f64) -> Ticks {
    // Two dice make a triangle; drawn even at human 0, so that the setting changes nothing else.
    let dice = f64::from(below(rng, 1001) + below(rng, 1001)) / 1000.0 - 1.0;
    let ms = human * (mean_ms + reach_ms * dice);
    Ticks((ms * tempo * TICKS_PER_QUARTER as f64 / 60_000.0).round() as i64)
}

/// A velocity with a small variation of at most `reach`, within MIDI's 1 to 127.
pub fn vary(rng: &mut impl Rng, human: f64, velocity: i32, reach: i32) -> u8 {
    let dice = below(rng, 2 * reach as u32 + 1) as i32 - reach;
    let varied = velocity + (human * f64::from(dice)).round() as i32;
    varied.clamp(1, 127) as u8
}

/// How much louder than its part's middle a note is by its beat (common practice, no source): the bar line
/// leads, and the off-beats of the meter carry the swing.
pub fn accent(strength: Strength, arrival: bool) -> i32 {
    let by_beat = match strength {
        Strength::Strong => 4,
        Strength::Medium => 0,
        Strength::Weak => 2,
    };
    by_beat + if arrival { 2 } else { 0 }
}

/// Dynamics of the phrase: four-bar phrases rise to their third bar and relax, and each chorus is a little
/// fuller than the one before, up to the fourth (common practice, no source). Bars and choruses count from 0.
pub fn phrase(bar: usize, chorus: u32) -> i32 {
    [0, 1, 3, 1][bar % 4] + chorus.min(3) as i32
}

/// How long a bass note of this notated length sounds: just short of the next, as a finger leaves the string
/// to find the next note; ghost notes are damped at once (common practice, no source).
pub fn bass_length(notated: Ticks, ghost: bool) -> Ticks {
    if ghost {
        Ticks((notated.0 / 3).max(1))
    } else {
        Ticks(notated.0 - (notated.0 / 14).clamp(1, 70))
    }
}

/// How long a comp chord sounds: short ones are clipped, long ones let go a little before what follows.
pub fn comp_length(notated: Ticks, is_short: bool) -> Ticks {
    if is_short {
        Ticks(notated.0 * 7 / 10)
    } else {
        Ticks(notated.0 - (notated.0 / 8).clamp(80, 160))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::players::random_streams::{Purpose, stream};

    #[test]
    fn ride_and_line_follow_the_published_lines() {
        // Reference file walking-bass-statistics.md: at 120, 160, 200 and 240 the ride's line is 3.45, 2.96,
        // 2.46, 1.96; the soloist's follows from its formula.
        for (tempo, ride, line) in [
            (120.0, 3.45, 1.676),
            (160.0, 2.96, 1.552),
            (200.0, 2.46, 1.428),
            (240.0, 1.96, 1.304),
        ] {
            assert!((ratio_by_tempo(SwungPart::Ride, tempo) - ride).abs() < 0.01);
            assert!((ratio_by_tempo(SwungPart::Line, tempo) - line).abs() < 0.001);
        }
    }

    #[test]
    fn swing_falls_with_tempo_and_the_short_note_stays_long_enough() {
        for player in [SwungPart::Ride, SwungPart::Line] {
            let mut before = f64::MAX;
            for tempo in 30..=400 {
                let tempo = f64::from(tempo);
                let ratio = ratio_by_tempo(player, tempo);
                assert!(ratio <= before && (1.0..=3.5).contains(&ratio));
                let short = 60_000.0 / tempo / (ratio + 1.0);
                // Evenly played eighths are shorter than 80 ms only above 375 a minute.
                assert!(short >= SHORTEST_MS - 1e-9 || tempo > 375.0, "{tempo}");
                before = ratio;
            }
        }
        assert_eq!(ratio_by_tempo(SwungPart::Ride, 60.0), 3.5);
        assert_eq!(ratio_by_tempo(SwungPart::Ride, 360.0), 1.0);
    }

    #[test]
    fn quarters_and_triplets_stay_and_the_order_is_kept() {
        let four: Meter = "4/4".parse().unwrap();
        let warp = Warp::new(Swing::Ratio(3.0), SwungPart::Line, 120.0, &four);
        for (from, to) in [
            (0, 0),
            (480, 720),
            (960, 960),
            (1440, 1680),
            (1280, 1280),
            (240, 360),
        ] {
            assert_eq!(warp.place(Ticks(from)), Ticks(to));
        }
        let mut before = Ticks(-1);
        for tick in (0..3840).step_by(60).filter(|tick| tick % 320 != 0) {
            let placed = warp.place(Ticks(tick));
            assert!(placed > before);
            before = placed;
        }
        let six: Meter = "6/8".parse().unwrap();
        let even = Warp::new(Swing::ByTempo, SwungPart::Ride, 100.0, &six);
        assert_eq!(even.place(Ticks(480)), Ticks(480));
    }

    #[test]
    fn shifts_stay_within_reach_and_do_not_drift() {
        let mut rng = stream(3, 1, Purpose::BassPlacement);
        let mut sum = 0;
        for _ in 0..2000 {
            // 8 ms at 125 a minute are 16 ticks.
            let shift = shift(&mut rng, 1.0, 0.0, 8.0, 125.0);
            assert!(shift.0.abs() <= 16);
            sum += shift.0;
        }
        // A triangle of reach 16 has standard deviation 6.5; the mean of 2000 stays within five of its own.
        assert!(sum.abs() < 2000 * 3 / 4, "{sum}");
        assert_eq!(shift(&mut rng, 0.0, 5.0, 8.0, 125.0), Ticks(0));
    }
}
