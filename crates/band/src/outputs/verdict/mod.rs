//! A take judged: the take read, each note's verdict, the chords beside it, and what to practise next.

pub mod exercise;
pub mod fit;
pub mod habits;
pub mod json;
pub mod page;
pub mod text;
pub mod written;

use crate::{
    inputs::take::{Reading, Take, TakeNote, TakeProblem, align::Around, file::TakeFile},
    players::collisions::collides,
};
use endpin_theory::{Chart, Chorus, Spelling, Strength, analysis::analyse};
use endpin_walker::{Heard, Judge, Judgement, Verdict};
use fit::ChartFit;

/// A take and what the judge says of it.
#[derive(Clone, Debug)]
pub struct Judged {
    /// The name of its file, as messages show it.
    pub file: String,
    /// What was played.
    pub take: Take,
    /// Verdicts and figures; a verdict for each note of the take.
    pub judgement: Judgement,
    /// How well the take fits its chart as a whole.
    pub fit: ChartFit,
    /// Bars that lie off by an interval, where they would be right: chorus, bar, semitones.
    pub moved: Vec<(u32, i64, i8)>,
    /// Where the chords beside the line collide with it; none if there are no chords.
    pub collisions: Option<TakeCollisions>,
}

/// Where the chords of a take collide with its line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TakeCollisions {
    /// Pairs of a bass note and a chord note that sound together.
    pub rated: usize,
    /// Numbers of bass notes that collide, each with the keys of the chord notes above them.
    pub clashes: Vec<(usize, Vec<u8>)>,
}

/// What every take of one chart is judged by.
#[derive(Clone, Debug)]
pub struct Bench {
    /// The chart.
    pub chart: Chart,
    /// Once through its form.
    pub chorus: Chorus,
    intro: Option<Chorus>,
    /// The last chorus with what may come after it.
    lasts: Vec<Chorus>,
    judge: Judge,
    range: (u8, u8),
}

impl Bench {
    /// Judges takes of this chart on an instrument from the lowest to the highest MIDI key.
    pub fn new(chart: Chart, range: (u8, u8)) -> Bench {
        let chorus = chart.chorus();
        let understood = analyse(&chorus.spans, chorus.key);
        Bench {
            judge: Judge::new(chorus.clone(), &understood, range),
            intro: chart.intro_chorus(),
            lasts: chart.last_choruses(),
            chart,
            chorus,
            range,
        }
    }

    /// The same bench, naming notes for somebody else.
    pub fn spelled(mut self, spelling: Spelling) -> Bench {
        self.judge = self.judge.spelled(spelling);
        self
    }

    /// Judges the bytes of a MIDI file.
    ///
    /// # Errors
    /// A file that cannot be taken for a line.
    pub fn judge(
        &self,
        file: String,
        bytes: &[u8],
        track: Option<&str>,
    ) -> Result<Judged, TakeProblem> {
        self.judge_file(file, &TakeFile::read(bytes)?, track)
    }

    /// Judges a MIDI file that has been read, or a recording that has been heard.
    ///
    /// # Errors
    /// A file that cannot be taken for a line.
    pub fn judge_file(
        &self,
        name: String,
        file: &TakeFile,
        track: Option<&str>,
    ) -> Result<Judged, TakeProblem> {
        let reading = Reading {
            track,
            range: self.range,
            around: Around {
                intro: self.intro.as_ref(),
                lasts: &self.lasts,
            },
        };
        let take = Take::of_file(file, &self.chorus, reading)?;
        let heard: Vec<Heard> = take.notes.iter().map(TakeNote::heard).collect();
        let form = self.chorus.bars.len() as u32;
        let tag = take.tag.and_then(|tag| self.lasts.get(tag));
        let tag = tag.and_then(|last| last.spans.iter().find(|span| span.bar > form));
        let judge = match tag.and_then(|span| span.chord.as_ref()) {
            Some(chord) => &self.judge.clone().leading_to(chord.bass()),
            None => &self.judge,
        };
        let judgement = judge.judge(&heard, take.choruses);
        let collisions = (!take.chords.is_empty()).then(|| self.collisions(&take, &judgement));
        let mut judged = Judged {
            file: name,
            fit: ChartFit::of(&self.judge, self.chart.key, &take, &judgement),
            moved: Vec::new(),
            take,
            judgement,
            collisions,
        };
        judged.moved = habits::moved(self, &judged);
        Ok(judged)
    }

    /// The lowest and the highest MIDI key of the instrument.
    pub fn range(&self) -> (u8, u8) {
        self.range
    }

    /// Chord notes that begin or go on while a bass note sounds, against it.
    fn collisions(&self, take: &Take, judgement: &Judgement) -> TakeCollisions {
        let mut found = TakeCollisions::default();
        let longest = take
            .chords
            .iter()
            .map(|note| note.to - note.from)
            .fold(0.0, f64::max);
        for (number, (note, verdict)) in take.notes.iter().zip(&judgement.verdicts).enumerate() {
            let chord = verdict
                .span
                .and_then(|span| self.chorus.spans[span].chord.as_ref());
            let Some(chord) = chord else { continue };
            let end = take
                .notes
                .get(number + 1)
                .map_or(f64::INFINITY, |next| next.at);
            let end = end.min(note.at + note.sounds);
            // Chord notes are in order of their start.
            let first = take
                .chords
                .partition_point(|chord| chord.from < note.at - longest);
            let together = take.chords[first..]
                .iter()
                .take_while(|chord| chord.from < end)
                .filter(|chord| chord.to > note.at + BRUSH && end - chord.from > BRUSH);
            let mut keys = Vec::new();
            for above in together {
                found.rated += 1;
                // The octave in which the bass was recorded counts, not that of its range.
                let bass = i16::from(note.key) - 12 * i16::from(take.octaves);
                if collides(bass, i16::from(above.key), chord) {
                    keys.push(above.key);
                }
            }
            if !keys.is_empty() {
                keys.dedup();
                found.clashes.push((number, keys));
            }
        }
        found
    }
}

/// Seconds that two notes may overlap in passing from one chord to the next.
const BRUSH: f64 = 0.06;

impl Judged {
    /// Verdicts against the rules that no device explains.
    pub fn faults(&self) -> impl Iterator<Item = &Verdict> {
        self.judgement
            .verdicts
            .iter()
            .filter(|verdict| !verdict.stands())
    }

    /// Collisions on strong beats.
    pub fn strong_collisions(&self) -> usize {
        let is_strong = |(number, _): &&(usize, Vec<u8>)| {
            self.judgement.verdicts[*number].strength != Strength::Weak
        };
        let clashes = self.collisions.iter().flat_map(|found| &found.clashes);
        clashes.filter(is_strong).count()
    }
}
