//! Figures over a whole take, and from take to take, drawn as plots.

use super::MARGIN;
use crate::inputs::take::BarTempo;
use crate::outputs::{
    html::escaped,
    verdict::{Bench, Judged, text},
};
use endpin_walker::pitch_of_key;
use std::fmt::Write;

/// Where a note stands in the whole take, 0 to 1.
fn along(bench: &Bench, judged: &Judged, index: usize) -> f64 {
    let length = bench.chorus.length().0 as f64;
    let note = &judged.take.notes[index];
    let turns = f64::from(judged.take.choruses);
    ((f64::from(note.chorus) - 1.0 + note.start.0 as f64 / length) / turns).clamp(0.0, 1.0)
}

/// On a telephone of 390 pixels a letter of 12 stays nearly that high.
const PLOT: (f64, f64) = (400.0, 150.0);

/// Frame, choruses and three labelled heights of a plot.
fn frame(judged: &Judged, label: &str, levels: [(f64, String); 3]) -> String {
    let (width, height) = PLOT;
    let mut svg = format!(
        "<svg class=plot viewBox=\"0 0 {width:.0} {height:.0}\" role=img aria-label=\"{label}\">\n"
    );
    for (share, text) in levels {
        let at = 8.0 + (1.0 - share) * (height - 24.0);
        let _ = writeln!(
            svg,
            "<line class=grid x1={MARGIN} x2={width} y1={at:.1} y2={at:.1} /><text class=scale x=2 y={:.1}>{}</text>",
            at + 3.0,
            escaped(&text)
        );
    }
    for chorus in 0..judged.take.choruses.min(200) {
        let at = MARGIN + (width - MARGIN) * f64::from(chorus) / f64::from(judged.take.choruses);
        let _ = writeln!(
            svg,
            "<line class=barline x1={at:.1} x2={at:.1} y1=6 y2={:.1} /><text class=scale x={:.1} y={:.1}>{}</text>",
            height - 14.0,
            at + 2.0,
            height - 4.0,
            chorus + 1
        );
    }
    svg
}

fn in_plot(along: f64, share: f64) -> (f64, f64) {
    let (width, height) = PLOT;
    (
        MARGIN + along * (width - MARGIN),
        8.0 + (1.0 - share.clamp(0.0, 1.0)) * (height - 24.0),
    )
}

/// The tempo of each bar, and its straight line.
pub fn tempo(judged: &Judged) -> String {
    let curve = &judged.take.timing.curve;
    let tempi = || curve.iter().map(|bar| bar.tempo);
    let (least, most) = (
        tempi().fold(f64::MAX, f64::min),
        tempi().fold(0.0, f64::max),
    );
    if curve.len() < 2 {
        return String::new();
    }
    let middle = (least + most) / 2.0;
    // A steady tempo is drawn as one: the plot spans a tenth of the tempo at least.
    let reach = ((most - least) / 2.0).max(middle / 20.0);
    let name = |tempo: f64| format!("{tempo:.0}");
    let levels = [
        (1.0, name(middle + reach)),
        (0.5, name(middle)),
        (0.0, name(middle - reach)),
    ];
    let mut svg = frame(judged, "tempo of every bar", levels);
    let bars = curve.iter().map(|bar| bar.bar).max().unwrap_or(1);
    let all = f64::from(judged.take.choruses * bars);
    let point = |bar: &BarTempo| {
        let along = (f64::from((bar.chorus - 1) * bars + bar.bar) - 0.5) / all;
        let (x, y) = in_plot(along, 0.5 + (bar.tempo - middle) / reach / 2.0);
        format!("{x:.1},{y:.1}")
    };
    let points: Vec<String> = curve.iter().map(point).collect();
    let _ = writeln!(
        svg,
        "<polyline class=path points=\"{}\" />",
        points.join(" ")
    );
    svg + "</svg>\n<p class=terms>Quarter notes a minute, bar by bar; the numbers below are those of the choruses.</p>\n"
}

