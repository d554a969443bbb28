//! A judged take written down: a chorus of it as music, with the marks and grades of its notes.

use super::{Bench, Judged};
use crate::outputs::{
    marks::{self, Mark},
    sheet::measure::Music,
};
use endpin_theory::{Degree, Ticks, chart::Bar};
use endpin_walker::{ChorusLine, Hand, LineNote, Role, Verdict};
use std::ops::Range;

/// The marks of all notes of a take, with their grades.
pub fn marks(judged: &Judged) -> Vec<Mark> {
    let verdicts = &judged.judgement.verdicts;
    let mut marks = marks::of(verdicts);
    for (mark, verdict) in marks.iter_mut().zip(verdicts) {
        mark.grade = verdict.grade;
    }
    marks
}

/// One chorus of a take.
pub struct WrittenChorus<'a> {
    /// Its bars; the last is the ending if one was played.
    pub music: Music,
    /// The verdict on each note of the music.
    pub verdicts: Vec<&'a Verdict>,
    /// Verdicts on notes before the first bar, and on those after the first note of the ending.
    pub outside: Vec<&'a Verdict>,
}

impl<'a> WrittenChorus<'a> {
    /// The chorus of that number; `marks` are those of the whole take.
    pub fn new(
        bench: &Bench,
        judged: &'a Judged,
        marks: &[Mark],
        number: u32,
    ) -> WrittenChorus<'a> {
        let verdicts = &judged.judgement.verdicts;
        // Notes stand in order of time, so those of a chorus stand together.
        let first = verdicts.partition_point(|verdict| verdict.heard.chorus < number);
        let end = verdicts.partition_point(|verdict| verdict.heard.chorus <= number);
        let bars = bench.chorus.bars.len() as i64;
        let begin = first + verdicts[first..end].partition_point(|verdict| verdict.bar < 1);
        let close = first + verdicts[first..end].partition_point(|verdict| verdict.bar <= bars);
        let notes = (begin..close).map(|index| line_note(bench, verdicts, index));
        let line = ChorusLine {
            chorus: number,
            notes: notes.collect(),
            phrases: Vec::new(),
        };
        let ending = (close < end).then(|| line_note(bench, verdicts, close));
        let written = begin..close + usize::from(ending.is_some());
        let mut music = Music::new(
            &[(&bench.chorus, &line)],
            ending.as_ref(),
            true,
            &Hand::default(),
        );
        music.marks = marks::part(marks, written.clone());
        WrittenChorus {
            music,
            verdicts: verdicts[written.clone()].iter().collect(),
            outside: verdicts[first..begin]
                .iter()
                .chain(&verdicts[written.end..end])
                .collect(),
        }
    }

    /// The verdicts on the notes of these bars (from 0) of the music.
    pub fn of_bars(&self, bars: Range<usize>) -> impl Iterator<Item = &'a Verdict> {
        let measures = &self.music.measures[bars];
        let numbers: Vec<i64> = measures.iter().map(|bar| i64::from(bar.number)).collect();
        let verdicts = self.verdicts.iter().copied();
        verdicts.filter(move |verdict| numbers.contains(&verdict.bar))
    }
}

/// Where a verdict's note starts in its bar.
pub fn in_bar(verdict: &Verdict, bar: &Bar) -> Ticks {
    verdict.heard.start - bar.start
}

/// A judged note as a note of a line, as far as writing it down needs to know it; it ends where the next starts.
fn line_note(bench: &Bench, verdicts: &[Verdict], index: usize) -> LineNote {
    let verdict = &verdicts[index];
    let heard = verdict.heard;
    let next = verdicts.get(index + 1).map(|next| next.heard);
    let next = next.filter(|next| next.chorus == heard.chorus);
    let length = next.map_or(heard.length, |next| {
        heard.length.min(next.start - heard.start)
    });
    let bar = bench
        .chorus
        .bars
        .iter()
        .rev()
        .find(|bar| bar.start <= heard.start);
    LineNote {
        chorus: heard.chorus,
        bar: verdict.bar.try_into().unwrap_or(0),
        start: heard.start,
        in_bar: bar.map_or(Ticks::ZERO, |bar| in_bar(verdict, bar)),
        beat_length: bar.map_or(Ticks(960), |bar| bar.meter.beat_ticks()),
        length,
        pitch: verdict.pitch,
        span: verdict.span,
        chord: verdict.chord.clone(),
        degree: verdict.degree.unwrap_or(Degree::new(1, 0)),
        role: verdict.role.unwrap_or(Role::Scale),
        approach: verdict.approach,
        strength: verdict.strength,
        ghost: false,
        liberty: None,
        why: verdict.why.clone(),
    }
}
