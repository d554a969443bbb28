//! The command line: names, options and their help. No music in it.

pub mod commands;
pub mod help;
pub mod options;
pub mod settings;

use crate::{failure::Failure, outputs::destination};
use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// Walking bass lines that spell the harmony, with the reason for every note.
#[derive(Debug, Parser)]
#[command(
    name = "endpin",
    version,
    about,
    max_term_width = 100,
    arg_required_else_help = true
)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Cli {
    /// Show the defaults that endpin.toml in this folder gives to options
    #[arg(long)]
    pub settings: bool,
    /// What to do.
    #[command(subcommand)]
    pub command: Option<Command>,
}

impl Cli {
    /// Does what is asked.
    ///
    /// # Errors
    /// As [`Command::run`].
    pub fn run(self) -> Result<ExitCode, Failure> {
        match self.command {
            Some(command) => command.run(),
            // Nothing but the settings is left to ask for: without arguments clap prints its help.
            None => destination::print(&settings::Settings::of_folder()?.text())
                .map(|()| ExitCode::SUCCESS),
        }
    }
}

/// The commands of endpin.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a MIDI file: bass, comp and time in named tracks
    Write(commands::write::WriteArgs),
    /// Play through MIDI ports, for as long as wanted
    #[cfg(feature = "live")]
    Live(commands::live::LiveArgs),
    /// Show each note of the line and why it is there
    Explain(commands::explain::ExplainArgs),
    /// Judge a line that somebody played
    Check(commands::check::CheckArgs),
    /// Hear the notes of a bass in a recording
    #[cfg(feature = "sound")]
    Hear(commands::hear::HearArgs),
    /// Learn weights in the manner of given takes
    Learn(commands::learn::LearnArgs),
    /// Show the chart as understood: functions, scales, and how many lines it has
    Chart(commands::chart::ChartArgs),
    /// Make the chart richer or plainer, a named step at a time
    Changes(commands::changes::ChangesArgs),
    /// Write notation, a practice page or pages for print
    Sheet(commands::sheet::SheetArgs),
    /// Make a set of questions for the ear and its key
    Ear(commands::ear::EarArgs),
    /// Open the desk: everything a teacher does, on one page of this machine
    #[cfg(feature = "desk")]
    Desk(commands::desk::DeskArgs),
    /// List the MIDI ports of this machine
    #[cfg(feature = "live")]
    Ports(commands::ports::PortsArgs),
    /// Print what a shell needs to complete endpin's commands and options
    Completions(commands::completions::CompletionsArgs),
    /// Print the manual page of all commands
    Man(commands::man::ManArgs),
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
            #[cfg(feature = "sound")]
            Command::Hear(args) => commands::hear::run(&args),
            Command::Learn(args) => commands::learn::run(&args),
            Command::Chart(args) => commands::chart::run(&args),
            Command::Changes(args) => commands::changes::run(&args),
            Command::Sheet(args) => commands::sheet::run(&args),
            Command::Ear(args) => commands::ear::run(&args),
            #[cfg(feature = "desk")]
            Command::Desk(args) => commands::desk::run(&args),
            #[cfg(feature = "live")]
            Command::Ports(args) => commands::ports::run(&args),
            Command::Completions(args) => commands::completions::run(&args),
            Command::Man(args) => commands::man::run(&args),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Cli;
    use clap::{CommandFactory, Parser};

    #[test]
    fn the_command_line_is_consistent() {
        Cli::command().debug_assert();
    }

    /// The commands that a help text shows, as a shell would split them; quotes keep words together.
    fn examples(help: &str) -> Vec<Vec<String>> {
        let from = |line: &str| line.find("endpin ").map(|at| line[at..].to_owned());
        let unredirected = |line: String| line.split(" > ").next().unwrap_or("").to_owned();
        let words = |line: String| {
            let parts = line.split('"').enumerate();
            parts
                .flat_map(|(index, part)| match index % 2 {
                    1 => vec![part.to_owned()],
                    _ => part.split_whitespace().map(str::to_owned).collect(),
                })
                .collect()
        };
        help.lines()
            .filter_map(from)
            .map(unredirected)
            .map(words)
            .collect()
    }

    #[test]
    fn every_command_shows_an_example_that_parses() {
        for command in Cli::command().get_subcommands() {
            let name = command.get_name();
            let help = command.get_after_help().map(ToString::to_string);
            let help = help.unwrap_or_default();
            assert!(help.starts_with("Example"), "{name}: {help:?}");
            let shown = examples(&help);
            assert!(!shown.is_empty(), "{name}");
            for example in shown {
                assert_eq!(example[1], name);
                Cli::try_parse_from(&example).unwrap_or_else(|why| panic!("{example:?}: {why}"));
            }
        }
    }
}
