//! What is wrong with a chart, where, and what would be accepted.

use super::{EndingError, FeelError, MOST_BARS, PaletteError, TEMPO_RANGE};
use crate::{MeterError, chord::ChordError, key::KeyError};
use std::{fmt, ops::Range};

/// A mistake in a chart: the problem and its place.
#[derive(Clone, Debug, PartialEq)]
pub struct ChartError {
    problem: Box<ChartProblem>,
    line: usize,
    column: usize,
    source_line: String,
    width: usize,
}

/// What is wrong.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ChartProblem {
    /// The file is no TOML.
    #[error("this is not TOML: {0}")]
    Toml(String),
    /// A value is missing.
    #[error("the chart has no {0}")]
    Missing(&'static str),
    /// A key that charts do not have.
    #[error("unknown key \"{found}\"{}; a {place} has {known}", hint(suggestion))]
    UnknownKey {
        /// As written.
        found: String,
        /// The nearest known key.
        suggestion: Option<String>,
        /// Where it stands.
        place: &'static str,
        /// What may stand there.
        known: String,
    },
    /// A value of another kind than wanted.
    #[error("{key} should be {wanted}, and this is {found}")]
    WrongKind {
        /// The key.
        key: String,
        /// What was found.
        found: &'static str,
        /// What would be accepted.
        wanted: &'static str,
    },
    /// No chord.
    #[error("{0}")]
    Chord(ChordError),
    /// No key.
    #[error("{0}")]
    Key(KeyError),
    /// No meter.
    #[error("{0}")]
    Meter(MeterError),
    /// No feel.
    #[error("{0}")]
    Feel(FeelError),
    /// No note to hold.
    #[error("\"{0}\" is not a note to hold; write a note name, such as \"Eb\"")]
    Pedal(String),
    /// A pedal where the bass moves.
    #[error("a section that holds a pedal has the feel \"pedal\", not {0}; leave its feel out")]
    PedalInFeel(String),
    /// No palette.
    #[error("{0}")]
    Palette(PaletteError),
    /// No ending.
    #[error("{0}")]
    Ending(EndingError),
    /// Neither yes nor no.
    #[error("\"{0}\" is neither yes nor no; write one of them")]
    YesOrNo(String),
    /// A tempo beyond reason.
    #[error(
        "tempo {0} is out of range; write quarter notes a minute, {from} to {to}",
        from = TEMPO_RANGE.start(),
        to = TEMPO_RANGE.end()
    )]
    Tempo(f64),
    /// A bar without its bar line.
    #[error("this bar is not closed; every bar stands between two \"|\"")]
    OpenBar,
    /// Chords that do not share the bar.
    #[error(
        "{chords} chords do not share {beats} beats equally; write \"/\" for each further beat of a chord, as in \"F7 / / D7\""
    )]
    Uneven {
        /// Chords in the bar.
        chords: usize,
        /// Beats in the bar.
        beats: usize,
    },
    /// Too few or too many beats.
    #[error("this bar has {found} beats, and the meter wants {wanted}")]
    BeatCount {
        /// Beats written.
        found: usize,
        /// Beats of the meter.
        wanted: usize,
    },
    /// `%` or `/` with nothing before it.
    #[error("\"{0}\" repeats what stands before it, and nothing does")]
    NothingBefore(char),
    /// `%` among other things.
    #[error("\"%\" repeats the whole bar before it and stands alone in its bar")]
    RepeatNotAlone,
    /// Nothing between two bar lines.
    #[error("this bar is empty; write \"%\" for the bar before once more, or \"N.C.\" for silence")]
    EmptyBar,
    /// A repeat that is opened and never closed.
    #[error("this repeat is not closed; write \":|\" where it ends")]
    OpenRepeat,
    /// A section that is there already.
    #[error(
        "there is a section \"{0}\" already; play it again with a line such as \"form: A A B A\""
    )]
    SectionTwice(String),
    /// No bars at all.
    #[error("there are no bars here; write them as \"| F7 | Bb7 |\"")]
    NoBars,
    /// A form, an intro or a tag that names a missing section.
    #[error(
        "the {named_by} names section \"{found}\"{}; the chart has {known}",
        hint(suggestion)
    )]
    NoSection {
        /// What names it: `form`, `intro` or `tag`.
        named_by: &'static str,
        /// As written.
        found: String,
        /// The nearest section.
        suggestion: Option<String>,
        /// The sections there are.
        known: String,
    },
    /// More bars than [`MOST_BARS`].
    #[error("the form makes {0} bars; at most {MOST_BARS} are allowed")]
    TooLong(usize),
}

fn hint(suggestion: &Option<String>) -> String {
    suggestion
        .as_ref()
        .map(|near| format!(" (did you mean \"{near}\"?)"))
        .unwrap_or_default()
}

impl ChartError {
    /// Places a problem at a range of bytes of the text.
    pub(super) fn new(problem: ChartProblem, text: &str, at: Range<usize>) -> ChartError {
        let start = floor_char_boundary(text, at.start);
        let line_start = text[..start].rfind('\n').map_or(0, |newline| newline + 1);
        let line_end = text[start..]
            .find('\n')
            .map_or(text.len(), |newline| start + newline);
        let end = floor_char_boundary(text, at.end.clamp(start, line_end));
        ChartError {
            problem: Box::new(problem),
            line: text[..start].matches('\n').count() + 1,
            column: text[line_start..start].chars().count() + 1,
            source_line: text[line_start..line_end].trim_end().to_owned(),
            width: text[start..end].chars().count().max(1),
        }
    }

    /// What is wrong.
    pub fn problem(&self) -> &ChartProblem {
        &self.problem
    }

    /// Line of the mistake, from 1.
    pub fn line(&self) -> usize {
        self.line
    }

    /// Column of the mistake in characters, from 1.
    pub fn column(&self) -> usize {
        self.column
    }
}

fn floor_char_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// Widest part of a source line that a message shows, in characters.
const SHOWN: usize = 90;

/// `line:column: problem`, then the line itself with the mistake underlined.
impl fmt::Display for ChartError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: {}", self.line, self.column, self.problem)?;
        if self.source_line.trim().is_empty() {
            return Ok(());
        }
        // A long line is cut around the mistake, and control characters never reach a terminal.
        let skipped = (self.column - 1).saturating_sub(SHOWN / 2);
        let shown: String = self
            .source_line
            .chars()
            .skip(skipped)
            .take(SHOWN)
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        let before = self.column - 1 - skipped;
        let carets = "^".repeat(self.width.min(SHOWN - before.min(SHOWN - 1)));
        write!(f, "\n  {shown}\n  {}{carets}", " ".repeat(before))
    }
}

impl std::error::Error for ChartError {}
