//! The grammar of chord symbols.
//!
//! ```text
//! symbol     = root , [ quality ] , { piece } , [ "/" , bass ]
//! piece      = "(" , { piece , [ "," ] } , ")" | "," | number | major | sign , number
//!            | "sus" , [ "2" | "4" | "24" ] | "add" , [ sign ] , number | omit , ( "3" | "5" )
//!            | "alt" | ( "+" | "aug" )
//! quality    = major | minor | diminished | half-diminished | augmented | "dom"
//! number     = "2" | "5" | "6" | "69" | "6/9" | "7" | "9" | "11" | "13"
//! ```
//! Words may be in any case; only M and m differ by it. A root takes all the signs it can, so `Cb9` is a
//! ninth chord on Cb; write `C(b9)` or `C7b9` for the other.

use super::draft::{Draft, Shape};
use super::error::{ChordError, ChordProblem};
use super::quality::Quality;
use crate::pitch::NoteName;

/// Every spelling of a quality that suggestions are taken from, and that a test reads back. Common
/// practice, no source.
#[rustfmt::skip]
pub(super) const SPELLINGS: &[&str] = &[
    "", "7", "maj7", "m7", "m", "7b9", "m7b5", "6", "9", "13", "7alt", "m6", "dim7", "sus4", "7sus4",
    "m9", "maj9", "7#9", "7#11", "7b5", "7#5", "dim", "aug", "69", "m69", "11", "m11", "m13", "maj13",
    "mMaj7", "mmaj7", "m(maj7)", "minmaj7", "mMaj9", "maj7#11", "maj7#5", "maj7b5", "maj9#11", "7b13",
    "7b9b13", "7#9b13", "7#5#9", "7#5b9", "7b5b9", "7b5#9", "7b9#9", "7b9#11", "7#9#11", "9#11", "9#5",
    "9b5", "9b13", "13b9", "13#9", "13#11", "13b5", "9sus4", "13sus4", "7sus4b9", "13sus4b9", "sus2",
    "sus", "7sus", "9sus", "13sus", "7sus2", "maj7sus4", "5", "2", "add9", "madd9", "add11", "add13",
    "6#11", "69#11", "m9b5", "m11b5", "mb6", "m#5", "m7#5", "m7b9", "m7add11", "7no3", "7no5", "no3",
    "no5", "dimMaj7", "dim9", "alt", "M7", "M9", "M13", "ma7", "Maj7", "Δ", "Δ7", "^7", "min", "min7",
    "min9", "mi", "mi7", "-", "-7", "-9", "-7b5", "-Δ7", "ø", "ø7", "°", "°7", "o", "o7", "+", "+7",
    "aug7", "+maj7", "7+", "6/9", "m6/9", "7(b9)", "7(#9)", "7(#11)", "7(b13)", "7(b9,#11)", "7(b9b13)",
    "maj7(#11)", "13(b9)", "13(#11)", "7(13)", "maj", "M", "dom7", "7-5", "7+5", "7-9", "7+9", "7+11",
    "7aug", "omit3", "7omit5", "sus24",
];

/// Words of each quality, longer ones before their beginnings.
const QUALITIES: &[(&str, Shape)] = &[
    ("dominant", Shape::Major),
    ("dom", Shape::Major),
    ("dim", Shape::Diminished),
    ("°", Shape::Diminished),
    ("º", Shape::Diminished),
    ("o", Shape::Diminished),
    ("ø", Shape::HalfDiminished),
    ("Ø", Shape::HalfDiminished),
    ("aug", Shape::Augmented),
    ("+", Shape::Augmented),
    ("minor", Shape::Minor),
    ("min", Shape::Minor),
    ("mi", Shape::Minor),
    ("m", Shape::Minor),
    ("-", Shape::Minor),
    ("−", Shape::Minor),
];

/// Signs for a major seventh without a word.
const TRIANGLES: &[&str] = &["Δ", "△", "∆", "^"];

/// Reads the whole symbol: root, quality, slash bass.
pub(super) fn read(symbol: &str) -> Result<(NoteName, Quality, Option<NoteName>), ChordError> {
    let (root, rest) =
        NoteName::read(symbol).ok_or_else(|| ChordError::new(ChordProblem::NoRoot, symbol, 0))?;
    let mut reader = Reader {
        symbol,
        at: symbol.len() - rest.len(),
        depth: 0,
        draft: Draft::default(),
    };
    reader.quality();
    while !reader.rest().is_empty() && !reader.rest().starts_with('/') {
        reader.piece()?;
    }
    if reader.depth > 0 {
        return Err(reader.error(ChordProblem::Unclosed));
    }
    let slash = reader.slash()?;
    Ok((root, reader.draft.finish(), slash))
}

struct Reader<'a> {
    symbol: &'a str,
    /// Byte offset of the next character.
    at: usize,
    /// Parentheses open.
    depth: u8,
    draft: Draft,
}

