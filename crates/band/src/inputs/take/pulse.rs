//! The pulse of a line, found in its attacks.
//!
//! Three steps. The rate is the peak of the windowed Fourier transform of the attacks, the windows' moduli
//! added (the Fourier tempogram of P. Grosche, M. Müller, "Extracting predominant local pulse information
//! from music recordings", IEEE Transactions on Audio, Speech and Language Processing 19(6), 2011; from
//! memory). From the clearest window a Kalman filter over phase and period follows the beats both ways
//! (A. T. Cemgil, B. Kappen, P. Desain, H. Honing, "On tempo tracking: tempogram representation and Kalman
//! filtering", Journal of New Music Research 29(4), 2000; from memory). Lines fitted by least squares to the
//! beats so numbered, one around each attack, give every attack a place between beats.
//!
//! Times come in and go out in nominal beats: beats at the tempo that the file or the chart states.

use std::f64::consts::TAU;

/// The pulse of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Pulse {
    /// For each attack the line around it that gives places to times.
    pub lines: Vec<Fit>,
    /// The line through all beats: a steady tempo.
    pub steady: Fit,
    /// How clear the pulse is, 0 (any rate fits as well) to 1 (every attack on it).
    pub clarity: f64,
}

/// Nominal time as a straight line over the number of the beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Nominal time of beat 0.
    pub zero: f64,
    /// Nominal beats that a played beat lasts.
    pub period: f64,
}

impl Fit {
    /// Played beats in a nominal beat.
    pub fn rate(&self) -> f64 {
        1.0 / self.period
    }

    /// The place of a time, in played beats.
    pub fn place(&self, time: f64) -> f64 {
        (time - self.zero) / self.period
    }

    /// The time of a place.
    pub fn time(&self, place: f64) -> f64 {
        self.zero + place * self.period
    }

    /// The least squares line through pairs of beat and time; none if they do not determine it.
    pub fn through(pairs: impl Iterator<Item = (f64, f64)> + Clone) -> Option<Fit> {
        let (mut count, mut beats, mut times) = (0.0, 0.0, 0.0);
        for (beat, time) in pairs.clone() {
            count += 1.0;
            beats += beat;
            times += time;
        }
        let (middle, mean) = (beats / count, times / count);
        let (mut square, mut product) = (0.0, 0.0);
        for (beat, time) in pairs {
            square += (beat - middle) * (beat - middle);
            product += (beat - middle) * (time - mean);
        }
        let period = product / square;
        (count >= 2.0 && period.is_finite() && period > 0.0).then_some(Fit {
            zero: mean - period * middle,
            period,
        })
    }
}

/// Beats in a window of the tempogram.
const WINDOW: f64 = 24.0;
/// Rates are tried this far from the nominal one.
const NARROW: (f64, f64) = (0.88, 1.12);
/// Rates that are tried when none near the nominal one fits.
const WIDE: (f64, f64) = (0.4, 5.0);
/// Between two tries; over a window this is a tenth of a beat.
const STEP: f64 = 0.004;
/// Below this clarity near the nominal tempo all rates are tried.
const UNCLEAR: f64 = 0.6;
/// The nominal tempo is given up only for one that is so much clearer: off-beats blur any pulse, and blur
/// its double less.
const CLEARER: f64 = 0.6;
/// An attack farther than this from a beat, in beats, does not move the pulse.
const ON_THE_BEAT: f64 = 0.25;
/// Beats on each side of an attack that the line around it is fitted to.
const AROUND: f64 = 16.0;

/// Finds the pulse of attacks in order of time; none for fewer than four.
pub fn find(times: &[f64]) -> Option<Pulse> {
    if times.len() < 4 {
        return None;
    }
    let (rate, clarity) = rate(times);
    let beats = follow(times, rate);
    let whole = Fit::through(numbered(times, &beats))?;
    let mut from = 0;
    let mut to = 0;
    let lines = times
        .iter()
        .map(|&time| {
            let reach = AROUND * whole.period;
            while times[from] < time - reach {
                from += 1;
            }
            while to < times.len() && times[to] <= time + reach {
                to += 1;
            }
            let near = numbered(&times[from..to], &beats[from..to]);
            let enough = near.clone().count() >= 8;
            Fit::through(near).filter(|_| enough).unwrap_or(whole)
        })
        .collect();
    Some(Pulse {
        lines,
        steady: whole,
        clarity,
    })
}

