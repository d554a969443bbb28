//! The commands, one file each: arguments and the job.

pub mod changes;
pub mod chart;
pub mod check;
pub mod completions;
#[cfg(feature = "desk")]
pub mod desk;
pub mod ear;
pub mod explain;
#[cfg(feature = "sound")]
pub mod hear;
pub mod learn;
#[cfg(feature = "live")]
pub mod live;
pub mod man;
#[cfg(feature = "live")]
pub mod ports;
pub mod sheet;
pub mod write;
