//! A judged take as a page: one file that needs nothing else, for the screen and for paper.
//!
//! The line is drawn as a piano roll under its chords. Verdicts differ by colour, by shape and by a letter,
//! so that the page can be read without colours: a plain box keeps the rules, a box with a heavy broken
//! edge and `!` breaks one, a rounded box with `~` has a device for it.

mod plots;

use super::{Bench, Judged, exercise, text};
use crate::outputs::{html::escaped, sheet::roles};
use endpin_theory::chart::Bar;
use endpin_walker::Verdict;
use std::fmt::Write;

/// Drawing units: a beat and a semitone.
const BEAT: f64 = 46.0;
const SEMITONE: f64 = 7.0;
/// Left of every drawing stand its scales.
const MARGIN: f64 = 44.0;
/// Beats in a row, about.
const ROW: usize = 16;

/// The page of one take or several: the last in full, all in figures.
pub fn report(bench: &Bench, takes: &[Judged], chart_file: &str) -> String {
    let Some(last) = takes.last() else {
        return String::new();
    };
    let title = escaped(&format!("{}: {}", bench.chart.title, last.file));
    let mut body = format!("<h1>{}</h1>\n", escaped(&bench.chart.title));
    for line in text::terms(bench, last).lines() {
        let _ = writeln!(body, "<p class=terms>{}</p>", escaped(line));
    }
    body += &figures(last);
    body += &exercises(bench, last, chart_file);
    body += "<h2>The line</h2>\n";
    body += &legend();
    for chorus in 1..=last.take.choruses {
        let _ = writeln!(body, "<h3>Chorus {chorus}</h3>");
        body += &roll(bench, last, chorus);
    }
    body += "<h2>Time</h2>\n";
    body += &plots::placement(bench, last);
    body += "<h2>Register</h2>\n";
    body += &plots::register(bench, last);
    if takes.len() > 1 {
        body += "<h2>From take to take</h2>\n";
        body += &plots::progress(takes);
    }
    format!(
        "<!DOCTYPE html>\n<html lang=en>\n<head>\n<meta charset=utf-8>\n\
         <meta name=viewport content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
         <style>{STYLE}</style>\n</head>\n<body>\n{body}</body>\n</html>\n"
    )
}

const STYLE: &str = "
body { font: 15px/1.45 Georgia, 'Times New Roman', serif; color: #1b1b1b; background: #fff;
       max-width: 840px; margin: 2em auto; padding: 0 1em; }
