//! What the ticks of a file last.

use midly::Timing;

/// A tempo event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TempoChange {
    /// Where it stands.
    pub tick: u64,
    /// Microseconds a quarter note from there on.
    pub microseconds: u32,
}

/// Ticks to seconds, and to quarter notes where the file counts in them.
#[derive(Clone, Debug, PartialEq)]
pub enum TempoMap {
    /// Ticks divide a quarter note, whose length the tempo events give.
    Quarters {
        /// Ticks in a quarter note.
        division: f64,
        /// Where each stretch of one tempo begins; the first at tick 0.
        stretches: Vec<Stretch>,
    },
    /// Ticks divide a second; such a file has no beats of its own.
    Seconds {
        /// Ticks in a second.
        rate: f64,
    },
}

/// Ticks from here on last alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    tick: u64,
    seconds: f64,
    a_tick: f64,
}

/// The tempo of a file that states none: 120 quarter notes a minute (Standard MIDI File 1.0, from memory).
const UNSTATED: u32 = 500_000;

impl TempoMap {
    /// The map of a file; none if its division is zero.
    pub fn new(timing: Timing, mut tempo: Vec<TempoChange>) -> Option<TempoMap> {
        let division = match timing {
            Timing::Timecode(_, 0) => return None,
            Timing::Timecode(frames, ticks) => {
                return Some(TempoMap::Seconds {
                    rate: f64::from(frames.as_f32()) * f64::from(ticks),
                });
            }
            Timing::Metrical(division) if division.as_int() == 0 => return None,
            Timing::Metrical(division) => f64::from(division.as_int()),
        };
        let seconds = |microseconds: u32| f64::from(microseconds.max(1)) / 1e6 / division;
        tempo.sort_by_key(|change| change.tick);
        let mut now = Stretch {
            tick: 0,
            seconds: 0.0,
            a_tick: seconds(UNSTATED),
        };
        let mut stretches = vec![now];
        for change in tempo {
            now = Stretch {
                tick: change.tick,
                seconds: now.at(change.tick),
                a_tick: seconds(change.microseconds),
            };
            // A tempo that is changed at once, as at the beginning, never was.
            if stretches.last().is_some_and(|last| last.tick == now.tick) {
                stretches.pop();
            }
            stretches.push(now);
        }
        Some(TempoMap::Quarters {
            division,
            stretches,
        })
    }

    /// Seconds from the beginning of the file.
    pub fn seconds(&self, tick: u64) -> f64 {
        match self {
            TempoMap::Seconds { rate } => tick as f64 / rate,
            TempoMap::Quarters { stretches, .. } => {
                let after = stretches.partition_point(|stretch| stretch.tick <= tick);
                stretches[after.max(1) - 1].at(tick)
            }
        }
    }

    /// Seconds from the beginning of the file to a place in quarter notes, before it or between ticks
    /// included; none if the file does not count in quarter notes.
    pub fn seconds_at_quarters(&self, quarters: f64) -> Option<f64> {
        match self {
            TempoMap::Seconds { .. } => None,
            TempoMap::Quarters {
                division,
                stretches,
            } => {
                let tick = quarters * division;
                let after = stretches.partition_point(|stretch| stretch.tick as f64 <= tick);
                Some(stretches[after.max(1) - 1].between(tick))
            }
        }
    }

    /// Quarter notes from the beginning of the file, if it counts in them.
    pub fn quarters(&self, tick: u64) -> Option<f64> {
        match self {
            TempoMap::Seconds { .. } => None,
            TempoMap::Quarters { division, .. } => Some(tick as f64 / division),
        }
    }
}

impl Stretch {
    fn at(&self, tick: u64) -> f64 {
        self.between(tick as f64)
    }

    fn between(&self, tick: f64) -> f64 {
        self.seconds + (tick - self.tick as f64) * self.a_tick
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_follow_the_tempo() {
        let change = |tick, microseconds| TempoChange { tick, microseconds };
        let timing = Timing::Metrical(480.into());
        let tempo_map =
            TempoMap::new(timing, vec![change(960, 1_000_000), change(0, 600_000)]).unwrap();
        // Two quarters of 0.6 s, then quarters of 1 s.
        for (tick, seconds) in [(0, 0.0), (480, 0.6), (960, 1.2), (1440, 2.2)] {
            assert!((tempo_map.seconds(tick) - seconds).abs() < 1e-12, "{tick}");
        }
        assert_eq!(tempo_map.quarters(720), Some(1.5));
        assert_eq!(tempo_map.seconds_at_quarters(2.5), Some(1.7));
        assert_eq!(tempo_map.seconds_at_quarters(-1.0), Some(-0.6));
        assert_eq!(TempoMap::new(Timing::Metrical(0.into()), vec![]), None);
    }
}
