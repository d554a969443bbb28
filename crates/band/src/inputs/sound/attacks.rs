//! How the loudness of a sound moves, band by band, in short windows: where notes may begin.

use super::{RATE, weights};
use realfft::{RealFftPlanner, num_complex::Complex};

/// Samples between two short windows: 4 ms.
pub const STEP: usize = 32;
/// Samples of a short window: 32 ms.
const WINDOW: usize = 256;
/// Bounds of the bands, in hertz.
const BOUNDS: [f32; BANDS + 1] = [50.0, 150.0, 300.0, 600.0, 1200.0, 2400.0, 3900.0];
/// How many bands.
pub const BANDS: usize = 6;

/// The level of each band, in decibels, every 4 ms; window `i` has its middle at sample `i * STEP`.
pub fn levels(samples: &[f32]) -> Vec<[f32; BANDS]> {
    let fft = RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW);
    let window: Vec<f32> = (0..WINDOW)
        .map(|i| {
            (1.0 - (std::f32::consts::TAU * (i as f32 + 0.5) / WINDOW as f32).cos()) * 2.0
                / WINDOW as f32
        })
        .collect();
    let (mut input, mut output) = (fft.make_input_vec(), fft.make_output_vec());
    let mut scratch: Vec<Complex<f32>> = fft.make_scratch_vec();
    let bins = BOUNDS.map(|hertz| (hertz * WINDOW as f32 / RATE as f32).round() as usize);
    (0..samples.len().div_ceil(STEP))
        .map(|number| {
            let middle = number * STEP;
            for (i, (input, weight)) in input.iter_mut().zip(&window).enumerate() {
                let at = (middle + i).checked_sub(WINDOW / 2);
                *input = at
                    .and_then(|at| samples.get(at))
                    .map_or(0.0, |&sample| sample * weight);
            }
            // Its only errors are of lengths, which are the plan's own.
            let _ = fft.process_with_scratch(&mut input, &mut output, &mut scratch);
            std::array::from_fn(|band| {
                let power: f32 = output[bins[band]..bins[band + 1]]
                    .iter()
                    .map(|value| value.norm_sqr())
                    .sum();
                10.0 * (power + 1e-12).log10()
            })
        })
        .collect()
}

/// The levels of a sound over time, read for attacks.
pub struct Attacks {
    levels: Vec<[f32; BANDS]>,
}

impl Attacks {
    /// Of a sound at the working rate.
    pub fn new(samples: &[f32]) -> Attacks {
        let mut levels = levels(samples);
        // What lies 65 dB below the loudest band is as good as silent.
        let mut loudest: Vec<f32> = levels
            .iter()
            .step_by(8)
            .map(|bands| bands.iter().copied().fold(-120.0, f32::max))
            .collect();
        loudest.sort_by(f32::total_cmp);
        let floor = loudest
            .get(loudest.len() * 95 / 100)
            .map_or(-120.0, |loud| loud - 65.0);
        for level in levels.iter_mut().flatten() {
            *level = level.max(floor);
        }
        Attacks { levels }
    }

    /// How many steps there are.
    pub fn len(&self) -> usize {
        self.levels.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.levels.is_empty()
    }

    /// The mean level of each band over some steps before or after one, those outside the sound left out.
    fn mean(&self, at: usize, from: i32, to: i32) -> [f32; BANDS] {
        let bound = |offset: i32| {
            at.saturating_add_signed(offset as isize)
                .min(self.levels.len())
        };
        let some = &self.levels[bound(from).min(self.levels.len().saturating_sub(1))..bound(to)];
        let mut sum = [0.0; BANDS];
        for bands in some {
            for (sum, level) in sum.iter_mut().zip(bands) {
                *sum += level;
            }
        }
        sum.map(|sum| sum / some.len().max(1) as f32)
    }

    /// By how much each band is louder in the 20 ms after a step than before it, from 0 to 30 dB.
    fn rises(&self, at: usize) -> [f32; BANDS] {
        let (after, before) = (self.mean(at, 2, 7), self.mean(at, -6, -1));
        std::array::from_fn(|band| (after[band] - before[band]).clamp(0.0, 30.0))
    }

    /// The rises of all bands together, in decibels.
    pub fn rise(&self, at: usize) -> f32 {
        self.rises(at).iter().sum()
    }

    /// How much speaks for a string struck again here, while its note goes on: above 0 more does than not.
    pub fn struck_again(&self, at: usize) -> f32 {
        let (after, before) = (self.mean(at, 6, 20), self.mean(at, -20, -6));
        let (long_before, just_before) = (self.mean(at, -30, -12), self.mean(at, -6, 0));
        let mut sum = weights::STRUCK_AGAIN_AT_LEAST;
        for (band, [rise, louder, fell]) in weights::STRUCK_AGAIN.iter().enumerate() {
            sum += rise * self.rises(at)[band] / 10.0;
            sum += louder * (after[band] - before[band]).clamp(-10.0, 20.0) / 10.0;
            sum += fell * (long_before[band] - just_before[band]).clamp(-5.0, 20.0) / 10.0;
        }
        sum
    }

    /// The level of all bands below 1,200 Hz together, in decibels.
    pub fn level(&self, at: usize) -> f32 {
        let power: f32 = self.levels[at.min(self.levels.len() - 1)][..4]
            .iter()
            .map(|level| 10f32.powf(level / 10.0))
            .sum();
        10.0 * power.log10()
    }
}
