//! From what is asked of a chart to one performed score.

pub mod arrangement;
pub mod practice;
pub mod score;
pub mod session;
