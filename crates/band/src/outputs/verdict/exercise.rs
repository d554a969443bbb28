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
    /// The words of that command but for its name and for `-o` with what follows it.
    pub words: Vec<String>,
    /// The file or the folder that it makes.
    pub output: &'static str,
}

impl Exercise {
    /// Of a command, a chart, options and what it makes.
    fn new(
        what: String,
        (command, options, output): (&str, &str, &'static str),
        chart_file: &str,
    ) -> Exercise {
        let options = options.split_whitespace().map(str::to_owned);
        let words = [command.to_owned(), chart_file.to_owned()];
        let words: Vec<String> = words.into_iter().chain(options).collect();
        let in_shell: Vec<String> = words.iter().map(|word| quoted(word)).collect();
        Exercise {
            what,
            command: format!("endpin {} -o {output}", in_shell.join(" ")),
            words,
            output,
        }
    }

    /// The name of what it makes beside a page with this stem: `ana-roots.mid` beside `ana.html`.
    pub fn beside(&self, stem: &str) -> String {
        format!("{stem}-{}", self.output)
    }

    /// The name of what is opened there: of a set of questions its page.
    pub fn opened(&self, stem: &str) -> String {
        match self.output.contains('.') {
            true => self.beside(stem),
            false => format!("{}/questions.html", self.beside(stem)),
        }
    }
}

/// The most exercises that are named: nobody practises ten things at once.
const MOST: usize = 4;

/// Placement that a listener begins to notice, in milliseconds (common practice, no source).
const NOTICED: f64 = 25.0;

/// An exercise and how far the playing falls short, from 0 to 1, which is enough.
type Wanted = (f64, Exercise);

/// What to practise next, the weakest first.
pub fn next(bench: &Bench, judged: &Judged, chart_file: &str) -> Vec<Exercise> {
    let mut wanted = for_rules(bench, judged, chart_file);
    wanted.extend(for_time(judged, chart_file));
    wanted.retain(|(kept, _)| *kept < 1.0);
    wanted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut exercises: Vec<Exercise> = wanted.into_iter().map(|(_, exercise)| exercise).collect();
    if let Some((bars, count)) = worst_bars(bench, judged).filter(|(_, count)| *count >= 2) {
        let what = format!("bars {bars}: {count} notes against the rules; loop them slowly");
        let tempo = (bench.chart.tempo * 0.75).max(20.0);
        let options = format!("--bars-range {bars} --tempo {tempo:.0} --mute bass --loop-ready");
        let exercise = Exercise::new(what, ("write", &options, "bars.mid"), chart_file);
        exercises.insert(exercises.len().min(1), exercise);
    }
    exercises.truncate(MOST);
    exercises
}

/// An exercise for each rule that the take had occasion to keep.
fn for_rules(bench: &Bench, judged: &Judged, chart_file: &str) -> Vec<Wanted> {
    let figures = &judged.judgement.figures;
    let turn = format!("--bars-range {} --loop-ready", last_bars(bench));
    // What was kept, which share of it is enough; the words around its count; the command, its options, what it makes.
    let rows = [
        (
            (figures.arrival_roots, 0.95),
            (
                "roots",
                "chords were met by theirs; play the roots alone, in two",
            ),
            ("write", "--level 1 --mute bass", "roots.mid"),
        ),
        (
            (figures.strong_beats, 0.92),
            (
                "chord tones",
                "strong beats spell the chord; read and play a line of chord tones",
            ),
            ("sheet", "--level 3 --choruses 1 --marks", "tones.html"),
        ),
        (
            (figures.approaches, 0.85),
            (
                "approaches",
                "changes were led into; hear the kinds and name them",
            ),
            ("ear", "--count 20 --kind approach", "approaches"),
        ),
        (
            (figures.weak_beats, 0.92),
            (
                "weak beats",
                "belong or lead; look at how a line passes from tone to tone",
            ),
            ("sheet", "--level 4 --choruses 1 --marks", "passing.html"),
        ),
        (
            (figures.root_to_seventh, 0.97),
            (
                "register",
                "notes stay at or below the seventh; play along with a line that does",
            ),
            ("write", "--highest C3", "low.mid"),
        ),
        (
            (figures.joins, 0.9),
            (
                "turning round",
                "choruses led into the next; loop the last four bars",
            ),
            ("write", turn.as_str(), "turn.mid"),
        ),
    ];
    let wanted = |((kept, enough), (topic, words), command)| {
        let kept: Kept = kept;
        let what = format!("{topic}: {} of {} {words}", kept.kept, kept.of);
        let exercise = Exercise::new(what, command, chart_file);
        Some((kept.share()? / enough, exercise))
    };
    rows.into_iter().filter_map(wanted).collect()
}

/// Exercises in time: for unevenness and, where the click was kept to, for a tempo that drifts from it.
fn for_time(judged: &Judged, chart_file: &str) -> Vec<Wanted> {
    let timing = &judged.take.timing;
    let steadiness = |ms: f64| NOTICED / ms.abs().max(1e-9);
    let to_a_click = |ms: f64, what: String, click: &str, file: &'static str| {
        let options = format!("--mute bass --time {click}");
        let exercise = Exercise::new(what, ("write", &options, file), chart_file);
        (steadiness(ms), exercise)
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
