//! A judged take for the terminal: the line bar by bar under its chords, then its figures.

use super::{Bench, Judged, exercise, written};
use crate::{
    failure::printable,
    inputs::take::{GridSource, voice::ChosenBy},
    outputs::{
        marks::{self, GRADE_LEGEND, LEGEND},
        reading::{self, Placed},
        table::Table,
    },
};
use endpin_walker::{Verdict, judge::Kept, pitch_of_key};
use std::fmt::Write;

/// The whole report of one take or several.
pub fn report(bench: &Bench, takes: &[Judged], chart_file: &str) -> String {
    let mut text = String::new();
    if let [.., last] = takes {
        text += &take(bench, last);
        text += &practise(bench, last, chart_file);
    }
    if takes.len() > 1 {
        text += "\nFrom take to take\n";
        text += &progress(takes).to_string();
    }
    printable(&text)
}

/// The terms with which a take was read, in one or more lines.
pub fn terms(bench: &Bench, judged: &Judged) -> String {
    let take = &judged.take;
    let mut text = format!(
        "{} in {}: {}",
        bench.chart.title, bench.chart.key, judged.file
    );
    match &take.track_name[..] {
        "" => {}
        name => text += &format!(", track {} \"{name}\"", take.track),
    }
    if take.chosen_by == ChosenBy::Register {
        text += " (the lowest voice; --track names another)";
    }
    let choruses = match take.choruses {
        1 => "1 chorus".to_owned(),
        count => format!("{count} choruses"),
    };
    let beats = (take.offset_beats * 100.0).round() / 100.0;
    let grid = match take.grid {
        GridSource::File => "the file's own tempo".to_owned(),
        GridSource::Steady(clarity) => {
            format!("found in the playing, {:.0} % sure", clarity * 100.0)
        }
        GridSource::Following(clarity) => {
            format!(
                "found in the playing and followed, {:.0} % sure",
                clarity * 100.0
            )
        }
    };
    text += &format!(
        "\n{choruses} from beat {beats} of the file on, {:.1} quarter notes a minute ({grid})\n",
        take.tempo
    );
    if take.octaves != 0 {
        let way = if take.octaves < 0 { "down" } else { "up" };
        text += &format!(
            "read {} octave(s) {way}, into the range of the instrument\n",
            take.octaves.abs()
        );
    }
    let (doubled, false_notes, double_stops) = take.cleared;
    if doubled + false_notes + double_stops > 0 {
        text += &format!(
            "cleared away: {doubled} struck twice, {false_notes} short false notes, {double_stops} upper notes \
             of double stops\n"
        );
    }
    if take.fit < POOR_FIT {
        text += &format!(
            "the notes fit this chart badly ({:.0} %): is it the right chart and key?\n",
            take.fit * 100.0
        );
    }
    text
}

/// Below this the notes hardly follow the chart.
const POOR_FIT: f64 = 0.35;

fn take(bench: &Bench, judged: &Judged) -> String {
    let mut text = terms(bench, judged);
    let marks = written::marks(judged);
    let mut first = 0;
    for chorus in 1..=judged.take.choruses {
        let _ = writeln!(text, "\nChorus {chorus}");
        let verdicts = judged.judgement.verdicts[first..].iter();
        let verdicts: Vec<&Verdict> = verdicts
            .take_while(|verdict| verdict.heard.chorus == chorus)
            .collect();
        let marks_of_chorus = marks::part(&marks, first..first + verdicts.len());
        first += verdicts.len();
        let outside = |bar: i64| !(1..=bench.chorus.bars.len() as i64).contains(&bar);
        for verdict in verdicts.iter().filter(|verdict| verdict.bar < 1) {
            let _ = writeln!(text, "      pickup: {}", verdict.pitch);
        }
        for bar in &bench.chorus.bars {
            let number = i64::from(bar.number);
            let from = verdicts.partition_point(|verdict| verdict.bar < number);
            let to = verdicts.partition_point(|verdict| verdict.bar <= number);
            let placed = |index: usize| Placed {
                at: verdicts[index].heard.start - bar.start,
                name: verdicts[index].pitch.to_string(),
                index,
            };
            let notes: Vec<Placed> = (from..to).map(placed).collect();
            let symbols = reading::symbols(&bench.chorus, bar);
            text += &reading::rows(bar.number, &symbols, &notes, &marks_of_chorus);
            let of_bar = verdicts[from..to].iter();
            of_bar.for_each(|note| text += &remarks(judged, note));
        }
        for verdict in verdicts
            .iter()
            .filter(|verdict| verdict.bar > 0 && outside(verdict.bar))
        {
            let _ = writeln!(
                text,
                "      ending: {}, {}",
                verdict.pitch,
                verdict.grade.name()
            );
            text += &remarks(judged, verdict);
        }
    }
    let legend = [LEGEND[0], LEGEND[1], GRADE_LEGEND].join("\n");
    format!("{text}\n{legend}\n\n{}", figures(judged))
}

