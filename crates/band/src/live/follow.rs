//! Following a MIDI clock: tempo and position from 24 pulses a quarter note, start, stop,
//! continue and song position (MIDI 1.0 Detailed Specification, system real-time and common
//! messages).
//!
//! A pulse that does not come was lost on the way, or is held up and comes in a bunch with those after
//! it: its place is passed over at once, for time goes on, and if it comes after all it is not counted
//! a second time.
//!
//! Pulses arrive with jitter, which the loop of `pulse_smoother` takes out.

use std::ops::Range;

use endpin_theory::Ticks;

use super::clock::Nanos;
use super::message::Message;
use super::pulse_smoother::PulseSmoother;
use super::timebase::{PlayTick, Quarter, Timebase};

/// Pulses to the quarter note.
const PULSES: i64 = 24;
const PULSE: i64 = Ticks::QUARTER.0 / PULSES;
/// So many intervals of another length are another tempo.
const LATEST: usize = 3;
/// So many pulses in time, and those passed over before will not come any more.
const CALM: u32 = 6;
/// Pulses nearer to each other than this, in nanoseconds, were held up on the way: a byte takes 0.32
/// milliseconds on a MIDI cable (MIDI 1.0), and no tempo comes near it.
const TOGETHER: f64 = 1e6;
/// Tempi that a clock is believed to have, in quarter notes a minute.
const BELIEVED: Range<f64> = 15.0..500.0;

/// What the leading clock asks for.
#[derive(Clone, Copy, Debug)]
pub enum Lead {
    /// Be ready at this position; the next pulse is its moment.
    Locate(PlayTick),
    /// Positions fall on this line from now on.
    Line(Timebase),
    /// Stop.
    Halt,
}

/// Follows a clock; see the module.
#[derive(Clone, Debug)]
pub struct Follower {
    lock: Option<PulseSmoother>,
    /// The period expected before two pulses have been heard.
    expected: f64,
    /// When the last pulse came.
    heard: Option<f64>,
    /// The latest intervals, with the pulses passed over in each.
    latest: [(f64, i64); LATEST],
    /// Pulses passed over that may still come.
    owed: i64,
    /// Pulses in time since then.
    calm: u32,
    /// Position of the last pulse, in pulses; or of the next while `armed`.
    pulse: i64,
    /// Started, and the next pulse is the first.
    armed: bool,
    running: bool,
}

impl Follower {
    /// A follower that expects about `quarter` until it hears better.
    pub fn new(quarter: Quarter) -> Follower {
        let expected = quarter.nanos() as f64 / PULSES as f64;
        Follower {
            lock: None,
            expected,
            heard: None,
            latest: [(expected, 0); LATEST],
            owed: 0,
            calm: 0,
            pulse: 0,
            armed: false,
            running: false,
        }
    }

    /// Takes a message that arrived `at`; what it asks for, if anything.
    pub fn hear(&mut self, message: Message, at: Nanos) -> Option<Lead> {
        match message {
            Message::CLOCK => self.pulse(at.0 as f64),
            Message::START => {
                self.pulse = 0;
                self.arm()
            }
            Message::CONTINUE => self.arm(),
            Message::STOP => {
                // The position stays where the next continue goes on: after the last pulse.
                self.pulse += i64::from(self.running && !self.armed);
                self.running = false;
                self.armed = false;
                Some(Lead::Halt)
            }
            _ => {
                if let [0xF2, low, high] = *message.bytes() {
                    // In sixteenths, of six pulses each.
                    self.pulse = 6 * (i64::from(high) << 7 | i64::from(low));
                }
                None
            }
        }
    }

    fn arm(&mut self) -> Option<Lead> {
        self.running = true;
        self.armed = true;
        Some(Lead::Locate(PlayTick(self.pulse * PULSE)))
    }

