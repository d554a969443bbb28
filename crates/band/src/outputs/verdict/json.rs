//! The report of a judged take: `endpin-check/2`.

use super::{Bench, Judged, TakeCollisions, exercise, habits};
use crate::inputs::take::TakeNote;
use crate::outputs::report::rounded;
use endpin_walker::{
    Verdict,
    judge::{Kept, Mend},
};
use serde::Serialize;

/// The whole report; with several takes the last one, and the figures of all under `progress`.
#[derive(Debug, Serialize)]
pub struct CheckReport<'a> {
    format: &'static str,
    chart: &'a str,
    key: String,
    #[serde(flatten)]
    take: TakeReport<'a>,
    habits: Vec<HabitReport>,
    practise: Vec<PracticeReport>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    progress: Vec<ProgressReport<'a>>,
}

#[derive(Debug, Serialize)]
struct TakeReport<'a> {
    file: &'a str,
    track: usize,
    track_name: &'a str,
    choruses: u32,
    offset_beats: f64,
    octaves: i8,
    fit: FitReport,
    source: SourceReport,
    cleared: ClearedReport,
    scores: Scores,
    timing: TimingReport,
    collisions: Option<Vec<TakeClashReport>>,
    meetings: Option<Meetings>,
    notes: Vec<JudgedNoteReport<'a>>,
}

#[derive(Debug, Serialize)]
struct FitReport {
    share: f64,
    key: Option<String>,
    share_there: Option<f64>,
}

#[derive(Debug, Serialize)]
struct SourceReport {
    kind: &'static str,
    tuning_hz: Option<f64>,
}

#[derive(Debug, Serialize)]
struct HabitReport {
    what: String,
    grade: &'static str,
    count: usize,
    bars: Vec<i64>,
}

#[derive(Debug, Serialize)]
struct ClearedReport {
    count_in: usize,
    intro: usize,
    tag: usize,
    doubled: usize,
    false_notes: usize,
    double_stops: usize,
}

#[derive(Debug, Serialize)]
struct Scores {
    harmony: Harmony,
    line: LineCounts,
    time: Time,
}

#[derive(Debug, Serialize)]
struct Share {
    kept: usize,
    of: usize,
    share: Option<f64>,
}

impl From<Kept> for Share {
    fn from(kept: Kept) -> Share {
        Share {
            kept: kept.kept,
            of: kept.of,
            share: kept.share().map(|share| rounded(share, 3)),
        }
    }
}

#[derive(Debug, Serialize)]
struct Harmony {
    arrival_roots: Share,
    strong_beats: Share,
    weak_beats: Share,
    approaches: Share,
    joins: Share,
    root_to_seventh: Share,
}

#[derive(Debug, Serialize)]
struct LineCounts {
    playable: Share,
    steps: usize,
    leaps: usize,
    repeats: usize,
    turns: usize,
    register: Option<RegisterReport>,
}

#[derive(Debug, Serialize)]
struct RegisterReport {
    lowest: u8,
    median: u8,
    highest: u8,
}

#[derive(Debug, Serialize)]
struct Time {
    within_30_ms: Option<f64>,
    fullness: f64,
    unevenness: f64,
}

#[derive(Debug, Serialize)]
struct TimingReport {
    start: &'static str,
    mean_ms: Option<f64>,
    spread_ms: f64,
    drift_ms_per_chorus: Option<f64>,
    swing_ratio: Option<f64>,
    tempo: f64,
    tempo_curve: Vec<BarTempoReport>,
}

#[derive(Debug, Serialize)]
struct BarTempoReport {
    chorus: u32,
    bar: u32,
    tempo: f64,
}

/// What was rated where line and chords sound together.
#[derive(Debug, Serialize)]
struct Meetings {
    pairs: usize,
    strong_collisions: usize,
    weak_brushes: usize,
}

#[derive(Debug, Serialize)]
struct TakeClashReport {
    chorus: u32,
    bar: i64,
    beat: f64,
    strength: String,
    chord: String,
    bass: i16,
    comp: u8,
}