fn numbered<'a>(
    times: &'a [f64],
    beats: &'a [Option<i64>],
) -> impl Iterator<Item = (f64, f64)> + Clone + 'a {
    beats
        .iter()
        .zip(times)
        .filter_map(|(beat, time)| beat.map(|beat| (beat as f64, *time)))
}

/// The rate that fits best and how clear it is.
fn rate(times: &[f64]) -> (f64, f64) {
    let windows = Windows::new(times);
    let best_of = |range: (f64, f64), step: f64| {
        let count = ((range.1 - range.0) / step).round() as usize;
        (0..=count)
            .map(|index| range.0 + step * index as f64)
            .map(|rate| (rate, windows.coherence(rate)))
            .collect::<Vec<_>>()
    };
    let highest = |tries: &[(f64, f64)]| {
        tries.iter().copied().fold(
            (1.0, f64::MIN),
            |best, found| if found.1 > best.1 { found } else { best },
        )
    };
    let near = highest(&best_of(NARROW, STEP));
    let coarse = if near.1 >= UNCLEAR {
        near
    } else {
        let tries = best_of(WIDE, STEP);
        let top = highest(&tries).1;
        match near.1 > CLEARER * top {
            true => near,
            false => nearest_peak(&tries, top).unwrap_or(near),
        }
    };
    let fine = best_of((coarse.0 - STEP, coarse.0 + STEP), STEP / 10.0);
    highest(&fine)
}

/// Of all pulses nearly as clear as the clearest, halves and doubles among them, the one nearest to what the
/// chart or the file expects.
fn nearest_peak(tries: &[(f64, f64)], top: f64) -> Option<(f64, f64)> {
    let far = |rate: f64| rate.max(1.0 / rate);
    tries
        .windows(3)
        .filter(|three| three[1].1 >= three[0].1 && three[1].1 >= three[2].1)
        .map(|three| three[1])
        .filter(|peak| peak.1 > 0.9 * top)
        .min_by(|a, b| far(a.0).total_cmp(&far(b.0)))
}

/// Attacks cut into windows, each half over the one before it.
struct Windows<'a> {
    windows: Vec<&'a [f64]>,
    attacks: f64,
}

impl<'a> Windows<'a> {
    fn new(times: &'a [f64]) -> Windows<'a> {
        let mut windows = Vec::new();
        let mut start = times[0];
        while start <= times[times.len() - 1] {
            let from = times.partition_point(|&time| time < start);
            let to = times.partition_point(|&time| time < start + WINDOW);
            if to - from >= 4 {
                windows.push(&times[from..to]);
            }
            // Over a long rest at once.
            let next = times.get(from).copied().unwrap_or(start);
            start = (start + WINDOW / 2.0).max(next.min(start + WINDOW * 1e6));
        }
        if windows.is_empty() {
            windows.push(times);
        }
        let attacks = windows.iter().map(|window| window.len() as f64).sum();
        Windows { windows, attacks }
    }

    fn coherence(&self, rate: f64) -> f64 {
        let moduli = self.windows.iter().map(|window| turn(window, rate).0);
        moduli.sum::<f64>() / self.attacks
    }
}

/// Modulus and phase (in turns) of the sum of the attacks as turns of a wheel at this rate.
fn turn(times: &[f64], rate: f64) -> (f64, f64) {
    let (mut x, mut y) = (0.0, 0.0);
    for time in times {
        let (sin, cos) = (TAU * rate * (time - times[0])).sin_cos();
        x += cos;
        y += sin;
    }
    (x.hypot(y), y.atan2(x) / TAU)
}

/// The number of the beat on which each attack falls, if it falls on one; beat 0 is anywhere.
fn follow(times: &[f64], rate: f64) -> Vec<Option<i64>> {
    let windows = Windows::new(times);
    let clearest = windows
        .windows
        .iter()
        .map(|window| {
            let (modulus, phase) = turn(window, rate);
            // Few attacks agree by chance: their number counts too.
            (
                modulus * modulus / window.len() as f64,
                window[0] + phase / rate,
                window[0],
            )
        })
        .fold((f64::MIN, 0.0, 0.0), |best, found| {
            if found.0 > best.0 { found } else { best }
        });
    let (_, beat, begin) = clearest;
    let first = times.partition_point(|&time| time < begin);
    let mut beats = vec![None; times.len()];
    let mut forward = Tracker::new(beat, 1.0 / rate);
    for index in first..times.len() {
        beats[index] = forward.hear(times[index]);
    }
    let mut backward = Tracker::new(-beat, 1.0 / rate);
    for index in (0..first).rev() {
        beats[index] = backward.hear(-times[index]).map(|beat| -beat);
    }
    beats
}

/// A Kalman filter over the time of the last beat and the period; variances are in squared periods.
struct Tracker {
    beat: i64,
    time: f64,
    period: f64,
    /// Variance of time, covariance, variance of period.
    variance: [f64; 3],
}

/// Spread of attacks around the beat, in beats.
const PLACEMENT: f64 = 0.1;
/// How far the period wanders in a beat, in periods.
const WANDERING: f64 = 0.004;

impl Tracker {
    fn new(time: f64, period: f64) -> Tracker {
        Tracker {
            beat: 0,
            time,
            period,
            variance: [0.01, 0.0, 0.0001],
        }
    }

