use super::{read, transpose::in_key};
use crate::{Chart, chart::bars_text};

fn written(text: &str) -> String {
    let reading = read(text);
    let told: Vec<String> = reading.faults.iter().map(|f| f.error.to_string()).collect();
    let chart = reading.chart.unwrap_or_else(|| panic!("{told:?}"));
    bars_text(&chart.sections()[0].bars).replace('\n', " ")
}

fn told(text: &str) -> Vec<(String, Vec<String>)> {
    let faults = read(text).faults.into_iter();
    let mends = |fault: &super::Fault| {
        let mended = fault.mends.iter();
        mended
            .map(|mend| {
                let (before, after) = (&text[..mend.at.start], &text[mend.at.end..]);
                format!("{before}{}{after}", mend.text)
            })
            .collect()
    };
    faults
        .map(|fault| (fault.error.problem().to_string(), mends(&fault)))
        .collect()
}

#[test]
fn a_chart_as_typed_equals_its_toml() {
    let plain = "Harbour Lamp\nkey: F\ntempo: 138\nmeter: 3/4\nfeel: two\nform: AAB\n\n[A]\nF7 | Bb7 / Bdim7\n% | C7\n\n[B]\n| Gm7 | C7 | # turn\n";
    let toml = "title = \"Harbour Lamp\"\nkey = \"F\"\ntempo = 138\nmeter = \"3/4\"\nfeel = \"two\"\nform = \"A A B\"\n[section.A]\nbars = \"| F7 | Bb7 / Bdim7 | % | C7 |\"\n[section.B]\nbars = \"| Gm7 | C7 |\"\n";
    let reading = read(plain);
    assert_eq!(reading.faults, []);
    assert_eq!(reading.chart, Some(Chart::parse(toml).unwrap()));
    // A pasted TOML chart is taken as it is.
    assert_eq!(read(toml).chart, reading.chart);
}

#[test]
fn repeats_are_played_out() {
    for (text, bars) in [
        ("|: F7 | Bb7 :| C7 |", "| F7 | Bb7 | F7 | Bb7 | | C7 | "),
        ("|: F7 |1 Bb7 :|2 C7 |", "| F7 | Bb7 | F7 | C7 | "),
        ("F7 | Bb7 :|", "| F7 | Bb7 | F7 | Bb7 | "),
        (
            "|: F7 |1. Bb7 :|2. C7 :|3. D7 || G7 |]",
            "| F7 | Bb7 | F7 | C7 | | F7 | D7 | G7 | ",
        ),
        ("|| F7 ||: Bb7 :||", "| F7 | Bb7 | Bb7 | "),
        ("|: F7 |1 Bb7 :|\n|2 C7 |", "| F7 | Bb7 | F7 | C7 | "),
    ] {
        assert_eq!(written(text), bars, "{text}");
    }
    let unclosed = told("|: F7 | Bb7 |");
    assert_eq!(unclosed.len(), 1);
    assert!(unclosed[0].0.contains("not closed"), "{unclosed:?}");
}

#[test]
fn all_faults_are_told_at_once_and_what_is_offered_mends_them() {
    let text = "Three Slips\ntmpo: 120\n| f7 | | F7 Bb7 C7 | Fmaj8 |\n";
    let faults = told(text);
    assert_eq!(faults.len(), 5, "{faults:#?}");
    for (problem, mends) in &faults {
        assert!(!mends.is_empty(), "{problem}");
        for mended in mends {
            assert!(
                read(mended).faults.len() < faults.len(),
                "{problem}: {mended}"
            );
        }
    }
    // Mended one after the other, nothing is left to mend.
    let mut text = text.to_owned();
    for _ in 0..5 {
        text = told(&text)[0].1[0].clone();
    }
    assert_eq!(read(&text).faults, []);
    assert_eq!(written(&text), "| F7 | F7 | F7 / Bb7 C7 | Fmaj7 | ");
}

#[test]
fn the_key_is_found_and_said() {
    let chart = read("Dm7 | G7 | Cmaj7 | %").chart.unwrap();
    assert_eq!(
        (chart.title.as_str(), chart.key.to_string()),
        ("Untitled", "C".to_owned())
    );
    assert!(chart.remarks()[0].starts_with("no key is given; the chords are in C"));
}

#[test]
fn transposed_where_it_stands_and_back() {
    let text = "Quay\nkey: F\n[A]\n| F7  | Bb7/D |: Gm7 C7 :|  # home\n";
    let up = in_key(text, "Ab".parse().unwrap()).unwrap();
    assert_eq!(
        up,
        "Quay\nkey: Ab\n[A]\n| Ab7  | Db7/F |: Bbm7 Eb7 :|  # home\n"
    );
    assert_eq!(in_key(&up, "F".parse().unwrap()).as_deref(), Some(text));
    let said = in_key("Quay\nDm7 | G7 | Cmaj7 | %", "D".parse().unwrap()).unwrap();
    assert_eq!(said, "Quay\nkey: D\nEm7 | A7 | Dmaj7 | %");
}

#[test]
fn nothing_that_can_be_typed_panics() {
    let pieces = [
        "|", ":", "1", "F7", "%", "/", "[A]", "\n", "key: ", "#", "♭", " ", "]", "form: AB",
        "ending: ", "Δ",
    ];
    let mut state = 1u32;
    for _ in 0..20_000 {
        let mut text = String::new();
        for _ in 0..12 {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            text.push_str(pieces[(state >> 24) as usize % pieces.len()]);
        }
        let reading = read(&text);
        assert_eq!(
            reading.chart.is_some(),
            reading.faults.is_empty(),
            "{text:?}"
        );
        for fault in &reading.faults {
            assert!(text.get(fault.at.clone()).is_some(), "{text:?}");
        }
    }
}
