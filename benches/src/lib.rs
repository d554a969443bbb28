//! The line problem, the walker's ways to draw its lines, and other ways for comparison.

pub mod backtracking;
pub mod exact;
#[path = "../../crates/walker/tests/support/line_problem.rs"]
pub mod problem;
pub mod rejection;
pub mod relation;
