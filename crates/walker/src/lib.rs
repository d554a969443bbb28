//! Walking bass lines sampled exactly from stated rules.

pub mod grammar;
pub mod lattice;
pub mod line;
pub mod place;
pub mod role;
pub mod rules;
pub mod sums;
pub mod tastes;
pub mod weights;

pub use line::{ChorusLine, LineNote};
pub use role::Role;
pub use weights::Weights;
