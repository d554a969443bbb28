//! The command line: names, options and their help. No music in it.

pub mod shared;

use crate::{commands, failure::Failure};
use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// Walking bass lines that spell the harmony, with the reason for every note.
#[derive(Debug, Parser)]
#[command(name = "endpin", version, about, max_term_width = 100)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands of endpin.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a MIDI file: bass, comp and time in named tracks
    Write(commands::write::Args),
    /// Play through MIDI ports, for as long as wanted
    #[cfg(feature = "live")]
    Live(commands::live::Args),
    /// Show each note of the line and why it is there
    Explain(commands::explain::Args),
    /// Judge a line that somebody played
    Check(commands::check::Args),
    /// Show the chart as understood: functions, scales, and how many lines it has
    Chart(commands::chart::Args),
    /// Write notation, a practice page or pages for print
    Sheet(commands::sheet::Args),
    /// Make a set of questions for the ear and its key
    Ear(commands::ear::Args),
    /// List the MIDI ports of this machine
    #[cfg(feature = "live")]
    Ports(commands::ports::Args),
}

impl Command {
    /// Does it.
    ///
    /// # Errors
    /// Whatever kept the command from its job.
    pub fn run(self) -> Result<ExitCode, Failure> {
        match self {
            Command::Write(args) => commands::write::run(&args),
            #[cfg(feature = "live")]
            Command::Live(args) => commands::live::run(&args),
            Command::Explain(args) => commands::explain::run(&args),
            Command::Check(args) => commands::check::run(&args),
            Command::Chart(args) => commands::chart::run(&args),
            Command::Sheet(args) => commands::sheet::run(&args),
            Command::Ear(args) => commands::ear::run(&args),
            #[cfg(feature = "live")]
            Command::Ports(args) => commands::ports::run(&args),
        }
    }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_consistent() {
        super::Cli::command().debug_assert();
    }
}
