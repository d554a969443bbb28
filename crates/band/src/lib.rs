//! The band around the line, files, ports, pages and the command line.

// What may panic outside tests stands under an `expect` of the lint, with its proof.
#![cfg_attr(
    not(test),
    deny(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable,
        clippy::todo
    )
)]

pub mod arrange;
pub mod cli;
pub mod collisions;
pub mod commands;
pub mod comp;
pub mod ear;
pub mod failure;
pub mod feel;
pub mod input;
#[cfg(feature = "live")]
pub mod live;
pub mod output;
pub mod practice;
pub mod reading;
pub mod report;
pub mod score;
pub mod session;
pub mod sheet;
pub mod smf;
pub mod stream;
pub mod tablature;
pub mod take;
pub mod text;
pub mod time;
pub mod verdict;
