use super::*;
use crate::Strength;

const BLUES: &str = r#"
title = "Breakwater Blues"
key   = "F"
meter = "4/4"
tempo = 138
feel  = "four"
form  = "A"

[section.A]
bars = """
| F7   | Bb7   | F7    | Cm7 F7  |
| Bb7  | Bdim7 | F7    | D7b9    |
| Gm7  | C7    | F7 D7 | Gm7 C7  |
"""
"#;

#[test]
fn a_blues_unrolls_into_spans() {
    let chart = Chart::parse(BLUES).unwrap();
    let chorus = chart.chorus();
    assert_eq!((chorus.bars.len(), chorus.beats()), (12, 48));
    let spans: Vec<(String, usize)> = chorus
        .spans
        .iter()
        .map(|span| (span.symbol.clone(), span.beats))
        .collect();
    assert_eq!(spans[3], ("Cm7".to_owned(), 2));
    assert_eq!(spans.len(), 15);
    assert_eq!(
        chorus.strength(14),
        Strength::Strong,
        "F7 arrives on beat 3"
    );
    assert_eq!(chorus.strength(2), Strength::Medium);
    assert_eq!(chorus.ticks_at(48), chorus.length());
    assert_eq!(Chart::parse(&chart.to_string()).unwrap(), chart);
}

#[test]
fn the_form_plays_endings_in_turn_and_joins_equal_chords() {
    let chart = Chart::parse(
        r#"
title = "Two Doors"
key = "C"
form = "A A B"
[section.A]
bars = "| C6 | % |"
endings = ["| Dm7 G7 |", "| C6 |"]
[section.B]
meter = "3/4"
feel = "two"
bars = "| C6 | N.C. | C6 / G7 |"
"#,
    )
    .unwrap();
    let chorus = chart.chorus();
    let spans: Vec<String> = chorus
        .spans
        .iter()
        .map(|span| format!("{}.{} {} {}", span.bar, span.beat, span.symbol, span.beats))
        .collect();
    // The second A, its second ending and the first bar of B are one span: 4 + 4 + 4 + 3 beats.
    assert_eq!(
        spans,
        [
            "1.1 C6 8",
            "3.1 Dm7 2",
            "3.3 G7 2",
            "4.1 C6 15",
            "8.1 N.C. 3",
            "9.1 C6 2",
            "9.3 G7 1",
        ]
    );
    assert_eq!(Chart::parse(&chart.to_string()).unwrap(), chart);
}

/// The message of a chart that is wrong in one place, `«` marking it.
fn message(marked: &str) -> String {
    Chart::parse(marked).unwrap_err().to_string()
}

#[test]
fn mistakes_are_pointed_at() {
    let wrong = |bars: &str| {
        message(&format!(
            "title = \"T\"\nkey = \"C\"\n[section.A]\nbars = \"\"\"\n{bars}\"\"\""
        ))
    };
    let said = wrong("| C6 | H7 |\n");
    assert!(said.starts_with("5:8: "), "{said}");
    assert!(said.ends_with("\n  | C6 | H7 |\n         ^^"), "{said}");
    for (bars, expected) in [
        ("| C6 | Dm7 ", "5:8: this bar is not closed"),
        ("C6 | Dm7 |", "5:1: this bar is not closed"),
        ("| C6 D7 G7 |", "5:3: 3 chords do not share 4 beats equally"),
        (
            "| C6 / D7 |",
            "5:3: this bar has 3 beats, and the meter wants 4",
        ),
        ("| % |", "5:3: \"%\" repeats what stands before it"),
        ("| C6 | % C6 |", "5:8: \"%\" repeats the whole bar"),
        ("", "there are no bars here"),
    ] {
        let said = wrong(bars);
        assert!(said.contains(expected), "{bars}: {said}");
    }
    for (file, expected) in [
        ("", "the chart has no title"),
        (
            "title = 3",
            "1:9: title should be text in quotes, and this is a number",
        ),
        (
            "titel = \"T\"",
            "1:1: unknown key \"titel\" (did you mean \"title\"?)",
        ),
        ("title = \"T\"\nkey = \"H\"", "2:7: "),
        (
            "title = \"T\"\nkey = \"C\"\ntempo = 0\n[section.A]\nbars = \"| C |\"",
            "3:9: tempo 0",
        ),
        (
            "title = \"T\"\nkey = \"C\"\ntempo = 10000\n[section.A]\nbars = \"| C |\"",
            "3:9: tempo 10000",
        ),
        (
            "title = \"T\"\nkey = \"C\"\nform = \"A Q\"\n[section.A]\nbars = \"| C |\"",
            "3:11: the form names section \"Q\"",
        ),
        ("title = \"T", "1:"),
    ] {
        let said = message(file);
        assert!(said.contains(expected), "{file}: {said}");
    }
}

