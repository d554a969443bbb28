//! A chart as typed, and as understood: what the page shows while somebody writes.

use crate::failure::Failure;
use endpin_theory::{
    Key, Mode, analyse,
    chart::{
        Harmony, WrittenBar,
        plain::{self, Fault},
    },
};
use serde::Serialize;

/// What the page shows of a text.
#[derive(Debug, Serialize)]
pub struct ChartView {
    /// Title, if it is a chart.
    title: Option<String>,
    /// `In F, 4/4, 138 quarter notes a minute, 12 bars`.
    about: Option<String>,
    /// The key, and those of its mode that the chart could be moved to.
    key: Option<String>,
    keys: Vec<String>,
    tempo: Option<f64>,
    remarks: Vec<String>,
    sections: Vec<SectionView>,
    meanings: Vec<Meaning>,
    faults: Vec<FaultView>,
}

#[derive(Debug, Serialize)]
struct SectionView {
    name: String,
    /// The words of each bar; none where one could not be read.
    bars: Vec<Option<String>>,
}

/// What a chord is.
#[derive(Debug, Serialize)]
struct Meaning {
    bar: u32,
    symbol: String,
    function: String,
    scale: String,
    notes: String,
    why: String,
}

/// A fault and what could stand instead; places are in units of UTF-16, as scripts count text.
#[derive(Debug, Serialize)]
struct FaultView {
    line: usize,
    column: usize,
    from: usize,
    to: usize,
    what: String,
    mends: Vec<MendView>,
}

#[derive(Debug, Serialize)]
struct MendView {
    from: usize,
    to: usize,
    text: String,
}

impl ChartView {
    /// The title that a text has, faults or not.
    pub fn title(text: &str) -> String {
        let first = text.lines().map(str::trim).find(|line| !line.is_empty());
        let chart = plain::read(text).chart;
        chart.map_or_else(|| first.unwrap_or("").to_owned(), |chart| chart.title)
    }

    /// Reads a text.
    pub fn of(text: &str) -> ChartView {
        let reading = plain::read(text);
        let sections = reading.sections.iter().map(|section| SectionView {
            name: section.name.clone(),
            bars: section
                .bars
                .iter()
                .map(|bar| bar.as_ref().map(words))
                .collect(),
        });
        let mut view = ChartView {
            title: None,
            about: None,
            key: None,
            keys: Vec::new(),
            tempo: None,
            remarks: Vec::new(),
            sections: sections.collect(),
            meanings: Vec::new(),
            faults: faults(text, &reading.faults),
        };
        let Some(chart) = reading.chart else {
            return view;
        };
        let chorus = chart.chorus();
        let of_mode = |key: &Key| key.mode == chart.key.mode && key.simplest() == *key;
        view.keys = Key::all()
            .filter(of_mode)
            .map(|key| key.to_string())
            .collect();
        view.key = Some(chart.key.to_string());
        if !view.keys.contains(&chart.key.to_string()) {
            view.keys.push(chart.key.to_string());
        }
        view.tempo = Some(chart.tempo);
        view.about = Some(format!(
            "In {}, {}, {} quarter notes a minute, {} bars",
            chart.key,
            chart.meter,
            chart.tempo,
            chorus.bars.len()
        ));
        view.remarks = chart.remarks().to_vec();
        let understood = analyse(&chorus.spans, chorus.key);
        let pairs = chorus.spans.iter().zip(understood);
        view.meanings = pairs
            .filter(|(span, _)| span.chord.is_some())
            .map(|(span, understood)| Meaning {
                bar: span.bar,
                symbol: span.symbol.clone(),
                function: understood.function.to_string(),
                scale: understood.scale.name().to_string(),
                notes: understood
                    .scale
                    .notes()
                    .iter()
                    .map(ToString::to_string)
                    .collect::<Vec<_>>()
                    .join(" "),
                why: understood.reason.to_string(),
            })
            .collect();
        view.title = Some(chart.title);
        view
    }
}

