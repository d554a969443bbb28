//! Live play: the band sent to MIDI ports as it is made, for as long as wanted.
//!
//! ```text
//! passage supply ──passages──▶ conductor ──events──▶ scheduler ──messages──▶ sinks
//!                                  ▲    one beat ahead      │
//!                               control                     └──beats──▶ console, with its screen
//! ```
//! The scheduler's thread does nothing but send what is due; all decisions are the conductor's.

pub mod beat_writer;
pub mod clock;
pub mod conductor;
pub mod console;
pub mod control;
pub mod display;
pub mod follow;
pub mod keys;
pub mod lateness;
pub mod message;
pub mod passage;
pub mod passage_supply;
pub mod play;
pub mod play_status;
pub mod play_view;
pub mod played_notes;
pub mod ports;
mod pulse_smoother;
pub mod queue;
pub mod raw;
pub mod redraw;
pub mod repertoire;
pub mod scheduler;
pub mod screen;
pub mod signals;
pub mod sink;
pub mod timebase;
pub mod trade;
