//! The drill: one question at a time, the weak ones more often.

use super::{
    balance::{SetPurpose, of_set},
    kind::QuestionKind,
    record::{Entry, Record, topic},
    schedule::{standings, wants},
    set::{Maker, Question},
};
use crate::{failure::Failure, players::random_streams::weighted};
use endpin_theory::{NoteName, Pitch};

/// Something to practise: a kind with one of its answers.
#[derive(Clone, Debug)]
struct Topic {
    kind: QuestionKind,
    answer: usize,
    name: String,
}

/// A drill under way.
#[derive(Debug)]
pub struct Drill<'a> {
    maker: Maker<'a>,
    seed: u64,
    topics: Vec<Topic>,
    record: Record,
}

/// How a topic stands, for the learner.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// Its name.
    pub topic: String,
    /// How often it was asked.
    pub asked: u32,
    /// How often the answer was right.
    pub right: u32,
    /// Days until it is next asked; 0 is today.
    pub days: u32,
}

impl Progress {
    /// Share of right answers, 0 to 1; 0 if it was never asked.
    pub fn share(&self) -> f32 {
        self.right as f32 / self.asked.max(1) as f32
    }

    /// When it is next asked, in words.
    pub fn next_asked(&self) -> String {
        match self.days {
            0 => "today".to_owned(),
            1 => "tomorrow".to_owned(),
            days => format!("in {days} days"),
        }
    }
}

/// The topics met so far, the weakest first.
pub fn weakest_first(progress: &[Progress]) -> Vec<&Progress> {
    let mut met: Vec<&Progress> = progress.iter().filter(|topic| topic.asked > 0).collect();
    met.sort_by(|a, b| {
        a.share()
            .total_cmp(&b.share())
            .then_with(|| a.topic.cmp(&b.topic))
    });
    met
}

/// Questions of a drill are numbered from here on, apart from those of sets.
const FIRST: usize = 1 << 24;

impl<'a> Drill<'a> {
    /// A drill in the kinds for which the maker has places.
    ///
    /// # Errors
    /// No kind at all.
    pub fn new(maker: Maker<'a>, seed: u64, record: Record) -> Result<Drill<'a>, Failure> {
        let topics: Vec<Topic> = maker
            .possible()
            .into_iter()
            .flat_map(|kind| {
                let answers: Vec<String> = maker
                    .choices(kind)
                    .into_iter()
                    .map(|choice| choice.answer)
                    .collect();
                let answers = if answers.is_empty() {
                    vec![String::new()]
                } else {
                    answers
                };
                answers
                    .into_iter()
                    .enumerate()
                    .map(move |(index, answer)| Topic {
                        kind,
                        answer: index,
                        name: topic(kind.name(), &answer),
                    })
            })
            .collect();
        if topics.is_empty() {
            return Err(Failure::input(
                "these charts have no place for questions of these kinds",
            ));
        }
        Ok(Drill {
            maker,
            seed,
            topics,
            record,
        })
    }

    /// The record.
    pub fn record(&self) -> &Record {
        &self.record
    }

    /// The next question. Topics that need more practice come more often, at random, so that the learner cannot tell it from the record.
    ///
    /// # Errors
    /// A question that cannot be made.
    pub fn next(&self, now: u64) -> Result<Question, Failure> {
        let asked = self.record.entries().len();
        let names: Vec<String> = self.topics.iter().map(|topic| topic.name.clone()).collect();
        let wants = wants(&names, self.record.entries(), now);
        let mut rng = of_set(self.seed, SetPurpose::Drill(asked));
        let chosen = weighted(&mut rng, &wants).unwrap_or(0);
        let Topic { kind, answer, .. } = self.topics[chosen];
        self.maker
            .one(kind, answer, FIRST + asked)
            .map_err(Failure::input)
    }

    /// Takes an answer and says whether it is right; by then it is on the disk.
    ///
    /// # Errors
    /// A record that cannot be written.
    pub fn answer(&mut self, question: &Question, given: &str, now: u64) -> Result<bool, Failure> {
        let answer = &question.variant.answer;
        let right = is_right(question.kind.name(), answer, given);
        self.record.add(Entry {
            at: now,
            kind: question.kind.name().to_owned(),
            answer: answer.clone(),
            given: given.to_owned(),
            right,
        })?;
        Ok(right)
    }

    /// How every topic of the drill stands.
    pub fn progress(&self, now: u64) -> Vec<Progress> {
        let standings = standings(self.record.entries());
        let of = |topic: &Topic| match standings.get(&topic.name) {
            None => Progress {
                topic: topic.name.clone(),
                asked: 0,
                right: 0,
                days: 0,
            },
            Some(standing) => Progress {
                topic: topic.name.clone(),
                asked: standing.asked,
                right: standing.right,
                days: standing.days_left(now),
            },
        };
        self.topics.iter().map(of).collect()
    }
}

/// Whether this answers a question of that kind. The notes of a dictation are compared by their sound.
pub fn is_right(kind: &str, answer: &str, given: &str) -> bool {
    match kind == QuestionKind::Dictation.name() {
        true => chromas(given).is_some_and(|notes| chromas(answer) == Some(notes)),
        false => given == answer,
    }
}

/// The notes of a dictation by their keys of the octave, however spelled, with or without octaves.
fn chromas(text: &str) -> Option<Vec<u8>> {
    let note = |word: &str| {
        let pitch = word.parse::<Pitch>().map(|pitch| pitch.name());
        pitch
            .or_else(|_| word.parse::<NoteName>())
            .ok()
            .map(NoteName::chroma)
    };
    text.split_whitespace().map(note).collect()
}

/// A bar of so many cells, filled by eighths of a cell.
pub fn bar(share: f32, cells: usize) -> String {
    const PARTS: [char; 8] = [' ', '▏', '▎', '▍', '▌', '▋', '▊', '▉'];
    let eighths = (share.clamp(0.0, 1.0) * (cells * 8) as f32).round() as usize;
    let mut text = "█".repeat(eighths / 8);
    if eighths / 8 < cells {
        text.push(PARTS[eighths % 8]);
    }
    text + &" ".repeat(cells - (eighths / 8 + 1).min(cells))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dictations_are_compared_by_sound() {
        assert_eq!(chromas("Bb2 D3 F#3"), chromas("A# D Gb"));
        assert_ne!(chromas("Bb2 D3"), chromas("Bb2 D3 F3"));
        assert_eq!(chromas("Bb2 H"), None);
    }

    #[test]
    fn bars_keep_their_width() {
        for eighths in 0..=80 {
            assert_eq!(bar(eighths as f32 / 80.0, 10).chars().count(), 10);
        }
        assert_eq!(bar(0.5, 4), "██  ");
    }
}
