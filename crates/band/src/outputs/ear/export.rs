//! The folder of a set: numbered files, the list of questions, the key beside it, pages and a table.
//!
//! Every file is whole or not there. A file that is there already with the same content is left alone, so
//! that a set broken off goes on where it stopped. Another set is there to stay: it gives way only when told.

use super::{
    audio::{AudioFormat, Studio},
    kind::AnswerChoice,
    set::{Ask, Question},
    sound::score,
};
use crate::{
    failure::Failure,
    outputs::{
        destination,
        json::to_json,
        midi_file::{self, TrackLayout},
        origin::fingerprint,
    },
    progress::Progress,
};
use rayon::prelude::*;
use serde::Serialize;
use std::{
    fs,
    io::Read,
    path::{Path, PathBuf},
};

/// The format of a key.
pub const ANSWERS: &str = "endpin-answers/1";

/// The list of questions, `questions.json`.
#[derive(Debug, Serialize)]
pub struct Questions {
    format: &'static str,
    items: Vec<QuestionItem>,
}

/// A question as the learner may see it.
#[derive(Debug, Serialize)]
pub struct QuestionItem {
    /// From 1, easy to hard.
    pub number: usize,
    /// Relative to the set's folder.
    pub file: String,
    /// Its kind.
    pub kind: &'static str,
    /// What is asked.
    pub question: &'static str,
    /// Between which answers one chooses; empty if one writes them down.
    pub choices: Vec<ChoiceItem>,
    /// The home key.
    pub key: String,
    /// Time signature.
    pub meter: String,
    /// Quarter notes a minute.
    pub tempo: u16,
    /// Bars of the excerpt.
    pub bars: usize,
    /// 0 to 1000.
    pub difficulty: u32,
    /// The chords, where they are given; else absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chords: Option<Vec<ChordItem>>,
}

/// An answer to choose.
#[derive(Debug, Serialize)]
pub struct ChoiceItem {
    /// As the key spells it.
    pub answer: String,
    /// What it means.
    pub words: String,
}

/// A chord given with a question.
#[derive(Debug, Serialize)]
pub struct ChordItem {
    /// Bar of the excerpt, from 1.
    pub bar: usize,
    /// Beat, from 1.
    pub beat: usize,
    /// The symbol.
    pub symbol: String,
}

/// The key, `answers.json`.
#[derive(Debug, Serialize)]
pub struct Answers {
    format: &'static str,
    /// What tells the set from others, as in the answers that come back.
    set: String,
    seed: u64,
    level: u8,
    items: Vec<AnswerItem>,
}

/// An answer.
#[derive(Debug, Serialize)]
pub struct AnswerItem {
    /// The question's number.
    pub number: usize,
    /// The question's file.
    pub file: String,
    /// Its kind.
    pub kind: &'static str,
    /// The answer.
    pub answer: String,
    /// Bar of the excerpt in which it lies, from 1, if it lies in one.
    pub bar: Option<usize>,
    /// Beat, from 1.
    pub beat: Option<usize>,
    /// Why.
    pub why: String,
    /// Title of the chart; null for a phrase of our own.
    pub chart: Option<String>,
    /// Bar of the chart in which the excerpt starts, from 1.
    pub chart_bar: Option<u32>,
}

/// The name of a question's file, relative to the set's folder.
pub fn file_name(number: usize, count: usize, suffix: &str) -> String {
    let digits = count.to_string().len().max(3);
    format!("questions/{number:0digits$}.{suffix}")
}

/// The list of questions of a set; `suffix` names the kind of file they are heard from.
pub fn questions(set: &[Question]) -> Questions {
    let item = |question: &Question| {
        let excerpt = &question.variant.excerpt;
        let chords = question.kind.shows_chords().then(|| {
            let chord = |placed: &super::excerpt::PlacedChord| {
                let (bar, beat) = excerpt.place(placed.start);
                ChordItem {
                    bar,
                    beat,
                    symbol: placed.symbol.clone(),
                }
            };
            excerpt.chords.iter().map(chord).collect()
        });
        let choice = |AnswerChoice { answer, words }: &AnswerChoice| ChoiceItem {
            answer: answer.clone(),
            words: words.clone(),
        };
        QuestionItem {
            number: question.number,
            file: file_name(question.number, set.len(), "mid"),
            kind: question.kind.name(),
            question: question.kind.question(),
            choices: question.choices.iter().map(choice).collect(),
            key: question.playing.key.to_string(),
            meter: excerpt.meter.to_string(),
            tempo: question.playing.tempo,
            bars: excerpt.bars,
            difficulty: question.difficulty,
            chords,
        }
    };
    Questions {
        format: "endpin-questions/1",
        items: set.iter().map(item).collect(),
    }
}

/// What tells a set from others: the questions are the same, and so are the answers to choose from.
pub fn set_id(set: &[Question]) -> String {
    fingerprint(to_json(&questions(set)).as_bytes())
}

/// The key of a set.
pub fn answers(set: &[Question], ask: &Ask) -> Answers {
    let item = |question: &Question| {
        let (bar, beat) = question.place().unzip();
        AnswerItem {
            number: question.number,
            file: file_name(question.number, set.len(), "mid"),
            kind: question.kind.name(),
            answer: question.variant.answer.clone(),
            bar,
            beat,
            why: question.variant.why.clone(),
            chart: question.chart.clone(),
            chart_bar: question
                .chart
                .as_ref()
                .map(|_| question.variant.excerpt.chart_bar),
        }
    };
    Answers {
        format: ANSWERS,
        set: set_id(set),
        seed: ask.seed,
        level: ask.level.number(),
        items: set.iter().map(item).collect(),
    }
}

