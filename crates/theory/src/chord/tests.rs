use super::read::SPELLINGS;
use super::*;
use proptest::prelude::*;

fn chord(symbol: &str) -> Chord {
    symbol.parse().unwrap_or_else(|e| panic!("{symbol}: {e}"))
}

fn spelled(symbol: &str) -> String {
    let tones = chord(symbol).tones();
    let names: Vec<String> = tones.iter().map(|(_, name)| name.to_string()).collect();
    names.join(" ")
}

#[test]
fn every_known_spelling_reads_and_prints_back() {
    for suffix in SPELLINGS {
        for root in ["C", "Gb", "F#"] {
            let read = chord(&format!("{root}{suffix}"));
            assert_eq!(chord(&read.to_string()), read, "{root}{suffix}");
        }
    }
}

#[test]
fn house_spellings() {
    for (written, house) in [
        ("C-7", "Cm7"),
        ("CMI7", "Cm7"),
        ("CMA7", "Cmaj7"),
        ("CΔ", "Cmaj7"),
        ("C∆9", "Cmaj9"),
        ("C^", "Cmaj7"),
        ("Cj7", "Cmaj7"),
        ("CM", "C"),
        ("Cmaj", "C"),
        ("Cmaj(7)", "Cmaj7"),
        ("Cø", "Cm7b5"),
        ("C-7b5", "Cm7b5"),
        ("Cm7-5", "Cm7b5"),
        ("Cø9", "Cm9b5"),
        ("C°7", "Cdim7"),
        ("Co", "Cdim"),
        ("Cmb5", "Cdim"),
        ("C+", "Caug"),
        ("C+5", "Caug"),
        ("C(#5)", "Caug"),
        ("C(b5)", "C(b5)"),
        ("C+7", "C7#5"),
        ("C7+", "C7#5"),
        ("Caug9", "C9#5"),
        ("C+maj7", "Cmaj7#5"),
        ("C-Δ7", "CmMaj7"),
        ("Cm(maj7)", "CmMaj7"),
        ("CminMaj9", "CmMaj9"),
        ("C°maj7", "CdimMaj7"),
        ("Cm9(maj7)", "CmMaj9"),
        ("Cminor7", "Cm7"),
        ("Cmajor", "C"),
        ("C major7", ""),
        ("CMajor7", "Cmaj7"),
        ("Cdominant7", "C7"),
        ("C6/9", "C69"),
        ("C6(9)", "C69"),
        ("Cm6/9", "Cm69"),
        ("C2", "Cadd9"),
        ("Cadd2", "Cadd9"),
        ("C(9)", "Cadd9"),
        ("C7(13)", "C7add13"),
        ("C7(9,13)", "C13"),
        ("C7(b9,#11)", "C7b9#11"),
        ("C7#11b9", "C7b9#11"),
        ("C7(#9)(b13)", "C7#9b13"),
        ("C7#9#5", "C7#5#9"),
        ("C7+9", "C7#9"),
        ("Csus", "Csus4"),
        ("Csus7", "C7sus4"),
        ("C7susb9", "C7sus4b9"),
        ("C7b9sus4", "C7sus4b9"),
        ("C13sus", "C13sus4"),
        ("Csus2sus4", "Csus24"),
        ("Calt", "C7alt"),
        ("Calt7", "C7alt"),
        ("C7b5#5b9#9", "C7alt"),
        ("C11", "C11"),
        ("C11#11", "C9#11"),
        ("Cno3", "C5"),
        ("C7(omit5)", "C7no5"),
        ("Cdom7", "C7"),
        ("C♯m7♭5/G♮", ""),
        ("B♭7♯11", "Bb7#11"),
        ("C/C", "C"),
        ("Dm7/G", "Dm7/G"),
        ("C6/9/G", "C69/G"),
        ("Abmaj7/Bb", "Abmaj7/Bb"),
    ] {
        if house.is_empty() {
            assert!(written.parse::<Chord>().is_err(), "{written}");
        } else {
            assert_eq!(chord(written).to_string(), house, "{written}");
        }
    }
}

#[test]
fn tones_are_spelled() {
    for (symbol, tones) in [
        ("Gb7", "Gb Bb Db Fb"),
        ("C7#9", "C E G Bb D#"),
        ("Cdim7", "C Eb Gb Bbb"),
        ("C9sus4", "C F G Bb D"),
        ("C7alt", "C E Gb G# Bb Db D#"),
        ("C11", "C G Bb D F"),
        ("Cm11", "C Eb G Bb D F"),
        ("C13", "C E G Bb D A"),
        ("Cm13", "C Eb G Bb D F A"),
        ("C13b9", "C E G Bb Db A"),
        ("Csus2", "C D G"),
        ("C5", "C G"),
        ("C69", "C E G A D"),
        ("F#m7b5", "F# A C E"),
        ("C/D", "C E G"),
    ] {
        assert_eq!(spelled(symbol), tones, "{symbol}");
    }
}

