//! `endpin completions`: what a shell needs to complete endpin's commands and options.

use crate::{command_line::Cli, failure::Failure, outputs::destination};
use clap::CommandFactory;
use clap_complete::Shell;
use std::process::ExitCode;

/// Arguments of `endpin completions`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: endpin completions bash > ~/.local/share/bash-completion/completions/endpin"
)]
pub struct CompletionsArgs {
    /// The shell
    shell: Shell,
}

/// Prints the script on standard output.
///
/// # Errors
/// Standard output that cannot be written.
pub fn run(args: &CompletionsArgs) -> Result<ExitCode, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "endpin", &mut script);
    destination::write("-".as_ref(), &script)?;
    Ok(ExitCode::SUCCESS)
}
