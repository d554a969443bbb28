//! What was fitted: how much each figure of a window speaks for a key, and each rise for an attack.
//!
//! Multinomial and plain logistic regression on takes that fluidsynth played with two sound fonts (TimGM6mb,
//! FluidR3 GM), clean, through a phone's microphone, with backing, hum, clipping, mp3; the split `develop` of
//! `tests/outside/hear_takes.py`. They were judged on other charts, seeds, tempi and on two more fonts.

use super::{attacks::BANDS, pitch::FIGURES};

/// The weight of each figure of [`super::pitch::Pitch::figures`].
pub const OF_FIGURES: [f32; FIGURES] = [
    3.58, 4.14, 3.19, 1.27, 3.68, 1.82, 3.32, 0.89, 1.11, -0.58, 3.87,
    0.95, // its own partials
    -0.26, -1.76, -0.10, -0.95, -0.26, // those of an octave below
    -0.16, -1.09, -2.85, -1.71, 0.65, // those of an octave and a fifth below
    4.77,
    0.66, // the share of all partials that are its own; the strongest of its first three
];

/// What speaks for silence: a constant, and the weight of each decibel above the loud windows.
pub const SILENCE: (f32, f32) = (3.68, -0.73);

/// For a string struck again, by band, for each 10 dB: a quick rise; being louder than before; having
/// fallen just before. The top bands speak against it: cymbals.
pub const STRUCK_AGAIN: [[f32; 3]; BANDS] = [
    [1.18, 1.66, 0.53],
    [0.59, 0.92, 2.60],
    [0.45, -0.98, 1.46],
    [0.36, -0.14, 0.46],
    [0.27, -1.19, -0.12],
    [2.14, -2.65, -0.13],
];

/// The constant beside them.
pub const STRUCK_AGAIN_AT_LEAST: f32 = -3.79;
