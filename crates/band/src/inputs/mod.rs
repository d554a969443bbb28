//! What comes in: files as they are, recordings, and takes, the lines that somebody played.

#[cfg(feature = "sound")]
pub mod sound;
pub mod source;
pub mod take;