fn faults(text: &str, faults: &[Fault]) -> Vec<FaultView> {
    let unit = |at: usize| text[..at].encode_utf16().count();
    let faults = faults.iter().map(|fault| FaultView {
        line: fault.error.line(),
        column: fault.error.column(),
        from: unit(fault.at.start),
        to: unit(fault.at.end),
        what: fault.error.problem().to_string(),
        mends: fault
            .mends
            .iter()
            .map(|mend| MendView {
                from: unit(mend.at.start),
                to: unit(mend.at.end),
                text: mend.text.clone(),
            })
            .collect(),
    });
    faults.collect()
}

/// `F7 D7`, or `F7 / / D7` where the chords do not share the bar.
fn words(bar: &WrittenBar) -> String {
    let even = bar.iter().all(|(_, beats)| *beats == bar[0].1);
    let chord = |(harmony, beats): &(Harmony, usize)| {
        let more = if even { 0 } else { beats - 1 };
        format!("{harmony}{}", " /".repeat(more))
    };
    bar.iter().map(chord).collect::<Vec<_>>().join(" ")
}

/// A text moved into another key of its mode, where it stands.
///
/// # Errors
/// A text with a fault, or a word that is no key.
pub fn moved(text: &str, key: &str) -> Result<String, Failure> {
    let chart = plain::read(text).chart;
    let chart = chart.ok_or_else(|| Failure::input("this chart has a fault; mend it first"))?;
    let tonic = Key::read(key).map_err(Failure::input)?.key;
    let mode = match tonic.mode {
        Mode::Minor => Mode::Minor,
        Mode::Major => chart.key.mode,
    };
    let key = Key { mode, ..tonic };
    plain::in_key(text, key).ok_or_else(|| Failure::input("this chart has a fault; mend it first"))
}

/// Charts to begin from: a name and a text. The forms are common practice, the titles ours.
pub const FORMS: [(&str, &str); 4] = [
    (
        "Twelve bars",
        "Slow Tide Twelve\nkey: F\ntempo: 126\n\n| F7 | Bb7 | F7 | % |\n| Bb7 | % | F7 | D7b9 |\n| Gm7 | C7 | F7 D7 | Gm7 C7 |\n",
    ),
    (
        "Minor blues",
        "Lantern Street\nkey: C minor\ntempo: 132\n\n| Cm7 | % | % | C7alt |\n| Fm7 | % | Cm7 | % |\n| Ab7 | G7alt | Cm7 | Dm7b5 G7 |\n",
    ),
    (
        "AABA",
        "Ferry Windows\nkey: Bb\ntempo: 160\nform: A A B A\n\n[A]\n| Bbmaj7 G7 | Cm7 F7 | Dm7 G7 | Cm7 F7 |\n| Bb7 | Ebmaj7 Ab7 | Cm7 F7 | Bb6 |\n\n[B]\n| D7 | % | G7 | % |\n| C7 | % | F7 | % |\n",
    ),
    (
        "Waltz",
        "Chalk and Willow\nkey: G\nmeter: 3/4\ntempo: 144\n\n| Gmaj7 | E7 | Am7 | D7 |\n| Bm7 | E7 | Am7 D7 / | Gmaj7 |\n| Cmaj7 | Cm6 | Bm7 | E7 |\n| Am7 | D7 | G6 | D7 |\n",
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_form_is_a_chart() {
        for (name, text) in FORMS {
            let view = ChartView::of(text);
            assert!(view.faults.is_empty(), "{name}: {:?}", view.faults);
            assert!(view.remarks.is_empty(), "{name}");
        }
    }

    #[test]
    fn places_are_counted_as_scripts_count() {
        let view = ChartView::of("𝄢 Quay\n| f♯m7 | C |\n");
        let [fault] = &view.faults[..] else {
            panic!("{:?}", view.faults)
        };
        // The sign of the title is two units.
        assert_eq!((fault.from, fault.line, fault.column), (10, 2, 3));
        assert_eq!(fault.mends[0].text, "F♯m7");
    }
}
