//! The graph of all lines over a chorus, compiled from rules and tastes, and what is asked of it.
//!
//! [`skeleton`] reads rules and tastes side by side; [`graph`] is the layered graph of the states that they
//! reach, `expand` makes its edges, `workings` keeps them for the next one; [`nearest`] finds the line nearest to a played one among them; [`sums`] gather what follows each state, over
//! any semiring: numbers of lines, weights; [`draw`] chooses lines by those weights, `redraw` a stretch of one anew;
//! [`expected`] says what to expect of them; [`favours`] bring that near to what is asked.

pub mod draw;
mod expand;
pub mod expected;
pub mod favours;
pub mod graph;
pub mod nearest;
pub(crate) mod redraw;
pub(crate) mod rest;
pub mod skeleton;
pub mod sums;
mod workings;

pub use draw::Drawing;
pub use expected::{Expected, StepWeights};
pub use favours::Favours;
pub use graph::{Edge, Lattice, Listed, TooLarge};
pub use nearest::Costs;
pub use skeleton::{Named, Skeleton, State};
pub use sums::{Semiring, Weights};
pub use workings::keep_workings;
pub(crate) use workings::keeps;
