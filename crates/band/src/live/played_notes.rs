//! What somebody played meanwhile, put in place by the beats of play.

use endpin_theory::{Meter, Ticks};

use super::clock::Nanos;
use super::message::{Message, Note};
use super::timebase::PlayTick;
use crate::performance::score::{Mark, Part, PartName, Score, ScoreNote};

/// The beats of a play, each with its moment and its place on a line of ticks that never goes
/// back, as play itself does after a pause.
#[derive(Clone, Debug, Default)]
pub struct Beats {
    beats: Vec<BeatHeard>,
}

#[derive(Clone, Copy, Debug)]
struct BeatHeard {
    tick: PlayTick,
    at: Nanos,
    place: f64,
}

impl Beats {
    /// Notes a beat.
    pub fn push(&mut self, tick: PlayTick, at: Nanos) {
        let place = match self.beats.last() {
            None => tick.0 as f64,
            Some(last) if tick > last.tick => last.place + (tick.0 - last.tick.0) as f64,
            // Play went back, after a pause say: the time between counts at the last tempo.
            Some(last) => {
                last.place + at.since(last.at).as_nanos() as f64 * self.rate_before_last()
            }
        };
        self.beats.push(BeatHeard { tick, at, place });
    }

    /// Ticks a nanosecond between two beats.
    fn rate(from: &BeatHeard, to: &BeatHeard) -> Option<f64> {
        let span = to.at.since(from.at).as_nanos() as f64;
        let ticks = to.place - from.place;
        (span > 0.0 && ticks > 0.0).then(|| ticks / span)
    }

    fn rate_before_last(&self) -> f64 {
        let last = match self.beats[..] {
            [.., ref from, ref to] => Self::rate(from, to),
            _ => None,
        };
        last.unwrap_or(USUAL_RATE)
    }

    /// The place of a moment; moments before the first beat and after the last count at the
    /// nearest tempo.
    fn place(&self, at: Nanos) -> Option<f64> {
        let after = self.beats.partition_point(|beat| beat.at <= at);
        let from = after
            .saturating_sub(1)
            .min(self.beats.len().saturating_sub(2));
        let beat = self.beats.get(from)?;
        let next = self.beats.get(from + 1);
        let rate = next
            .and_then(|next| Self::rate(beat, next))
            .unwrap_or(USUAL_RATE);
        Some(beat.place + (at.0 as f64 - beat.at.0 as f64) * rate)
    }

    /// The tempo from each beat on at which it changes, in quarter notes a minute.
    fn tempi(&self) -> Vec<(f64, f64)> {
        let mut tempi: Vec<(f64, f64)> = Vec::new();
        for pair in self.beats.windows(2) {
            let Some(rate) = Self::rate(&pair[0], &pair[1]) else {
                continue;
            };
            let tempo = rate * 60e9 / Ticks::QUARTER.0 as f64;
            if tempi
                .last()
                .is_none_or(|(_, last)| (tempo / last - 1.0).abs() > 1e-4)
            {
                tempi.push((pair[0].place, tempo));
            }
        }
        tempi
    }
}

/// 120 quarter notes a minute, in ticks a nanosecond, where there are no two beats to tell.
const USUAL_RATE: f64 = 960.0 / 500e6;

/// What was played, as a score of one part whose tick 0 is the play position `origin`, where the
/// first chorus began. What came before is left out. `None` if no note remains.
pub fn score(
    title: &str,
    meter: &Meter,
    played: &[(Nanos, Message)],
    beats: &Beats,
    origin: PlayTick,
) -> Option<Score> {
    let place = |at: Nanos| {
        let place = beats.place(at)? - origin.0 as f64;
        Some(Ticks(place.round() as i64))
    };
    let last = played.last().and_then(|(at, _)| place(*at))?;
    let mut keys = KeysDown::default();
    for (at, message) in played {
        let at = place(*at)?;
        match message.note() {
            Some(Note::On { key, velocity, .. }) => keys.press(key, velocity, at),
            Some(Note::Off { key, .. }) => keys.lift(key, at),
            None => {}
        }
    }
    let notes = keys.all_lifted(last);
    if notes.is_empty() {
        return None;
    }
    let end = notes.iter().map(ScoreNote::end).max().unwrap_or(last);
    let mut conductor = vec![(Ticks::ZERO, Mark::Meter(meter.clone()))];
    conductor.extend(beats.tempi().into_iter().map(|(at, tempo)| {
        let at = (at - origin.0 as f64).max(0.0).round();
        (Ticks(at as i64), Mark::Tempo(tempo))
    }));
    Some(Score {
        title: title.into(),
        parts: vec![Part::new(PartName::Bass, notes)],
        conductor,
        end,
    })
}

