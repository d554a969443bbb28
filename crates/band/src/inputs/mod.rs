//! What comes in: files as they are, and takes, the lines that somebody played.

pub mod source;
pub mod take;
