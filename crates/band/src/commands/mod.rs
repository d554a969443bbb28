//! The commands, one file each: arguments and the job.

pub mod chart;
pub mod ear;
pub mod explain;
pub mod sheet;
pub mod write;