#[derive(Debug, Serialize)]
struct JudgedNoteReport<'a> {
    chorus: u32,
    bar: i64,
    beat: f64,
    length: f64,
    midi: i16,
    name: String,
    chord: &'a str,
    degree: Option<String>,
    role: Option<String>,
    approach: Option<String>,
    strength: String,
    why: &'a str,
    onset_s: f64,
    grade: &'static str,
    rules_broken: Vec<&'static str>,
    device: Option<&'static str>,
    offset_ms: f64,
    mend: Option<MendReport<'a>>,
}

#[derive(Debug, Serialize)]
struct MendReport<'a> {
    midi: i16,
    name: String,
    why: &'a str,
    others: Vec<OtherReport>,
}

#[derive(Debug, Serialize)]
struct OtherReport {
    chorus: u32,
    bar: i64,
    beat: f64,
    midi: i16,
    name: String,
}

#[derive(Debug, Serialize)]
struct PracticeReport {
    what: String,
    command: String,
}

#[derive(Debug, Serialize)]
struct ProgressReport<'a> {
    file: &'a str,
    scores: Scores,
    timing: TimingReport,
    faults: usize,
    notes: usize,
}

impl<'a> CheckReport<'a> {
    /// The report of one take or several.
    ///
    /// # Panics
    /// If there are no takes.
    pub fn new(bench: &'a Bench, chart_file: &str, takes: &'a [Judged]) -> CheckReport<'a> {
        let last = &takes[takes.len() - 1];
        let practise = exercise::next(bench, last, chart_file).into_iter();
        CheckReport {
            format: "endpin-check/2",
            chart: &bench.chart.title,
            key: bench.chart.key.to_string(),
            take: take(last),
            habits: habits::of(bench, last).into_iter().map(habit).collect(),
            practise: practise
                .map(|exercise| PracticeReport {
                    what: exercise.what,
                    command: exercise.command,
                })
                .collect(),
            progress: match takes {
                [_] => Vec::new(),
                takes => takes.iter().map(progress).collect(),
            },
        }
    }
}

fn take(judged: &Judged) -> TakeReport<'_> {
    let take = &judged.take;
    let (doubled, false_notes, double_stops) = take.cleared;
    let notes = judged.judgement.verdicts.iter().zip(&take.notes);
    TakeReport {
        file: &judged.file,
        track: take.track,
        track_name: &take.track_name,
        choruses: take.choruses,
        offset_beats: rounded(take.offset_beats, 3),
        octaves: take.octaves,
        fit: FitReport {
            share: rounded(judged.fit.share, 3),
            key: judged.fit.elsewhere.map(|there| there.key.to_string()),
            share_there: judged.fit.elsewhere.map(|there| rounded(there.share, 3)),
        },
        source: SourceReport {
            kind: match take.tuning_hz {
                Some(_) => "sound",
                None => "midi",
            },
            tuning_hz: take.tuning_hz.map(|hertz| rounded(hertz, 1)),
        },
        cleared: ClearedReport {
            count_in: take.counted_in,
            intro: take.around.0,
            tag: take.around.1,
            doubled,
            false_notes,
            double_stops,
        },
        scores: scores(judged),
        timing: timing(judged),
        collisions: judged
            .collisions
            .as_ref()
            .map(|found| clashes(judged, found)),
        meetings: judged.collisions.as_ref().map(|found| Meetings {
            pairs: found.rated,
            strong_collisions: judged.strong_collisions(),
            weak_brushes: found.clashes.len() - judged.strong_collisions(),
        }),
        notes: notes
            .map(|(verdict, played)| note(judged, verdict, played))
            .collect(),
    }
}

