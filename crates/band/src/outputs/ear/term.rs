//! A term's questions in one TOML file: for each week its charts, kinds, count, level and seed.
//!
//! ```toml
//! title = "A term of ears"
//!
//! [[week]]
//! number = 1
//! charts = ["blues.toml"]        # beside this file
//! kinds  = ["chord-tone"]        # default: all that the charts have a place for
//! keys   = ["F", "Bb"]           # default: the charts' own
//! count  = 40                    # default: 40
//! level  = 3                     # default: 4
//! seed   = 101                   # default: the week's number
//! ```

use super::kind::QuestionKind;
use crate::inputs::source::line_and_column;
use endpin_theory::{Key, did_you_mean_key};
use serde::{Deserialize, Deserializer, de::Error};
use std::str::FromStr;

/// A term.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct Term {
    /// What the pages are called.
    pub title: String,
    /// The weeks in which questions are asked.
    #[serde(rename = "week")]
    pub weeks: Vec<Week>,
}

/// A week of a term.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct Week {
    /// From 1.
    pub number: u32,
    /// Chart files, beside the term's file; at least one.
    #[serde(deserialize_with = "some")]
    pub charts: Vec<String>,
    /// Kinds of question; all that the charts have a place for if empty.
    #[serde(default, deserialize_with = "each_read")]
    pub kinds: Vec<QuestionKind>,
    /// Major keys in whose tonics the charts are asked; the charts' own if empty.
    #[serde(default, deserialize_with = "each_read")]
    pub keys: Vec<Key>,
    /// How many questions.
    #[serde(default = "usual_count", deserialize_with = "count")]
    pub count: u32,
    /// Level of the lines.
    #[serde(default = "usual_level", deserialize_with = "level")]
    pub level: u8,
    /// The seed; the week's number if none.
    pub seed: Option<u64>,
}

fn usual_count() -> u32 {
    40
}

fn usual_level() -> u8 {
    4
}

fn some<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<String>, D::Error> {
    let names = Vec::<String>::deserialize(deserializer)?;
    let none = || D::Error::custom("name a chart, such as [\"blues.toml\"]");
    if names.is_empty() {
        Err(none())
    } else {
        Ok(names)
    }
}

fn count<'de, D: Deserializer<'de>>(deserializer: D) -> Result<u32, D::Error> {
    within(u32::deserialize(deserializer)?, 1..=100_000)
}

fn level<'de, D: Deserializer<'de>>(deserializer: D) -> Result<u8, D::Error> {
    within(u8::deserialize(deserializer)?, 3..=5)
}

fn within<T: PartialOrd + std::fmt::Display, E: Error>(
    number: T,
    range: std::ops::RangeInclusive<T>,
) -> Result<T, E> {
    if range.contains(&number) {
        return Ok(number);
    }
    let (least, most) = range.into_inner();
    Err(E::custom(format!(
        "{number} is out of range; write {least} to {most}"
    )))
}

fn each_read<'de, D: Deserializer<'de>, T: FromStr<Err: std::fmt::Display>>(
    deserializer: D,
) -> Result<Vec<T>, D::Error> {
    let texts = Vec::<String>::deserialize(deserializer)?;
    texts
        .iter()
        .map(|text| text.parse().map_err(D::Error::custom))
        .collect()
}

impl Term {
    /// Reads a term.
    ///
    /// # Errors
    /// `line:column: what is wrong`.
    pub fn parse(text: &str) -> Result<Term, String> {
        toml::from_str(text).map_err(|error| {
            let offset = error.span().map_or(0, |span| span.start);
            let (line, column) = line_and_column(text, offset);
            let message = error.message();
            format!("{line}:{column}: {message}{}", did_you_mean_key(message))
        })
    }

    /// The week of that number.
    ///
    /// # Errors
    /// A message with the weeks that there are.
    pub fn week(&self, number: u32) -> Result<&Week, String> {
        let found = self.weeks.iter().find(|week| week.number == number);
        found.ok_or_else(|| {
            let numbers: Vec<String> = self
                .weeks
                .iter()
                .map(|week| week.number.to_string())
                .collect();
            format!(
                "there is no week {number}; there are {}",
                numbers.join(", ")
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_week_has_defaults_and_errors_their_place() {
        let term = Term::parse(
            "title = \"T\"\n[[week]]\nnumber = 2\ncharts = [\"a.toml\"]\nkeys = [\"F\"]\n",
        )
        .unwrap();
        let week = term.week(2).unwrap();
        assert_eq!(
            (week.count, week.level, week.seed, week.kinds.len()),
            (40, 4, None, 0)
        );
        assert_eq!(term.week(3).unwrap_err(), "there is no week 3; there are 2");
        let bad = |line: &str| {
            Term::parse(&format!(
                "title = \"T\"\n[[week]]\nnumber = 1\ncharts = [\"a\"]\n{line}\n"
            ))
            .unwrap_err()
        };
        assert!(
            bad("kinds = [\"harmony\"]").starts_with("5:9: \"harmony\" is not a kind"),
            "{}",
            bad("kinds = [\"harmony\"]")
        );
        assert!(
            bad("colour = 3").starts_with("5:1: unknown field `colour`"),
            "{}",
            bad("colour = 3")
        );
        assert!(bad("cuont = 3").ends_with("(did you mean \"count\"?)"));
        assert!(bad("kinds = [\"aproach\"]").contains("(did you mean \"approach\"?)"));
        assert_eq!(bad("level = 6"), "5:9: 6 is out of range; write 3 to 5");
        assert_eq!(
            bad("count = 0"),
            "5:9: 0 is out of range; write 1 to 100000"
        );
        let nothing = Term::parse("title = \"T\"\n[[week]]\nnumber = 1\ncharts = []\n");
        assert_eq!(
            nothing.unwrap_err(),
            "4:10: name a chart, such as [\"blues.toml\"]"
        );
    }
}
