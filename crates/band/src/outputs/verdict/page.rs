//! A judged take as a page: one file that needs nothing else, for the screen and for paper.
//!
//! One column: the line on the staff with its marks, below it the reason of each note that is underlined. Notes
//! are black; a grade is told by the shape of the underline and in words.

mod plots;

use super::{
    Bench, Judged, exercise, text,
    written::{self, WrittenChorus},
};
use crate::inputs::take::TakeNote;
use crate::outputs::{
    html::{escaped, head},
    marks::{GRADE_LEGEND, Grade, LEGEND},
    sheet::staves::{self, Staves},
};
use endpin_walker::Verdict;
use std::{fmt::Write, ops::Range};

/// Left of every plot stand its scales.
const MARGIN: f64 = 56.0;

/// The page of one take or several: the last in full, all in figures; with a stem of names, what to practise is linked
/// to the files beside the page that begin so.
pub fn report(bench: &Bench, takes: &[Judged], chart_file: &str, links: Option<&str>) -> String {
    let Some(last) = takes.last() else {
        return String::new();
    };
    let title = escaped(&format!("{}: {}", bench.chart.title, last.file));
    let mut body = format!("<h1>{}</h1>\n", escaped(&bench.chart.title));
    for line in text::terms(bench, last).lines() {
        let _ = writeln!(body, "<p class=terms>{}</p>", escaped(line));
    }
    body += &in_short(bench, last);
    body += "<h2>The line</h2>\n";
    body += &players(last);
    let marks = written::marks(last);
    for number in 1..=last.take.choruses {
        let chorus = WrittenChorus::new(bench, last, &marks, number);
        let staves = Staves::of(std::slice::from_ref(&chorus.music));
        let _ = writeln!(body, "<h3>Chorus {number}</h3>");
        body += &staff(last, &chorus, &staves);
    }
    body += &legend();
    body += "<h2>Tempo</h2>\n";
    body += &plots::tempo(last);
    body += &plots::placement(bench, last);
    body += "<h2>Register</h2>\n";
    body += &plots::register(bench, last);
    body += &figures(last);
    body += &exercises(bench, last, chart_file, links);
    if takes.len() > 1 {
        body += "<h2>From take to take</h2>\n";
        body += &plots::progress(takes);
    }
    let head = head(&title, &bench.chart.title, &[staves::STYLE, STYLE].concat());
    let scripts = SCRIPTS.concat();
    let signs = staves::signs();
    format!(
        "<!DOCTYPE html>\n<html lang=en>\n{head}\n<body>\n{signs}\n{body}<script>\n{scripts}</script>\n</body>\n</html>\n"
    )
}

/// What is good, what to work on, and the time.
fn in_short(bench: &Bench, judged: &Judged) -> String {
    let parts = text::parts(bench, judged).into_iter();
    let part = |(title, sentences): (&str, Vec<String>)| {
        let items = sentences
            .iter()
            .map(|said| format!("<li>{}</li>\n", escaped(said)));
        format!(
            "<h2>{title}</h2>\n<ul>\n{}</ul>\n",
            items.collect::<String>()
        )
    };
    parts.map(part).collect()
}

/// Buttons that play the take as it was and with the better notes, and the notes that they play.
fn players(judged: &Judged) -> String {
    let verdicts = &judged.judgement.verdicts;
    let keys: Vec<u8> = judged.take.notes.iter().map(|note| note.key).collect();
    let mut mended = keys.clone();
    for (note, verdict) in verdicts.iter().enumerate() {
        let Some(mend) = &verdict.mend else { continue };
        mended[note] = mend.pitch.midi().clamp(0, 127) as u8;
        for (other, pitch) in &mend.others {
            mended[*other] = pitch.midi().clamp(0, 127) as u8;
        }
    }
    let notes = |keys: &[u8]| {
        let note =
            |(note, key): (&TakeNote, &u8)| format!("[{:.3},{:.3},{key}]", note.at, note.sounds);
        let notes: Vec<String> = judged.take.notes.iter().zip(keys).map(note).collect();
        format!("[{}]", notes.join(","))
    };
    let second = match mended == keys {
        true => "",
        false => " <button id=mended aria-pressed=false>Play it mended</button>",
    };
    format!(
        "<p><button id=mine aria-pressed=false>Play my take</button>{second}</p>\n\
         <script type=\"application/json\" id=notes>{{\"mine\":{},\"mended\":{}}}</script>\n",
        notes(&keys),
        notes(&mended)
    )
}

