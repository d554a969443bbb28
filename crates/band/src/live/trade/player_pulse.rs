//! Following a player: the tempo bends with the notes that somebody plays, within a band.
//!
//! A loop of the second order, as for a clock, but slower: each note near a beat says how early or late the player
//! is, a part of that corrects the place and a smaller part the tempo. The gains are our own choice.

use std::time::Duration;

use crate::live::clock::Nanos;

/// How much of an error corrects the place within the next beat, and how much stays as tempo.
const PLACE: f64 = 0.25;
const TEMPO: f64 = 0.08;
/// A note further from the beat than this share of it is an off-beat and says nothing.
const NEAR: f64 = 0.25;

/// The pulse of a player; see the module.
#[derive(Clone, Debug)]
pub struct PlayerPulse {
    /// How far the tempo may bend, as a share of it.
    band: f64,
    /// What is kept of the tempo, as a share above or below.
    kept: f64,
}

impl PlayerPulse {
    /// Follows within so many percent of the tempo, either way.
    pub fn within(percent: f64) -> PlayerPulse {
        PlayerPulse {
            band: percent / 100.0,
            kept: 0.0,
        }
    }

    /// Hears a note at a moment, when the latest beat began at `beat` and lasts `length`; the factor by which the
    /// tempo is to be multiplied from now on, if the note says anything.
    pub fn hear(&mut self, at: Nanos, beat: Nanos, length: Duration) -> Option<f64> {
        let into = (at.0 as f64 - beat.0 as f64) / length.as_nanos().max(1) as f64;
        let late = into - into.round();
        if late.abs() > NEAR || into > 1.5 {
            return None;
        }
        self.kept = (self.kept - TEMPO * late).clamp(-self.band, self.band);
        let bent = (self.kept - PLACE * late).clamp(-self.band, self.band);
        Some(1.0 + bent)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plays 64 beats at `player` quarters a minute against a tempo of 120 that follows within a band of percent;
    /// the last tempo and by how many milliseconds the last note was off.
    fn follow(player: f64, percent: f64) -> (f64, f64) {
        let mut pulse = PlayerPulse::within(percent);
        let (mut beat, mut factor, mut off) = (1e9, 1.0, 0.0);
        for index in 0..64 {
            let length = 0.5e9 / factor;
            let note = 1e9 + f64::from(index) * 60e9 / player;
            off = (note - beat) / 1e6;
            let heard = pulse.hear(
                Nanos(note as u64),
                Nanos(beat as u64),
                Duration::from_nanos(length as u64),
            );
            beat += length;
            factor = heard.unwrap_or(factor);
        }
        (120.0 * factor, off)
    }

    #[test]
    fn a_player_is_followed_within_the_band_and_no_further() {
        for player in [114.0, 118.0, 120.0, 124.0, 126.0] {
            let (tempo, off) = follow(player, 6.0);
            assert!((tempo - player).abs() < 0.5, "{player}: {tempo}");
            assert!(off.abs() < 10.0, "{player}: {off} ms");
        }
        let (tempo, _) = follow(140.0, 6.0);
        assert!((113.0..=127.3).contains(&tempo), "{tempo}");
        assert!(
            (follow(126.0, 0.0).0 - 120.0).abs() < 1e-9,
            "no band, no bend"
        );
    }

    #[test]
    fn off_beats_say_nothing() {
        let mut pulse = PlayerPulse::within(10.0);
        let beat = Duration::from_millis(500);
        for into in [250, 333, 180] {
            let at = Nanos(1_000_000_000 + into * 1_000_000);
            assert_eq!(pulse.hear(at, Nanos(1_000_000_000), beat), None);
        }
    }
}
