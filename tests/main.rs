//! The tests that span crates, in one program, which is built and linked once.

mod bad_input;
mod comp_laws;
mod ear;
#[cfg(feature = "sound")]
mod hear;
mod judge;
#[cfg(feature = "live")]
mod live;
mod no_collisions;
mod reader_spelling;
mod reference_tables;
mod same_bytes;
mod scenarios;
mod sheet_engraving;
mod sheet_pages;
mod suspended;
mod worked_principles;
mod worked_progressions;