/// What is to be said of a note.
fn remarks(judged: &Judged, verdict: &Verdict) -> String {
    if verdict.broken.is_empty() {
        return String::new();
    }
    let mut text = format!(
        "      {}: beat {}, {}: {} [{}]\n",
        verdict.grade.name(),
        verdict.beat,
        verdict.pitch,
        verdict.why,
        verdict.broken.join(", ")
    );
    if let Some(mend) = &verdict.mend {
        let others: Vec<String> = mend
            .others
            .iter()
            .map(|(number, pitch)| {
                let other = &judged.judgement.verdicts[*number];
                format!(", with {pitch} at bar {} beat {}", other.bar, other.beat)
            })
            .collect();
        text += &format!(
            "        mend: {}{} ({})\n",
            mend.pitch,
            others.concat(),
            mend.why
        );
    }
    text
}

fn share(kept: Kept) -> String {
    match kept.share() {
        Some(share) => format!("{} of {} ({:.0} %)", kept.kept, kept.of, share * 100.0),
        None => "none asked for".to_owned(),
    }
}

/// The scores, part by part.
fn figures(judged: &Judged) -> String {
    let figures = &judged.judgement.figures;
    let take = &judged.take;
    let mut table = Table::new(&["", "", ""]);
    let mut row = |part: &str, what: &str, value: String| {
        table.row([part.to_owned(), what.to_owned(), value]);
    };
    row("Harmony", "roots on arrivals", share(figures.arrival_roots));
    row(
        "",
        "chord tones on strong beats",
        share(figures.strong_beats),
    );
    row(
        "",
        "weak beats that belong or lead",
        share(figures.weak_beats),
    );
    row("", "changes led into", share(figures.approaches));
    row("", "choruses led into the next", share(figures.joins));
    row(
        "",
        "at or below the seventh",
        share(figures.root_to_seventh),
    );
    row("Line", "within the hand", share(figures.playable));
    row(
        "",
        "steps, leaps, repeats",
        format!("{}, {}, {}", figures.steps, figures.leaps, figures.repeats),
    );
    row("", "turns of direction", figures.turns.to_string());
    if let Some((lowest, median, highest)) = figures.register {
        let [lowest, median, highest] = [lowest, median, highest].map(pitch_of_key);
        let register = format!("{lowest} to {highest}, half of it below {median}");
        row("", "register", register);
    }
    for (what, value) in time(judged) {
        row(if what == "placement" { "Time" } else { "" }, what, value);
    }
    if let Some(found) = &judged.collisions {
        let strong = judged.strong_collisions();
        row(
            "Together",
            "bass notes that a chord note rubs against",
            format!(
                "{} ({strong} on strong beats) of {}",
                found.clashes.len(),
                take.notes.len()
            ),
        );
    }
    table.to_string().trim_start().to_owned()
}

/// The figures of time, in words.
pub fn time(judged: &Judged) -> Vec<(&'static str, String)> {
    let take = &judged.take;
    let timing = &take.timing;
    let lateness = match timing.mean {
        mean if mean.abs() < 3.0 => "on the beat".to_owned(),
        mean if mean < 0.0 => format!("{:.0} ms early on average", -mean),
        mean => format!("{mean:.0} ms late on average"),
    };
    let mut rows = vec![(
        "placement",
        format!("{lateness}, spread {:.0} ms", timing.spread),
    )];
    if take.grid == GridSource::File {
        let drift = match timing.drift {
            drift if drift.abs() < 3.0 => "steady".to_owned(),
            drift if drift < 0.0 => format!("rushing, {:.0} ms a chorus", -drift),
            drift => format!("dragging, {drift:.0} ms a chorus"),
        };
        rows.push(("tempo", drift));
    }
    if let Some(ratio) = take.swing_ratio {
        rows.push(("swing", format!("{ratio:.2} to 1")));
    }
    rows.push((
        "note lengths",
        format!(
            "{:.0} % of the time to the next, give or take {:.0}",
            timing.fullness * 100.0,
            timing.unevenness * 100.0
        ),
    ));
    rows
}

fn practise(bench: &Bench, judged: &Judged, chart_file: &str) -> String {
    let exercises = exercise::next(bench, judged, chart_file);
    if exercises.is_empty() {
        return "\nNothing to mend here; try a harder chart or a faster tempo.\n".to_owned();
    }
    let lines: Vec<String> = exercises
        .iter()
        .map(|exercise| format!("  {}\n    {}\n", exercise.what, exercise.command))
        .collect();
    format!("\nPractise next\n{}", lines.concat())
}

/// How the figures move from take to take.
pub fn progress(takes: &[Judged]) -> Table {
    let mut table = Table::new(&[
        "take",
        "roots",
        "strong",
        "weak",
        "approaches",
        "faults",
        "mean ms",
        "spread",
        "drift",
        "tempo",
    ]);
    let percent = |kept: Kept| match kept.share() {
        Some(share) => format!("{:.0} %", share * 100.0),
        None => "-".to_owned(),
    };
    for judged in takes {
        let (figures, take) = (&judged.judgement.figures, &judged.take);
        table.row([
            judged.file.clone(),
            percent(figures.arrival_roots),
            percent(figures.strong_beats),
            percent(figures.weak_beats),
            percent(figures.approaches),
            judged.faults().count().to_string(),
            format!("{:+.0}", take.timing.mean),
            format!("{:.0}", take.timing.spread),
            match take.grid {
                GridSource::File => format!("{:+.0}", take.timing.drift),
                _ => "-".to_owned(),
            },
            format!("{:.1}", take.tempo),
        ]);
    }
    table
}
