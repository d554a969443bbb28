//! What to practise next, and the commands that make the exercise.

use super::{Bench, Judged};
use endpin_walker::{Verdict, judge::Kept};
use std::collections::BTreeMap;

/// An exercise.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exercise {
    /// What it is for, in a sentence.
    pub what: String,
    /// The command that makes it.
    pub command: String,
}

/// The most exercises that are named: nobody practises ten things at once.
const MOST: usize = 4;

/// Placement that a listener begins to notice, in milliseconds (common practice, no source).
const NOTICED: f64 = 25.0;

/// What to practise next, the weakest first.
pub fn next(bench: &Bench, judged: &Judged, chart_file: &str) -> Vec<Exercise> {
    let figures = &judged.judgement.figures;
    let chart = quoted(chart_file);
    let mut wanted: Vec<(f64, Exercise)> = Vec::new();
    let mut ask = |share: Option<f64>, enough: f64, what: String, command: String| {
        if let Some(share) = share.filter(|&share| share < enough) {
            wanted.push((share / enough, Exercise { what, command }));
        }
    };
    let of = |kept: Kept| format!("{} of {}", kept.kept, kept.of);
    ask(
        figures.arrival_roots.share(),
        0.95,
        format!(
            "roots: {} chords were met by theirs; play the roots alone, in two",
            of(figures.arrival_roots)
        ),
        format!("endpin write {chart} --level 1 --mute bass -o roots.mid"),
    );
    ask(
        figures.strong_beats.share(),
        0.92,
        format!(
            "chord tones: {} strong beats spell the chord; read and play a line of chord tones",
            of(figures.strong_beats)
        ),
        format!("endpin explain {chart} --level 3 --choruses 1"),
    );
    ask(
        figures.approaches.share(),
        0.85,
        format!(
            "approaches: {} changes were led into; hear the kinds and name them",
            of(figures.approaches)
        ),
        format!("endpin ear {chart} -o approaches --count 20 --kind approach"),
    );
    ask(
        figures.weak_beats.share(),
        0.92,
        format!(
            "weak beats: {} belong or lead; look at how a line passes from tone to tone",
            of(figures.weak_beats)
        ),
        format!("endpin explain {chart} --level 4 --choruses 1 --why"),
    );
    ask(
        figures.root_to_seventh.share(),
        0.97,
        format!(
            "register: {} notes stay at or below the seventh; play along with a line that does",
            of(figures.root_to_seventh)
        ),
        format!("endpin write {chart} --highest C3 -o low.mid"),
    );
    ask(
        figures.joins.share(),
        0.9,
        format!(
            "turning round: {} choruses led into the next; loop the last four bars",
            of(figures.joins)
        ),
        format!(
            "endpin write {chart} --bars-range {} --loop-ready -o turn.mid",
            last_bars(bench)
        ),
    );
    let timing = &judged.take.timing;
    let steadiness = |ms: f64| Some((NOTICED / ms.abs().max(1e-9)).min(2.0));
    ask(
        steadiness(timing.spread),
        1.0,
        format!(
            "evenness: notes scatter by {:.0} ms; play to a click on 2 and 4",
            timing.spread
        ),
        format!("endpin write {chart} --mute bass --time click-2-4 -o click.mid"),
    );
    if matches!(judged.take.grid, crate::take::GridSource::File) {
        let tendency = if timing.drift < 0.0 {
            "rushing"
        } else {
            "dragging"
        };
        ask(
            steadiness(timing.drift),
            1.0,
            format!(
                "tempo: {tendency} by {:.0} ms a chorus; keep it while the click drops out",
                timing.drift.abs()
            ),
            format!("endpin write {chart} --mute bass --time click-drop-4 -o drop.mid"),
        );
    }
    wanted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut exercises: Vec<Exercise> = wanted.into_iter().map(|(_, exercise)| exercise).collect();
    if let Some((bars, count)) = worst_bars(bench, judged).filter(|(_, count)| *count >= 2) {
        let exercise = Exercise {
            what: format!("bars {bars}: {count} notes against the rules; loop them slowly"),
            command: format!(
                "endpin write {chart} --bars-range {bars} --tempo {:.0} --mute bass --loop-ready -o bars.mid",
                (bench.chart.tempo * 0.75).max(20.0)
            ),
        };
        exercises.insert(exercises.len().min(1), exercise);
    }
    exercises.truncate(MOST);
    exercises
}

/// The path as a shell takes it.
fn quoted(path: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '/' | '.' | '-' | '_');
    match !path.is_empty() && path.chars().all(plain) {
        true => path.to_owned(),
        false => format!("'{}'", path.replace('\'', r"'\''")),
    }
}

fn last_bars(bench: &Bench) -> String {
    let bars = bench.chorus.bars.len();
    format!("{}-{bars}", bars.saturating_sub(3).max(1))
}

/// The two bars in which most is wrong, and how many notes are.
fn worst_bars(bench: &Bench, judged: &Judged) -> Option<(String, usize)> {
    let bars = bench.chorus.bars.len() as i64;
    let mut faults: BTreeMap<i64, usize> = BTreeMap::new();
    let in_form = |verdict: &&Verdict| (1..=bars).contains(&verdict.bar);
    for verdict in judged.faults().filter(in_form) {
        *faults.entry(verdict.bar).or_default() += 1;
    }
    let of = |bar: i64| faults.get(&bar).copied().unwrap_or(0);
    let pair = |first: i64| of(first) + of(first + 1);
    let first = (1..bars.max(2)).rev().max_by_key(|&bar| pair(bar))?;
    let last = (first + 1).min(bars);
    Some((format!("{first}-{last}"), pair(first)))
}