impl<'a> Reader<'a> {
    fn rest(&self) -> &'a str {
        &self.symbol[self.at..]
    }

    fn error(&self, problem: ChordProblem) -> ChordError {
        ChordError::new(problem, self.symbol, self.at)
    }

    /// Takes `word` if the rest begins with it; ASCII words of several letters in any case.
    fn take(&mut self, word: &str) -> bool {
        let found = match self.rest().get(..word.len()) {
            Some(start) if word.len() > 1 => start.eq_ignore_ascii_case(word),
            Some(start) => start == word,
            None => false,
        };
        if found {
            self.at += word.len();
        }
        found
    }

    /// Takes the first of `words` that is there.
    fn take_any(&mut self, words: &[&str]) -> bool {
        words.iter().any(|word| self.take(word))
    }

    /// Records what was read since `start`, or says why it cannot be, pointing at it.
    fn note(&mut self, start: usize, said: Result<(), ChordProblem>) -> Result<(), ChordError> {
        said.map_err(|problem| ChordError::new(problem, self.symbol, start))
    }

    fn quality(&mut self) {
        let rest = self.rest();
        let omits = rest
            .get(..4)
            .is_some_and(|start| start.eq_ignore_ascii_case("omit"));
        // `C+5` is an altered fifth, not an augmented chord with a 5.
        if self.major_word().is_some() || omits || rest.starts_with("+5") {
            return;
        }
        for (word, shape) in QUALITIES {
            if self.take(word) {
                self.draft.shape = *shape;
                return;
            }
        }
    }

    /// Length of a word for "major" that begins here: `major`, `maj`, `ma`, `M`, `j` or a triangle.
    fn major_word(&self) -> Option<usize> {
        let rest = self.rest();
        let is = |word: &str| {
            rest.get(..word.len())
                .is_some_and(|start| start.eq_ignore_ascii_case(word))
        };
        let letter_at = |i: usize| rest[i..].starts_with(|c: char| c.is_ascii_alphabetic());
        if is("major") {
            Some(5)
        } else if is("maj") {
            Some(3)
        } else if is("ma") && !letter_at(2) {
            Some(2)
        } else if rest.starts_with('M') && !is("mi") || rest.starts_with("j7") {
            Some(1)
        } else {
            let triangle = TRIANGLES.iter().find(|sign| rest.starts_with(**sign));
            triangle.map(|sign| sign.len())
        }
    }

    /// A number of the vocabulary, the longest that fits.
    fn number(&mut self) -> Option<u8> {
        [13, 11, 9, 7, 6, 5, 4, 3, 2]
            .into_iter()
            .find(|n: &u8| self.take(&n.to_string()))
    }

    /// `b` or `#`, also as Unicode, and the older `-` and `+` in front of a number.
    fn sign(&mut self) -> Option<i8> {
        let value = match self.rest().chars().next()? {
            'b' | '♭' => -1,
            '#' | '♯' => 1,
            '-' | '−' => -1,
            '+' => 1,
            _ => return None,
        };
        let length = self.rest().chars().next()?.len_utf8();
        if !self.rest()[length..].starts_with(|c: char| c.is_ascii_digit()) {
            return None;
        }
        self.at += length;
        Some(value)
    }

    fn piece(&mut self) -> Result<(), ChordError> {
        let start = self.at;
        if self.take("(") {
            if self.depth > 0 || self.rest().starts_with([')', ',']) {
                return self.note(start, Err(ChordProblem::Parenthesis));
            }
            self.depth += 1;
            return Ok(());
        }
        if self.take(")") {
            let opened = self.depth > 0;
            self.depth = self.depth.saturating_sub(1);
            let said = if opened {
                Ok(())
            } else {
                Err(ChordProblem::Parenthesis)
            };
            return self.note(start, said);
        }
        if self.take(",") {
            let more = !self.rest().is_empty() && !self.rest().starts_with([',', ')', '/']);
            let said = if more {
                Ok(())
            } else {
                Err(ChordProblem::Unknown)
            };
            return self.note(start, said);
        }
        if let Some(length) = self.major_word() {
            return self.major(start, length);
        }
        if let Some(sign) = self.sign() {
            let said = match self.number() {
                Some(number) => self.draft.alter(number, sign),
                None => Err(ChordProblem::Unknown),
            };
            return self.note(start, said);
        }
        if self.take("sus") {
            let (two, four) = match (self.take("2"), self.take("4")) {
                (false, false) => (false, true),
                both => both,
            };
            let said = self.draft.suspend(two, four);
            return self.note(start, said);
        }
        if self.take("add") {
            let sign = self.sign().unwrap_or(0);
            let said = match self.number() {
                Some(number) => self.draft.add(number, sign),
                None => Err(ChordProblem::Unknown),
            };
            return self.note(start, said);
        }
        if self.take_any(&["no", "omit"]) {
            let said = match self.number() {
                Some(number) => self.draft.omit(number),
                None => Err(ChordProblem::Unknown),
            };
            return self.note(start, said);
        }
        if self.take("alt") {
            let said = self.draft.altered();
            return self.note(start, said);
        }
        if self.take_any(&["aug", "+"]) {
            let said = self.draft.alter(5, 1);
            return self.note(start, said);
        }
        if let Some(number) = self.number() {
            let nine = number == 6 && (self.take("/9") || self.take("9"));
            let said = match (nine, self.depth > 0) {
                (true, _) => self.draft.six_nine(),
                (false, inside) => self.draft.number(number, inside),
            };
            return self.note(start, said);
        }
        Err(self.error(ChordProblem::Unknown))
    }

    /// `maj7`, `M9`, `Δ`; or `maj` with no number, a major triad.
    fn major(&mut self, start: usize, length: usize) -> Result<(), ChordError> {
        let triangle = !self.rest().starts_with(|c: char| c.is_ascii());
        let triangle = triangle || self.rest().starts_with('^');
        self.at += length;
        let number = if self.rest().starts_with(['7', '9', '1']) {
            self.number()
        } else {
            triangle.then_some(7)
        };
        let said = match number {
            Some(number) => self.draft.major_seventh(number),
            None => self.draft.major(),
        };
        self.note(start, said)
    }

    fn slash(&mut self) -> Result<Option<NoteName>, ChordError> {
        if !self.take("/") {
            return Ok(None);
        }
        match NoteName::read(self.rest()) {
            Some((bass, "")) => Ok(Some(bass)),
            Some((_, rest)) => {
                self.at = self.symbol.len() - rest.len();
                Err(self.error(ChordProblem::Unknown))
            }
            None => Err(self.error(ChordProblem::NoBass)),
        }
    }
}
