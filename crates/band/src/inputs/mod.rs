//! What comes in: files as they are, classes, recordings, and takes, the lines that somebody played.

pub mod class_list;
#[cfg(feature = "sound")]
pub mod sound;
pub mod source;
pub mod take;
