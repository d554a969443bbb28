//! What is wrong with a chord symbol, where, and what was probably meant.

use super::Chord;
use super::read::SPELLINGS;
use crate::pitch::NoteName;
use std::fmt;

/// The kinds of mistakes in a chord symbol.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ChordProblem {
    /// It does not begin with a letter A to G.
    NoRoot,
    /// Text that means nothing here.
    Unknown,
    /// Something said a second time.
    Twice,
    /// It contradicts what stands before it.
    Contradiction(&'static str),
    /// A parenthesis never closed.
    Unclosed,
    /// A closing parenthesis that none opened, or one with nothing in it.
    Parenthesis,
    /// No bass note after the slash.
    NoBass,
}

/// Text that is no chord symbol: what was found at which column, and a suggestion.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChordError {
    problem: ChordProblem,
    column: usize,
    found: String,
    suggestion: Option<String>,
}

/// Longest piece of bad text that a message quotes, in characters.
const QUOTED: usize = 16;

impl ChordError {
    pub(super) fn new(problem: ChordProblem, symbol: &str, at: usize) -> Self {
        let rest = &symbol[at..];
        let mut found: String = rest.chars().take(QUOTED).collect();
        if found.len() < rest.len() {
            found.push('…');
        }
        // What is said twice or cannot be is best left out; else the nearest spelling known.
        let suggestion = match problem {
            ChordProblem::Twice | ChordProblem::Contradiction(_) => {
                Some(symbol[..at].to_owned()).filter(|s| s.parse::<Chord>().is_ok())
            }
            _ => None,
        };
        ChordError {
            problem,
            column: symbol[..at].chars().count() + 1,
            found,
            suggestion: suggestion.or_else(|| suggest(symbol)),
        }
    }

    /// What kind of mistake it is.
    pub fn problem(&self) -> &ChordProblem {
        &self.problem
    }

    /// Where the first character that cannot stand is, counted in characters from 1.
    pub fn column(&self) -> usize {
        self.column
    }

    /// The text from that column on, cut short if long; empty at the end of the symbol.
    pub fn found(&self) -> &str {
        &self.found
    }

    /// A symbol that can be read and looks much like this one.
    pub fn suggestion(&self) -> Option<&str> {
        self.suggestion.as_deref()
    }
}

impl fmt::Display for ChordError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let found = &self.found;
        match &self.problem {
            ChordProblem::NoRoot if found.is_empty() => {
                f.write_str("no chord here; it begins with a root, A to G")
            }
            ChordProblem::NoRoot => {
                write!(f, "a chord begins with a root, A to G, not \"{found}\"")
            }
            ChordProblem::Unknown if found.is_empty() => f.write_str("the chord symbol breaks off"),
            ChordProblem::Unknown => write!(f, "\"{found}\" is not part of a chord symbol here"),
            ChordProblem::Twice => write!(f, "\"{found}\" repeats what the symbol already says"),
            ChordProblem::Contradiction(why) => write!(f, "\"{found}\" cannot stand here: {why}"),
            ChordProblem::Unclosed => f.write_str("the parenthesis is not closed"),
            ChordProblem::Parenthesis => write!(f, "stray parenthesis at \"{found}\""),
            ChordProblem::NoBass if found.is_empty() => {
                f.write_str("a bass note, A to G, is missing after the slash")
            }
            ChordProblem::NoBass => write!(f, "\"{found}\" is not a bass note, A to G"),
        }?;
        match &self.suggestion {
            Some(symbol) => write!(f, "; did you mean \"{symbol}\"?"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for ChordError {}

/// The known spelling nearest to the text, on its own root. H is the German name of B; a small letter is
/// taken for a capital. Text too long to be a slip gets no suggestion.
fn suggest(symbol: &str) -> Option<String> {
    const LONGEST: usize = 24;
    if symbol.chars().count() > LONGEST {
        return None;
    }
    let first = symbol.chars().next()?;
    let capital = match first.to_ascii_uppercase() {
        'H' => 'B',
        letter @ 'A'..='G' => letter,
        _ => return None,
    };
    let mended = format!("{capital}{}", &symbol[first.len_utf8()..]);
    let (root, suffix) = NoteName::read(&mended)?;
    let quality = match suffix.rsplit_once('/') {
        Some((before, "")) => before,
        _ => suffix,
    };
    SPELLINGS
        .iter()
        .map(|known| (strsim::damerau_levenshtein(known, quality), *known))
        .filter(|(distance, known)| *distance <= 2.max(known.chars().count() / 2))
        .min_by_key(|(distance, known)| (*distance, !known.starts_with(quality)))
        .map(|(_, known)| format!("{root}{known}"))
}