h1 { margin-bottom: .2em; } h2 { margin-top: 1.6em; border-bottom: 1px solid #999; }
h3 { margin: 1em 0 .2em; } p.terms { margin: .1em 0; color: #444; }
table { border-collapse: collapse; } td, th { padding: .15em .9em .15em 0; text-align: left; }
th { font-weight: bold; } td.bar { width: 180px; }
code { font: 13px ui-monospace, Menlo, Consolas, monospace; background: #f2f0ea; padding: .1em .3em; }
pre { overflow-x: auto; }
svg { display: block; width: 100%; height: auto; }
svg text { font: 11px Helvetica, Arial, sans-serif; fill: #1b1b1b; }
svg text.chord { font: bold 13px Georgia, serif; } svg text.scale { font-size: 9px; fill: #666; }
svg text.name { font-size: 9.5px; } svg text.mark { font-weight: bold; font-size: 14px; }
.good { fill: #cfe3ef; stroke: #33607c; } .fault { fill: #f7c9b8; stroke: #a32a00; stroke-width: 2.4; stroke-dasharray: 5 2; }
.device { fill: #e9e2b6; stroke: #75660a; stroke-width: 1.6; }
.grid { stroke: #d9d9d9; stroke-width: .6; } .barline { stroke: #555; stroke-width: 1.2; }
.seam { stroke: #888; stroke-width: .8; stroke-dasharray: 2 3; } .path { fill: none; stroke: #33607c; stroke-width: 1.2; }
.fill { fill: #33607c; } ul.faults { margin: .3em 0 .8em 1.2em; padding: 0; font-size: 13.5px; }
@media print { body { margin: 0; max-width: none; } figure, svg { break-inside: avoid; } h2, h3 { break-after: avoid; } }
";

/// What the boxes, their letters and their edges mean.
fn legend() -> String {
    let letters = roles::LEGEND.map(|(_, letters, words)| format!("{letters} {words}"));
    format!(
        "<p class=terms>Each box is a note, its height the pitch, its letter the part: {}; ? none. A broken \
         edge and ! marks a broken rule, round corners and ~ a deliberate device.</p>\n",
        letters.join("; ")
    )
}

/// The scores as a table with bars.
fn figures(judged: &Judged) -> String {
    let figures = &judged.judgement.figures;
    let shares = [
        ("Roots on arrivals", figures.arrival_roots),
        ("Chord tones on strong beats", figures.strong_beats),
        ("Weak beats that belong or lead", figures.weak_beats),
        ("Changes led into", figures.approaches),
        ("Choruses led into the next", figures.joins),
        ("At or below the seventh", figures.root_to_seventh),
        ("Within the hand", figures.playable),
    ];
    let mut table = String::from("<h2>In figures</h2>\n<table>\n");
    for (what, kept) in shares {
        let Some(share) = kept.share() else { continue };
        let _ = writeln!(
            table,
            "<tr><td>{what}</td><td>{} of {}</td><td class=bar><svg viewBox=\"0 0 180 12\" role=img \
             aria-label=\"{:.0} percent\"><rect x=0.5 y=1.5 width=179 height=9 fill=none class=barline />\
             <rect x=1 y=2 width={:.1} height=8 class=fill /></svg></td><td>{:.0} %</td></tr>",
            kept.kept,
            kept.of,
            share * 100.0,
            share * 178.0,
            share * 100.0
        );
    }
    for (what, value) in text::time(judged) {
        let _ = writeln!(
            table,
            "<tr><td>Time: {what}</td><td colspan=3>{}</td></tr>",
            escaped(&value)
        );
    }
    let _ = writeln!(
        table,
        "<tr><td>Moves</td><td colspan=3>{} steps, {} leaps, {} repeats, {} turns of direction</td></tr>",
        figures.steps, figures.leaps, figures.repeats, figures.turns
    );
    if let Some(found) = &judged.collisions {
        let _ = writeln!(
            table,
            "<tr><td>Against the chords</td><td colspan=3>{} bass notes rubbed against, {} on strong beats</td></tr>",
            found.clashes.len(),
            judged.strong_collisions()
        );
    }
    table + "</table>\n"
}

fn exercises(bench: &Bench, judged: &Judged, chart_file: &str) -> String {
    let exercises = exercise::next(bench, judged, chart_file);
    if exercises.is_empty() {
        return "<h2>Practise next</h2>\n<p>Nothing to mend here; try a harder chart or a faster tempo.</p>\n".into();
    }
    let items: Vec<String> = exercises
        .iter()
        .map(|exercise| {
            let (what, command) = (escaped(&exercise.what), escaped(&exercise.command));
            format!("<li>{what}<br><code>{command}</code></li>\n")
        })
        .collect();
    format!("<h2>Practise next</h2>\n<ol>\n{}</ol>\n", items.concat())
}

/// The bars of a chorus in rows of about four.
fn rows(bench: &Bench) -> Vec<&[Bar]> {
    let bars = &bench.chorus.bars;
    let mut rows = Vec::new();
    let mut begin = 0;
    let mut beats = 0;
    for (index, bar) in bars.iter().enumerate() {
        beats += usize::from(bar.meter.beats());
        if beats >= ROW || index + 1 == bars.len() {
            rows.push(&bars[begin..=index]);
            begin = index + 1;
            beats = 0;
        }
    }
    rows
}

/// The piano roll of a chorus, row by row, each with its faults beneath.
fn roll(bench: &Bench, judged: &Judged, chorus: u32) -> String {
    let verdicts: Vec<&Verdict> = judged
        .judgement
        .verdicts
        .iter()
        .filter(|verdict| verdict.heard.chorus == chorus)
        .collect();
    let mut html = String::new();
    let rows = rows(bench);
    for (number, bars) in rows.iter().enumerate() {
        let (Some(first), Some(last)) = (bars.first(), bars.last()) else {
            continue;
        };
        let is_last = number + 1 == rows.len();
        let in_row = |verdict: &&&Verdict| {
            let from = if number == 0 {
                i64::MIN
            } else {
                i64::from(first.number)
            };
            let to = if is_last {
                i64::MAX
            } else {
                i64::from(last.number)
            };
            (from..=to).contains(&verdict.bar)
        };
        let notes: Vec<&Verdict> = verdicts.iter().filter(in_row).copied().collect();
        html += &row(bench, bars, &notes);
        let faults: Vec<String> = notes
            .iter()
            .filter(|verdict| !verdict.broken.is_empty())
            .map(|verdict| fault(verdict))
            .collect();
        if !faults.is_empty() {
            let _ = writeln!(html, "<ul class=faults>\n{}</ul>", faults.concat());
        }
    }
    html
}

fn fault(verdict: &Verdict) -> String {
    let rules: Vec<&str> = verdict.broken.iter().map(|rule| rule.name()).collect();
    let mend = match &verdict.mend {
        Some(mend) => format!(" <b>Play {}</b> ({}).", mend.pitch, escaped(&mend.why)),
        None => String::new(),
    };
    format!(
        "<li>{} bar {} beat {}, {}: {}. <i>{}</i>{mend}</li>\n",
        text::mark(verdict),
        verdict.bar,
        verdict.beat,
        verdict.pitch,
        escaped(&verdict.why),
        rules.join(", ")
    )
}

fn row(bench: &Bench, bars: &[Bar], notes: &[&Verdict]) -> String {
    let keys = notes.iter().map(|verdict| f64::from(verdict.heard.key));
    let low = keys.clone().fold(40.0, f64::min) - 2.0;
    let high = keys.fold(46.0, f64::max) + 2.0;
    let top = 26.0;
    let height = top + (high - low) * SEMITONE + 8.0;
    let beats: usize = bars.iter().map(|bar| usize::from(bar.meter.beats())).sum();
    // Room for what comes before the first bar or after the last.
    let width = MARGIN + (beats.max(ROW) as f64 + 1.0) * BEAT;
    let y = |key: f64| top + (high - key) * SEMITONE;
    let x = |beat: f64| MARGIN + beat * BEAT;
    let mut svg = format!(
        "<svg viewBox=\"0 0 {width:.0} {height:.0}\" role=img aria-label=\"bars from {}\">\n",
        bars[0].number
    );
    for key in (low as i32..=high as i32).filter(|key| key % 12 == 0 || key % 12 == 5) {
        let name = if key % 12 == 0 { "C" } else { "F" };
        let at = y(f64::from(key));
        let _ = writeln!(
            svg,
            "<line class=grid x1={MARGIN} x2={:.0} y1={at:.1} y2={at:.1} /><text class=scale x=8 y={:.1}>{name}{}</text>",
            x(beats as f64),
            at + 3.0,
            key / 12 - 1
        );
    }
    let first = bars[0].first_beat;
    for bar in bars {
        let at = x((bar.first_beat - first) as f64);
        let _ = writeln!(
            svg,
            "<line class=barline x1={at:.1} x2={at:.1} y1={top} y2={height:.1} /><text class=scale x={:.1} y={:.1}>{}</text>",
            at + 2.0,
            height - 2.0,
            bar.number
        );
    }
    let end = x(beats as f64);
    let _ = writeln!(
        svg,
        "<line class=barline x1={end:.1} x2={end:.1} y1={top} y2={height:.1} />"
    );
    let spans = bench.chorus.spans.iter();
    for span in spans.filter(|span| (first..first + beats).contains(&span.start)) {
        let at = x((span.start - first) as f64) + 3.0;
        let _ = writeln!(
            svg,
            "<text class=chord x={at:.1} y=16>{}</text>",
            escaped(&span.symbol)
        );
    }
    for verdict in notes {
        svg += &note(verdict, bars, first, beats, &x, &y);
    }
    svg + "</svg>\n"
}

fn note(
    verdict: &Verdict,
    bars: &[Bar],
    first: usize,
    beats: usize,
    x: &dyn Fn(f64) -> f64,
    y: &dyn Fn(f64) -> f64,
) -> String {
    let bar = bars.iter().find(|bar| i64::from(bar.number) == verdict.bar);
    let begin = match bar {
        Some(bar) => (bar.first_beat - first) as f64 + verdict.beat - 1.0,
        None if verdict.bar < 1 => -0.8,
        None => beats as f64 + 0.05,
    };
    let length = verdict.beats.min(beats as f64 - begin).max(0.5);
    let (left, at) = (x(begin), y(f64::from(verdict.heard.key)));
    let (class, round) = match text::mark(verdict) {
        "!" => ("fault", 0),
        "~" => ("device", 7),
        _ => ("good", 1),
    };
    format!(
        "<g><title>bar {} beat {}: {}</title><rect class={class} x={:.1} y={:.1} width={:.1} height=13 rx={round} />\
         <text class=name x={:.1} y={:.1}>{} {}</text><text class=mark x={:.1} y={:.1}>{}</text></g>\n",
        verdict.bar,
        verdict.beat,
        escaped(&verdict.why),
        left + 1.0,
        at - 6.5,
        length * BEAT - 3.0,
        left + 4.0,
        at + 3.5,
        verdict.role.map_or("?", roles::letter),
        verdict.pitch.name(),
        left + (length * BEAT - 3.0).min(34.0),
        at + 4.0,
        text::mark(verdict),
    )
}
