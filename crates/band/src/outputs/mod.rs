//! What goes out: MIDI files, notation, questions for the ear, reports, pages, text, and where they are put.
//!
//! [`marks`] states once how the part of a note is shown in all of them.

pub mod changes;
pub mod destination;
pub mod ear;
pub mod folder_swap;
#[cfg(feature = "sound")]
pub mod heard;
pub mod html;
pub mod json;
pub mod learnt;
pub mod marks;
pub mod midi_file;
pub mod origin;
pub mod reading;
pub mod report;
pub mod sheet;
pub mod tablature;
pub mod table;
pub mod verdict;
