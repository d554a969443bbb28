//! Live play: the band sent to MIDI ports as it is made, for as long as wanted.
//!
//! ```text
//! supply ──passages──▶ conductor ──events──▶ scheduler ──messages──▶ sinks
//!                          ▲    one beat ahead      │
//!                       control                     └──beats──▶ screen
//! ```
//! The scheduler's thread does nothing but send what is due; all decisions are the conductor's.

pub mod board;
pub mod clock;
pub mod conductor;
pub mod control;
pub mod copyist;
pub mod desk;
pub mod follow;
pub mod lateness;
mod locked_loop;
pub mod message;
pub mod passage;
pub mod play;
pub mod ports;
pub mod queue;
pub mod raw;
pub mod repertoire;
pub mod scene;
pub mod scheduler;
pub mod screen;
pub mod sink;
pub mod supply;
pub mod take;
pub mod timebase;
