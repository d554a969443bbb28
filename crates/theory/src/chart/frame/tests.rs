//! What stands around the choruses, from both ways of writing a chart.

use super::*;
use crate::{Chart, Interval, chart::plain};

const FRAMED: &str = r#"
title = "Lantern Slip"
key = "F"
intro = "I"
tag = "T"
ending = "thrice"
[section.I]
bars = "| Gm7 | C7 |"
[section.A]
bars = "| F7 Bb7 | Gm7 C7 |"
[section.T]
stop-time = true
bars = "| C7 | C7 |"
"#;

fn symbols(chorus: &Chorus) -> String {
    let symbols = chorus.spans.iter().map(|span| {
        let (bar, beat, beats) = (span.bar, span.beat, span.beats);
        format!("{} {bar}.{beat}+{beats}", span.symbol)
    });
    symbols.collect::<Vec<_>>().join(", ")
}

#[test]
fn intro_and_tag_stand_around_the_form() {
    let chart = Chart::parse(FRAMED).unwrap();
    // Neither is part of the form that is not written.
    assert_eq!(chart.form(), ["A"]);
    let intro = chart.intro_chorus().unwrap();
    assert_eq!(symbols(&intro), "Gm7 1.1+4, C7 2.1+4");
    assert!(intro.bars.iter().all(|bar| bar.place == Place::Intro) && intro.form_bars() == 0);
    assert_eq!(
        symbols(&chart.chorus()),
        "F7 1.1+2, Bb7 1.3+2, Gm7 2.1+2, C7 2.3+2"
    );
    // The tag is led into though its chord is the one before it, and its bars go on counting.
    let last = chart.last_chorus(3, None);
    assert_eq!(
        symbols(&last),
        "F7 1.1+2, Bb7 1.3+2, Gm7 2.1+2, C7 2.3+2, C7 3.1+8"
    );
    let places: Vec<&str> = last.bars.iter().map(Bar::heading).collect();
    assert_eq!(places, ["A", "A", "Tag", "Tag"]);
    let stops: Vec<bool> = last.bars.iter().map(|bar| bar.stop_time).collect();
    assert_eq!(
        (stops, last.form_bars()),
        (vec![false, false, true, true], 2)
    );
    assert_eq!(symbols(&chart.home_bar()), "F7 1.1+4");
}

#[test]
fn the_way_home_comes_twice_more_from_the_third_degree() {
    // Degrees 3 6 2 5 (common practice, no source).
    let ways = |text: &str| {
        let chart = Chart::parse(text).unwrap();
        let last = chart.last_chorus(1, Some(Ending::Thrice));
        let own = last
            .spans
            .iter()
            .filter(|span| last.bars[span.bar as usize - 1].place == Place::Ending);
        own.map(|span| format!("{} {}", span.symbol, span.beats))
            .collect::<Vec<_>>()
            .join(" ")
    };
    let in_f = "Am7 2 D7 2 Gm7 2 C7 2";
    assert_eq!(ways(FRAMED), format!("{in_f} {in_f}"));
    let in_c_minor = "Em7b5 2 A7b9 2 Dm7b5 2 G7b9 2";
    let minor = FRAMED.replace("\"F\"", "\"C minor\"");
    assert_eq!(ways(&minor), format!("{in_c_minor} {in_c_minor}"));
    let waltz =
        "title = \"W\"\nkey = \"Gb\"\nmeter = \"3/4\"\n[section.A]\nbars = \"| Gbmaj7 |\"\n";
    assert_eq!(
        ways(waltz),
        "Bbm7 3 Eb7 3 Abm7 3 Db7 3 Bbm7 3 Eb7 3 Abm7 3 Db7 3"
    );
}

#[test]
fn a_framed_chart_prints_back_moves_and_reads_from_a_plain_one() {
    let chart = Chart::parse(FRAMED).unwrap();
    assert_eq!(Chart::parse(&chart.to_string()).unwrap(), chart);
    let typed = "Lantern Slip\nkey: F\nintro: I\ntag: T\nending: thrice\n[I]\nGm7 | C7\n[A]\nF7 Bb7 | Gm7 C7\n[T]\nstop-time: yes\nC7 | C7\n";
    assert_eq!(plain::read(typed).chart.unwrap(), chart);
    let up = Interval::new(2, 4);
    let moved = chart.transposed(up);
    assert_eq!(
        symbols(&moved.intro_chorus().unwrap()),
        "Bm7 1.1+4, E7 2.1+4"
    );
    assert_eq!(
        (moved.tag(), moved.ending),
        (Some("T"), Some(Ending::Thrice))
    );
    assert_eq!(moved.transposed(-up), chart);
}

#[test]
fn mistakes_around_the_form_are_pointed_at() {
    for (from, to, place, message) in [
        (
            "\"I\"",
            "\"J\"",
            (4, 9),
            "the intro names section \"J\" (did you mean \"I\"?); the chart has I, A, T",
        ),
        (
            "tag = \"T\"",
            "tag = \"TT\"",
            (5, 7),
            "the tag names section \"TT\" (did you mean \"T\"?); the chart has I, A, T",
        ),
        (
            "thrice",
            "fade",
            (6, 10),
            "\"fade\" is not an ending; write held, ritard, stop or thrice",
        ),
        (
            "stop-time = true",
            "stop-time = \"yes\"",
            (12, 13),
            "stop-time should be true or false, and this is text",
        ),
    ] {
        let error = Chart::parse(&FRAMED.replace(from, to)).unwrap_err();
        assert_eq!((error.line(), error.column()), place, "{error}");
        assert_eq!(error.problem().to_string(), message);
    }
    let all = "title = \"X\"\nkey = \"F\"\nintro = \"A\"\n[section.A]\nbars = \"| F7 |\"\n";
    let error = Chart::parse(all).unwrap_err();
    assert_eq!(
        error.problem().to_string(),
        "the chart has no section besides its intro and its tag"
    );
    let faults = plain::read("X\nkey: F\nintro: J\nending: stopp\n[A]\nF7\n").faults;
    let mends: Vec<&str> = faults.iter().map(|fault| &*fault.mends[0].text).collect();
    assert_eq!(mends, ["A", "stop"]);
}
