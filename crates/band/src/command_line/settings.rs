//! A teacher's own defaults: `endpin.toml` in the folder where endpin is run.

use super::commands::sheet::PaperName;
use crate::{
    failure::Failure,
    inputs::source::{self, line_and_column},
};
use clap::{Command, ValueEnum};
use endpin_theory::{Spelling, did_you_mean};
use endpin_walker::{Instrument, Level};
use std::{collections::BTreeMap, fmt::Write, path::Path, str::FromStr};

/// The file of the settings.
pub const FILE: &str = "endpin.toml";

/// A setting: the option whose default it is, and what is wrong with a value.
type Row = (&'static str, fn(&str) -> Result<(), String>);

const ROWS: [Row; 6] = [
    ("instrument", check::<Instrument>),
    ("level", check::<Level>),
    ("paper", |text| {
        PaperName::from_str(text, false).map(|_| ()).map_err(|_| {
            let known = PaperName::value_variants().iter();
            let names =
                known.filter_map(|paper| Some(paper.to_possible_value()?.get_name().to_owned()));
            format!(
                "\"{text}\" is not a paper size; there are {}",
                names.collect::<Vec<_>>().join(" and ")
            )
        })
    }),
    ("sound-font", check_file),
    ("spelling", check::<Spelling>),
    ("weights", check_file),
];

fn check<T: FromStr<Err: ToString>>(text: &str) -> Result<(), String> {
    text.parse::<T>().map(|_| ()).map_err(|why| why.to_string())
}

fn check_file(text: &str) -> Result<(), String> {
    match Path::new(text).is_file() {
        true => Ok(()),
        false => Err(format!("there is no file {text}")),
    }
}

/// Values by the name of their option.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Settings(BTreeMap<&'static str, String>);

impl Settings {
    /// Those of this folder; none where it has no such file.
    ///
    /// # Errors
    /// A file that is unreadable or no such table, with the place.
    pub fn of_folder() -> Result<Settings, Failure> {
        let file = Path::new(FILE);
        if file.symlink_metadata().is_err() {
            return Ok(Settings::default());
        }
        Settings::read(&source::text(file)?)
    }

    fn read(text: &str) -> Result<Settings, Failure> {
        let fault = |offset: usize, why: String| {
            let (line, column) = line_and_column(text, offset);
            Failure::input(format!("{FILE}:{line}:{column}: {why}"))
        };
        let found: BTreeMap<toml::Spanned<String>, toml::Spanned<toml::Value>> =
            toml::from_str(text).map_err(|error| {
                fault(
                    error.span().map_or(0, |span| span.start),
                    error.message().to_owned(),
                )
            })?;
        let mut settings = Settings::default();
        for (name, value) in found {
            let names = ROWS.map(|(name, _)| name);
            let Some((known, check)) = ROWS.iter().find(|(known, _)| known == name.get_ref())
            else {
                let meant = did_you_mean(name.get_ref(), names);
                let names = names.join(", ");
                let name_found = name.get_ref();
                return Err(fault(
                    name.span().start,
                    format!("no setting is called \"{name_found}\"{meant}; there are {names}"),
                ));
            };
            let text = match value.get_ref() {
                toml::Value::String(text) => text.clone(),
                other => other.to_string(),
            };
            check(&text).map_err(|why| fault(value.span().start, format!("{known}: {why}")))?;
            settings.0.insert(known, text);
        }
        Ok(settings)
    }

    /// The commands with these values as the defaults of their options.
    pub fn as_defaults(&self, command: Command) -> Command {
        let of_command = |mut command: Command| {
            for (name, text) in &self.0 {
                let with_option = command
                    .get_arguments()
                    .find(|argument| argument.get_long() == Some(name));
                if let Some(id) = with_option.map(|argument| argument.get_id().clone()) {
                    command = command.mut_arg(id, |argument| argument.default_value(text.clone()));
                }
            }
            command
        };
        command.mut_subcommands(of_command)
    }

    /// Every setting with its value, a line each.
    pub fn text(&self) -> String {
        let mut told = match self.0.is_empty() {
            true => format!(
                "Nothing is set: {FILE} in this folder may hold defaults for these options.\n"
            ),
            false => format!(
                "Defaults from {FILE} in this folder; an option on the command line outranks them.\n"
            ),
        };
        for (name, _) in ROWS {
            let _ = match self.0.get(name) {
                Some(text) => writeln!(told, "{name:<12}{text}"),
                None => writeln!(told, "{name:<12}(not set)"),
            };
        }
        told
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_are_defaults_and_options_outrank_them() {
        let settings =
            Settings::read("level = 2\ninstrument = \"double-bass\"\npaper = \"letter\"\n")
                .unwrap();
        let level = |words: &[&str]| {
            let command = settings.as_defaults(crate::command_line::help::command(true));
            let matches = command.try_get_matches_from(words).unwrap();
            let (_, options) = matches.subcommand().unwrap();
            options.get_one::<Level>("level").unwrap().number()
        };
        assert_eq!(level(&["endpin", "write", "a.toml"]), 2);
        assert_eq!(level(&["endpin", "write", "a.toml", "--level", "5"]), 5);
        assert!(settings.text().contains(
            "instrument  double-bass\nlevel       2\npaper       letter\nsound-font  (not set)"
        ));
    }

    #[test]
    fn a_mistake_is_told_with_its_place() {
        let told = |text: &str| Settings::read(text).unwrap_err().to_string();
        for (text, words) in [
            (
                "level = 2\nlevl = 3\n",
                "endpin.toml:2:1: no setting is called \"levl\" (did you mean \"level\"?); there are instrument",
            ),
            ("level = 9\n", "endpin.toml:1:9: level: "),
            (
                "paper = \"a5\"\n",
                "endpin.toml:1:9: paper: \"a5\" is not a paper size; there are a4 and letter",
            ),
            (
                "weights = \"none.toml\"",
                "endpin.toml:1:11: weights: there is no file none.toml",
            ),
            ("level = \n", "endpin.toml:1:9: "),
        ] {
            assert!(told(text).starts_with(words), "{}", told(text));
        }
    }
}
