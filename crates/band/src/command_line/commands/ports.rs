//! `endpin ports`: the MIDI ports of this machine.

use std::process::ExitCode;

use crate::failure::{Failure, printable};
use crate::live::ports::{self, Direction, PortError};
use crate::outputs::destination;

/// Arguments of `endpin ports`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: endpin ports")]
pub struct PortsArgs {}

/// Lists output and input ports with the numbers by which `--port` and `--listen` know them.
///
/// # Errors
/// A MIDI service that does not answer.
pub fn run(_: &PortsArgs) -> Result<ExitCode, Failure> {
    let (outputs, inputs) = ports::list().map_err(Failure::output)?;
    let lonely = outputs.is_empty();
    let mut text = String::new();
    for (title, names) in [("output", outputs), ("input", inputs)] {
        text += &format!("{title} ports\n");
        if names.is_empty() {
            text += "  none\n";
        }
        for (index, name) in names.iter().enumerate() {
            text += &format!("  {}  {}\n", index + 1, printable(name));
        }
    }
    destination::print(&text)?;
    if lonely {
        let advice = PortError::NoPorts(Direction::Output);
        eprintln!("{advice}");
    }
    Ok(ExitCode::SUCCESS)
}
