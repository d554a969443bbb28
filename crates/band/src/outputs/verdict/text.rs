//! A judged take for the terminal: the line bar by bar under its chords, then its figures.

use super::{
    Bench, Judged, exercise,
    fit::distance,
    habits::{self, Habit},
    written,
};
use crate::{
    failure::printable,
    inputs::take::{BarTempo, GridSource, voice::ChosenBy},
    outputs::{
        marks::{self, GRADE_LEGEND, LEGEND},
        reading::{self, Placed},
        table::Table,
    },
};
use endpin_walker::{
    Verdict,
    judge::{Grade, Kept},
    pitch_of_key,
};
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
    let grid = match take.grid {
        GridSource::File => "the file's own tempo",
        GridSource::Click => "by the click in the file",
        GridSource::Steady(_) => "found in the playing",
        GridSource::Following(_) => "found in the playing, and followed",
    };
    text += &format!(
        "\n{choruses}, {:.0} quarter notes a minute ({grid})",
        take.tempo
    );
    let beats = (take.offset_beats * 10.0).round() / 10.0;
    if take.counted_in > 0 {
        text += &format!(", after a count-in of {} notes", take.counted_in);
    } else if beats != 0.0 && take.grid == GridSource::File {
        text += &format!(", from beat {beats} of the file on");
    }
    text.push('\n');
    text += speed(take.tempo / bench.chart.tempo);
    if take.octaves != 0 {
        let way = if take.octaves < 0 { "down" } else { "up" };
        text += &format!(
            "read {} octave(s) {way}, into the range of the instrument\n",
            take.octaves.abs()
        );
    }
    if let Some(words) = not_judged(take.around) {
        text += &format!("{words}\n");
    }
    let (doubled, false_notes, double_stops) = take.cleared;
    if doubled + false_notes + double_stops > 0 {
        text += &format!(
            "cleared away: {doubled} struck twice, {false_notes} short false notes, {double_stops} upper notes \
             of double stops\n"
        );
    }
    let uncertain = take.notes.iter().filter(|note| !note.certain).count();
    if uncertain > 0 {
        text += &format!(
            "{uncertain} of {} notes could not be heard surely; nothing is held against you there\n",
            take.notes.len()
        );
    }
    text + &fit_words(bench, judged)
}

/// Half or twice the chart's tempo, said.
fn speed(ratio: f64) -> &'static str {
    match ratio {
        ratio if (0.44..0.57).contains(&ratio) => "about half as fast as the chart says\n",
        ratio if (1.75..2.25).contains(&ratio) => "about twice as fast as the chart says\n",
        _ => "",
    }
}

/// What is to be said where the chart or its key may be the wrong one.
fn fit_words(bench: &Bench, judged: &Judged) -> String {
    let percent = |share: f64| format!("{:.0} %", share * 100.0);
    let here = percent(judged.fit.share);
    match judged.fit.elsewhere {
        Some(there) => {
            let way = if there.moved > 0 { "higher" } else { "lower" };
            let article = if there.moved % 12 == 0 { "an" } else { "a" };
            format!(
                "The line fits this chart {article} {} {way}, in {}: {} of its notes belong there, {here} in {}. \
                 Choose that key, and it is judged by it.\n",
                distance(there.moved),
                there.key,
                percent(there.share),
                bench.chart.key
            )
        }
        None if judged.fit.is_bad() => {
            format!("Only {here} of the notes belong to this chart: is it the right one?\n")
        }
        None => String::new(),
    }
}

fn take(bench: &Bench, judged: &Judged) -> String {
    let mut text = format!("{}\n{}", terms(bench, judged), in_short(bench, judged));
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
        }
    }
    let legend = [LEGEND[0], LEGEND[1], GRADE_LEGEND].join("\n");
    format!("{text}\n{legend}\n\n{}", figures(judged))
}