    fn pulse(&mut self, at: f64) -> Option<Lead> {
        if std::mem::take(&mut self.armed) {
            self.restart(at);
        } else {
            let steps = self.filter(at);
            if !self.running {
                return None;
            }
            self.pulse += steps;
        }
        let lock = self.lock.as_ref()?;
        let quarter = Quarter::from_nanos((lock.period * PULSES as f64).round() as u64);
        let moment = Nanos(lock.last.max(0.0).round() as u64);
        let tick = PlayTick(self.pulse * PULSE);
        Some(Lead::Line(Timebase::new(tick, moment, quarter)))
    }

    /// Starts the loop anew at a pulse that begins play, with the period known so far: whether and
    /// when pulses came while stopped says nothing of this one.
    fn restart(&mut self, at: f64) {
        let lock = match self.lock {
            Some(known) if known.age > 0 => PulseSmoother::lock_heard(at, known.period),
            _ => PulseSmoother::lock(at, self.expected),
        };
        self.latest = [(lock.period, 0); LATEST];
        self.lock = Some(lock);
        self.owed = 0;
        self.heard = Some(at);
    }

    /// Feeds the loop; by how many pulses the position moves on: 1, more if some were passed over, none
    /// if this one had been, fewer if they were wrongly passed over.
    fn filter(&mut self, at: f64) -> i64 {
        let before = self.heard.replace(at);
        let (Some(lock), Some(before)) = (&mut self.lock, before) else {
            self.lock = Some(PulseSmoother::lock(at, self.expected));
            return 1;
        };
        let interval = at - before;
        if self.owed > 0 && lock.next - at > lock.period / 2.0 {
            self.owed -= 1;
            return 0;
        }
        if interval < TOGETHER {
            lock.resume(at);
            return 1;
        }
        if lock.age == 0 {
            // The first interval is a better guess than any expectation.
            let period = match believed(interval) {
                true => interval,
                false => self.expected,
            };
            *lock = PulseSmoother::lock_heard(at, period);
            self.latest = [(period, 0); LATEST];
            return 1;
        }
        let late = ((at - lock.last) / lock.period).round() as i64;
        let over = (late - 1).max(0);
        self.latest.rotate_left(1);
        self.latest[LATEST - 1] = (interval, over);
        if let Some(period) = new_period(&self.latest, lock.period) {
            *lock = PulseSmoother::lock_heard(at, period);
            // Nothing was passed over after all: what the earlier intervals added is taken back.
            let supposed: i64 = self.latest[..LATEST - 1].iter().map(|(_, over)| over).sum();
            self.latest = [(period, 0); LATEST];
            self.owed = 0;
            return 1 - supposed;
        }
        self.calm = if over > 0 { 0 } else { self.calm + 1 };
        self.owed = if self.calm < CALM {
            self.owed + over
        } else {
            0
        };
        match over {
            0 => lock.hear(at),
            _ => lock.skip(1 + over),
        }
        1 + over
    }
}

/// Whether a clock may have this period, in nanoseconds.
fn believed(period: f64) -> bool {
    BELIEVED.contains(&(60e9 / (period * PULSES as f64)))
}

