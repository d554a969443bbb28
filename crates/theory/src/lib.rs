//! Pure harmony: pitches, intervals, chords, scales, keys, meters and charts.

// What may panic outside tests stands under an `expect` of the lint, with its proof.
#![cfg_attr(
    not(test),
    deny(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable,
        clippy::todo
    )
)]

pub mod analysis;
pub mod chart;
pub mod chord;
pub mod interval;
pub mod key;
pub mod meter;
mod nearest;
pub mod pitch;
pub mod scale;

pub use analysis::{Understood, analyse, find_key};
pub use chart::{Chart, Chorus, Feel, Palette, Span};
pub use chord::{Chord, ChordTone, Family, Part};
pub use interval::{Degree, Interval};
pub use key::{Key, Mode};
pub use meter::{Meter, MeterError, Strength, Ticks};
pub use nearest::nearest;
pub use pitch::{Letter, NoteName, Pitch};
pub use scale::{Scale, ScaleKind};
