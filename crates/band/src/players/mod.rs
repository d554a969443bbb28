//! Who plays with the line: the comp, the drums, where each of them puts a note, and what is between them.

pub mod collisions;
pub mod comp;
pub mod drums;
pub mod placement;
pub mod random_streams;
pub mod styles;
pub mod swing;
