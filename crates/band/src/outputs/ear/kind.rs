//! The kinds of question, what each asks and between which answers one chooses.
//!
//! Every kind but the dictation has a fixed list of answers, the ones that learners confuse, in a fixed
//! order: the order says nothing.

use endpin_theory::did_you_mean;
use std::{fmt, str::FromStr};

/// A kind of question.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum QuestionKind {
    /// Name the approach into the marked beat.
    Approach,
    /// Name the chord tone on the marked beat.
    ChordTone,
    /// Name the chord's quality from the line.
    Quality,
    /// Find the one wrong strong-beat note.
    WrongNote,
    /// Name the turnaround.
    Turnaround,
    /// Same excerpt again, or another line?
    Same,
    /// Write down the last bar.
    Dictation,
    /// Which level the line is of.
    Level,
    /// Are the dominants of the comp plain or altered?
    Comp,
    /// Name, sing or play the root that comes next.
    NextRoot,
}

/// An answer as the key spells it, with its words for the reader.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct AnswerChoice {
    /// As the key and the data files spell it.
    pub answer: String,
    /// What it means.
    pub words: String,
}

impl QuestionKind {
    /// All kinds, in the order in which they are listed.
    pub const ALL: [QuestionKind; 10] = [
        QuestionKind::Approach,
        QuestionKind::ChordTone,
        QuestionKind::Quality,
        QuestionKind::WrongNote,
        QuestionKind::Turnaround,
        QuestionKind::Same,
        QuestionKind::Dictation,
        QuestionKind::Level,
        QuestionKind::Comp,
        QuestionKind::NextRoot,
    ];

    /// These kinds, each once and in order; all of them where none is named.
    pub fn among(named: &[QuestionKind]) -> Vec<QuestionKind> {
        let mut kinds = match named {
            [] => QuestionKind::ALL.to_vec(),
            _ => named.to_vec(),
        };
        kinds.sort_unstable();
        kinds.dedup();
        kinds
    }

