//! Pure harmony: pitches, intervals, chords, scales, keys, meters and charts.
//!
//! ```text
//!   text ──► Chart ──► Chorus ────────► Understood
//!            sections   bars, spans      function, key, scale, reason
//!               │          │                 │
//!            Meter       Chord ──────────► Scale      Key, Spelling
//!            Ticks       Degree, Interval, NoteName, Pitch
//! ```
//!
//! and `changes` makes one chart into another, richer or plainer, a named substitution at a time.
//!
//! A [`Chart`] is what a hand writes; unrolled, it is a [`chart::Chorus`] of [`Span`]s, each a chord and how
//! long it lasts; [`analyse`] says what each chord does there:
//!
//! ```
//! use endpin_theory::{Chart, analyse};
//!
//! let chart = Chart::from_bars("Dm7 | G7 | Cmaj7 | A7", "4/4".parse().unwrap()).unwrap();
//! let chorus = chart.chorus();
//! let understood = analyse(&chorus.spans, chart.key);
//! assert_eq!(understood[1].function, "V7");
//! assert_eq!(understood[1].scale.to_string(), "G mixolydian");
//! // A secondary dominant: it leads back to Dm7.
//! assert!(understood[3].function.contains("V7/ii"));
//! ```
//!
//! Nothing here is random, and nothing reads or writes. Spelling is
//! kept throughout: a Gb stays a Gb, and only [`Pitch::midi`] forgets it.

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
pub mod changes;
pub mod chart;
pub mod chord;
pub mod interval;
pub mod key;
pub mod meter;
mod nearest;
pub mod pitch;
pub mod scale;
pub mod spelling;

pub use analysis::{FoundKey, Understood, analyse, find_key, find_keys};
pub use chart::{Chart, Chorus, Feel, Palette, Span};
pub use chord::{Chord, ChordTone, Family, Part};
pub use interval::{Degree, Interval};
pub use key::{Key, Mode, ReadKey};
pub use meter::{Meter, MeterError, Strength, Ticks};
pub use nearest::{did_you_mean, did_you_mean_key, nearest};
pub use pitch::{Letter, NoteName, Pitch};
pub use scale::{Scale, ScaleKind};
pub use spelling::{Heading, Spelling};
