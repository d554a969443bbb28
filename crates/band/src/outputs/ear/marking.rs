//! Marking: the answers that learners send back, held against the key of their set.

use super::{drill::is_right, export::ANSWERS, record::topic};
use crate::failure::printable_line;
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, fmt::Write};

/// The format of answers that come back, and how they begin as a code to paste.
const GIVEN: &str = "endpin-given/1";
const CODE: &str = "given:";
/// Most bytes of answers; most letters of a name.
const MOST_BYTES: usize = 4 << 20;
const MOST_LETTERS: usize = 80;
/// Topics that are named to be heard next.
const NEXT: usize = 3;

/// The answers of a learner, as the questions' page saves them.
#[derive(Debug, Deserialize)]
pub struct Given {
    format: String,
    /// Which set they answer.
    pub set: String,
    /// Whose they are; may be empty.
    pub name: String,
    given: Vec<GivenAnswer>,
}

#[derive(Debug, Deserialize)]
struct GivenAnswer {
    number: usize,
    answer: String,
}

impl Given {
    /// Reads a file of answers, or a code.
    ///
    /// # Errors
    /// What they are not, in words that stand behind a name and a colon.
    pub fn read(bytes: &[u8]) -> Result<Given, String> {
        let what = "these are not answers from a page of questions";
        if bytes.len() > MOST_BYTES {
            return Err(format!("{what}: too long"));
        }
        let text = String::from_utf8_lossy(bytes);
        let text = text.trim_start_matches('\u{feff}').trim();
        let json = match text.strip_prefix(CODE) {
            // Mail breaks long lines.
            Some(code) => {
                let code: String = code.split_whitespace().collect();
                let cut = |_| "this code is incomplete; copy all of it".to_owned();
                URL_SAFE_NO_PAD.decode(code).map_err(cut)?
            }
            None => text.as_bytes().to_vec(),
        };
        let mut given: Given =
            serde_json::from_slice(&json).map_err(|error| format!("{what}: {error}"))?;
        if given.format != GIVEN {
            return Err(format!("{what}: its format is not {GIVEN}"));
        }
        let name = printable_line(given.name.trim());
        given.name = name.chars().take(MOST_LETTERS).collect();
        Ok(given)
    }
}

/// The key of a set, as `answers.json` has it.
#[derive(Debug, Deserialize)]
pub struct Key {
    format: String,
    /// Which set it is the key of.
    pub set: String,
    items: Vec<KeyItem>,
}

#[derive(Debug, Deserialize)]
struct KeyItem {
    number: usize,
    kind: String,
    answer: String,
    why: String,
}

impl Key {
    /// Reads `answers.json`.
    ///
    /// # Errors
    /// What it is not.
    pub fn read(bytes: &[u8]) -> Result<Key, String> {
        let key: Key = serde_json::from_slice(bytes)
            .map_err(|error| format!("this is not the key of a set: {error}"))?;
        match key.format == ANSWERS {
            true => Ok(key),
            false => Err(format!(
                "this is not the key of a set: its format is not {ANSWERS}"
            )),
        }
    }
}

/// Right answers among those asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Share {
    /// How many are right.
    pub right: usize,
    /// Of how many.
    pub of: usize,
}

impl Share {
    fn count(&mut self, right: bool) {
        self.right += usize::from(right);
        self.of += 1;
    }
}

/// A question that was not answered rightly.
#[derive(Debug, Serialize)]
pub struct Missed {
    /// Its number.
    pub number: usize,
    /// Its kind.
    pub kind: String,
    /// What was answered; null if nothing was.
    pub given: Option<String>,
    /// The answer.
    pub answer: String,
    /// Why.
    pub why: String,
}

/// What a learner should hear next.
#[derive(Debug, Serialize)]
pub struct Next {
    /// The kind, with the answer where there are several to choose from.
    pub topic: String,
    #[serde(flatten)]
    share: Share,
    /// The questions on it that were missed.
    pub numbers: Vec<usize>,
}

/// How somebody answered a set.
#[derive(Debug, Serialize)]
pub struct Marked {
    /// Whose answers they are; may be empty.
    pub name: String,
    /// Of all questions of the set.
    #[serde(flatten)]
    pub share: Share,
    /// How many questions were answered.
    pub answered: usize,
    /// By kind of question.
    pub kinds: BTreeMap<String, Share>,
    /// The weakest first.
    pub next: Vec<Next>,
    /// In order.
    pub missed: Vec<Missed>,
}

/// The marks of several learners, for programs.
#[derive(Debug, Serialize)]
pub struct Marks {
    format: &'static str,
    marks: Vec<Marked>,
}

impl Marks {
    /// In the order of the files.
    pub fn new(marks: Vec<Marked>) -> Marks {
        Marks {
            format: "endpin-marks/1",
            marks,
        }
    }
}

