//! The partials of a sound, window by window, laid on an axis of equal steps of pitch.

use super::RATE;
use realfft::{RealFftPlanner, RealToComplex, num_complex::Complex};
use std::sync::Arc;

/// Samples between two windows: 8 ms.
pub const HOP: usize = 64;
/// Samples of a window: 128 ms, four periods of B0, the lowest note of five strings (31 Hz). With a Hann
/// window the partials of that note are just told apart.
pub const WINDOW: usize = 1024;
/// Steps of the axis in a semitone: 5 cents each.
pub const STEPS: usize = 20;
/// The MIDI key at which the axis begins, an octave below B0.
pub const LOWEST: usize = 11;
/// Semitones on the axis: up to 2,350 Hz.
const SEMITONES: usize = 87;
/// Length of the axis.
pub const AXIS: usize = SEMITONES * STEPS;
/// Decibels below the strongest partial at which a partial counts as nothing.
const DEPTH: f32 = 50.0;

const PADDED: usize = 2048;

/// A window's partials: the height of the partial at each place of the axis, from 0 (none, or
/// 50 dB below the strongest of the window) to 1 (the strongest).
pub struct Spectrum {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    input: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    decibels: Vec<f32>,
    /// The heights along the axis.
    pub heights: Vec<f32>,
    /// The partials themselves: the place of each on the axis, and its height.
    pub partials: Vec<(f32, f32)>,
    /// Level of the strongest partial, in decibels (a full sine is about 0).
    pub strongest: f32,
}

impl Default for Spectrum {
    fn default() -> Self {
        Spectrum::new()
    }
}

impl Spectrum {
    /// Room for the windows of one sound.
    pub fn new() -> Spectrum {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(PADDED);
        let window: Vec<f32> = (0..WINDOW)
            .map(|i| {
                let turn = std::f32::consts::TAU * (i as f32 + 0.5) / WINDOW as f32;
                (1.0 - turn.cos()) * 2.0 / WINDOW as f32
            })
            .collect();
        Spectrum {
            input: fft.make_input_vec(),
            output: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            fft,
            window,
            decibels: vec![0.0; PADDED / 2 + 1],
            heights: vec![0.0; AXIS],
            partials: Vec::new(),
            strongest: -200.0,
        }
    }

    /// Reads the window whose middle is at a sample; what lies outside the sound is silence.
    pub fn read(&mut self, samples: &[f32], middle: usize) {
        self.input.fill(0.0);
        for (i, (input, weight)) in self.input.iter_mut().zip(&self.window).enumerate() {
            let at = (middle + i).checked_sub(WINDOW / 2);
            *input = at
                .and_then(|at| samples.get(at))
                .map_or(0.0, |&sample| sample * weight);
        }
        // Its only errors are of lengths, which are the plan's own.
        if self
            .fft
            .process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch)
            .is_err()
        {
            return;
        }
        for (decibels, value) in self.decibels.iter_mut().zip(&self.output) {
            *decibels = 10.0 * (value.norm_sqr() + 1e-20).log10();
        }
        self.lay_out();
    }

    fn lay_out(&mut self) {
        self.heights.fill(0.0);
        self.partials.clear();
        let hertz = RATE as f32 / PADDED as f32;
        let (first, last) = ((25.0 / hertz) as usize, (2350.0 / hertz) as usize);
        self.strongest = (first..=last)
            .map(|bin| self.decibels[bin])
            .fold(-200.0, f32::max);
        if self.strongest < -110.0 {
            return;
        }
        let floor = self.strongest - DEPTH;
        for bin in first..=last {
            let [before, here, after] = [bin - 1, bin, bin + 1].map(|bin| self.decibels[bin]);
            if here <= floor || here <= before || here < after {
                continue;
            }
            // The top of the parabola through three points.
            let bend = before - 2.0 * here + after;
            let off = if bend < 0.0 {
                (0.5 * (before - after) / bend).clamp(-0.5, 0.5)
            } else {
                0.0
            };
            let frequency = (bin as f32 + off) * hertz;
            let height = ((here - 0.25 * (before - after) * off - floor) / DEPTH).clamp(0.0, 1.0);
            self.put(frequency, height);
            self.partials.push((place_of(frequency), height));
        }
    }

    /// A partial, with a slope on both sides: what a partial's place is sure to, 25 cents or 1.5 Hz.
    fn put(&mut self, frequency: f32, height: f32) {
        let place = place_of(frequency);
        let hertz_a_step = frequency * (std::f32::consts::LN_2 / 12.0 / STEPS as f32);
        let width = (25.0 / 100.0 * STEPS as f32).max(1.5 / hertz_a_step);
        let reach = (2.2 * width).ceil() as i32;
        let middle = place.round() as i32;
        for at in (middle - reach).max(0)..=(middle + reach).min(AXIS as i32 - 1) {
            let away = (at as f32 - place) / width;
            let value = height * (-0.5 * away * away).exp();
            let there = &mut self.heights[at as usize];
            *there = there.max(value);
        }
    }
}

/// The place of a frequency (hertz) on the axis, for A at 440 Hz.
pub fn place_of(frequency: f32) -> f32 {
    (69.0 - LOWEST as f32 + 12.0 * (frequency / 440.0).log2()) * STEPS as f32
}
