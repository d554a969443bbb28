//! Walking bass lines sampled exactly from stated rules.

pub mod line;
pub mod role;

pub use line::{ChorusLine, LineNote};
pub use role::Role;
