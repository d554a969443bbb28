//! Principles of functional harmony, each on an invented progression analysed by hand.
//!
//! The principles are those of the usual handbooks of jazz harmony; which page of which is left to the reader:
//! common practice, no source. Each row has the principle, the home key, the bars, and what every chord is:
//! functions apart by commas, `@ key` where one stands in another key than home (it holds until the next `@`).

use endpin_theory::{Chart, analyse};

type Row = (&'static str, &'static str, &'static str, &'static str);

#[rustfmt::skip]
const ROWS: &[Row] = &[
    // Home and its cadences.
    ("the full cadence: subdominant, dominant, tonic", "A",
     "Bm7 | E7 | Amaj7", "ii7, V7, Imaj7"),
    ("the half cadence rests on V", "Eb",
     "Ebmaj7 | Fm7 | Abmaj7 | Bb7", "Imaj7, ii7, IVmaj7, V7"),
    ("the plagal cadence", "D",
     "D | G6 | D6", "I, IV6, I6"),
    ("the deceptive cadence: vi for I", "G",
     "Gmaj7 | Am7 | D7 | Em7", "Imaj7, ii7, V7, vi7"),
    ("iii stands for I", "Bb",
     "Cm7 | F7 | Dm7 | Gm7 | Cm7 | F7 | Bbmaj7", "ii7, V7, iii7, vi7, ii7, V7, Imaj7"),
    ("the minor cadence", "B minor",
     "C#m7b5 | F#7b9 | Bm6", "iiø7, V7b9, i6"),
    ("a suspended dominant and its resolution are one dominant", "F",
     "Gm7 | C7sus4 | C7 | Fmaj7", "ii7, V7sus4, V7, Imaj7"),
    ("a triad over the dominant's root is a suspended dominant", "F",
     "Fmaj7 | Bb/C | Fmaj7 | Gm7/C", "Imaj7, V9sus4, Imaj7, V9sus4"),
    // The relative is home's own harmony, until its dominant says otherwise for long enough.
    ("the relative minor's chords are home's", "Eb",
     "Eb6 | Cm7 | Abmaj7 | Bb7 | Cm7 | Fm7 | Bb7 | Eb6",
     "I6, vi7, IVmaj7, V7, vi7, ii7, V7, I6"),
    ("V of vi and vi, in passing", "C",
     "Cmaj7 | E7 | Am7 | D7 | Dm7 | G7 | C6",
     "Imaj7, III7 (V7/vi), vi7, II7 (V7/V), ii7, V7, I6"),
    ("ii-V of vi, in passing", "F",
     "Fmaj7 | Em7b5 A7b9 | Dm7 | Cm7 F7 | Bb7 | Gm7 C7 | F6 | %",
     "Imaj7, viiø7, III7b9 (V7/vi), vi7, v7 (ii7/IV), I7 (V7/IV), IV7, ii7, V7, I6"),
    ("a long stay in the relative minor with its own cadences is a key", "C",
     "Cmaj7 | Dm7 G7 | Cmaj7 | % | Bm7b5 | E7 | Am6 | % | Bm7b5 | E7 | Am6 | % | Bm7b5 | E7 | Am6 | % | Dm7 | G7 | C6 | %",
     "Imaj7, ii7, V7, Imaj7, iiø7 @ A minor, V7, i6, iiø7, V7, i6, iiø7, V7, i6, ii7 @ C, V7, I6"),
    // Dominants of other chords.
    ("V of ii keeps its thirteenth and takes the flat ninth of home", "Ab",
     "Abmaj7 F7 | Bbm7 Eb7 | Abmaj7 | %", "Imaj7, VI7 (V7/ii), ii7, V7, Imaj7"),
    ("V of IV", "A",
     "A6 | A7 | D6 | E7 | A6", "I6, I7 (V7/IV), IV6, V7, I6"),
    ("V of iii", "C",
     "Cmaj7 | B7 | Em7 | A7 | Dm7 | G7", "Imaj7, VII7 (V7/iii), iii7, VI7 (V7/ii), ii7, V7"),
    ("extended dominants: a chain by falling fifths", "Eb",
     "Eb6 | % | D7 | G7 | C7 | F7 | Bb7 | Eb6",
     "I6, VII7 (V7/iii), III7 (V7/vi), VI7 (V7/ii), II7 (V7/V), V7, I6"),
    ("V of V put off by its target's ii", "G",
     "Gmaj7 | A7 | Am7 | D7 | G6", "Imaj7, II7 (V7/V), ii7, V7, I6"),
    ("related ii: each dominant with its own ii", "C",
     "Cmaj7 | F#m7b5 B7 | Em7 A7 | Dm7 G7 | C6",
     "Imaj7, #ivø7 (iiø7/iii), VII7 (V7/iii), iii7, VI7 (V7/ii), ii7, V7, I6"),
    // Substitutes.
    ("the tritone substitute of V falls by a half step", "Bb",
     "Cm7 | B7 | Bbmaj7", "ii7, bII7 (subV7/I), Imaj7"),
    ("tritone substitutes all the way down", "F",
     "Am7 | Ab7 | Gm7 | Gb7 | F6", "iii7, bIII7 (subV7/ii), ii7, bII7 (subV7/I), I6"),
    ("ii-Vs that fall by half steps", "G",
     "Bm7 E7 | Bbm7 Eb7 | Am7 D7 | Gmaj7",
     "iii7, VI7 (V7/ii), biii7 (ii7 of subV7/V), bVI7 (subV7/V), ii7, V7, Imaj7"),
    ("the backdoor", "Db",
     "Dbmaj7 | % | Gbm7 | Cb7 | Dbmaj7", "Imaj7, iv7 (borrowed), bVII7 (backdoor), Imaj7"),
    ("the minor subdominant after the major one", "G",
     "Gmaj7 | C6 | Cm6 | G6", "Imaj7, IV6, iv6 (borrowed), I6"),
    ("iiø of the parallel minor in front of V", "D",
     "Dmaj7 | Em7b5 | A7b9 | D6", "Imaj7, iiø7 (borrowed), V7b9, I6"),
    ("bVI and bII of the parallel key around V", "C",
     "Cmaj7 | Abmaj7 | Dbmaj7 | G7 | C6",
     "Imaj7, bVImaj7 (borrowed), bIImaj7 (borrowed), V7, I6"),
    ("in minor, VI7 leads down to V", "E minor",
     "Em7 | C7 | B7 | Em6", "i7, VI7 (subV7/V), V7, i6"),
    // Diminished chords.
    ("diminished chords that rise by half steps", "F",
     "F6 F#dim7 | Gm7 G#dim7 | Am7 D7 | Gm7 C7",
     "I6, #io7 (viio7/ii), ii7, #iio7 (viio7/iii), iii7, VI7 (V7/ii), ii7, V7"),
    ("biii diminished falls from iii to ii", "D",
     "F#m7 | Fdim7 | Em7 | A7 | D6", "iii7, biiio7 (passing), ii7, V7, I6"),
    ("#IV diminished between IV and I over its fifth", "Eb",
     "Eb7 | Ab6 Adim7 | Eb6/Bb C7 | Fm7 Bb7 | Eb6 | %",
     "I7 (V7/IV), IV6, #ivo7 (viio7/V), I6, VI7 (V7/ii), ii7, V7, I6"),
    ("the common-tone diminished chord decorates I", "Ab",
     "Abmaj7 | Abdim7 | Abmaj7 | Bbm7 Eb7", "Imaj7, io7 (common tone), Imaj7, ii7, V7"),
    ("a minor chord passes between iii and ii", "Bb",
     "Dm7 | Dbm7 | Cm7 | F7 | Bb6", "iii7, biii7 (passing), ii7, V7, I6"),
    // Local keys.
    ("ii-V-I on IV is a key of its own for as long as it lasts", "C",
     "Cmaj7 | % | Gm7 C7 | Fmaj7 | Fm7 Bb7 | Cmaj7",
     "Imaj7, ii7 @ F, V7, Imaj7, iv7 (borrowed) @ C, bVII7 (backdoor), Imaj7"),
    ("a bridge a major third up and home again", "F",
     "F6 | % | Bm7 E7 | Amaj7 | F#m7 | Bm7 E7 | Amaj7 | Gm7 C7 | F6 | %",
     "I6, ii7 @ A, V7, Imaj7, vi7, ii7, V7, Imaj7, ii7 @ F, V7, I6"),
    ("the relative major of a minor home, told by its ii-V-I", "A minor",
     "Am6 | Dm7 G7 | Cmaj7 | Bm7b5 E7 | Am6 | %",
     "i6, ii7 @ C, V7, Imaj7, iiø7 @ A minor, V7, i6"),
    ("minor home turns major at the end", "C minor",
     "Cm6 | Fm7 | Dm7 G7 | Cmaj7", "i6, iv7, ii7 @ C, V7, Imaj7"),
    ("a minor chord held long is a mode of its own", "D minor",
     "Dm7 | % | % | % | Fm7 | % | % | % | Dm7 | % | % | %", "i7, i7 @ F minor, i7 @ D minor"),
    ("a modal section: a minor chord held, its relative major beside it", "E minor",
     "Em7 | % | % | % | Gm9 | % | % | % | Bbmaj7#11 | % | A7sus4 | %",
     "i7, i9 @ G minor, IIImaj7#11, IV7sus4 @ E minor"),
    ("I as V of IV after its own ii, though IV does not come", "Eb",
     "Eb6 | Bbm7 | Eb7 | Fm7 Bb7 | Eb6 | %", "I6, v7 (ii7/IV), I7 (V7/IV), ii7, V7, I6"),
    // Blues.
    ("a blues in twenty-four bars", "Bb",
     "Bb7 | % | % | % | % | % | % | % | Eb7 | % | % | % | Bb7 | % | % | % | F7 | % | Eb7 | % | Bb7 | % | F7 | %",
     "I7, IV7, I7, V7, IV7, I7, V7"),
    ("a blues that begins with major sevenths and falls through ii-Vs", "F",
     "Fmaj7 | Em7b5 A7b9 | Dm7 G7 | Cm7 F7 | Bb7 | Bbm7 Eb7 | Am7 | Abm7 Db7 | Gm7 | C7 | F6 D7 | Gm7 C7",
     "Imaj7, viiø7, III7b9 (V7/vi), vi7, II7 (V7/V), v7 (ii7/IV), I7 (V7/IV), IV7, \
      iv7 (borrowed), bVII7 (backdoor), iii7, biii7 (ii7 of subV7/V), bVI7 (subV7/V), ii7, V7, \
      I6, VI7 (V7/ii), ii7, V7"),
];