/// Every attack against the grid, and the mean of each beat of the bar.
pub fn placement(bench: &Bench, judged: &Judged) -> String {
    let notes = &judged.take.notes;
    let far = notes
        .iter()
        .map(|note| note.offset.abs())
        .fold(40.0, f64::max)
        .min(200.0);
    let mut svg = frame(
        judged,
        "placement of every note",
        [
            (1.0, format!("+{far:.0} ms")),
            (0.5, "0".to_owned()),
            (0.0, format!("-{far:.0} ms")),
        ],
    );
    for (index, note) in notes.iter().enumerate() {
        let share = 0.5 + note.offset / far / 2.0;
        let (x, y) = in_plot(along(bench, judged, index), share);
        let _ = writeln!(svg, "<circle class=fill cx={x:.1} cy={y:.1} r=1.9 />");
    }
    svg += "</svg>\n<p class=terms>Every note against the grid: above the line is late, below it early.</p>\n";
    let mut beats: Vec<(f64, usize)> = Vec::new();
    for (verdict, note) in judged.judgement.verdicts.iter().zip(notes) {
        let beat = verdict.beat.max(1.0) as usize - 1;
        if verdict.beat.fract() != 0.0 || beat >= 24 {
            continue;
        }
        if beats.len() <= beat {
            beats.resize(beat + 1, (0.0, 0));
        }
        beats[beat].0 += note.offset;
        beats[beat].1 += 1;
    }
    let cells: Vec<String> = beats
        .iter()
        .zip(1..)
        .filter(|((_, count), _)| *count > 0)
        .map(|((sum, count), beat)| {
            format!(
                "<tr><td>beat {beat}</td><td>{:+.0} ms</td><td>{count} notes</td></tr>\n",
                sum / *count as f64
            )
        })
        .collect();
    format!("{svg}<table>\n{}</table>\n", cells.concat())
}

/// The pitch of the line over the whole take.
pub fn register(bench: &Bench, judged: &Judged) -> String {
    let keys = judged.take.notes.iter().map(|note| f64::from(note.key));
    let low = keys.clone().fold(127.0, f64::min);
    let high = keys.fold(0.0, f64::max).max(low + 1.0);
    let name = |key: f64| pitch_of_key(key.round() as u8).to_string();
    let middle = ((low + high) / 2.0).round();
    let share = |key: f64| (key - low) / (high - low);
    let mut svg = frame(
        judged,
        "register of the line",
        [
            (1.0, name(high)),
            (share(middle), name(middle)),
            (0.0, name(low)),
        ],
    );
    let points: Vec<String> = judged
        .take
        .notes
        .iter()
        .enumerate()
        .map(|(index, note)| {
            let (x, y) = in_plot(along(bench, judged, index), share(f64::from(note.key)));
            format!("{x:.1},{y:.1}")
        })
        .collect();
    let _ = writeln!(
        svg,
        "<polyline class=path points=\"{}\" />",
        points.join(" ")
    );
    svg + "</svg>\n"
}

/// The figures of each take, and two of them drawn.
pub fn progress(takes: &[Judged]) -> String {
    let table = escaped(&text::progress(takes).to_string());
    let (width, height) = PLOT;
    let mut svg = format!(
        "<svg class=plot viewBox=\"0 0 {width:.0} {height:.0}\" role=img aria-label=\"progress\">\n"
    );
    let share_of = |judged: &Judged, which: usize| {
        let figures = &judged.judgement.figures;
        let kept = [
            figures.arrival_roots,
            figures.strong_beats,
            figures.approaches,
        ][which];
        kept.share().unwrap_or(1.0)
    };
    for (which, (name, dashes)) in [
        ("roots", ""),
        ("strong beats", "6 3"),
        ("approaches", "2 3"),
    ]
    .into_iter()
    .enumerate()
    {
        let point = |(index, judged): (usize, &Judged)| {
            let along = index as f64 / (takes.len() - 1).max(1) as f64 * 0.86;
            in_plot(along, share_of(judged, which))
        };
        let points: Vec<(f64, f64)> = takes.iter().enumerate().map(point).collect();
        let path: Vec<String> = points
            .iter()
            .map(|(x, y)| format!("{x:.1},{y:.1}"))
            .collect();
        let _ = writeln!(
            svg,
            "<polyline class=path stroke-dasharray=\"{dashes}\" points=\"{}\" />",
            path.join(" ")
        );
        if let Some((x, y)) = points.last() {
            let _ = writeln!(
                svg,
                "<text class=series x={:.1} y={:.1}>{name}</text>",
                x + 5.0,
                y + 3.0 + 9.0 * which as f64
            );
        }
    }
    format!("{svg}</svg>\n<pre>{table}</pre>\n")
}