/// The page's own style; that of staves comes before it.
const STYLE: &str = include_str!("page/page.css");
/// The sounds of the practice page, and what plays the take with them.
const SCRIPTS: [&str; 2] = [
    include_str!("../sheet/page/sound.js"),
    include_str!("page/play.js"),
];

/// What the marks and the underlines mean.
fn legend() -> String {
    let lines = LEGEND.into_iter().chain([GRADE_LEGEND]);
    lines
        .map(|line| format!("<p class=terms>{line}</p>\n"))
        .collect()
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
            "<tr><td>{what}</td><td>{} of {}</td><td class=share><svg class=plot viewBox=\"0 0 180 12\" role=img \
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

/// What to practise next: a student reads what for, not the commands.
fn exercises(bench: &Bench, judged: &Judged, chart_file: &str, links: Option<&str>) -> String {
    let exercises = exercise::next(bench, judged, chart_file);
    if exercises.is_empty() {
        return "<h2>Practise next</h2>\n<p>Nothing to mend here; try a harder chart or a faster tempo.</p>\n".into();
    }
    let items = exercises.iter().map(|exercise| {
        let link = links.map_or_else(String::new, |stem| {
            // Before a name, ./ keeps a colon in it from reading as a scheme.
            let file = address(&exercise.opened(stem));
            format!(" <a href=\"./{file}\">Practise this</a>")
        });
        format!("<li>{}{link}</li>\n", escaped(&exercise.what))
    });
    format!(
        "<h2>Practise next</h2>\n<ol>\n{}</ol>\n",
        items.collect::<String>()
    )
}

/// A name as part of an address.
fn address(name: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"/.-_".contains(&byte);
    let part = |byte: u8| match plain(byte) {
        true => char::from(byte).to_string(),
        false => format!("%{byte:02X}"),
    };
    name.bytes().map(part).collect()
}

/// The line of a chorus on the staff, each line of bars with the reasons of its underlined notes beneath.
fn staff(judged: &Judged, chorus: &WrittenChorus<'_>, staves: &Staves) -> String {
    let around = |bar: usize, words: &str, picture: &str| {
        let better: String = chorus.of_bars(bar..bar + 1).filter_map(better).collect();
        format!(
            "<div class=\"bar\"><div role=\"img\" aria-label=\"{words}\">{picture}</div>{better}</div>"
        )
    };
    let reasons = |bars: Range<usize>| remarks(judged, chorus.of_bars(bars));
    let html = staves.html(&chorus.music, &around, &reasons);
    let outside = chorus.outside.iter().map(|verdict| {
        let place = if verdict.bar < 1 {
            "Before the first bar"
        } else {
            "In the ending"
        };
        format!("<li>{place}: {}</li>\n", verdict.pitch)
    });
    let outside: String = outside.collect();
    format!(
        "{}{}{}",
        staves.within("", &html),
        list(&outside),
        remarks(judged, chorus.outside.iter().copied())
    )
}

/// The better note, in small, for under its bar.
fn better(verdict: &Verdict) -> Option<String> {
    let mend = verdict.mend.as_ref()?;
    Some(format!(
        "<p class=better>beat {}: better {}</p>",
        verdict.beat, mend.pitch
    ))
}

fn list(items: &str) -> String {
    match items {
        "" => String::new(),
        items => format!("<ul class=reasons>\n{items}</ul>\n"),
    }
}

/// What is to be said of the notes that are underlined.
fn remarks<'a>(judged: &Judged, verdicts: impl Iterator<Item = &'a Verdict>) -> String {
    let graded = verdicts.filter(|verdict| verdict.grade != Grade::Good);
    list(
        &graded
            .map(|verdict| remark(judged, verdict))
            .collect::<String>(),
    )
}

fn remark(judged: &Judged, verdict: &Verdict) -> String {
    let mend = verdict.mend.as_ref().map_or_else(String::new, |mend| {
        let others = mend.others.iter().map(|(number, pitch)| {
            let other = &judged.judgement.verdicts[*number];
            format!(", with {pitch} at bar {} beat {}", other.bar, other.beat)
        });
        let others: String = others.collect();
        format!(
            " <b>Play {}{others}</b> ({}).",
            mend.pitch,
            escaped(&mend.why)
        )
    });
    let grade = verdict.grade.name();
    format!(
        "<li><b>{grade}</b>: bar {} beat {}, {}: {}.{mend}</li>\n",
        verdict.bar,
        verdict.beat,
        verdict.pitch,
        escaped(&verdict.why)
    )
}
