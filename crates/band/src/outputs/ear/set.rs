//! A set of questions: kinds and answers dealt out evenly, no two alike, from easy to hard.

use super::{
    balance::{SetPurpose, balanced, of_question, of_set, one_of, shuffle},
    excerpt::Excerpt,
    kind::{AnswerChoice, QuestionKind, WRONG_NOTE_BARS},
    phrase::phrases,
    sound::{Playing, With},
    tune::{Families, Family, LineRegister, Tune},
    vary::{QuestionBounds, Variant, variants},
};
use crate::players::random_streams::below;
use endpin_theory::{Chart, Key, Meter, Strength};
use endpin_walker::{Level, WalkError};
use rand_chacha::rand_core::Rng;
use rayon::prelude::*;
use std::collections::BTreeSet;

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Ask {
    /// The charts, at least one.
    pub charts: Vec<Chart>,
    /// Tonics to play every chart in; empty for the charts' own keys.
    pub tonics: Vec<Key>,
    /// The kinds, at least one, each once.
    pub kinds: Vec<QuestionKind>,
    /// How many questions.
    pub count: usize,
    /// The same seed makes the same set.
    pub seed: u64,
    /// Level of the lines: 3 to 5, so that every beat has one note.
    pub level: Level,
    /// Lowest and highest MIDI key of the bass.
    pub range: (u8, u8),
    /// A tempo for all; none to spread them around each chart's.
    pub tempo: Option<f64>,
    /// Which parts may play besides the bass.
    pub with: With,
}

/// One question with its answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// From 1, easy to hard.
    pub number: usize,
    /// Its kind.
    pub kind: QuestionKind,
    /// Between which answers one chooses.
    pub choices: Vec<AnswerChoice>,
    /// The answer, written out.
    pub variant: Variant,
    /// How it is played.
    pub playing: Playing,
    /// How hard it is; see [`difficulty`].
    pub difficulty: u32,
    /// Title of its chart, unless it is a phrase of our own.
    pub chart: Option<String>,
}

/// Why a set cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SetError {
    /// The walker finds no line.
    #[error(transparent)]
    Walk(#[from] WalkError),
    /// The charts have no place for a kind of question.
    #[error("these charts have no place for a question of the kind {0}: {1}")]
    NoPlace(QuestionKind, &'static str),
    /// No more different questions.
    #[error(
        "after {found} questions of the kind {kind} no different one is found; ask for fewer, or give more charts, or --keys all"
    )]
    Exhausted {
        /// The kind.
        kind: QuestionKind,
        /// How many there are.
        found: usize,
    },
}

/// Draws that a question may take.
const ATTEMPTS: u32 = 3000;
/// Draws after which a kind is held to be impossible.
const PROBES: u32 = 600;

/// A maker of questions, its walkers built.
#[derive(Debug)]
pub struct Maker<'a> {
    ask: &'a Ask,
    families: Families,
    meter: Meter,
}