/// The key as a table for a spreadsheet (RFC 4180: quoted fields, lines that end in CR LF).
pub fn table(answers: &Answers) -> String {
    let quoted = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let number =
        |number: Option<usize>| number.map_or_else(String::new, |number| number.to_string());
    let row = |item: &AnswerItem| {
        [
            item.number.to_string(),
            quoted(&item.file),
            quoted(item.kind),
            quoted(&item.answer),
            number(item.bar),
            number(item.beat),
            quoted(&item.why),
        ]
        .join(",")
    };
    let heads = "number,file,kind,answer,bar,beat,why".to_owned();
    let rows = std::iter::once(heads).chain(answers.items.iter().map(row));
    rows.map(|row| row + "\r\n").collect()
}

/// The MIDI file of a question.
pub fn midi(question: &Question) -> Vec<u8> {
    let score = score(question.kind, &question.variant, &question.playing, false);
    midi_file::bytes(&score, TrackLayout::Tracks)
}

/// The lists that make a set this one and no other, by their names; the key first.
pub fn lists(set: &[Question], key: &Answers) -> [(&'static str, String); 2] {
    [
        ("answers.json", to_json(key)),
        ("questions.json", to_json(&questions(set))),
    ]
}

/// The files of a set besides the numbered ones.
const FILES: [&str; 5] = [
    "answers.json",
    "questions.json",
    "answers.csv",
    "answers.html",
    "questions.html",
];

/// A set's folder.
#[derive(Clone, Debug)]
pub struct Folder {
    path: PathBuf,
}

impl Folder {
    /// The folder at a path, whether there or not.
    pub fn new(path: &Path) -> Folder {
        Folder {
            path: path.to_owned(),
        }
    }

    /// Makes it, with one for the questions in it.
    ///
    /// # Errors
    /// What stands in the way.
    pub fn make(&self) -> Result<(), Failure> {
        destination::make_folder(&self.path("questions"))
    }

    /// Whether it has a list of another content than this.
    pub fn differs(&self, name: &str, list: &[u8]) -> bool {
        let path = self.path(name);
        path.exists() && !has(&path, list)
    }

    /// Writes the MIDI files of some questions of a set of `count`.
    ///
    /// # Errors
    /// What stands in the way of the first file that cannot be written.
    pub fn write_midi(&self, questions: &[Question], count: usize) -> Result<(), Failure> {
        self.each(questions, "questions", |question| {
            let file = file_name(question.number, count, "mid");
            self.write(&file, &midi(question)).map(|_| ())
        })
    }

    /// Renders some questions of a set of `count`. Sound that is there already is left alone if it was rendered
    /// from the same MIDI file with the same font and format.
    ///
    /// # Errors
    /// A file that cannot be rendered or written.
    pub fn write_audio(
        &self,
        questions: &[Question],
        count: usize,
        studio: &Studio,
        format: AudioFormat,
    ) -> Result<(), Failure> {
        destination::make_folder(&self.path(".sound"))?;
        self.each(questions, "sound", |question| {
            let midi = midi(question);
            let file = file_name(question.number, count, format.suffix());
            // The stamp of a file of sound says what it was rendered from; it is written after it.
            let stamp = file.replace("questions/", ".sound/");
            let made_from = format!("{} {}\n", studio.label, fingerprint(&midi));
            let is_there =
                fs::read_to_string(self.path(&stamp)).is_ok_and(|found| found == made_from);
            if is_there && self.path(&file).exists() {
                return Ok(());
            }
            let sound = studio.render(&midi, &|_| ()).map_err(Failure::output)?;
            destination::write_one_of_many(&self.path(&file), &sound)?;
            destination::write_one_of_many(&self.path(&stamp), made_from.as_bytes())
        })
    }

    /// Does something for every question on all cores, showing how far it is.
    ///
    /// # Errors
    /// The first failure.
    pub fn each(
        &self,
        questions: &[Question],
        what: &'static str,
        job: impl Fn(&Question) -> Result<(), Failure> + Sync,
    ) -> Result<(), Failure> {
        let progress = Progress::of(what, questions.len() as u64);
        questions.par_iter().try_for_each(|question| {
            job(question)?;
            progress.step();
            Ok(())
        })
    }

    /// Writes a file of the set, unless it is there with this content; says whether it was written.
    ///
    /// # Errors
    /// What stands in the way.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<bool, Failure> {
        let path = self.path(name);
        if has(&path, bytes) {
            return Ok(false);
        }
        destination::write_one_of_many(&path, bytes)?;
        Ok(true)
    }

    /// A file of the set, whether there or not.
    pub fn path(&self, name: &str) -> PathBuf {
        self.path.join(name)
    }
}

/// Whether a file has this content; of a longer one, or an endless one, no more is read than tells.
fn has(path: &Path, bytes: &[u8]) -> bool {
    let mut found = Vec::new();
    let read = fs::File::open(path)
        .and_then(|file| file.take(bytes.len() as u64 + 1).read_to_end(&mut found));
    read.is_ok() && found == bytes
}

/// Whether a path in a set's folder is one of the files that make a set.
pub fn is_of_a_set(path: &Path) -> bool {
    let stem = path.file_stem().and_then(|stem| stem.to_str());
    let ending = path.extension().and_then(|ending| ending.to_str());
    let is_numbered = stem.is_some_and(|stem| stem.bytes().all(|byte| byte.is_ascii_digit()))
        && ending.is_some_and(|ending| ["mid", "wav", "flac"].contains(&ending));
    let parent = path.parent().and_then(Path::to_str);
    match parent {
        Some("questions" | ".sound") => is_numbered,
        _ => FILES.iter().any(|name| path == Path::new(name)),
    }
}