/// The keys of whoever plays: which are down, and the notes of those that were lifted.
#[derive(Default)]
struct KeysDown {
    /// Key, velocity and moment of each that is down, in order.
    down: Vec<(u8, u8, Ticks)>,
    notes: Vec<ScoreNote>,
}

impl KeysDown {
    fn press(&mut self, key: u8, velocity: u8, at: Ticks) {
        self.lift(key, at);
        self.down.push((key, velocity, at));
    }

    /// Ends the note on a key, if it is down. What began before the first chorus is left out.
    fn lift(&mut self, key: u8, at: Ticks) {
        let Some(found) = self.down.iter().position(|(held, ..)| *held == key) else {
            return;
        };
        let (key, velocity, start) = self.down.remove(found);
        if start >= Ticks::ZERO {
            self.notes.push(ScoreNote {
                start,
                length: (at - start).max(Ticks(1)),
                key,
                velocity,
            });
        }
    }

    fn all_lifted(mut self, at: Ticks) -> Vec<ScoreNote> {
        while let Some(&(key, ..)) = self.down.first() {
            self.lift(key, at);
        }
        self.notes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HALF_SECOND: u64 = 500_000_000;

    fn played(events: &[(u64, Message)]) -> Vec<(Nanos, Message)> {
        events
            .iter()
            .map(|(ms, message)| (Nanos(ms * 1_000_000), *message))
            .collect()
    }

    fn steady(beats: i64) -> Beats {
        let mut log = Beats::default();
        for beat in 0..beats {
            log.push(
                PlayTick(beat * 960),
                Nanos(1_000_000_000 + beat as u64 * HALF_SECOND),
            );
        }
        log
    }

    fn take(events: &[(u64, Message)], beats: &Beats, origin: i64) -> Option<Score> {
        let meter = "4/4".parse().unwrap();
        score("t", &meter, &played(events), beats, PlayTick(origin))
    }

    #[test]
    fn notes_fall_where_they_were_played() {
        let events = [
            (900, Message::note_on(3, 30, 50)),
            (950, Message::note_off(3, 30)),
            (1_000, Message::note_on(3, 40, 90)),
            (1_450, Message::note_off(3, 40)),
            (1_750, Message::note_on(3, 43, 80)),
            (2_000, Message::note_on(3, 43, 0)),
            (60_000, Message::note_on(3, 45, 70)),
        ];
        let score = take(&events, &steady(8), 0).unwrap();
        let notes = &score.parts[0].notes;
        let places: Vec<(i64, i64, u8)> = notes
            .iter()
            .map(|n| (n.start.0, n.length.0, n.key))
            .collect();
        assert_eq!(places, [(0, 864, 40), (1_440, 480, 43), (113_280, 1, 45)]);
        let (at, Mark::Tempo(tempo)) = score.conductor[1] else {
            panic!("{:?} is no tempo", score.conductor[1]);
        };
        assert!(at == Ticks(0) && (tempo - 120.0).abs() < 1e-9);
        let counted_in = take(&events, &steady(8), 960).unwrap();
        assert_eq!(counted_in.parts[0].notes[0].start, Ticks(480));
        assert!(take(&[], &steady(8), 0).is_none());
        assert!(
            take(&events[..2], &steady(8), 0).is_none(),
            "all before the first beat"
        );
    }

    #[test]
    fn a_pause_takes_the_time_that_it_took() {
        let mut beats = steady(4);
        // Paused on the fourth beat; six seconds later the bar begins again.
        for beat in 0..4 {
            beats.push(
                PlayTick(beat * 960),
                Nanos(8_500_000_000 + beat as u64 * HALF_SECOND),
            );
        }
        let events = [
            (1_000, Message::note_on(0, 40, 90)),
            (1_100, Message::note_off(0, 40)),
            (9_000, Message::note_on(0, 41, 90)),
            (9_100, Message::note_off(0, 41)),
        ];
        let notes = take(&events, &beats, 0).unwrap().parts[0].notes.clone();
        assert_eq!(notes[1].start, Ticks(16 * 960), "eight seconds at 120");
    }
}