    /// Takes in an attack and gives its beat, if it falls on one.
    fn hear(&mut self, time: f64) -> Option<i64> {
        let place = (time - self.time) / self.period;
        let steps = place.round();
        if (place - steps).abs() > ON_THE_BEAT {
            return None;
        }
        let [a, b, c] = self.variance;
        let wandering = WANDERING * WANDERING * steps.abs();
        let (a, b, c) = (
            a + 2.0 * steps * b + steps * steps * c,
            b + steps * c,
            c + wandering,
        );
        let certainty = a + PLACEMENT * PLACEMENT;
        let (to_time, to_period) = (a / certainty, b / certainty);
        let surprise = (place - steps) * self.period;
        self.beat += steps as i64;
        self.time += steps * self.period + to_time * surprise;
        self.period += to_period * surprise;
        self.variance = [(1.0 - to_time) * a, (1.0 - to_time) * b, c - to_period * b];
        Some(self.beat)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quarter notes whose period changes and whose attacks waver by a fixed, uneven pattern.
    fn played(count: usize, period: impl Fn(usize) -> f64, waver: f64) -> Vec<f64> {
        let mut time = 3.3;
        (0..count)
            .map(|index| {
                let pattern =
                    [0.3, -1.0, 0.7, 1.0, -0.6, 0.1, -0.9, 0.4][(index * 5 + index / 8) % 8];
                let at = time + waver * pattern;
                time += period(index);
                at
            })
            .collect()
    }

    fn errors(times: &[f64], pulse: &Pulse) -> f64 {
        let first = pulse.lines[0].place(times[0]).round();
        (0..times.len())
            .map(|index| pulse.lines[index].place(times[index]) - first - index as f64)
            .fold(0.0, |worst: f64, error| worst.max(error.abs()))
    }

    #[test]
    fn steady_playing_at_another_tempo_is_found() {
        for rate in [0.92, 0.97, 1.0, 1.05, 1.08] {
            let times = played(144, |_| 1.0 / rate, 0.08);
            let pulse = find(&times).unwrap();
            assert!(
                (pulse.steady.rate() - rate).abs() < 0.001,
                "{rate}: {}",
                pulse.steady.rate()
            );
            assert!(
                errors(&times, &pulse) < 0.2,
                "{rate}: {}",
                errors(&times, &pulse)
            );
            assert!(pulse.clarity > 0.8, "{}", pulse.clarity);
        }
    }

    #[test]
    fn playing_that_speeds_up_is_followed() {
        // From the nominal tempo to 9 % above it in 200 beats.
        let times = played(200, |index| 1.0 - 0.0004 * index as f64, 0.05);
        let pulse = find(&times).unwrap();
        assert!(errors(&times, &pulse) < 0.25, "{}", errors(&times, &pulse));
    }

    #[test]
    fn a_tempo_that_nobody_stated_is_found() {
        for rate in [0.75, 0.8, 1.3, 1.4] {
            let times = played(100, |_| 1.0 / rate, 0.05);
            let pulse = find(&times).unwrap();
            assert!(
                (pulse.steady.rate() - rate).abs() < 0.005,
                "{rate}: {}",
                pulse.steady.rate()
            );
        }
    }

    #[test]
    fn half_notes_and_gaps_keep_the_nominal_beat() {
        let times: Vec<f64> = (0..60)
            .map(|index| f64::from(index) * 2.0 / 1.03 + 5.0)
            .collect();
        let pulse = find(&times).unwrap();
        assert!(
            (pulse.steady.rate() - 1.03).abs() < 0.001,
            "{}",
            pulse.steady.rate()
        );
        assert_eq!(find(&times[..3]), None);
        let far = [0.0, 1.0, 2.0, 3.0, 1e7, 1e7 + 1.0, 1e7 + 2.0, 1e7 + 3.0];
        assert!(find(&far).is_some());
        assert!(find(&[2.0; 9]).is_none());
    }
}