/// What is good, what to work on, and the time: titles with their sentences.
pub fn parts(bench: &Bench, judged: &Judged) -> Vec<(&'static str, Vec<String>)> {
    let in_key = judged.fit.elsewhere.is_none();
    let habits = habits::of(bench, judged);
    let (good, faults): (Vec<_>, Vec<_>) = habits
        .iter()
        .filter(|_| in_key)
        .partition(|habit| habit.grade <= Grade::Choice);
    let said = |habits: Vec<&Habit>| habits.into_iter().map(Habit::sentence).collect();
    let parts: [(&'static str, Vec<String>); 3] = [
        ("What is good", said(good)),
        ("What to work on", said(faults)),
        ("Time", time_sentences(judged)),
    ];
    let parts = parts
        .into_iter()
        .filter(|(_, sentences)| !sentences.is_empty());
    let whole = |(title, sentences): (_, Vec<String>)| {
        (title, sentences.iter().map(|said| capital(said)).collect())
    };
    parts.map(whole).collect()
}

/// The same as text.
fn in_short(bench: &Bench, judged: &Judged) -> String {
    let mut text = String::new();
    for (title, sentences) in parts(bench, judged) {
        let _ = writeln!(text, "{title}");
        for sentence in sentences {
            let _ = writeln!(text, "{}", indented(&sentence));
        }
    }
    text
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters
        .next()
        .map(|letter| letter.to_uppercase().to_string());
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}

/// A sentence as an item of a list, in lines of a terminal of 80 columns.
fn indented(sentence: &str) -> String {
    let mut lines = String::from("  -");
    let mut width = 3;
    for word in sentence.split(' ') {
        let letters = word.chars().count() + 1;
        if width + letters > 80 {
            lines += "\n   ";
            width = 3;
        }
        lines.push(' ');
        lines += word;
        width += letters;
    }
    lines
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
        None => "early or late cannot be told".to_owned(),
        Some(mean) if mean.abs() < ON_THE_BEAT => "on the beat".to_owned(),
        Some(mean) if mean < 0.0 => format!("{:.0} ms early on average", -mean),
        Some(mean) => format!("{mean:.0} ms late on average"),
    };
    let scatter = format!("{lateness}, give or take {:.0} ms", timing.spread);
    let mut rows = vec![("placement", scatter)];
    if let Some((slowest, fastest)) = timing.extremes() {
        let range = format!(
            "{:.0} to {:.0} quarter notes a minute",
            slowest.tempo, fastest.tempo
        );
        rows.push(("tempo of the bars", range));
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

/// Lateness that nobody hears, in milliseconds (common practice, no source).
const ON_THE_BEAT: f64 = 5.0;
/// From here on a lateness may be that of the equipment, if it never varies, in milliseconds.
const DELAY: f64 = 40.0;
/// The least change of tempo over a take that is told, as a part of it.
const CHANGES: f64 = 0.02;
/// The least change that a listener notices at once.
const CHANGES_MUCH: f64 = 0.05;
/// The least drift that is told, in milliseconds a chorus.
const DRIFTS: f64 = 10.0;

/// The time in sentences for a student, without their full stops.
pub fn time_sentences(judged: &Judged) -> Vec<String> {
    let timing = &judged.take.timing;
    let bars = timing.curve.iter().map(|bar| bar.bar).max().unwrap_or(0);
    let bar = |at: BarTempo| (at.chorus - 1) * bars + at.bar;
    let mut said = Vec::new();
    if let (Some(trend), Some((slowest, fastest))) = (timing.trend(), timing.extremes()) {
        let change = trend.change();
        if change.abs() >= CHANGES {
            let what = if change > 0.0 { "rush" } else { "drag" };
            let much = if change.abs() >= CHANGES_MUCH {
                ""
            } else {
                " a little"
            };
            said.push(format!(
                "you {what}{much}: from {:.0} to {:.0} quarter notes a minute; bar {} is the slowest ({:.0}), \
                 bar {} the fastest ({:.0})",
                trend.from,
                trend.to,
                bar(slowest),
                slowest.tempo,
                bar(fastest),
                fastest.tempo
            ));
        } else if fastest.tempo > slowest.tempo * (1.0 + CHANGES_MUCH) {
            said.push(format!(
                "the tempo comes back, but wanders on the way: bar {} is the slowest ({:.0}), bar {} the fastest \
                 ({:.0})",
                bar(slowest),
                slowest.tempo,
                bar(fastest),
                fastest.tempo
            ));
        } else {
            match timing.drift.filter(|drift| drift.abs() >= DRIFTS) {
                Some(drift) if drift < 0.0 => said.push(format!(
                    "against the click you come earlier and earlier, by {:.0} ms a chorus",
                    -drift
                )),
                Some(drift) => said.push(format!(
                    "against the click you come later and later, by {drift:.0} ms a chorus"
                )),
                None => said.push(format!("the tempo holds, at {:.0}", judged.take.tempo)),
            }
        }
    }
    let steady = timing.drift.is_none_or(|drift| drift.abs() < DRIFTS);
    said.push(match timing.mean {
        None => "whether you are early or late cannot be told: nothing in the file says where the beat was, neither \
                 a click nor a count-in"
            .to_owned(),
        Some(mean) if mean.abs() < ON_THE_BEAT => "you are on the beat".to_owned(),
        Some(mean) => {
            let way = if mean < 0.0 { "early" } else { "late" };
            let why = match mean.abs() >= DELAY && timing.spread < mean.abs() / 2.0 && steady {
                true => {
                    ", and always by as much: the delay of the equipment, or of the start of the recording, more \
                     likely than your playing"
                }
                false => "",
            };
            format!("you are {:.0} ms {way} on average{why}", mean.abs())
        }
    });
    said
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
            take.timing
                .mean
                .map_or_else(|| "-".to_owned(), |mean| format!("{mean:+.0}")),
            format!("{:.0}", take.timing.spread),
            take.timing
                .drift
                .map_or_else(|| "-".to_owned(), |drift| format!("{drift:+.0}")),
            format!("{:.1}", take.tempo),
        ]);
    }
    table
}

/// `an intro of 16 notes and a tag of 17 were heard; the choruses between them are judged`.
fn not_judged((intro, tag): (usize, usize)) -> Option<String> {
    let words = match (intro, tag) {
        (0, 0) => return None,
        (_, 0) => format!("an intro of {intro} notes was heard; what follows it is judged"),
        (0, _) => format!("a tag of {tag} notes was heard; what comes before it is judged"),
        _ => format!(
            "an intro of {intro} notes and a tag of {tag} were heard; the choruses between them are judged"
        ),
    };
    Some(words)
}
