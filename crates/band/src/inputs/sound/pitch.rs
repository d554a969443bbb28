//! Which note sounds in a window: how well the partials of each key are there.

use super::{
    path::{SILENCE, STATES},
    spectrum::{AXIS, LOWEST, STEPS, Spectrum},
    weights,
};

/// The keys that are looked for: B0, the low string of five, to G4.
pub const KEYS: std::ops::RangeInclusive<u8> = 23..=67;
/// How many they are.
pub const COUNT: usize = 45;

/// Multiples of a key's frequency that are looked at: its partials, and what would be partials of a note an
/// octave, or an octave and a fifth, below.
pub const MULTIPLES: [f32; 22] = [
    1.0,
    2.0,
    3.0,
    4.0,
    5.0,
    6.0,
    7.0,
    8.0,
    9.0,
    10.0,
    11.0,
    12.0, // its own
    0.5,
    1.5,
    2.5,
    3.5,
    4.5, // an octave below
    1.0 / 3.0,
    2.0 / 3.0,
    4.0 / 3.0,
    5.0 / 3.0,
    7.0 / 3.0, // an octave and a fifth below
];
/// Figures of a key in a window: the heights at its multiples, and two of the whole.
pub const FIGURES: usize = MULTIPLES.len() + 2;

/// Reads windows for one tuning.
pub struct Pitch {
    offsets: [i32; MULTIPLES.len()],
    /// Steps by which A lies above 440 Hz.
    shift: i32,
    /// How near to a partial a place is, by its distance above the key.
    near: Vec<f32>,
}

impl Pitch {
    /// For an instrument tuned so many steps of 5 cents above A 440.
    pub fn new(shift: i32) -> Pitch {
        let steps = |multiple: f32| 12.0 * multiple.log2() * STEPS as f32;
        let near = (0..AXIS).map(|above| {
            let multiple = (above as f32 / STEPS as f32 / 12.0).exp2().round().max(1.0);
            let away = (above as f32 - steps(multiple)).abs();
            (-0.5 * (away / 6.0).powi(2)).exp()
        });
        Pitch {
            offsets: MULTIPLES.map(|multiple| steps(multiple).round() as i32),
            shift,
            near: near.collect(),
        }
    }

    /// The figures of a key in a window.
    pub fn figures(&self, spectrum: &Spectrum, key: u8) -> [f32; FIGURES] {
        let mut figures = [0.0; FIGURES];
        let root = (i32::from(key) - LOWEST as i32) * STEPS as i32 + self.shift;
        for (figure, offset) in figures.iter_mut().zip(self.offsets) {
            *figure = usize::try_from(root + offset)
                .ok()
                .and_then(|at| spectrum.heights.get(at))
                .copied()
                .unwrap_or(0.0);
        }
        let (mut all, mut own) = (0.0, 0.0);
        for &(place, height) in &spectrum.partials {
            let above = place.round() as i32 - root;
            let near = usize::try_from(above + 3)
                .ok()
                .and_then(|_| self.near.get(above.max(0) as usize))
                .copied()
                .unwrap_or(0.0);
            all += height;
            own += height * near;
        }
        figures[FIGURES - 2] = own / (all + 0.1);
        figures[FIGURES - 1] = figures[0].max(figures[1]).max(figures[2]);
        figures
    }

    /// How much speaks for a key in a window, as a logarithm up to a constant of the window.
    pub fn likeness(&self, spectrum: &Spectrum, key: u8) -> f32 {
        let figures = self.figures(spectrum, key);
        figures
            .iter()
            .zip(weights::OF_FIGURES)
            .map(|(figure, weight)| figure * weight)
            .sum()
    }

    /// The share of each key, and of silence, in what a window says; the shares add to 1. `loud` is the level
    /// of the loud windows of the recording.
    pub fn shares(&self, spectrum: &Spectrum, loud: f32) -> [f32; STATES] {
        let mut shares = [0.0; STATES];
        for (share, key) in shares.iter_mut().zip(KEYS) {
            *share = self.likeness(spectrum, key);
        }
        let (base, slope) = weights::SILENCE;
        shares[SILENCE] = base + slope * (spectrum.strongest - loud);
        let top = shares.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        shares = shares.map(|share| (share - top).exp());
        let sum: f32 = shares.iter().sum();
        shares.map(|share| share / sum)
    }
}
