//! Which options `--help` shows: those that most people use first, and what is a command's own. `--help-all` shows
//! all, as the manual page does.

use super::{Cli, settings::Settings};
use crate::failure::Failure;
use clap::{Arg, ArgAction, Command, CommandFactory, FromArgMatches, builder::Resettable};
use std::ffi::OsStr;

/// Options of the groups that commands share which most people use first.
const USUAL: [&str; 10] = [
    "bars", "key", "tempo", "feel", "seed", "choruses", "level", "mute", "count_in", "trade",
];

/// Reads the arguments of the process, and the settings of the folder as their defaults; help, versions and
/// mistakes end it as clap does.
///
/// # Errors
/// Settings that cannot be read.
pub fn parse() -> Result<Cli, Failure> {
    let wants_all = |argument: std::ffi::OsString| argument == OsStr::new("--help-all");
    let command = command(std::env::args_os().any(wants_all));
    let command = match Settings::of_folder() {
        Ok(settings) => settings.as_defaults(command),
        Err(failure) => {
            // Help is given whatever the settings are.
            command.get_matches();
            return Err(failure);
        }
    };
    let matches = command.get_matches();
    Ok(Cli::from_arg_matches(&matches).unwrap_or_else(|error| error.exit()))
}

/// Reads other words as the arguments of the process are read, settings included.
///
/// # Errors
/// Settings that cannot be read, or words that are not a command.
pub fn read(words: impl IntoIterator<Item = String>) -> Result<Cli, Failure> {
    let command = Settings::of_folder()?.as_defaults(command(false));
    let matches = command.try_get_matches_from(words);
    let cli = matches.and_then(|matches| Cli::from_arg_matches(&matches));
    cli.map_err(|error| Failure::input(error.to_string()))
}

/// The command line, with all options shown or the usual ones alone.
pub(super) fn command(all: bool) -> Command {
    let shown = |argument: Arg| {
        let is_own = argument.get_help_heading().is_none();
        let usual = is_own || USUAL.contains(&argument.get_id().as_str());
        let hidden = argument.is_hide_set() || !(all || usual);
        // A number below its range is told so, and is not taken for an option.
        let takes_value = matches!(argument.get_action(), ArgAction::Set | ArgAction::Append);
        let negative = takes_value && !argument.is_positional();
        argument.hide(hidden).allow_negative_numbers(negative)
    };
    let with_all = |command: Command| {
        let help_all = Arg::new("help_all")
            .long("help-all")
            .action(ArgAction::Help);
        // Among the first, not in the last group.
        let help_all = help_all
            .help_heading(Resettable::Reset)
            .help("Print help with every option");
        let command = command.mut_args(shown);
        let hides = command.get_arguments().any(Arg::is_hide_set);
        match hides || all {
            true => command.arg(help_all),
            false => command,
        }
    };
    Cli::command().mut_subcommands(with_all)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_options_are_there_and_fewer_than_all() {
        let count = |all: bool, name: &str| {
            let cli = command(all);
            let command = cli.get_subcommands().find(|it| it.get_name() == name);
            let shown = command
                .unwrap()
                .get_arguments()
                .filter(|it| !it.is_hide_set());
            shown.count()
        };
        for name in ["write", "sheet", "explain"] {
            assert!(
                count(false, name) < 30 && count(false, name) < count(true, name),
                "{name}"
            );
        }
        let cli = command(false);
        let write = cli
            .get_subcommands()
            .find(|it| it.get_name() == "write")
            .unwrap();
        for name in USUAL {
            assert!(
                write.get_arguments().any(|it| it.get_id() == name),
                "{name}"
            );
        }
        command(true).debug_assert();
    }

    #[test]
    fn a_number_below_its_range_is_told_so() {
        let found = command(false).try_get_matches_from(["endpin", "write", "--choruses", "-7"]);
        let told = found.unwrap_err().to_string();
        assert!(
            told.contains("'-7'") && told.contains("--choruses"),
            "{told}"
        );
    }
}
