//! The band around the line: who plays with it, and all that goes out and comes in.
//!
//! ```text
//!   Chart, Wishes ──► Session ──► Made ────────► Score ──┬─► midi_file: a file
//!                       │         lines, comp            ├─► live: a port
//!                       │           │                    └─► ear: questions
//!                       │           └─► sheet: paper; report: JSON
//!                       └─► take: a played line ──► verdict
//! ```
//!
//! Each room has what its name says: [`inputs`], [`players`], [`performance`], [`outputs`], `live` (with the
//! feature of that name) and [`command_line`].
//!
//! A [`performance::session::Session`] is a chart with what is wished of it; performed, it is lines and comp, and as a
//! [`performance::score::Score`] every note has its time and loudness:
//!
//! ```
//! use endpin::{
//!     outputs::midi_file,
//!     performance::session::{Session, Wishes},
//! };
//! use endpin_theory::Chart;
//!
//! let chart = Chart::from_bars("F7 | Bb7 | F7 | Cm7 F7", "4/4".parse().unwrap()).unwrap();
//! let session = Session::new(chart, Wishes::plain(1, 2, Default::default())).unwrap(); // seed 1, 2 choruses
//! let made = session.perform().unwrap();
//! for note in made.notes().take(4) {
//!     println!("{note}: {}", note.why);
//! }
//! let file = midi_file::bytes(&made.score(), midi_file::TrackLayout::Tracks);
//! assert!(file.starts_with(b"MThd"));
//! ```
//!
//! The command line ([`command_line`]) is a thin cover over these; it holds no music.

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

pub mod command_line;
#[cfg(feature = "desk")]
pub mod desk;
pub mod failure;
#[cfg(unix)]
mod ignored_signals;
pub mod inputs;
#[cfg(feature = "live")]
pub mod live;
pub mod outputs;
pub mod performance;
pub mod players;
pub mod progress;