#[test]
fn seams_and_parts() {
    // Our choice for triads; the chord's own seventh else.
    for (symbol, seventh) in [
        ("C7", 10),
        ("Cmaj7", 11),
        ("Cdim7", 9),
        ("C6", 9),
        ("Cm6", 9),
        ("C69", 9),
        ("C7sus4", 10),
        ("Csus4", 10),
        ("Csus2", 10),
        ("C", 11),
        ("Caug", 11),
        ("Cm", 10),
        ("Cdim", 9),
        ("Cm7b5", 10),
        ("CmMaj7", 11),
        ("CdimMaj7", 11),
        ("Cmaj7sus4", 11),
        ("C7alt", 10),
        ("C11", 10),
        ("Cadd9", 11),
    ] {
        assert_eq!(chord(symbol).seventh(), seventh, "{symbol}");
    }
    for (symbol, tones) in [
        ("C9", "C E G Bb"),
        ("C7alt", "C E Gb G# Bb"),
        ("C13sus4", "C F G Bb"),
        ("C11", "C G Bb F"),
        ("C69", "C E G A"),
        ("Csus2", "C G"),
        ("Cadd11", "C E G"),
        ("C7b13", "C E G Bb"),
    ] {
        let names: Vec<String> = chord(symbol)
            .chord_tones()
            .iter()
            .map(|t| t.name.to_string())
            .collect();
        assert_eq!(names.join(" "), tones, "{symbol}");
    }
}

#[test]
fn bad_symbols_point_and_suggest() {
    for (symbol, column, suggestion) in [
        ("H7", 1, Some("B7")),
        ("Cmaj77", 6, Some("Cmaj7")),
        ("C7b", 3, Some("C7b9")),
        ("C/", 3, Some("C")),
        ("C7(b9", 6, Some("C7(b9)")),
        ("Cmin maj", 5, Some("Cminmaj7")),
        ("🎵", 1, None),
        ("", 1, None),
        ("c7", 1, Some("C7")),
        ("C7)", 3, Some("C7")),
        ("C7()", 3, Some("C7")),
        ("C7b9b9", 5, Some("C7b9")),
        ("Cm7/H", 5, None),
        ("Cdimsus4", 5, Some("Cdim")),
        ("C7,", 3, Some("C7")),
        ("Cm7x", 4, Some("Cm7")),
        ("C7b10", 3, Some("C7b13")),
        ("C4", 2, Some("C")),
    ] {
        let error = symbol.parse::<Chord>().unwrap_err();
        let got = (error.column(), error.suggestion());
        if suggestion.is_some() || symbol.len() < 2 {
            assert_eq!(got, (column, suggestion), "{symbol}: {error}");
        } else {
            assert_eq!(got.0, column, "{symbol}: {error}");
        }
    }
    for (symbol, message) in [
        (
            "H7",
            "a chord begins with a root, A to G, not \"H7\"; did you mean \"B7\"?",
        ),
        (
            "Cmaj77",
            "\"7\" repeats what the symbol already says; did you mean \"Cmaj7\"?",
        ),
        (
            "C7b",
            "\"b\" is not part of a chord symbol here; did you mean \"C7b9\"?",
        ),
        (
            "C/",
            "a bass note, A to G, is missing after the slash; did you mean \"C\"?",
        ),
        (
            "C7(b9",
            "the parenthesis is not closed; did you mean \"C7(b9)\"?",
        ),
        (
            "Cdimsus4",
            "\"sus4\" cannot stand here: a diminished chord keeps its third; did you mean \"Cdim\"?",
        ),
        ("🎵", "a chord begins with a root, A to G, not \"🎵\""),
    ] {
        assert_eq!(symbol.parse::<Chord>().unwrap_err().to_string(), message);
    }
    let long = format!("C{}", "7".repeat(10_000));
    let error = long.parse::<Chord>().unwrap_err();
    assert_eq!(error.column(), 3);
    assert!(error.to_string().len() < 100, "{error}");
}

/// Symbols put together from the pieces of the grammar; not all of them can be read.
fn symbol() -> impl Strategy<Value = String> {
    let pieces = prop::sample::select(vec![
        "7", "9", "11", "13", "6", "69", "maj7", "Maj9", "M13", "Δ", "b5", "#5", "b9", "#9", "#11",
        "b13", "add9", "add11", "add13", "add#11", "addb9", "add3", "add6", "sus", "sus2", "sus4",
        "sus24", "no3", "no5", "alt", "+", "(b9)", "(#5,#9)", "(13)", "(9,13)", "5", "2",
    ]);
    let quality = prop::sample::select(vec![
        "", "", "m", "-", "dim", "°", "ø", "+", "aug", "maj", "dom",
    ]);
    let root = prop::sample::select(vec!["C", "Gb", "F#", "Bbb", "D##", "E", "Cb"]);
    let slash = prop::sample::select(vec!["", "", "/G", "/Bb", "/F#"]);
    (root, quality, prop::collection::vec(pieces, 0..5), slash).prop_map(
        |(root, quality, pieces, slash)| format!("{root}{quality}{}{slash}", pieces.concat()),
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn print_then_read_is_the_identity(symbol in symbol()) {
        if let Ok(read) = symbol.parse::<Chord>() {
            let printed = read.to_string();
            let again = printed.parse::<Chord>();
            prop_assert_eq!(again.as_ref(), Ok(&read), "{} printed as {}", symbol, printed);
            prop_assert_eq!(again.map(|chord| chord.to_string()), Ok(printed));
        }
    }

    #[test]
    fn any_text_is_read_or_refused_within_itself(text in "[A-Hb#m7Δ♭(),/+0-9susadmoj° -]{0,14}|\\PC{0,20}") {
        if let Err(error) = text.parse::<Chord>() {
            prop_assert!((1..=text.chars().count() + 1).contains(&error.column()));
            if let Some(suggestion) = error.suggestion() {
                prop_assert!(suggestion.parse::<Chord>().is_ok(), "{}", suggestion);
            }
        }
    }

    #[test]
    fn transposing_up_and_down_is_the_identity(symbol in symbol(), steps in -9i16..9, semitones in -14i16..14) {
        let interval = Interval::new(steps, semitones);
        if let Ok(read) = symbol.parse::<Chord>() {
            prop_assert_eq!(read.transposed(interval).transposed(-interval), read);
        }
    }
}
