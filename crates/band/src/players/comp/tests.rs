use super::*;
use endpin_theory::{Interval, ScaleKind};

fn scaled(symbol: &str, kind: ScaleKind) -> (Chord, Scale) {
    let chord: Chord = symbol.parse().unwrap();
    let scale = Scale::new(chord.root(), kind);
    (chord, scale)
}

#[test]
fn the_handbooks_two_five_one_comes_out_of_the_search() {
    // Reference file walking-bass-statistics.md (LearnMusicTheory vol. 4, 4.2.1): F A C E, F A B E,
    // E G B D; 1 then 5 semitones in all, no voice more than 2.
    let voiced = lead(
        &[
            scaled("Dm7", ScaleKind::Dorian),
            scaled("G7", ScaleKind::Mixolydian),
            scaled("Cmaj7", ScaleKind::Major),
        ],
        Palette::Plain,
    );
    let keys: Vec<Vec<u8>> = voiced
        .iter()
        .flatten()
        .map(|voicing| voicing.keys.clone())
        .collect();
    assert_eq!(keys, [[53, 57, 60, 64], [53, 57, 59, 64], [52, 55, 59, 62]]);
    let names: Vec<String> = voiced.iter().flatten().map(Voicing::to_string).collect();
    assert_eq!(
        names,
        [
            "rootless b3-5-b7-9",
            "rootless b7-9-3-13",
            "rootless 3-5-7-9"
        ]
    );
}

#[test]
fn it_leads_as_closely_in_every_key() {
    // The same reference: whichever form the register favours, 1 then 5 semitones, no voice more than 2.
    for half_steps in 0..12 {
        let up = Interval::new((half_steps * 7) / 12, half_steps);
        let chords: Vec<(Chord, Scale)> = [
            ("Dm7", ScaleKind::Dorian),
            ("G7", ScaleKind::Mixolydian),
            ("Cmaj7", ScaleKind::Major),
        ]
        .map(|(symbol, kind)| {
            let chord = symbol.parse::<Chord>().unwrap().transposed(up);
            let scale = Scale::new(chord.root(), kind);
            (chord, scale)
        })
        .to_vec();
        let voiced = lead(&chords, Palette::Plain);
        let keys: Vec<&[u8]> = voiced
            .iter()
            .flatten()
            .map(|voicing| &voicing.keys[..])
            .collect();
        let moved = [0, 1].map(|index| voicing::motion(keys[index], keys[index + 1]));
        assert_eq!(moved, [1, 5], "{keys:?}");
        let voices = keys.windows(2).flat_map(|pair| pair[0].iter().zip(pair[1]));
        assert!(
            voices
                .map(|(from, to)| from.abs_diff(*to))
                .all(|step| step <= 2)
        );
    }
}

/// The tones a chord is voiced with, each form once, under the plain palette and its own scale.
fn forms_of(symbol: &str, kind: ScaleKind) -> Vec<String> {
    let (chord, scale) = scaled(symbol, kind);
    let forms = chord_forms(&chord, Some(scale), Palette::Plain, Fourths::No);
    let names = forms.iter().map(|form| {
        let tones: Vec<String> = form.tones.iter().map(ToString::to_string).collect();
        tones.join("-")
    });
    names.collect()
}

#[test]
fn each_kind_of_chord_has_its_forms() {
    // Common practice, no source, but for the four-note forms (reference file: third or seventh lowest).
    for (symbol, kind, some) in [
        (
            "C7",
            ScaleKind::Mixolydian,
            ["3-13-b7-9", "b7-9-3-13", "3-b7"],
        ),
        (
            "Cm7",
            ScaleKind::Dorian,
            ["b3-5-b7-9", "b7-9-b3-5", "b3-b7"],
        ),
        ("Cmaj7", ScaleKind::Major, ["3-5-7-9", "7-9-3-5", "3-7-9"]),
        ("C6", ScaleKind::Major, ["3-6-9", "6-9-3", "3-6"]),
        (
            "Cm7b5",
            ScaleKind::Locrian,
            ["b3-11-b5-b7", "b7-b3-11-b5", "b3-b5-b7"],
        ),
        (
            "Cdim7",
            ScaleKind::WholeHalf,
            ["b3-b5-bb7", "b5-bb7-b3", "bb7-b3-b5"],
        ),
        (
            "C7sus4",
            ScaleKind::Mixolydian,
            ["4-13-b7-9", "b7-9-4-13", "4-b7-9"],
        ),
        (
            "C7#5",
            ScaleKind::WholeTone,
            ["3-#5-b7-9", "b7-9-3-#5", "3-b7-9"],
        ),
    ] {
        let forms = forms_of(symbol, kind);
        for form in some {
            assert!(
                forms.iter().any(|found| found == form),
                "{symbol}: no {form} in {forms:?}"
            );
        }
    }
    assert!(
        forms_of("C5", ScaleKind::Major).is_empty(),
        "over a power chord the comp lays out"
    );
    // An eleventh leaves the third out, and the chord is played as a sus chord.
    assert!(forms_of("C11", ScaleKind::Mixolydian).contains(&"11-13-b7-9".to_owned()));
}