/// Marks answers by the key of the same set.
pub fn mark(key: &Key, given: &Given) -> Marked {
    let (mut share, mut answered) = (Share::default(), 0);
    let mut kinds: BTreeMap<String, Share> = BTreeMap::new();
    let mut topics: BTreeMap<String, (Share, Vec<usize>)> = BTreeMap::new();
    let mut missed = Vec::new();
    for item in &key.items {
        let answers = given.given.iter();
        // Of two answers to one question the later one is meant.
        let answer = answers.rev().find(|answer| answer.number == item.number);
        let answer = answer
            .map(|answer| answer.answer.trim())
            .filter(|answer| !answer.is_empty());
        let right = answer.is_some_and(|given| is_right(&item.kind, &item.answer, given));
        answered += usize::from(answer.is_some());
        share.count(right);
        kinds.entry(item.kind.clone()).or_default().count(right);
        let (topic, numbers) = topics.entry(topic(&item.kind, &item.answer)).or_default();
        topic.count(right);
        if !right {
            numbers.push(item.number);
            missed.push(Missed {
                number: item.number,
                kind: item.kind.clone(),
                given: answer.map(printable_line),
                answer: item.answer.clone(),
                why: item.why.clone(),
            });
        }
    }
    let mut next: Vec<Next> = topics
        .into_iter()
        .filter(|(_, (share, _))| share.right < share.of)
        .map(|(topic, (share, numbers))| Next {
            topic,
            share,
            numbers,
        })
        .collect();
    // The smaller share first: a / b < c / d where a * d < c * b.
    next.sort_by(|a, b| (a.share.right * b.share.of).cmp(&(b.share.right * a.share.of)));
    next.truncate(NEXT);
    Marked {
        name: given.name.clone(),
        share,
        answered,
        kinds,
        next,
        missed,
    }
}

/// The marks of several learners, in words.
pub fn text(marked: &[Marked]) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let mut put = |line: std::fmt::Arguments| _ = writeln!(text, "{line}");
    for one in marked {
        let name = if one.name.is_empty() {
            "Nameless"
        } else {
            &one.name
        };
        let Share { right, of } = one.share;
        let left_out = match of - one.answered {
            0 => String::new(),
            left_out => format!(", {left_out} not answered"),
        };
        put(format_args!("{name}: {right} of {of} right{left_out}"));
        for (kind, Share { right, of }) in &one.kinds {
            put(format_args!("  {kind:<12} {right:>3} of {of}"));
        }
        for Next {
            topic,
            share: Share { right, of },
            numbers,
        } in &one.next
        {
            let numbers: Vec<String> = numbers.iter().map(ToString::to_string).collect();
            let word = if numbers.len() == 1 {
                "question"
            } else {
                "questions"
            };
            let numbers = numbers.join(", ");
            put(format_args!(
                "  hear next: {topic} ({right} of {of} right), {word} {numbers}"
            ));
        }
        put(format_args!(""));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: &str = r#"{"format": "endpin-answers/1", "set": "ab", "seed": 1, "level": 4, "items": [
        {"number": 1, "kind": "approach", "answer": "dominant", "why": "C leads to F"},
        {"number": 2, "kind": "approach", "answer": "scale-below", "why": "Eb to F"},
        {"number": 3, "kind": "approach", "answer": "dominant", "why": "G leads to C"},
        {"number": 4, "kind": "dictation", "answer": "Bb2 D3", "why": "root and third"}]}"#;

    fn given(answers: &str) -> Given {
        let text = format!(
            r#"{{"format": "endpin-given/1", "set": "ab", "name": " Ada ", "given": [{answers}]}}"#
        );
        let code = format!("given:{}", URL_SAFE_NO_PAD.encode(&text));
        let (half, rest) = code.split_at(40);
        let pasted = Given::read(format!("\n{half}\r\n{rest}\n").as_bytes()).unwrap();
        let read = Given::read(text.as_bytes()).unwrap();
        assert_eq!(format!("{pasted:?}"), format!("{read:?}"));
        read
    }

    #[test]
    fn answers_are_marked_by_kind_and_what_to_hear_next_is_named() {
        let key = Key::read(KEY.as_bytes()).unwrap();
        let answers = r#"{"number": 1, "answer": "scale-below"}, {"number": 1, "answer": "dominant"},
            {"number": 3, "answer": "scale-above"}, {"number": 4, "answer": "A# d"}, {"number": 9, "answer": "x"}"#;
        let marked = mark(&key, &given(&answers.replace("A# d", "A# D")));
        assert_eq!(marked.name, "Ada");
        assert_eq!(
            (marked.share.right, marked.share.of, marked.answered),
            (2, 4, 3)
        );
        assert_eq!(marked.kinds["dictation"], Share { right: 1, of: 1 });
        let numbers: Vec<usize> = marked.missed.iter().map(|missed| missed.number).collect();
        assert_eq!(numbers, [2, 3]);
        assert_eq!(
            text(&[marked]),
            "Ada: 2 of 4 right, 1 not answered\n  approach       1 of 3\n  dictation      1 of 1\n  \
             hear next: approach: scale-below (0 of 1 right), question 2\n  \
             hear next: approach: dominant (1 of 2 right), question 3\n\n"
        );
    }

    #[test]
    fn what_is_no_answer_is_refused_in_words() {
        let problem = |bytes: &[u8]| Given::read(bytes).unwrap_err();
        assert!(problem(b"MThd").starts_with("these are not answers from a page of questions: "));
        assert!(problem(KEY.as_bytes()).starts_with("these are not answers"));
        assert_eq!(
            problem(b"given:ab!c"),
            "this code is incomplete; copy all of it"
        );
        assert!(
            Key::read(b"{}")
                .unwrap_err()
                .starts_with("this is not the key of a set")
        );
    }
}
