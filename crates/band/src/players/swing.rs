//! From notated beats to performed ticks: swing, note lengths and dynamics.
//!
//! The whole band has one place for the off-beat, that of the ride. (After A. Friberg and A. Sundström, below,
//! from memory: soloists' off-beats are synchronous with the drummer's, their downbeats slightly late.)
//!
//! Swing ratios follow A. Friberg and A. Sundström, "Swing ratios and ensemble timing in jazz performance",
//! Music Perception 19(3), 2002: the ride swings up to 3.5:1 at slow tempi and evenly at fast ones, the
//! soloist less than the ride, the short note stays near 100 ms. The two straight lines are those of the
//! same author's research code (reference file `walking-bass-statistics.md`).

use crate::players::{
    random_streams::below,
    styles::{BALLAD, OffBeat, Style},
};
use endpin_theory::{Meter, Strength, Ticks, chart::Feel, meter::TICKS_PER_QUARTER};
use rand_chacha::rand_core::Rng;

/// How off-beats are played, where the feel swings them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Swing {
    /// By the published figure of the ride for the tempo.
    #[default]
    ByTempo,
    /// Long to short, for everyone: 1.0 is even, 2.0 a triplet.
    Ratio(f64),
    /// Notated positions, and nothing shifted.
    Straight,
}

/// The shortest that the short note of a swung pair gets, in milliseconds.
pub const SHORTEST_MS: f64 = 80.0;

/// Long to short eighth at this tempo (quarter notes a minute), from 1.0 to 3.5.
pub fn ratio_by_tempo(tempo: f64) -> f64 {
    let ride = 4.9396 - 0.0124 * tempo;
    let beat_ms = 60_000.0 / tempo;
    ride.min(3.5).min(beat_ms / SHORTEST_MS - 1.0).max(1.0)
}

/// The ratio of a feel that has one of its own, whatever the tempo.
pub fn own_ratio(feel: Feel) -> Option<f64> {
    match Style::of(feel).off_beat {
        OffBeat::Swung => None,
        OffBeat::Triplet => Some(2.0),
        OffBeat::Even => Some(1.0),
    }
}

/// The map from notated to performed ticks within a bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Warp {
    /// Where the off-beat eighth falls in its quarter.
    off_beat: i64,
}

impl Warp {
    /// For the whole band, in a feel at a tempo. Meters of eighths are played evenly.
    pub fn new(swing: Swing, feel: Feel, tempo: f64, meter: &Meter) -> Warp {
        let ratio = match (swing, Style::of(feel).off_beat) {
            _ if meter.unit() > 4 => 1.0,
            (Swing::Straight, _) | (_, OffBeat::Even) => 1.0,
            (Swing::Ratio(ratio), _) => ratio,
            (Swing::ByTempo, _) => own_ratio(feel).unwrap_or_else(|| ratio_by_tempo(tempo)),
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

/// What decides how long a bass note sounds.
#[derive(Clone, Copy, Debug)]
pub struct Fingered {
    /// Whether it is a ghost note.
    pub ghost: bool,
    /// Semitones to the next note; none if nothing follows.
    pub to_next: Option<i16>,
    /// Whether the note can ring on an open string.
    pub open: bool,
    /// Quarter notes a minute.
    pub tempo: f64,
}

/// How long a bass note of this notated length sounds (common practice, no source): a walk is legato, its
/// steps closer than its leaps; a repeated note lets the string go first; ghosts are dead at once; open strings
/// of ballads ring into what follows; the faster, the shorter.
pub fn bass_length(notated: Ticks, note: Fingered) -> Ticks {
    let percent = match note.to_next {
        _ if note.ghost => 28,
        _ if note.open && note.tempo < BALLAD => 100,
        None => 86,
        Some(0) => 80,
        Some(-4..=4) => 96,
        Some(_) => 91,
    };
    let hurry = if note.tempo > 200.0 { 4 } else { 0 };
    let longest = Ticks(notated.0 - if percent == 100 { 0 } else { 1 });
    Ticks((notated.0 * (percent - hurry) / 100).clamp(1, longest.0.max(1)))
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

    #[test]
    fn the_off_beat_follows_the_published_line() {
        // Reference file walking-bass-statistics.md: at 120, 160, 200 and 240 the ride's line is 3.45, 2.96,
        // 2.46, 1.96.
        for (tempo, ride) in [(120.0, 3.45), (160.0, 2.96), (200.0, 2.46), (240.0, 1.96)] {
            assert!((ratio_by_tempo(tempo) - ride).abs() < 0.01);
        }
    }

    #[test]
    fn swing_falls_with_tempo_and_the_short_note_stays_long_enough() {
        let mut before = f64::MAX;
        for tempo in 30..=400 {
            let tempo = f64::from(tempo);
            let ratio = ratio_by_tempo(tempo);
            assert!(ratio <= before && (1.0..=3.5).contains(&ratio));
            let short = 60_000.0 / tempo / (ratio + 1.0);
            // Evenly played eighths are shorter than 80 ms only above 375 a minute.
            assert!(short >= SHORTEST_MS - 1e-9 || tempo > 375.0, "{tempo}");
            before = ratio;
        }
        assert_eq!(ratio_by_tempo(60.0), 3.5);
        assert_eq!(ratio_by_tempo(360.0), 1.0);
    }

    #[test]
    fn feels_swing_or_do_not() {
        let four: Meter = "4/4".parse().unwrap();
        let off_beat = |swing, feel| Warp::new(swing, feel, 120.0, &four).place(Ticks(480));
        assert_eq!(off_beat(Swing::ByTempo, Feel::Shuffle), Ticks(640));
        assert_eq!(off_beat(Swing::Ratio(3.0), Feel::Shuffle), Ticks(720));
        for feel in [Feel::Bossa, Feel::DoubleTime] {
            assert_eq!(off_beat(Swing::ByTempo, feel), Ticks(480));
            assert_eq!(off_beat(Swing::Ratio(3.0), feel), Ticks(480));
        }
    }

    #[test]
    fn bass_notes_are_as_long_as_the_line_lets_them() {
        let walk = Fingered {
            ghost: false,
            to_next: Some(2),
            open: false,
            tempo: 140.0,
        };
        let length = |note| bass_length(Ticks(960), note).0;
        let repeated = Fingered {
            to_next: Some(0),
            ..walk
        };
        let leap = Fingered {
            to_next: Some(-7),
            ..walk
        };
        let ghost = Fingered {
            ghost: true,
            ..walk
        };
        assert!(length(walk) > length(leap) && length(leap) > length(repeated));
        assert!(length(ghost) < 300);
        let open = Fingered {
            open: true,
            tempo: 60.0,
            ..walk
        };
        assert_eq!(length(open), 960);
        assert!(
            length(Fingered {
                tempo: 240.0,
                ..walk
            }) < length(walk)
        );
    }

    #[test]
    fn quarters_and_triplets_stay_and_the_order_is_kept() {
        let four: Meter = "4/4".parse().unwrap();
        let warp = Warp::new(Swing::Ratio(3.0), Feel::Four, 120.0, &four);
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
        let even = Warp::new(Swing::ByTempo, Feel::Four, 100.0, &six);
        assert_eq!(even.place(Ticks(480)), Ticks(480));
    }
}
