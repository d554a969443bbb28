//! Pure harmony: pitches, intervals, chords, scales, keys, meters and charts.

pub mod chord;
pub mod interval;
pub mod key;
pub mod meter;
pub mod pitch;
pub mod scale;

pub use chord::{Chord, ChordTone, Family, Part};
pub use interval::{Degree, Interval};
pub use key::{Key, Mode};
pub use meter::{Meter, Strength, Ticks};
pub use pitch::{Letter, NoteName, Pitch};
pub use scale::{Scale, ScaleKind};
