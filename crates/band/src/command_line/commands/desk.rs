//! `endpin desk`: everything a teacher does, on one page of this machine.

use crate::{command_line::options::whole, desk, failure::Failure};
use std::{path::PathBuf, process::ExitCode};

/// Arguments of `endpin desk`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: endpin desk lessons\n\
                  The page works in any browser of this machine, and in no other; Ctrl-C ends it.")]
pub struct DeskArgs {
    /// The folder of the charts and of all that is handed out, made if it is not there
    #[arg(default_value = ".")]
    folder: PathBuf,
    /// The port to listen on, of this machine alone [default: a free one]
    #[arg(long, default_value_t = 0, hide_default_value = true, value_parser = whole::<u16, 0, 65535>)]
    port: u16,
    /// Print the address and leave the browser alone
    #[arg(long)]
    no_browser: bool,
}

/// Listens until it is told to stop.
///
/// # Errors
/// A folder that cannot be used, or a port that is taken.
pub fn run(args: &DeskArgs) -> Result<ExitCode, Failure> {
    desk::serve(&args.folder, args.port, !args.no_browser)?;
    Ok(ExitCode::SUCCESS)
}