/// The mean of the latest intervals, if they say together that the tempo has jumped: lost pulses
/// make one interval long, and jitter makes one long and the next short, but not all of them.
fn new_period(latest: &[(f64, i64); LATEST], period: f64) -> Option<f64> {
    let all = |test: fn(f64) -> bool| latest.iter().all(|(interval, _)| test(interval / period));
    let mean = latest.iter().map(|(interval, _)| interval).sum::<f64>() / LATEST as f64;
    let elsewhere = all(|ratio| ratio > 1.15) || all(|ratio| ratio < 0.87);
    (elsewhere && believed(mean)).then_some(mean)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    const TICK_AT_120: f64 = 500e6 / 960.0;

    /// Hears pulses at these times and returns the line after each.
    fn follow(follower: &mut Follower, times: impl IntoIterator<Item = f64>) -> Vec<Timebase> {
        let hear = |at: f64| follower.hear(Message::CLOCK, Nanos(at as u64));
        let line = |lead| match lead {
            Some(Lead::Line(line)) => Some(line),
            _ => None,
        };
        times.into_iter().map(hear).filter_map(line).collect()
    }

    fn started() -> Follower {
        let mut follower = Follower::new(Quarter::from_tempo(100.0));
        let lead = follower.hear(Message::START, Nanos(0));
        assert!(matches!(lead, Some(Lead::Locate(PlayTick(0)))));
        follower
    }

    /// How far the line puts `tick` from where it should fall, in milliseconds.
    fn off(line: &Timebase, tick: i64, wanted: f64) -> f64 {
        (line.at(PlayTick(tick)).0 as f64 - wanted) / 1e6
    }

    #[test]
    fn a_steady_clock_is_followed_exactly() {
        let mut follower = started();
        let period = 500e6 / 24.0;
        let lines = follow(
            &mut follower,
            (0..240).map(|pulse| 1e9 + pulse as f64 * period),
        );
        let line = lines.last().unwrap();
        assert!((line.quarter().tempo() - 120.0).abs() < 0.01);
        for tick in [9_560, 9_600, 10_560] {
            assert!(off(line, tick, 1e9 + tick as f64 * TICK_AT_120).abs() < 0.01);
        }
    }

    #[test]
    fn jitter_is_smoothed() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let mut follower = started();
        let period = 500e6 / 24.0;
        let jitter: Vec<f64> = (0..2_000).map(|_| rng.random_range(-3.0..3.0)).collect();
        let times = jitter.iter().enumerate();
        let times: Vec<f64> = times
            .map(|(pulse, ms)| 1e9 + pulse as f64 * period + ms * 1e6)
            .collect();
        let lines = follow(&mut follower, times);
        let rms = |values: &[f64]| {
            (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
        };
        let left: Vec<f64> = lines
            .iter()
            .enumerate()
            .skip(200)
            .map(|(pulse, line)| {
                off(
                    line,
                    (pulse as i64 + 1) * 40,
                    1e9 + (pulse + 1) as f64 * period,
                )
            })
            .collect();
        let (before, after) = (rms(&jitter), rms(&left));
        assert!(after < before / 2.2, "{before:.2} ms became {after:.2} ms");
        let tempi: Vec<f64> = lines[200..]
            .iter()
            .map(|line| line.quarter().tempo() - 120.0)
            .collect();
        assert!(rms(&tempi) < 1.0, "tempo wanders by {:.2}", rms(&tempi));
    }

    #[test]
    fn lost_pulses_keep_the_position() {
        let mut follower = started();
        let period = 500e6 / 24.0;
        let heard = (0..480).filter(|pulse| pulse % 50 != 17 && !(200..210).contains(pulse));
        let lines = follow(
            &mut follower,
            heard.map(|pulse| 1e9 + f64::from(pulse) * period),
        );
        let line = lines.last().unwrap();
        assert!(off(line, 480 * 40, 1e9 + 480.0 * period).abs() < 0.5);
    }

    /// When pulses arrive that a busy machine holds up: those due from `from` on come at `until`.
    fn held_up(times: &[f64], from: f64, until: f64) -> Vec<f64> {
        let mut together = 0.0;
        let arrive = |&due: &f64| match (from..until).contains(&due) {
            true => {
                together += 2e3;
                until + together
            }
            false => due,
        };
        times.iter().map(arrive).collect()
    }

    #[test]
    fn pulses_held_up_are_counted_once() {
        // At 100 as expected and at 230, which is news; held up early and late, for long and for short.
        for tempo in [100.0, 230.0] {
            let period = 60e9 / 24.0 / tempo;
            let times: Vec<f64> = (0..480).map(|n| 1e9 + f64::from(n) * period).collect();
            for first in [0.3, 1.2, 2.7, 40.5, 300.0] {
                for length in [1.6, 2.4, 3.5, 8.0, 24.3, 90.0] {
                    let from = 1e9 + first * period;
                    let arriving = held_up(&times, from, from + length * period);
                    let mut follower = started();
                    let lines = follow(&mut follower, arriving);
                    let line = lines.last().unwrap();
                    let late = off(line, 480 * 40, 1e9 + 480.0 * period);
                    assert!(
                        late.abs() < 3.0,
                        "at {tempo}, held up from pulse {first} for {length}: {late} ms"
                    );
                }
            }
        }
    }

    #[test]
    fn a_machine_that_stutters_all_the_time_is_followed() {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        for _ in 0..50 {
            let period = 60e9 / 24.0 / rng.random_range(60.0..300.0);
            let mut arriving: Vec<f64> = (0..960).map(|n| 1e9 + f64::from(n) * period).collect();
            let mut at = 1e9 + rng.random_range(0.0..40.0) * period;
            while at < 1e9 + 900.0 * period {
                let until = at + rng.random_range(0.5..30.0) * period;
                arriving = held_up(&arriving, at, until);
                at = until + rng.random_range(1.0..60.0) * period;
            }
            let line = *follow(&mut started(), arriving).last().unwrap();
            let late = off(&line, 960 * 40, 1e9 + 960.0 * period);
            assert!(late.abs() < 5.0, "period {} ms: {late} ms", period / 1e6);
        }
    }

    #[test]
    fn a_new_tempo_is_taken_up_without_losing_count() {
        // Half, a third, and double the tempo: as jumps, which lost pulses must not be taken for.
        for factor in [2.0, 3.0, 0.5, 1.4, 0.7] {
            let mut follower = started();
            let period = 500e6 / 24.0;
            let turn = 1e9 + 96.0 * period;
            let before = (0..96).map(|pulse| 1e9 + f64::from(pulse) * period);
            let after = (0..96).map(|pulse| turn + f64::from(pulse) * period * factor);
            let lines = follow(&mut follower, before.chain(after));
            let line = lines.last().unwrap();
            let wanted = turn + 96.0 * period * factor;
            assert!(
                off(line, 192 * 40, wanted).abs() < 3.0,
                "times {factor}: {} ms",
                off(line, 192 * 40, wanted)
            );
            let tempo = 120.0 / factor;
            assert!(
                (line.quarter().tempo() / tempo - 1.0).abs() < 0.02,
                "times {factor}"
            );
        }
    }

    #[test]
    fn a_rallentando_is_followed_closely() {
        let mut follower = started();
        let (mut at, mut truth) = (1e9, Vec::new());
        for pulse in 0..480 {
            truth.push(at);
            // From 120 to 90 over 20 quarters, linearly in tempo.
            at += 60e9 / 24.0 / (120.0 - 30.0 * f64::from(pulse) / 480.0);
        }
        let lines = follow(&mut follower, truth.iter().copied());
        for (pulse, line) in lines.iter().enumerate().skip(48) {
            let late = off(line, pulse as i64 * 40, truth[pulse]);
            assert!(late.abs() < 5.0, "pulse {pulse}: {late} ms");
        }
    }

    #[test]
    fn stop_song_position_and_continue_are_obeyed() {
        let mut follower = started();
        follow(
            &mut follower,
            (0..24).map(|pulse| 1e9 + f64::from(pulse) * 20e6),
        );
        assert!(matches!(
            follower.hear(Message::STOP, Nanos(1_480_000_000)),
            Some(Lead::Halt)
        ));
        // Clocks go on while stopped (MIDI 1.0 allows it) and move nothing.
        assert!(
            follow(
                &mut follower,
                (25..49).map(|pulse| 1e9 + f64::from(pulse) * 20e6)
            )
            .is_empty()
        );
        let lead = follower.hear(Message::CONTINUE, Nanos(1_990_000_000));
        assert!(
            matches!(lead, Some(Lead::Locate(PlayTick(960)))),
            "{lead:?}"
        );
        follower.hear(Message::STOP, Nanos(1_991_000_000));
        follower.hear(Message::song_position(16).unwrap(), Nanos(1_992_000_000));
        let lead = follower.hear(Message::CONTINUE, Nanos(1_993_000_000));
        assert!(
            matches!(lead, Some(Lead::Locate(PlayTick(3_840)))),
            "{lead:?}"
        );
        let lines = follow(&mut follower, [2e9]);
        assert!(off(&lines[0], 3_840, 2e9).abs() < 1.0);
    }
}
