//! The theory crate against tables of what general-purpose music libraries answer (`tests/reference/`, whose
//! README names libraries and versions; `tests/reference/check` asks them again).

use endpin_theory::{
    Chord, Degree, Interval, Key, Mode, NoteName, Pitch, Scale, ScaleKind, analysis::numeral,
};
use std::collections::{BTreeMap, BTreeSet};

type Row = BTreeMap<String, String>;

fn table(name: &str) -> Vec<Row> {
    let path = format!(
        "{}/../../tests/reference/{name}",
        env!("CARGO_MANIFEST_DIR")
    );
    let mut reader =
        csv::Reader::from_path(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
    let rows: Vec<Row> = reader.deserialize().collect::<Result<_, _>>().unwrap();
    assert!(!rows.is_empty(), "{path} is empty");
    rows
}

fn chord(symbol: &str) -> Chord {
    symbol
        .parse()
        .unwrap_or_else(|error| panic!("{symbol}: {error}"))
}

fn name(text: &str) -> NoteName {
    text.parse().unwrap_or_else(|error| panic!("{error}"))
}

fn joined<T: ToString>(items: impl IntoIterator<Item = T>) -> String {
    let texts: Vec<String> = items.into_iter().map(|item| item.to_string()).collect();
    texts.join(" ")
}

fn spelled(chord: &Chord) -> String {
    joined(chord.tones().into_iter().map(|(_, name)| name))
}

/// Sounds of names as the tables write them: sorted numbers from 0 (C) to 11 (B).
fn chromas(names: impl IntoIterator<Item = NoteName>) -> String {
    joined(
        names
            .into_iter()
            .map(NoteName::chroma)
            .collect::<BTreeSet<u8>>(),
    )
}

/// Every row on whose tones the libraries (or most of them) agree. The order of the tones is that of the
/// degrees; the tables that this project added keep the order of the libraries, which differ in it.
#[test]
fn chords_are_spelled_as_the_libraries_spell_them() {
    let mut wrong = Vec::new();
    for (file, in_order) in [("chords.csv", true), ("more_chords.csv", false)] {
        for row in table(file) {
            let symbol = &row["symbol"];
            let read = chord(symbol);
            assert_eq!(read.root().to_string(), row["root"], "{symbol}");
            assert_eq!(read.bass().to_string(), row["bass"], "{symbol}");
            let (mut found, mut expected) = (spelled(&read), row["tones"].clone());
            if !in_order {
                let sorted = |names: &str| joined(names.split(' ').collect::<BTreeSet<&str>>());
                (found, expected) = (sorted(&found), sorted(&expected));
            }
            let sounding = read
                .tones()
                .into_iter()
                .map(|(_, name)| name)
                .chain(read.slash());
            if found != expected || chromas(sounding) != row["pcs"] {
                wrong.push(format!("{symbol}: {found} instead of {expected}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Different spellings of one chord are equal (the column names the library's own plain spelling).
#[test]
fn aliases_are_the_same_chord() {
    for row in table("chords.csv") {
        assert_eq!(
            chord(&row["symbol"]),
            chord(&row["alias_of"]),
            "{}",
            row["symbol"]
        );
    }
}

/// The table of decisions in the chord module: suffix and degrees.
fn decisions() -> Vec<(String, String)> {
    include_str!("../crates/theory/src/chord/disputed.md")
        .lines()
        .filter_map(|line| {
            let cells: Vec<&str> = line.trim_matches('|').split(" | ").map(str::trim).collect();
            let suffix = cells[0].strip_prefix('`')?.strip_suffix('`')?;
            assert!(!cells[2].is_empty(), "{suffix} has no reason");
            Some((suffix.to_owned(), cells[1].to_owned()))
        })
        .collect()
}

#[test]
fn disputed_symbols_are_decided_as_documented() {
    let decisions = decisions();
    for (suffix, degrees) in &decisions {
        for root in ["C", "Gb", "F#", "B", "Ebb"] {
            let read = chord(&format!("{root}{suffix}"));
            let found = joined(read.tones().into_iter().map(|(degree, _)| degree));
            assert_eq!(&found, degrees, "{root}{suffix}");
            let house = chord(&read.to_string());
            assert_eq!(house, read, "{root}{suffix}");
        }
    }
    for row in [table("chords_disputed.csv"), table("more_disputed.csv")].concat() {
        let suffix = row["symbol"].strip_prefix(&row["root"]).unwrap();
        let decided = decisions.iter().any(|(known, _)| known == suffix);
        assert!(decided, "{} is not decided", row["symbol"]);
        // Where most libraries agree, so do we.
        if row.get("status").is_some_and(|status| status == "majority") {
            let names = chord(&row["symbol"])
                .tones()
                .into_iter()
                .map(|(_, name)| name);
            assert_eq!(chromas(names), row["chosen_pcs"], "{}", row["symbol"]);
        }
    }
}

fn scale_kind(label: &str) -> ScaleKind {
    let plain = label
        .split(" (")
        .next()
        .unwrap()
        .split(" / ")
        .next()
        .unwrap();
    ScaleKind::all()
        .find(|kind| kind.name() == plain)
        .unwrap_or_else(|| panic!("no scale named {plain}"))
}

#[test]
fn scales_are_spelled_as_the_libraries_spell_them() {
    for row in table("scales.csv") {
        let scale = Scale::new(name(&row["tonic"]), scale_kind(&row["scale"]));
        assert_eq!(joined(scale.notes()), row["notes"], "{scale}");
        assert_eq!(chromas(scale.notes()), row["pcs"], "{scale}");
    }
}

/// For every scale kind and every usual tonic, the sounds; and the spelling too where the scale has seven
/// notes, but for the altered scale, which libraries spell with a third.
#[test]
fn more_scales_sound_as_the_libraries_say() {
    let mut seen = BTreeSet::new();
    for row in table("more_scales.csv") {
        let scale = Scale::new(name(&row["tonic"]), scale_kind(&row["scale"]));
        seen.insert(scale.kind());
        assert_eq!(chromas(scale.notes()), row["pcs"], "{scale}");
        if scale.notes().len() == 7 && scale.kind() != ScaleKind::Altered {
            assert_eq!(joined(scale.notes()), row["notes"], "{scale}");
        }
    }
    assert!(
        ScaleKind::all().all(|kind| seen.contains(&kind)),
        "{seen:?}"
    );
}

#[test]
fn key_signatures_are_those_of_the_libraries() {
    let rows = table("keysigs.csv");
    assert_eq!(rows.len(), 30);
    for row in rows {
        let mode = if row["mode"] == "major" {
            Mode::Major
        } else {
            Mode::Minor
        };
        let key = Key {
            tonic: name(&row["tonic"]),
            mode,
        };
        assert_eq!(key.signature().to_string(), row["sharps"], "{key}");
        assert_eq!(joined(key.notes()), row["scale_notes"], "{key}");
        assert_eq!(Key::with_signature(key.signature(), mode), key);
        let relative = row["relative"].replace(" major", "");
        assert_eq!(key.relative().to_string(), relative, "{key}");
    }
}

/// `-2m` in the table is `-m2` here.
fn interval(text: &str) -> Interval {
    let (down, up) = match text.strip_prefix('-') {
        Some(up) => ("-", up),
        None => ("", text),
    };
    let (number, quality) = up.split_at(up.len() - 1);
    format!("{down}{quality}{number}")
        .parse()
        .unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn transpositions_are_those_of_the_libraries() {
    for row in table("transpositions.csv") {
        let from: Pitch = row["note"].parse().unwrap();
        let by = interval(&row["interval"]);
        assert_eq!((from + by).to_string(), row["result"], "{from} {by}");
    }
}

/// Each function's chord, and its numeral from the chord and the key.
#[test]
fn functions_are_the_chords_of_the_libraries() {
    for row in table("roman.csv") {
        let mode = if row["mode"] == "major" {
            Mode::Major
        } else {
            Mode::Minor
        };
        let key = Key {
            tonic: name(&row["key"]),
            mode,
        };
        let symbol = &row["tonal_chord"];
        let read = chord(symbol);
        assert_eq!(read.root().to_string(), row["root"], "{symbol}");
        assert_eq!(spelled(&read), row["tones"], "{symbol}");
        let figure = row["jazz_symbol"].replace(' ', "");
        // `V7/vi` stands on the numeral that is a fifth above vi.
        let expected = match figure.split_once('/') {
            None => figure.clone(),
            Some((_, target)) => {
                let small = target.to_lowercase();
                let step = ["i", "ii", "iii", "iv", "v", "vi", "vii"]
                    .iter()
                    .position(|n| *n == small);
                let fifth = key.notes()[step.unwrap()] + Degree::new(5, 0).interval();
                numeral(&chord(&format!("{fifth}7")), key)
            }
        };
        assert_eq!(numeral(&read, key), expected, "{symbol} in {key}");
    }
}
