use super::*;
use crate::{Chart, Chord, Interval, key::MOST_SIGNS};
use proptest::prelude::*;

fn analysed(home: &str, bars: &str) -> Vec<(String, Understood)> {
    let chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
    let spans = chart.chorus().spans;
    let understood = analyse(&spans, home.parse().unwrap());
    assert_eq!(understood.len(), spans.len());
    spans
        .into_iter()
        .map(|span| span.symbol)
        .zip(understood)
        .collect()
}

#[test]
fn a_two_five_one() {
    let found = analysed("C", "Dm7 | G7 | Cmaj7 | N.C.");
    let lines: Vec<String> = found
        .iter()
        .map(|(symbol, u)| format!("{symbol}: {} in {}, {}", u.function, u.key, u.scale))
        .collect();
    assert_eq!(
        lines,
        [
            "Dm7: ii7 in C, D dorian",
            "G7: V7 in C, G mixolydian",
            "Cmaj7: Imaj7 in C, C major",
            "N.C.: N.C. in C, C major",
        ]
    );
}

#[test]
fn the_best_choice_comes_first_and_holds_the_chord() {
    for (_, understood) in analysed("F", "F7 | D7b9 | Gm7 | C7alt | Bdim7 | Db7#11 | Am7b5") {
        assert_eq!(understood.scale, understood.choices[0]);
    }
}