fn scores(judged: &Judged) -> Scores {
    let figures = &judged.judgement.figures;
    let offsets = judged.take.notes.iter().map(|note| note.offset.abs());
    let count = offsets.len();
    let near = offsets.filter(|offset| *offset <= 30.0).count();
    Scores {
        harmony: Harmony {
            arrival_roots: figures.arrival_roots.into(),
            strong_beats: figures.strong_beats.into(),
            weak_beats: figures.weak_beats.into(),
            approaches: figures.approaches.into(),
            joins: figures.joins.into(),
            root_to_seventh: figures.root_to_seventh.into(),
        },
        line: LineCounts {
            playable: figures.playable.into(),
            steps: figures.steps,
            leaps: figures.leaps,
            repeats: figures.repeats,
            turns: figures.turns,
            register: figures
                .register
                .map(|(lowest, median, highest)| RegisterReport {
                    lowest,
                    median,
                    highest,
                }),
        },
        time: Time {
            within_30_ms: (count > 0).then(|| rounded(near as f64 / count as f64, 3)),
            fullness: rounded(judged.take.timing.fullness, 3),
            unevenness: rounded(judged.take.timing.unevenness, 3),
        },
    }
}

fn timing(judged: &Judged) -> TimingReport {
    let take = &judged.take;
    let milliseconds = |value: f64| rounded(value, 2);
    let curve = take.timing.curve.iter().map(|bar| BarTempoReport {
        chorus: bar.chorus,
        bar: bar.bar,
        tempo: rounded(bar.tempo, 2),
    });
    TimingReport {
        start: take.start.name(),
        mean_ms: take.timing.mean.map(milliseconds),
        spread_ms: milliseconds(take.timing.spread),
        drift_ms_per_chorus: take.timing.drift.map(milliseconds),
        swing_ratio: take.swing_ratio.map(|ratio| rounded(ratio, 3)),
        tempo: rounded(take.tempo, 2),
        tempo_curve: curve.collect(),
    }
}

/// One object a pair of notes.
fn clashes(judged: &Judged, found: &TakeCollisions) -> Vec<TakeClashReport> {
    let each = found.clashes.iter();
    each.flat_map(|(number, keys)| {
        let verdict = &judged.judgement.verdicts[*number];
        keys.iter().map(|&comp| TakeClashReport {
            chorus: verdict.heard.chorus,
            bar: verdict.bar,
            beat: rounded(verdict.beat, 3),
            strength: verdict.strength.to_string(),
            chord: verdict.chord.clone(),
            bass: verdict.pitch.midi(),
            comp,
        })
    })
    .collect()
}

fn note<'a>(judged: &Judged, verdict: &'a Verdict, played: &TakeNote) -> JudgedNoteReport<'a> {
    JudgedNoteReport {
        chorus: verdict.heard.chorus,
        bar: verdict.bar,
        beat: rounded(verdict.beat, 3),
        length: rounded(verdict.beats, 3),
        midi: verdict.pitch.midi(),
        name: verdict.pitch.to_string(),
        chord: &verdict.chord,
        degree: verdict.degree.map(|degree| degree.to_string()),
        role: verdict.role.map(|role| role.to_string()),
        approach: verdict.approach.map(|role| role.to_string()),
        strength: verdict.strength.to_string(),
        why: &verdict.why,
        onset_s: rounded(played.at, 6),
        grade: verdict.grade.name(),
        rules_broken: verdict.broken.clone(),
        device: verdict.device.map(|device| device.name()),
        offset_ms: rounded(played.offset, 2),
        mend: verdict.mend.as_ref().map(|mend| self::mend(judged, mend)),
    }
}

fn mend<'a>(judged: &Judged, mend: &'a Mend) -> MendReport<'a> {
    let others = mend.others.iter().map(|(number, pitch)| {
        let verdict = &judged.judgement.verdicts[*number];
        OtherReport {
            chorus: verdict.heard.chorus,
            bar: verdict.bar,
            beat: verdict.beat,
            midi: pitch.midi(),
            name: pitch.to_string(),
        }
    });
    MendReport {
        midi: mend.pitch.midi(),
        name: mend.pitch.to_string(),
        why: &mend.why,
        others: others.collect(),
    }
}

fn habit(habit: habits::Habit) -> HabitReport {
    HabitReport {
        what: habit.what,
        grade: habit.grade.name(),
        count: habit.count,
        bars: habit.bars,
    }
}

fn progress(judged: &Judged) -> ProgressReport<'_> {
    ProgressReport {
        file: &judged.file,
        scores: scores(judged),
        timing: timing(judged),
        faults: judged.faults().count(),
        notes: judged.take.notes.len(),
    }
}
