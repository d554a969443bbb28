//! The band around the line, files, ports, pages and the command line.

pub mod score;
pub mod smf;
