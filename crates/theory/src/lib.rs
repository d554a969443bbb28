//! Pure harmony: pitches, intervals, chords, scales, keys, meters and charts.

pub mod interval;
pub mod meter;
pub mod pitch;

pub use interval::{Degree, Interval};
pub use meter::{Meter, Strength, Ticks};
pub use pitch::{Letter, NoteName, Pitch};