/// Chord symbols of all families on all the usual roots.
fn progression() -> impl Strategy<Value = String> {
    let root = prop::sample::select(vec![
        "C", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B",
    ]);
    let suffix = prop::sample::select(vec![
        "", "maj7", "6", "m", "m7", "m6", "mMaj7", "7", "7b9", "7alt", "7#5", "13", "7sus4",
        "m7b5", "dim7", "aug", "5", "9#11",
    ]);
    let bar = (root, suffix).prop_map(|(root, suffix)| format!("{root}{suffix}"));
    prop::collection::vec(bar, 1..12).prop_map(|bars| bars.join(" | "))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn understanding_moves_with_the_key(bars in progression(), semitones in 0i16..12, minor in any::<bool>()) {
        let c = "C".parse().unwrap();
        let home = if minor { Key::minor(c) } else { Key::major(c) };
        let chart = Chart::from_bars(&bars, "4/4".parse().unwrap()).unwrap();
        // Seven steps to twelve semitones: the letter nearest to so many semitones.
        let by = Interval::new((semitones * 7 + 6) / 12, semitones);
        let moved_home = Key { tonic: home.tonic + by, ..home }.simplest();
        let here = analyse(&chart.chorus().spans, home);
        let there = analyse(&chart.transposed(by).chorus().spans, moved_home);
        prop_assert_eq!(here.len(), there.len());
        for (a, b) in here.iter().zip(&there) {
            let sound = |u: &Understood, by: i16| (
                (i16::from(u.key.tonic.chroma()) + by) % 12, u.key.mode, u.scale.kind(),
            );
            prop_assert_eq!(sound(a, semitones), sound(b, 0));
            prop_assert_eq!(a.choices.len(), b.choices.len());
            if a.key.tonic + by == b.key.tonic {
                prop_assert_eq!(&a.function, &b.function);
            }
        }
    }

    #[test]
    fn a_section_twice_is_understood_twice(bars in progression(), minor in any::<bool>()) {
        let text = |form: &str| format!(
            "title = \"T\"\nkey = \"{}\"\nform = \"{form}\"\n[section.A]\nbars = \"| {bars} | N.C. |\"",
            if minor { "C minor" } else { "C" },
        );
        let read = |form: &str| {
            let chart = Chart::parse(&text(form)).unwrap();
            analyse(&chart.chorus().spans, chart.key)
        };
        let once = read("A");
        prop_assert_eq!([&once[..], &once[..]].concat(), read("A A"));
        prop_assert_eq!([&once[..], &once[..], &once[..]].concat(), read("A A A"));
    }

    #[test]
    fn a_turnaround_changes_nothing_before_it(bars in progression(), which in 0usize..4) {
        let turnaround = ["Dm7 G7", "A7 / G7 /", "Em7 A7 Dm7 G7", "Ab7 G7"][which];
        let read = |last: &str| {
            let chart = Chart::from_bars(&format!("{bars} | C6 | {last}"), "4/4".parse().unwrap()).unwrap();
            let spans = chart.chorus().spans;
            let understood = analyse(&spans, chart.key);
            let before = spans.iter().take_while(|span| span.start < 4 * bars.split('|').count()).count();
            understood.into_iter().take(before).map(|u| (u.function, u.key, u.choices)).collect::<Vec<_>>()
        };
        prop_assert_eq!(read("C6"), read(turnaround));
    }

    /// ii-V-I in major names its own tonic, wherever it stands; the one thing stronger is the home tonic itself,
    /// which stays I where it turns into the ii of another key.
    #[test]
    fn two_five_one_names_its_own_tonic(
        before in progression(),
        after in progression(),
        tonic in prop::sample::select(vec!["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]),
        (two, five, one) in (
            prop::sample::select(vec!["m7", "m9", "m7b5"]),
            prop::sample::select(vec!["7", "7b9", "13", "7alt"]),
            prop::sample::select(vec!["maj7", "6", "maj9"]),
        ),
        minor in any::<bool>(),
    ) {
        let one_root: crate::NoteName = tonic.parse().unwrap();
        let [two_root, five_root] = [Interval::new(1, 2), Interval::new(4, 7)].map(|up| one_root + up);
        let bars = format!("{before} | {two_root}{two} | {five_root}{five} | {one_root}{one} | {after}");
        let home: Key = if minor { "C minor" } else { "C" }.parse().unwrap();
        let found = analysed(&home.to_string(), &bars);
        let at = before.split('|').count();
        // Neighbours that only repeat a symbol are one span with it.
        let place = |symbol: String, from: usize| (from..found.len()).find(|&at| found[at].0 == symbol).unwrap();
        let two_at = place(format!("{two_root}{two}"), at.saturating_sub(before.split('|').count()));
        let five_at = place(format!("{five_root}{five}"), two_at);
        let one_at = place(format!("{one_root}{one}"), five_at);
        prop_assume!(five_at == two_at + 1 && one_at == two_at + 2);
        let is_here = |place: usize| found[place].1.key == Key::major(one_root)
            || found[place].1.key.tonic.chroma() == one_root.chroma() && found[place].1.key.mode == Mode::Major;
        prop_assert!(is_here(one_at) && found[one_at].1.function.starts_with("Imaj") || found[one_at].1.function.starts_with("I6"), "{:?}", found[one_at]);
        prop_assert!(is_here(five_at) && found[five_at].1.function.starts_with('V'), "{:?}", found[five_at]);
        let home_tonic = minor && two_root.chroma() == home.tonic.chroma() && two != "m7b5";
        prop_assert!(home_tonic || is_here(two_at) && found[two_at].1.function.starts_with("ii"), "{:?}", found[two_at]);
    }

    #[test]
    fn every_choice_holds_the_chord(bars in progression()) {
        let chart = Chart::from_bars(&bars, "4/4".parse().unwrap()).unwrap();
        let spans = chart.chorus().spans;
        let home = find_key(&spans);
        prop_assert!(home.signature().abs() <= MOST_SIGNS);
        for (span, understood) in spans.iter().zip(analyse(&spans, home)) {
            prop_assert_eq!(understood.scale, understood.choices[0]);
            prop_assert!(understood.key.signature().abs() <= MOST_SIGNS);
            let chord = span.chord.as_ref().unwrap();
            for scale in understood.choices {
                prop_assert_eq!(scale.tonic(), chord.root());
                for (_, name) in chord.tones() {
                    prop_assert!(scale.contains(name.chroma()), "{} in {}", chord, scale);
                }
            }
        }
    }
}

#[test]
fn numerals_keep_their_names_under_plainer_spellings() {
    for (key, symbol, expected) in [
        ("Gb", "E7", "bVII7"),
        ("Gb", "Fb7", "bVII7"),
        ("F#", "F", "VII"),
        ("C", "F#dim7", "#ivo7"),
        ("C", "Gb7", "bV7"),
        ("C", "Abdim7", "bvio7"),
        ("C", "G#dim7", "#vo7"),
        ("A minor", "G#dim7", "viio7"),
        ("A minor", "F#m7b5", "viø7"),
        ("A minor", "Fmaj7", "VImaj7"),
        ("A minor", "C#dim7", "#iiio7"),
        ("A minor", "F#7", "#VI7"),
        ("Eb minor", "Bmaj7", "VImaj7"),
        ("C", "Caug", "I+"),
        ("C", "G7sus4", "V7sus4"),
        ("C", "CmMaj7", "iMaj7"),
    ] {
        let chord: Chord = symbol.parse().unwrap();
        assert_eq!(
            numeral(&chord, key.parse().unwrap()),
            expected,
            "{symbol} in {key}"
        );
    }
}

/// The table of costs in the documentation states what the code counts.
#[test]
fn documented_costs_are_the_costs() {
    let mut constants: Vec<(&str, i64)> = [reading::COSTS, path::COSTS]
        .concat()
        .into_iter()
        .map(|(name, cost)| (name, i64::from(cost)))
        .collect();
    constants.extend(home::WORTHS);
    let mut documented = Vec::new();
    for row in include_str!("costs.md")
        .lines()
        .filter(|line| line.ends_with("` |"))
    {
        let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
        let off = cells[2] == "`AFTER_TWO`";
        let cost: i64 = cells[1].trim_start_matches('+').parse().unwrap();
        documented.push((cells[2].trim_matches('`'), if off { -cost } else { cost }));
    }
    assert_eq!(documented, constants);
}

/// Chords without a key named; common practice, no source.
#[test]
fn keys_are_found() {
    for (bars, key) in [
        ("F7 | Bb7 | C7 | Bb7", "F"),
        ("Dm7 | G7 | Cmaj7", "C"),
        ("Am7 D7 | Gmaj7", "G"),
        ("Dm7b5 | G7 | Cm | %", "C minor"),
        ("Gm7 | C7 | Fmaj7 | Bbmaj7 | Em7b5 | A7 | Dm | %", "D minor"),
        ("Emaj7 | C#m7 | F#m7 | B7", "E"),
        ("Abm7 | Db7 | Gbmaj7", "Gb"),
        ("G#m7 | C#7 | F#maj7", "F#"),
        ("C7", "C"),
        ("Gm7 | C7", "F"),
        ("Em9 | % | % | %", "E minor"),
        ("Caug | F", "F"),
        ("N.C.", "C"),
    ] {
        let chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
        assert_eq!(find_key(&chart.chorus().spans).to_string(), key, "{bars}");
    }
}

#[test]
fn augmented_dominants_and_open_chords() {
    let scales = |home, bars| -> Vec<String> {
        analysed(home, bars)
            .into_iter()
            .map(|(_, u)| u.scale.to_string())
            .collect()
    };
    assert_eq!(scales("F", "Caug | F"), ["C whole tone", "F major"]);
    assert_eq!(scales("G", "C5 | G5"), ["C lydian", "G major"]);
    assert_eq!(
        scales("F", "F7 | Bb7 | C7 | Bb7"),
        [
            "F mixolydian",
            "Bb mixolydian",
            "C mixolydian",
            "Bb mixolydian"
        ]
    );
}

/// The first twelve bars of rhythm changes look like a blues, and the form goes on otherwise; a blues with a
/// bridge is one in its A sections. Common practice, no source.
#[test]
fn a_blues_fills_its_form() {
    let said = |bars: &str| {
        let spans = Chart::from_bars(bars, "4/4".parse().unwrap())
            .unwrap()
            .chorus()
            .spans;
        let understood = analyse(&spans, "F".parse().unwrap());
        understood
            .iter()
            .any(|chord| chord.reason.contains("blues"))
    };
    let a = "F7 Dm7 | Gm7 C7 | F7 Dm7 | Gm7 C7 | Bb7 | Bdim7 | F7 | Gm7 C7";
    let bridge = "A7 | % | D7 | % | G7 | % | C7 | %";
    assert!(!said(&format!("{a} | {a} | {bridge} | {a}")));
    let blues = "F7 | Bb7 | F7 | % | Bb7 | % | F7 | % | C7 | Bb7 | F7 | C7";
    assert!(said(blues));
    assert!(said(&format!("{blues} | {blues} | {bridge} | {blues}")));
    assert!(!said(&format!("{blues} | {bridge}")));
}
