//! The band around the line: who plays with it, and all that goes out and comes in.
//!
//! ```text
//!   Chart, Wishes ──► Session ──► Made ────────► Score ──┬─► smf: a file
//!                       │         lines, comp            ├─► live: a port
//!                       │           │                    └─► ear: questions
//!                       │           └─► sheet: paper; report: JSON
//!                       └─► take: a played line ──► verdict
//! ```
//!
//! A [`session::Session`] is a chart with what is wished of it; performed, it is lines and comp, and as a
//! [`score::Score`] every note has its time and loudness:
//!
//! ```
//! use endpin::{
//!     session::{Session, Wishes},
//!     smf,
//! };
//! use endpin_theory::Chart;
//!
//! let chart = Chart::from_bars("F7 | Bb7 | F7 | Cm7 F7", "4/4".parse().unwrap()).unwrap();
//! let session = Session::new(chart, Wishes::plain(1, 2, Default::default())).unwrap(); // seed 1, 2 choruses
//! let made = session.perform().unwrap();
//! for note in made.notes().take(4) {
//!     println!("{note}: {}", note.why);
//! }
//! let file = smf::bytes(&made.score(), smf::Layout::Tracks);
//! assert!(file.starts_with(b"MThd"));
//! ```
//!
//! The command line ([`cli`], [`commands`]) is a thin cover over these; it holds no music.

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

pub mod arrange;
pub mod cli;
pub mod collisions;
pub mod commands;
pub mod comp;
pub mod ear;
pub mod failure;
pub mod feel;
pub mod html;
pub mod input;
#[cfg(feature = "live")]
pub mod live;
pub mod output;
pub mod practice;
pub mod reading;
pub mod report;
pub mod score;
pub mod session;
pub mod sheet;
pub mod smf;
pub mod stream;
pub mod tablature;
pub mod take;
pub mod text;
pub mod time;
pub mod verdict;