    /// The name on the command line and in files.
    pub fn name(self) -> &'static str {
        match self {
            QuestionKind::Approach => "approach",
            QuestionKind::ChordTone => "chord-tone",
            QuestionKind::Quality => "quality",
            QuestionKind::WrongNote => "wrong-note",
            QuestionKind::Turnaround => "turnaround",
            QuestionKind::Same => "same",
            QuestionKind::Dictation => "dictation",
            QuestionKind::Level => "level",
            QuestionKind::Comp => "comp",
            QuestionKind::NextRoot => "next-root",
        }
    }

    /// What is asked, for the learner.
    pub fn question(self) -> &'static str {
        match self {
            QuestionKind::Approach => {
                "How does the bass come into the last note, the one with the bell? A two-note approach counts \
                 as one, whatever its second note would be alone."
            }
            QuestionKind::ChordTone => {
                "Which tone of the chord does the bass play at the bell? Its first note in that bar is the root."
            }
            QuestionKind::Quality => {
                "The first two bars are one chord, its root first. What is the chord, by the line alone?"
            }
            QuestionKind::WrongNote => {
                "One note on a strong beat is wrong: neither in the chord nor in its scale. In which bar, on \
                 which beat?"
            }
            QuestionKind::Turnaround => {
                "One chord a bar, then home. Which turnaround does the bass spell?"
            }
            QuestionKind::Same => {
                "A passage, a bar of silence, and a passage over the same chords. The same line, or another?"
            }
            QuestionKind::Dictation => {
                "Write down the bar that the bell opens: four or so notes of the bass."
            }
            QuestionKind::Level => {
                "One chord a bar: listen to how each bar leads into the next. Which level is the line?"
            }
            QuestionKind::Comp => "Are the dominant chords of the comp plain or altered?",
            QuestionKind::NextRoot => {
                "The band stops before the last chord. On which degree of the key is the root that must come \
                 at the bell? Sing or play it, then compare."
            }
        }
    }

    /// The answers between which one chooses, in a fixed order; empty for the dictation. `strong` are the
    /// strong beats of the bar, from 1, among which a wrong note is looked for.
    pub fn choices(self, strong: &[usize]) -> Vec<AnswerChoice> {
        let rows: &[(&str, &str)] = match self {
            QuestionKind::Approach => &[
                ("chromatic-below", "a semitone, from below"),
                ("chromatic-above", "a semitone, from above"),
                ("scale-below", "a whole step, from below"),
                ("scale-above", "a whole step, from above"),
                ("dominant", "from a fifth above or a fourth below"),
                ("double-chromatic", "two semitones, in one direction"),
                ("enclosure", "from both sides, one note on each"),
            ],
            QuestionKind::ChordTone => &[
                ("root", "the root again, or its octave"),
                ("third", "the third"),
                ("fifth", "the fifth"),
                ("seventh", "the seventh"),
            ],
            QuestionKind::Quality => &[
                ("major-seventh", "major seventh"),
                ("dominant-seventh", "dominant seventh"),
                ("minor-seventh", "minor seventh"),
                ("half-diminished", "half-diminished"),
            ],
            QuestionKind::WrongNote => {
                return (1..=WRONG_NOTE_BARS)
                    .flat_map(|bar| strong.iter().map(move |beat| (bar, *beat)))
                    .map(|(bar, beat)| AnswerChoice {
                        answer: format!("{bar}.{beat}"),
                        words: format!("bar {bar}, beat {beat}"),
                    })
                    .collect();
            }
            QuestionKind::Turnaround => &[
                ("1-6-2-5", "I VI ii V"),
                ("1-#1-2-5", "I #i° ii V"),
                ("3-6-2-5", "iii VI ii V"),
                ("1-b3-b6-b2", "I bIII bVI bII"),
            ],
            QuestionKind::Same => &[("same", "the same line"), ("different", "another line")],
            QuestionKind::Dictation => &[],
            QuestionKind::Level => &[
                ("3", "level 3: by step into every change"),
                ("4", "level 4: at least once from the dominant"),
                ("5", "level 5: at least once by a two-note approach"),
            ],
            QuestionKind::Comp => &[("plain", "plain"), ("altered", "altered")],
            QuestionKind::NextRoot => &[
                ("1", "1, the tonic"),
                ("2", "2, a whole step above the tonic"),
                ("4", "4, a fourth above the tonic"),
                ("5", "5, a fifth above the tonic"),
                ("6", "6, a major sixth above the tonic"),
            ],
        };
        rows.iter()
            .map(|(answer, words)| AnswerChoice {
                answer: (*answer).to_owned(),
                words: (*words).to_owned(),
            })
            .collect()
    }

    /// Whether the chords are printed with the question: where they are known, and hearing is compared with
    /// them.
    pub fn shows_chords(self) -> bool {
        matches!(self, QuestionKind::WrongNote)
    }
}

/// Bars in which a wrong note is looked for.
pub const WRONG_NOTE_BARS: usize = 4;

impl fmt::Display for QuestionKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// Text that names no kind of question.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is not a kind of question{near}; there are {all}", near = did_you_mean(found, QuestionKind::ALL), all = list())]
pub struct KindError {
    found: String,
}

fn list() -> String {
    QuestionKind::ALL.map(QuestionKind::name).join(", ")
}

impl FromStr for QuestionKind {
    type Err = KindError;

    fn from_str(text: &str) -> Result<QuestionKind, KindError> {
        let found = text.trim();
        QuestionKind::ALL
            .into_iter()
            .find(|kind| kind.name() == found)
            .ok_or_else(|| KindError {
                found: found.to_owned(),
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn names_read_back_and_a_wrong_one_lists_them_all() {
        for kind in QuestionKind::ALL {
            assert_eq!(kind.to_string().parse(), Ok(kind));
        }
        let message = "harmony".parse::<QuestionKind>().unwrap_err().to_string();
        assert!(
            message.starts_with(
                "\"harmony\" is not a kind of question; there are approach, chord-tone"
            )
        );
    }

    #[test]
    fn answers_of_a_kind_differ() {
        for kind in QuestionKind::ALL {
            let choices = kind.choices(&[1, 3]);
            let answers: BTreeSet<_> = choices.iter().map(|choice| &choice.answer).collect();
            assert_eq!(answers.len(), choices.len(), "{kind}");
            assert_eq!(choices.is_empty(), kind == QuestionKind::Dictation);
        }
        assert_eq!(QuestionKind::WrongNote.choices(&[1, 3]).len(), 8);
    }
}