impl<'a> Maker<'a> {
    /// Builds all that the questions are drawn from.
    ///
    /// # Errors
    /// A range that leaves a chart no line.
    pub fn new(ask: &'a Ask) -> Result<Maker<'a>, SetError> {
        let families = Families::new(ask)?;
        Ok(Maker {
            ask,
            families,
            meter: main_meter(&ask.charts),
        })
    }

    /// The kinds among those asked for that the charts have a place for.
    pub fn possible(&self) -> Vec<QuestionKind> {
        let kinds = self.ask.kinds.par_iter().copied();
        kinds
            .filter(|&kind| self.draw(kind, 0, usize::MAX >> 32, 0..PROBES).is_some())
            .collect()
    }

    /// The whole set, in order of number.
    ///
    /// # Errors
    /// A kind for which there is no place, or not enough different questions.
    pub fn set(&self) -> Result<Vec<Question>, SetError> {
        let dealt = self.deal();
        let drawn: Vec<Option<(u32, Question)>> = dealt
            .par_iter()
            .enumerate()
            .map(|(index, &(kind, answer))| self.draw(kind, answer, index, 0..ATTEMPTS))
            .collect();
        let mut seen = BTreeSet::new();
        let mut questions: Vec<Question> = Vec::with_capacity(dealt.len());
        for (index, (drawn, &(kind, answer))) in drawn.into_iter().zip(&dealt).enumerate() {
            let mut drawn = drawn;
            let question = loop {
                let Some((attempt, question)) = drawn else {
                    return Err(self.lacking(kind, &questions));
                };
                if seen.insert(question.signature()) {
                    break question;
                }
                drawn = self.draw(kind, answer, index, attempt + 1..ATTEMPTS);
            };
            questions.push(question);
        }
        questions.sort_by_key(|question| question.difficulty);
        for (index, question) in questions.iter_mut().enumerate() {
            question.number = index + 1;
        }
        Ok(questions)
    }

    fn lacking(&self, kind: QuestionKind, questions: &[Question]) -> SetError {
        match questions
            .iter()
            .filter(|question| question.kind == kind)
            .count()
        {
            0 => SetError::NoPlace(kind, needs(kind)),
            found => SetError::Exhausted { kind, found },
        }
    }

    /// Kind and index of the answer of each question.
    fn deal(&self) -> Vec<(QuestionKind, usize)> {
        let Ask {
            kinds, count, seed, ..
        } = self.ask;
        let order = balanced(&mut of_set(*seed, SetPurpose::Kinds), kinds.len(), *count);
        let mut answers: Vec<std::vec::IntoIter<usize>> = kinds
            .iter()
            .enumerate()
            .map(|(index, kind)| {
                let often = order.iter().filter(|&&found| found == index).count();
                let choices = self.choices(*kind).len();
                let stream = &mut of_set(*seed, SetPurpose::Answers(*kind as usize));
                balanced(stream, choices, often).into_iter()
            })
            .collect();
        order
            .into_iter()
            .map(|index| (kinds[index], answers[index].next().unwrap_or(0)))
            .collect()
    }

    /// One question of a kind with that answer; `index` sets it apart from others.
    ///
    /// # Errors
    /// A kind for which there is no place.
    pub fn one(
        &self,
        kind: QuestionKind,
        answer: usize,
        index: usize,
    ) -> Result<Question, SetError> {
        let drawn = self.draw(kind, answer, index, 0..ATTEMPTS);
        drawn
            .map(|(_, question)| question)
            .ok_or(SetError::NoPlace(kind, needs(kind)))
    }

    /// Between which answers a question of the kind chooses.
    pub fn choices(&self, kind: QuestionKind) -> Vec<AnswerChoice> {
        let beats = 1..=usize::from(self.meter.beats());
        let strong: Vec<usize> = beats
            .filter(|beat| self.meter.strength(beat - 1) != Strength::Weak)
            .collect();
        kind.choices(&strong)
    }

    /// The first of some attempts that gives a question, with its number.
    fn draw(
        &self,
        kind: QuestionKind,
        answer: usize,
        index: usize,
        attempts: std::ops::Range<u32>,
    ) -> Option<(u32, Question)> {
        attempts.into_iter().find_map(|attempt| {
            let mut rng = of_question(self.ask.seed, index, attempt);
            Some((attempt, self.attempt(kind, answer, &mut rng)?))
        })
    }

    fn attempt(&self, kind: QuestionKind, answer: usize, rng: &mut impl Rng) -> Option<Question> {
        // All that is not the answer first.
        let family: &Family = one_of(rng, self.families.of(kind))?;
        let with = self.with(kind, rng);
        let first = &family[0];
        let tempo = match self.ask.tempo {
            Some(tempo) => tempo,
            None => first.tempo * f64::from(70 + below(rng, 61)) / 100.0,
        };
        let playing = Playing {
            key: first.key,
            tempo: tempo.round().clamp(20.0, 400.0) as u16,
            with,
            highest: i16::from(first.range.1),
        };
        let bars = bars(kind, first, rng);
        let tune = family.get(answer).unwrap_or(first);
        let line = tune.line(rng.next_u64());
        let last = tune.chorus.bars.len().checked_sub(bars)?;
        let mut starts: Vec<usize> = (1..=last).collect();
        shuffle(rng, &mut starts);
        let bounds = QuestionBounds {
            range: i16::from(tune.range.0)..i16::from(tune.range.1) + 1,
        };
        let choices = self.choices(kind);
        let written = starts.into_iter().find_map(|start| {
            let base = tune.cut(&line, start, bars)?;
            let fits = kind != QuestionKind::WrongNote || base.meter == self.meter;
            if fits {
                variants(kind, &base, &bounds, rng)
            } else {
                None
            }
        })?;
        let density = density(&written[0].excerpt, kind, first.key);
        let mut variant = if written.len() == 1 {
            written.into_iter().next()
        } else {
            written.into_iter().nth(answer)
        }?;
        if variant.answer.is_empty() {
            variant.answer = choices.get(answer)?.answer.clone();
        }
        Some(Question {
            number: 0,
            kind,
            choices,
            difficulty: difficulty(playing.tempo, first.register, density, bars),
            variant,
            playing,
            chart: tune.title.clone(),
        })
    }

    fn with(&self, kind: QuestionKind, rng: &mut impl Rng) -> With {
        let [comp, time] = [0, 1].map(|_| below(rng, 2) == 0);
        let hides_chords = matches!(
            kind,
            QuestionKind::Quality
                | QuestionKind::Turnaround
                | QuestionKind::Level
                | QuestionKind::NextRoot
        );
        With {
            comp: kind == QuestionKind::Comp || (comp && self.ask.with.comp && !hides_chords),
            time: time && self.ask.with.time,
        }
    }
}

/// Bars of a question's excerpt.
fn bars(kind: QuestionKind, tune: &Tune, rng: &mut impl Rng) -> usize {
    match kind {
        QuestionKind::WrongNote | QuestionKind::Level => WRONG_NOTE_BARS,
        QuestionKind::Same => 2 + below(rng, 2) as usize,
        _ if phrases(kind).is_empty() => 2 + below(rng, 3) as usize,
        _ => tune.chorus.bars.len() - 1,
    }
}

/// What a kind needs of a chart, for the message when it is not there.
fn needs(kind: QuestionKind) -> &'static str {
    match kind {
        QuestionKind::Approach => {
            "it needs two bars and a change whose root every approach can reach"
        }
        QuestionKind::ChordTone => "it needs a bar of one seventh chord",
        QuestionKind::WrongNote => "it needs five bars of one meter",
        QuestionKind::Level => "it needs five bars of one chord each",
        QuestionKind::Comp => "it needs plain dominant seventh chords",
        _ => "it needs three bars or more of one meter with a chord on every beat",
    }
}

