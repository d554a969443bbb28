//! Reports as JSON text.

use crate::failure::{is_separator, turns_around};
use clap::ValueEnum;
use serde::Serialize;

/// Any report as indented JSON, ending in a line break. What could turn a terminal's text around or carry its
/// commands (C1 controls, line separators, signs of direction) is escaped, as the rest of the controls are.
///
/// # Panics
/// Never: the reports of this crate are plain structs with text keys.
#[expect(
    clippy::expect_used,
    reason = "only keys that are no text, and writers, fail; there are none"
)]
pub fn to_json(report: &impl Serialize) -> String {
    let mut text = serde_json::to_string_pretty(report).expect("plain structs with text keys");
    text.push('\n');
    escaped(&text, |c| {
        c == '\n' || !(c.is_control() || is_separator(c) || turns_around(c))
    })
}

/// The signs in which JSON is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum JsonSigns {
    /// Unicode, as names and titles have it
    Unicode,
    /// ASCII alone, all else escaped
    Ascii,
}

impl JsonSigns {
    /// A report in these signs, as [`to_json`].
    pub fn of(self, report: &impl Serialize) -> String {
        let text = to_json(report);
        match self {
            JsonSigns::Unicode => text,
            JsonSigns::Ascii => escaped(&text, |c| c.is_ascii()),
        }
    }
}

/// The text with each sign that may not stay as `\uXXXX`, one for each UTF-16 unit (RFC 8259, section 7).
fn escaped(text: &str, stays: impl Fn(char) -> bool) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match stays(c) {
            true => out.push(c),
            false => {
                let units = c.encode_utf16(&mut [0; 2]).to_vec();
                out.extend(units.into_iter().map(|unit| format!("\\u{unit:04x}")));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn both_say_the_same(text in any::<String>()) {
            for signs in [JsonSigns::Unicode, JsonSigns::Ascii] {
                let json = signs.of(&text);
                prop_assert_eq!(&serde_json::from_str::<String>(&json).unwrap(), &text);
                prop_assert!(json.trim_end_matches('\n').chars().all(|c| !c.is_control()));
            }
            prop_assert!(JsonSigns::Ascii.of(&text).is_ascii());
        }
    }

    #[test]
    fn what_turns_text_around_is_escaped() {
        assert_eq!(
            to_json(&"a\u{202e}\u{2028}\u{9b}B♭"),
            "\"a\\u202e\\u2028\\u009bB♭\"\n"
        );
        assert_eq!(
            JsonSigns::Ascii.of(&"B♭ 𝄢"),
            "\"B\\u266d \\ud834\\udd22\"\n"
        );
    }
}
