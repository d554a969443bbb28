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

/// An exercise and how far the playing falls short, from 0 to 1, which is enough.
type Wanted = (f64, Exercise);

/// What to practise next, the weakest first.
pub fn next(bench: &Bench, judged: &Judged, chart_file: &str) -> Vec<Exercise> {
    let chart = quoted(chart_file);
    let mut wanted = for_rules(bench, judged, &chart);
    wanted.extend(for_time(judged, &chart));
    wanted.retain(|(kept, _)| *kept < 1.0);
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

/// An exercise for each rule that the take had occasion to keep.
fn for_rules(bench: &Bench, judged: &Judged, chart: &str) -> Vec<Wanted> {
    let figures = &judged.judgement.figures;
    let turn = format!("--bars-range {} --loop-ready -o turn.mid", last_bars(bench));
    // What was kept, which share of it is enough; the words around its count; the command around the chart.
    let rows = [
        (
            (figures.arrival_roots, 0.95),
            (
                "roots",
                "chords were met by theirs; play the roots alone, in two",
            ),
            ("write", "--level 1 --mute bass -o roots.mid"),
        ),
        (
            (figures.strong_beats, 0.92),
            (
                "chord tones",
                "strong beats spell the chord; read and play a line of chord tones",
            ),
            ("explain", "--level 3 --choruses 1"),
        ),
        (
            (figures.approaches, 0.85),
            (
                "approaches",
                "changes were led into; hear the kinds and name them",
            ),
            ("ear", "-o approaches --count 20 --kind approach"),
        ),
        (
            (figures.weak_beats, 0.92),
            (
                "weak beats",
                "belong or lead; look at how a line passes from tone to tone",
            ),
            ("explain", "--level 4 --choruses 1 --why"),
        ),
        (
            (figures.root_to_seventh, 0.97),
            (
                "register",
                "notes stay at or below the seventh; play along with a line that does",
            ),
            ("write", "--highest C3 -o low.mid"),
        ),
        (
            (figures.joins, 0.9),
            (
                "turning round",
                "choruses led into the next; loop the last four bars",
            ),
            ("write", turn.as_str()),
        ),
    ];
    let wanted = |((kept, enough), (topic, words), (command, options))| {
        let kept: Kept = kept;
        let exercise = Exercise {
            what: format!("{topic}: {} of {} {words}", kept.kept, kept.of),
            command: format!("endpin {command} {chart} {options}"),
        };
        Some((kept.share()? / enough, exercise))
    };
    rows.into_iter().filter_map(wanted).collect()
}

/// Exercises in time: for unevenness and, where the click was kept to, for a tempo that drifts from it.
fn for_time(judged: &Judged, chart: &str) -> Vec<Wanted> {
    let timing = &judged.take.timing;
    let steadiness = |ms: f64| NOTICED / ms.abs().max(1e-9);
    let to_a_click = |ms: f64, what: String, click: &str, file: &str| {
        let command = format!("endpin write {chart} --mute bass --time {click} -o {file}");
        (steadiness(ms), Exercise { what, command })
    };
    let spread = format!(
        "evenness: notes scatter by {:.0} ms; play to a click on 2 and 4",
        timing.spread
    );
    let mut wanted = vec![to_a_click(timing.spread, spread, "click-2-4", "click.mid")];
    if let Some(drift) = timing.drift {
        let tendency = if drift < 0.0 { "rushing" } else { "dragging" };
        let what = format!(
            "tempo: {tendency} by {:.0} ms a chorus; keep it while the click drops out",
            drift.abs()
        );
        wanted.push(to_a_click(drift, what, "click-drop-4", "drop.mid"));
    }
    wanted
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
