//! The band around the line, files, ports, pages and the command line.

pub mod feel;
#[cfg(feature = "live")]
pub mod live;
pub mod score;
pub mod smf;
pub mod stream;
pub mod time;
