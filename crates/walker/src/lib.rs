//! Walking bass lines sampled exactly from stated rules.
//!
//! A [`Plan`] says what each chorus plays, [`Options`] what a teacher asks of the line; a [`Walker`] then draws
//! choruses, counts them, varies one place, or keeps them apart:
//!
//! ```
//! use endpin_theory::Chart;
//! use endpin_walker::{Options, Plan, Walker};
//!
//! let chart = Chart::from_bars("F7 | Bb7 | F7 | Cm7 F7", "4/4".parse().unwrap()).unwrap();
//! let options = Options {
//!     pins: vec!["3.3=A2".parse().unwrap()],
//!     ..Options::default()
//! };
//! let walker = Walker::new(Plan::of(chart.chorus(), &options), options).unwrap();
//! let line = walker.line(1, 2); // seed 1, chorus 2: the same alone as among a thousand
//! assert!(line.notes.iter().any(|note| note.bar == 3 && note.pitch.to_string() == "A2"));
//! for note in &line.notes {
//!     println!("{note}: {}", note.why);
//! }
//! println!("{} such choruses exist", walker.count());
//! ```
//!
//! ```text
//!   Chorus ──► layout ──► Onset ─┐
//!   Level  ──► rules, tastes ────┴─► skeleton ──► lattice ──► weights ──► ChorusLine
//!                    │                              │
//!                  judge                          count
//! ```
//!
//! How it works, from the inside out: a [`rules::Rule`] or a taste ([`tastes::Taste`]) is a small automaton
//! that reads the line note by note over [`rules::Onset`]s; a [`lattice::Skeleton`] reads all of them side by
//! side; a [`lattice::Lattice`] is the graph of the states that they reach; [`lattice::Weights`] are those of
//! all that can follow each state, by which lines are drawn; [`line::layout`] makes onsets of a chart, the
//! [`Walker`] joins the lattices of successive choruses. The [`judge`] runs the same rules over a line that
//! somebody played.

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

pub mod instrument;
pub mod judge;
pub mod lattice;
pub mod learn;
pub mod line;
pub mod options;
pub mod phrases;
pub mod pins;
pub mod plan;
pub mod role;
pub mod rules;
pub mod tastes;

pub use instrument::{Hand, Instrument};
pub use judge::{Heard, Judge, Judgement, Verdict};
pub use lattice::keep_workings;
pub use line::{
    ChorusLine, LineNote,
    fingering::Tablature,
    spelling::pitch_of_key,
    walker::{WalkError, Walker},
};
pub use options::{Arc, Level, Options};
pub use phrases::{Motif, Phrases};
pub use plan::{Development, Plan, Turn};
pub use role::Role;
pub use rules::{Liberties, Liberty, Loose, Shares};
pub use tastes::Weights;