fn functions(home: &str, bars: &str) -> String {
    let chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
    let mut key = home.parse().unwrap();
    let said: Vec<String> = analyse(&chart.chorus().spans, key)
        .into_iter()
        .map(|understood| {
            let moved = understood.key != key;
            key = understood.key;
            match moved {
                true => format!("{} @ {key}", understood.function),
                false => understood.function,
            }
        })
        .collect();
    said.join(", ")
}

#[test]
fn progressions_are_read_as_by_hand() {
    assert!(ROWS.len() >= 30);
    let wrong: Vec<String> = ROWS
        .iter()
        .filter_map(|(principle, home, bars, by_hand)| {
            let found = functions(home, bars);
            (found != *by_hand)
                .then(|| format!("{principle}\n  found {found}\n  by hand {by_hand}"))
        })
        .collect();
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

/// What a teacher listens for in the sentences.
#[test]
fn reasons_name_what_happens() {
    let reasons = |home: &str, bars: &str| -> Vec<String> {
        let chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
        let understood = analyse(&chart.chorus().spans, home.parse().unwrap());
        understood.into_iter().map(|u| u.reason).collect()
    };
    for (home, bars, chord, words) in [
        (
            "A minor",
            "Am Am(maj7) | Am7 Am6",
            2,
            "a line inside that falls A G# G F#",
        ),
        (
            "C minor",
            "Cm Cm/Bb | Abmaj7 G7",
            1,
            "a bass that falls C Bb Ab G",
        ),
        (
            "C",
            "Cmaj7 | Gm7 C7 | Fmaj7",
            3,
            "a key of its own on IV of C",
        ),
        (
            "D minor",
            "Dm7 | % | % | % | Ebm7 | % | % | %",
            1,
            "a mode of its own",
        ),
        ("G", "Gmaj7 | C6 | Cm6 | G6", 2, "the minor subdominant"),
        ("C", "C6 | A7 | D7 | G7", 1, "V of ii, itself a dominant"),
        ("C", "Ab7 | G7 | C6", 0, "its #11, D, is the root"),
        (
            "F",
            "F7 | Bb7 | F7 | % | Bb7 | % | F7 | % | C7 | Bb7 | F7 | C7",
            0,
            "of a blues in F",
        ),
        (
            "F",
            "Fmaj7 | F7 | Bbmaj7 | Bb7 | C7 | F6",
            3,
            "IV7 of F major",
        ),
    ] {
        let found = &reasons(home, bars)[chord];
        assert!(found.contains(words), "{bars}: {found}");
        assert!(!found.contains("bb") && !found.contains("##"), "{found}");
    }
}
