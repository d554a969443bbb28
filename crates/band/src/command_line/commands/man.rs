//! `endpin man`: one manual page for all commands, from the same words as `--help`.

use crate::{command_line::Cli, failure::Failure, outputs::destination};
use clap::{Command, CommandFactory};
use clap_mangen::{
    Man,
    roff::{Roff, bold, italic, roman},
};
use std::{io, process::ExitCode};

/// Arguments of `endpin man`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: endpin man > ~/.local/share/man/man1/endpin.1")]
pub struct ManArgs {}

/// Prints the page on standard output, in roff.
///
/// # Errors
/// Standard output that cannot be written.
pub fn run(_: &ManArgs) -> Result<ExitCode, Failure> {
    destination::write("-".as_ref(), &page().map_err(Failure::output)?)?;
    Ok(ExitCode::SUCCESS)
}

fn page() -> io::Result<Vec<u8>> {
    let mut cli = Cli::command();
    cli.build();
    let mut page = Vec::new();
    let whole = Man::new(cli.clone()).manual("User commands");
    whole.render_title(&mut page)?;
    whole.render_name_section(&mut page)?;
    let mut body = Roff::default();
    body.control("SH", ["SYNOPSIS"]);
    body.text([bold("endpin"), roman(" "), italic("COMMAND"), roman(" ...")]);
    body.control("SH", ["COMMANDS"]);
    for command in cli.get_subcommands().filter(|it| it.get_name() != "help") {
        section(&mut body, command);
    }
    body.to_writer(&mut page)?;
    whole.render_version_section(&mut page)?;
    Ok(page)
}

fn section(body: &mut Roff, command: &Command) {
    let words = |text: &clap::builder::StyledStr| text.to_string();
    let usage = command.clone().render_usage().to_string();
    body.control("SS", [usage.trim_start_matches("Usage: ")]);
    body.text([roman(format!(
        "{}.",
        command.get_about().map(words).unwrap_or_default()
    ))]);
    let shown = command.get_arguments().filter(|it| it.get_id() != "help");
    for argument in shown {
        body.control("TP", []);
        // The name as `--help` prints it, such as `-o, --output <FILE>`.
        let long = argument.to_string();
        let name = match (argument.get_short(), argument.is_positional()) {
            (Some(short), false) => format!("-{short}, {long}"),
            _ => long,
        };
        body.text([bold(name)]);
        let mut help = argument.get_help().map(words).unwrap_or_default();
        let takes_values = argument.get_action().takes_values();
        let listed =
            |words: Vec<String>| (takes_values && !words.is_empty()).then(|| words.join(", "));
        let choices = argument.get_possible_values();
        let choices = choices.iter().map(|choice| choice.get_name().to_owned());
        if let Some(choices) = listed(choices.collect()) {
            help += &format!(": {choices}");
        }
        let defaults = argument.get_default_values().iter();
        let defaults = defaults.map(|value| value.to_string_lossy().into_owned());
        if let Some(defaults) = listed(defaults.collect()) {
            help += &format!(" [default: {defaults}]");
        }
        body.text([roman(help)]);
    }
    if let Some(example) = command.get_after_help() {
        body.control("PP", []);
        // As it stands, line by line.
        body.control("nf", []);
        for line in words(example).lines() {
            body.text([roman(line)]);
        }
        body.control("fi", []);
    }
}