#[test]
fn too_many_bars_are_refused() {
    let bars = "| C6 ".repeat(100_000);
    let text = format!("title=\"T\"\nkey=\"C\"\n[section.A]\nbars=\"{bars}|\"");
    assert!(message(&text).contains("the form makes 100000 bars; at most 20000 are allowed"));
}

#[test]
fn keys_are_spelled_as_readers_expect() {
    let chart = Chart::parse(BLUES).unwrap();
    let up = chart.transposed("A4".parse().unwrap());
    assert_eq!(up.transposed("-A4".parse().unwrap()), chart);
    let in_gb = chart.in_key("Gb".parse().unwrap());
    let symbols: Vec<String> = in_gb
        .chorus()
        .spans
        .into_iter()
        .map(|span| span.symbol)
        .collect();
    assert_eq!(&symbols[..4], ["Gb7", "Cb7", "Gb7", "Dbm7"]);
    let written = Chart::parse(&BLUES.replace("Cm7 ", "Cbmaj7 ")).unwrap();
    assert_eq!(
        written.in_key(written.key),
        written,
        "at home it stays as written"
    );
    let in_b: Vec<String> = chart
        .in_key("B".parse().unwrap())
        .chorus()
        .spans
        .into_iter()
        .map(|span| span.symbol)
        .collect();
    assert_eq!(in_b[6], "Fdim7", "E#dim7 is written Fdim7");
}

#[test]
fn a_key_without_a_signature_is_read_as_its_twin() {
    let chart = Chart::parse(&BLUES.replace("\"F\"", "\"Db minor\"")).unwrap();
    assert_eq!(chart.key.to_string(), "C# minor");
    assert_eq!(
        chart.remarks(),
        ["Db minor would have 8 flats and has no signature; read as its twin, C# minor"]
    );
    let printed = Chart::parse(&chart.to_string()).unwrap();
    assert_eq!(printed, chart);
    assert!(printed.remarks().is_empty());
}

#[test]
fn bars_alone_need_no_bounds() {
    let meter = || Meter::new(4, 4).unwrap();
    let chart = Chart::from_bars("F7 | Bb7 / / F7", meter()).unwrap();
    assert_eq!(chart.chorus().spans.len(), 3);
    assert_eq!(
        Chart::from_bars("| F7 | Bb7 |", meter())
            .unwrap()
            .chorus()
            .bars
            .len(),
        2
    );
    let error = Chart::from_bars("F7 | H7", meter()).unwrap_err();
    assert_eq!((error.line(), error.column()), (1, 6));
}

const FEELS: &str = r#"
title = "Slack Water"
key = "Ab"
feel = ["two", "four"]
form = "A B"
[section.A]
bars = "| Abmaj7 | Eb7 |"
[section.B]
pedal = "Eb"
bars = "| Fm7 | Bb7 |"
"#;

#[test]
fn feels_change_with_the_chorus_and_pedals_stay() {
    let chart = Chart::parse(FEELS).unwrap();
    assert_eq!(Chart::parse(&chart.to_string()).unwrap(), chart);
    let feels = |number| {
        let bars = chart.numbered_chorus(number).bars;
        bars.iter().map(|bar| bar.feel).collect::<Vec<Feel>>()
    };
    let (two, four, pedal) = (Feel::Two, Feel::Four, Feel::Pedal);
    assert_eq!(feels(1), [two, two, pedal, pedal]);
    assert_eq!(feels(2), [four, four, pedal, pedal]);
    assert_eq!(feels(7), feels(2));
    assert_eq!(chart.settles_in(), 2);
    let held = |chart: &Chart| chart.chorus().bars[2].pedal.to_string();
    assert_eq!(held(&chart), "Eb");
    assert_eq!(held(&chart.in_key("B".parse().unwrap())), "F#");
    // Without a note of its own: the first written bass, or the dominant of the key.
    let own = FEELS.replace("pedal = \"Eb\"", "feel = \"pedal\"");
    assert_eq!(held(&Chart::parse(&own).unwrap()), "Eb");
    let slash = own.replace("Bb7 |", "Bb7/F |");
    assert_eq!(held(&Chart::parse(&slash).unwrap()), "F");
}

#[test]
fn feels_and_pedals_that_cannot_be_say_so() {
    let says = |from: &str, to: &str| {
        let error = Chart::parse(&FEELS.replace(from, to)).unwrap_err();
        error.problem().to_string()
    };
    assert_eq!(
        says("pedal = \"Eb\"", "pedal = \"Eb\"\nfeel = \"four\""),
        "a section that holds a pedal has the feel \"pedal\", not \"four\"; leave its feel out"
    );
    assert_eq!(
        says("\"Eb\"", "\"H\""),
        "\"H\" is not a note to hold; write a note name, such as \"Eb\""
    );
    assert!(says("\"two\", ", "2, ").starts_with("a feel should be text in quotes"));
    assert!(says("[\"two\", \"four\"]", "[]").starts_with("feel should be a feel in quotes"));
}
