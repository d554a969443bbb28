//! Why a command could not do its job, and the exit code that says so.

use std::{fmt, path::Path, process::ExitCode};

/// A reason to stop, told in one message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Failure {
    /// Bad input, unreadable input or wrong usage: exit code 2.
    Input(String),
    /// The output cannot be written, or a device failed: exit code 3.
    Output(String),
}

impl Failure {
    /// Bad input or usage.
    pub fn input(message: impl fmt::Display) -> Failure {
        Failure::Input(message.to_string())
    }

    /// An output or device that failed.
    pub fn output(message: impl fmt::Display) -> Failure {
        Failure::Output(message.to_string())
    }

    /// The exit code: 2 for bad input or usage, 3 for an output or device that failed.
    pub fn exit_code(&self) -> ExitCode {
        match self {
            Failure::Input(_) => ExitCode::from(2),
            Failure::Output(_) => ExitCode::from(3),
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::Input(message) | Failure::Output(message) => f.write_str(&printable(message)),
        }
    }
}

impl std::error::Error for Failure {}

/// A path as messages show it; what is no text in it is replaced.
pub fn shown(path: &Path) -> String {
    printable(&path.to_string_lossy())
}

/// Whether a sign turns the direction of writing around (Unicode Standard Annex 9, "Directional Formatting
/// Characters").
pub fn turns_around(c: char) -> bool {
    matches!(c, '\u{061C}' | '\u{200E}'..='\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

/// Whether a sign ends a line or a paragraph without being a control character.
pub fn is_separator(c: char) -> bool {
    matches!(c, '\u{2028}' | '\u{2029}')
}

/// Text from a file or the command line made safe for a terminal: control characters, which could carry
/// terminal commands, become spaces, and so do separators of lines and signs that turn the direction of writing
/// around; line breaks stay.
pub fn printable(text: &str) -> String {
    let safe = |c: char| match c {
        '\n' => '\n',
        c if c.is_control() || is_separator(c) || turns_around(c) => ' ',
        c => c,
    };
    text.chars().map(safe).collect()
}

/// The same on one line: line breaks become spaces too.
pub fn printable_line(text: &str) -> String {
    printable(text).replace('\n', " ")
}