/// The meter of most bars.
fn main_meter(charts: &[Chart]) -> Meter {
    let mut counted: Vec<(Meter, usize)> = Vec::new();
    for bar in charts.iter().flat_map(|chart| chart.chorus().bars) {
        match counted.iter_mut().find(|(meter, _)| *meter == bar.meter) {
            Some((_, count)) => *count += 1,
            None => counted.push((bar.meter, 1)),
        }
    }
    let most = counted.iter().map(|(_, count)| *count).max();
    let found = counted.into_iter().find(|(_, count)| Some(*count) == most);
    found.map_or_else(|| charts[0].meter.clone(), |(meter, _)| meter)
}

/// What the kinds that ask for the chords have in place of their density, so that the order of the questions
/// says nothing of them.
const HIDDEN_DENSITY: u32 = 250;

/// Thousandths of the tones of an excerpt's chords that lie outside the key.
fn density(excerpt: &Excerpt, kind: QuestionKind, key: Key) -> u32 {
    if !phrases(kind).is_empty() {
        return HIDDEN_DENSITY;
    }
    let scale = key.scale();
    let tones: Vec<bool> = excerpt
        .chords
        .iter()
        .flat_map(|placed| placed.chord.chord_tones())
        .map(|tone| !scale.contains(tone.name.chroma()))
        .collect();
    let outside = tones.iter().filter(|outside| **outside).count();
    (outside * 1000 / tones.len().max(1)) as u32
}

/// How hard a question is, 0 to 1000, by what is settled before its answer: 400 for the tempo (60 to 300
/// quarters a minute), 200 for a low register, 200 for the share of chord tones outside the key, 200 for its
/// length (one to six bars). The weights are our own.
pub fn difficulty(tempo: u16, register: LineRegister, density: u32, bars: usize) -> u32 {
    let tempo = u32::from(tempo.clamp(60, 300) - 60) * 400 / 240;
    let register = match register {
        LineRegister::Low => 200,
        LineRegister::High => 0,
    };
    let bars = (bars.clamp(1, 6) - 1) as u32 * 40;
    tempo + register + density * 200 / 1000 + bars
}

impl Question {
    /// What makes it another question than the rest: what the bass plays, under which comp.
    fn signature(&self) -> (QuestionKind, u8, Vec<i16>) {
        let Variant {
            excerpt,
            second,
            colour,
            ..
        } = &self.variant;
        let notes = excerpt.notes.iter().chain(second.iter().flatten());
        (
            self.kind,
            *colour as u8,
            notes.map(|note| note.midi()).collect(),
        )
    }

    /// Bar and beat of the answer, from 1, where it is at one.
    pub fn place(&self) -> Option<(usize, usize)> {
        self.variant
            .beat
            .map(|beat| self.variant.excerpt.place(beat))
    }

    /// Its chords bar by bar, where they are shown with it.
    pub fn chords_shown(&self) -> Option<String> {
        let excerpt = &self.variant.excerpt;
        let bar = |bar: usize| {
            let in_bar = excerpt
                .chords
                .iter()
                .filter(|placed| excerpt.place(placed.start).0 == bar);
            let symbols: Vec<&str> = in_bar.map(|placed| placed.symbol.as_str()).collect();
            if symbols.is_empty() {
                "| % ".to_owned()
            } else {
                format!("| {} ", symbols.join(" "))
            }
        };
        self.kind
            .shows_chords()
            .then(|| (1..=excerpt.bars).map(bar).collect::<String>() + "|")
    }
}
