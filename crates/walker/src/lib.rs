//! Walking bass lines sampled exactly from stated rules.

mod annotate;
mod apart;
mod course;
mod diagnose;
pub mod grammar;
pub mod judge;
pub mod lattice;
mod law;
pub mod layout;
pub mod line;
pub mod options;
pub mod pins;
pub mod place;
pub mod plan;
pub mod role;
pub mod rules;
pub mod segments;
mod spelling;
pub mod sums;
pub mod tastes;
mod vary;
pub mod walker;
pub mod weights;

pub use judge::{Broken, Heard, Judge, Judgement, Verdict};
pub use line::{ChorusLine, LineNote};
pub use options::{Arc, Level, Options};
pub use plan::{Plan, Turn};
pub use role::Role;
pub use walker::{WalkError, Walker};
pub use weights::Weights;
