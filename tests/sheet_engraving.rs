//! Pictures of the line: nothing touches what it should not, and the notes can be read back from what is
//! drawn, over charts drawn at random; one line by hand is held to the letter.

use endpin::outputs::sheet::{
    accidental::signed,
    engrave::{
        Levels, ShownBesides,
        glyph::Glyph,
        ink::{DrawnShape, Picture, Rectangle, Shape, ShapeUse},
        signature,
    },
    measure::Music,
    print::{self, Paper, StaffSize},
    svg::{self, Lettering},
};
use endpin_theory::{Chart, Degree, Letter, Meter, NoteName, Pitch, Strength, Ticks};
use endpin_walker::{ChorusLine, Hand, LineNote, Options, Plan, Role, Walker};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::{collections::BTreeMap, sync::LazyLock};

const CHARTS: u64 = 500;
const ROOTS: [&str; 17] = [
    "C", "C#", "Db", "D", "D#", "Eb", "E", "F", "F#", "Gb", "G", "G#", "Ab", "A", "A#", "Bb", "B",
];
const QUALITIES: [&str; 20] = [
    "",
    "m",
    "7",
    "maj7",
    "m7",
    "m7b5",
    "dim7",
    "6",
    "m6",
    "9",
    "13",
    "7b9",
    "7(b9,#11)",
    "7sus4",
    "alt",
    "mMaj7",
    "6/9",
    "13(#11)",
    "+",
    "Δ7",
];
const KEYS: [&str; 15] = [
    "C", "G", "D", "A", "E", "B", "F#", "C#", "F", "Bb", "Eb", "Ab", "Db", "Gb", "Cb",
];

/// A chart of four bars, with up to one chord a beat, in any key.
fn chart(rng: &mut ChaCha8Rng) -> Chart {
    let meter = ["4/4", "4/4", "3/4", "5/4"][rng.random_range(0..4)];
    let beats: usize = meter[..1].parse().unwrap();
    let mut bars = String::from("|");
    for _ in 0..4 {
        let chords = if rng.random_range(0..8) == 0 {
            beats
        } else {
            rng.random_range(1..3)
        };
        for index in 0..chords {
            let root = ROOTS[rng.random_range(0..ROOTS.len())];
            let quality = QUALITIES[rng.random_range(0..QUALITIES.len())];
            bars += &format!(" {root}{quality}");
            // Explicit beats, so that any number of chords fits.
            let held = beats / chords + usize::from(index < beats % chords);
            bars += &" /".repeat(held - 1);
        }
        bars += " |";
    }
    let key = KEYS[rng.random_range(0..KEYS.len())];
    let text = format!(
        "title = \"Random\"\nkey = \"{key}\"\nmeter = \"{meter}\"\ntempo = 120\nfeel = \"four\"\n\n[section.A]\nbars = \"{bars}\"\n"
    );
    Chart::parse(&text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

/// The music of all charts that have a line, each with its seed; walked once for all tests.
static ALL: LazyLock<Vec<(u64, Music)>> = LazyLock::new(|| {
    (0..CHARTS)
        .filter_map(|seed| Some((seed, music(seed)?)))
        .collect()
});

fn music(seed: u64) -> Option<Music> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let chart = chart(&mut rng);
    let level = ["4", "5", "6", "6"][rng.random_range(0..4)]
        .parse()
        .unwrap();
    let options = Options {
        level,
        ..Options::default()
    };
    let chorus = chart.chorus();
    let walker = Walker::new(Plan::of(chorus.clone(), &options), options).ok()?;
    let line = walker.line(seed, 1);
    let ending = walker.ending(seed, &line);
    Some(Music::new(
        &[(&chorus, &line)],
        Some(&ending),
        true,
        &Hand::default(),
    ))
}

/// Every bar of some music, drawn as narrow as it may be.
fn drawn(music: &Music) -> Vec<Picture> {
    let show = ShownBesides {
        marks: true,
        ..ShownBesides::default()
    };
    let bars = print::engraved(music, 0..music.measures.len(), show);
    let levels = Levels::of(&bars, show);
    bars.iter()
        .map(|bar| bar.draw(bar.natural(), &levels))
        .collect()
}

/// The part of a slanted beam that lies over a rectangle's width; of other shapes all.
fn bounds_over(shape: &Shape, other: Rectangle) -> Option<Rectangle> {
    let bounds = shape.bounds();
    let (left, right) = (bounds.left.max(other.left), bounds.right.min(other.right));
    if left >= right {
        return None;
    }
    let Shape::Area(corners) = shape else {
        return Some(bounds);
    };
    let [a, b, _, d] = corners[..] else {
        return Some(bounds);
    };
    let at = |x: f64| a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0);
    let thick = d.1 - a.1;
    let edges = [at(left), at(right), at(left) + thick, at(right) + thick];
    Some(Rectangle {
        left,
        right,
        top: edges.into_iter().fold(f64::INFINITY, f64::min),
        bottom: edges.into_iter().fold(f64::NEG_INFINITY, f64::max),
    })
}

fn touch(a: &Shape, b: &Shape) -> bool {
    let over = bounds_over(a, b.bounds()).zip(bounds_over(b, a.bounds()));
    over.is_some_and(|(a, b)| a.overlaps(b))
}

/// Whether two marks must keep apart.
fn keep_apart(a: &DrawnShape, b: &DrawnShape) -> bool {
    use ShapeUse::{Accidental, Barline, Chord, Head, Ledger, Mark, Signature, Stem, Tie, Triplet};
    let is_text = |mark: &DrawnShape| matches!(mark.shape, Shape::Text { .. });
    let same_note = a.note == b.note && a.note.is_some();
    match (a.kind.min(b.kind), a.kind.max(b.kind)) {
        (Accidental, Accidental) | (Head, Head) => !same_note,
        (Head, Accidental) | (Accidental, Stem) => true,
        // A beam has no note of its own and touches the stems that it joins.
        (Head, Stem) => !same_note && a.note.is_some() && b.note.is_some(),
        (Ledger, Ledger) | (Accidental, Ledger) => !same_note,
        (Signature | Barline, Head | Accidental | Chord | Ledger) => true,
        (Head | Accidental | Stem | Ledger | Tie | Triplet, Chord | Mark) => true,
        (Head | Accidental | Stem, Triplet) => true,
        (Chord, Mark) => true,
        // Ropes cross one another and end at posts; figures stand clear of all of them.
        (Mark, Mark) => is_text(a) || is_text(b),
        _ => false,
    }
}

#[test]
fn nothing_touches_what_it_should_not() {
    let mut pictures = 0;
    for (seed, music) in ALL.iter() {
        for (bar, picture) in drawn(music).iter().enumerate() {
            pictures += 1;
            for (index, a) in picture.marks.iter().enumerate() {
                let bounds = a.shape.bounds();
                assert!(
                    bounds.left > -0.01 && bounds.right < picture.width + 0.01,
                    "chart {seed}, bar {}: {a:?} leaves the bar",
                    bar + 1
                );
                for b in &picture.marks[index + 1..] {
                    assert!(
                        !(keep_apart(a, b) && touch(&a.shape, &b.shape)),
                        "chart {seed}, bar {}: {a:?} touches {b:?}",
                        bar + 1
                    );
                }
            }
            chord_symbols_keep_apart(picture, *seed);
        }
    }
    assert!(
        pictures as u64 > CHARTS * 4,
        "only {pictures} bars were drawn"
    );
}

/// Parts of one symbol stand close; between symbols there is clear space.
fn chord_symbols_keep_apart(picture: &Picture, seed: u64) {
    let (mut right, mut bottom) = (f64::NEG_INFINITY, 0.0);
    for mark in picture
        .marks
        .iter()
        .filter(|mark| mark.kind == ShapeUse::Chord)
    {
        let bounds = mark.shape.bounds();
        // Alterations stand one over the other.
        assert!(
            bounds.left > right - 0.15 || bounds.bottom < bottom,
            "chart {seed}: {mark:?} runs into the symbol before it"
        );
        (right, bottom) = (bounds.right, bounds.top);
    }
}

/// Reads notes as a reader does: clef and signature at the head, signs that hold to the end of the bar.
fn read_back(music: &Music) -> Vec<Pitch> {
    let mut notes = Vec::new();
    for (measure, picture) in music.measures.iter().zip(drawn(music)) {
        let head = signature::head(measure.key.signature());
        let count = |glyph: Glyph| {
            head.marks
                .iter()
                .filter(|mark| matches!(mark.shape, Shape::Sign { glyph: g, .. } if g == glyph))
                .count()
        };
        let sharps = count(Glyph::Sharp) as i8 - count(Glyph::Flat) as i8;
        let mut in_force: BTreeMap<i16, i8> = BTreeMap::new();
        let mut signs: Vec<(f64, f64, ShapeUse, Glyph)> = picture
            .marks
            .iter()
            .filter_map(|mark| match mark.shape {
                Shape::Sign { glyph, x, y, .. }
                    if matches!(mark.kind, ShapeUse::Head | ShapeUse::Accidental) =>
                {
                    Some((x, y, mark.kind, glyph))
                }
                _ => None,
            })
            .collect();
        signs.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (_, y, kind, glyph) in signs {
            // The middle line is D3 as written; the bass sounds an octave lower.
            let step = 22 - (y * 2.0).round() as i16;
            match (kind, glyph) {
                (ShapeUse::Accidental, Glyph::ParenLeft | Glyph::ParenRight) => {}
                (ShapeUse::Accidental, _) => {
                    let alteration = match glyph {
                        Glyph::DoubleFlat => -2,
                        Glyph::Flat => -1,
                        Glyph::Natural => 0,
                        Glyph::Sharp => 1,
                        Glyph::DoubleSharp => 2,
                        other => panic!("{other:?} is no accidental"),
                    };
                    in_force.insert(step, alteration);
                }
                (_, Glyph::BlackHead | Glyph::HalfHead | Glyph::WholeHead | Glyph::GhostHead) => {
                    let letter = Letter::ALL[step.rem_euclid(7) as usize];
                    let alteration = in_force
                        .get(&step)
                        .copied()
                        .unwrap_or(signed(sharps, letter));
                    let octave = step.div_euclid(7) as i8 - 1;
                    notes.push(Pitch::new(NoteName::new(letter, alteration), octave));
                }
                _ => {}
            }
        }
    }
    notes
}

#[test]
fn notes_are_read_back_from_the_picture() {
    let mut read = 0;
    for (_, music) in ALL.iter() {
        let heads = music.measures.iter().flat_map(|measure| &measure.events);
        let written: Vec<Pitch> = heads
            .filter_map(|event| Some(event.note.as_ref()?.pitch))
            .collect();
        // No line of a random chart is tied over a bar line, so that every head is a note or a tied part of it.
        assert_eq!(read_back(music), written);
        read += written.len();
    }
    assert!(read as u64 > CHARTS * 12);
}

/// A line by hand: bar, place and length in ticks, pitch, role, ghost.
fn by_hand() -> Music {
    let chart = Chart::parse(
        "title = \"By hand\"\nkey = \"Bb\"\nmeter = \"4/4\"\ntempo = 120\nfeel = \"four\"\n\n[section.A]\nbars = \"| Bbmaj7 / G7(b9,#11) / | Cm7b5 | F13 | F#°7 / Db/Eb / |\"\n",
    )
    .unwrap();
    let chorus = chart.chorus();
    let line: [(u32, i64, i64, &str, Role, bool); 15] = [
        (1, 0, 960, "Bb1", Role::Root, false),
        (1, 960, 640, "D2", Role::Third, false),
        (1, 1600, 320, "C#2", Role::ChromaticBelow, true),
        (1, 1920, 960, "G1", Role::Root, false),
        (1, 2880, 480, "B1", Role::Third, false),
        (1, 3360, 480, "Db2", Role::ChromaticAbove, false),
        (2, 0, 1440, "C2", Role::Root, false),
        (2, 1440, 1440, "Gb2", Role::Fifth, false),
        (2, 2880, 320, "F3", Role::Scale, false),
        (2, 3200, 320, "Eb3", Role::Scale, false),
        (2, 3520, 320, "C3", Role::Root, false),
        (3, 0, 5760, "F1", Role::Root, false),
        (4, 1920, 960, "Eb2", Role::Bass, false),
        (4, 2880, 480, "E2", Role::ChromaticAbove, false),
        (4, 3360, 480, "E1", Role::ChromaticAbove, true),
    ];
    let note =
        |&(bar, in_bar, length, pitch, role, ghost): &(u32, i64, i64, &str, Role, bool)| LineNote {
            liberty: None,
            chorus: 1,
            bar,
            start: Ticks(i64::from(bar - 1) * 3840 + in_bar),
            in_bar: Ticks(in_bar),
            beat_length: Ticks(960),
            length: Ticks(length),
            pitch: pitch.parse().unwrap(),
            span: None,
            chord: String::new(),
            degree: Degree::new(1, 0),
            role,
            approach: None,
            strength: Strength::Weak,
            ghost,
            why: String::new(),
        };
    let line = ChorusLine {
        chorus: 1,
        notes: line.iter().map(note).collect(),
        phrases: Vec::new(),
    };
    Music::new(&[(&chorus, &line)], None, true, &Hand::default())
}

#[test]
fn a_line_by_hand_looks_as_it_did() {
    let music = by_hand();
    let mut svg = String::new();
    for picture in drawn(&music) {
        svg += &svg::body(&picture, Lettering::Text).replace("<g class=\"n", "\n<g class=\"n");
        svg += "\n\n";
    }
    let file = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../tests/golden/sheet-bars.txt"
    );
    // ENDPIN_GOLDEN=write takes a change that was looked at.
    if std::env::var_os("ENDPIN_GOLDEN").is_some_and(|value| value == "write") {
        std::fs::write(file, &svg).unwrap();
    }
    let golden = std::fs::read_to_string(file).unwrap().replace("\r\n", "\n");
    assert_eq!(
        svg, golden,
        "look at the change, then run with ENDPIN_GOLDEN=write"
    );
}

#[test]
fn ties_cross_bar_lines_and_signs_return() {
    let music = by_hand();
    let heads = |bar: usize| {
        music.measures[bar]
            .events
            .iter()
            .filter_map(|event| event.note.as_ref())
    };
    let held: Vec<(bool, bool)> = heads(2)
        .chain(heads(3))
        .take(2)
        .map(|head| (head.tied_back, head.tied_on))
        .collect();
    assert_eq!(held, [(false, true), (true, false)]);
    assert_eq!(read_back(&music).len(), 17);
    let meter: Meter = "4/4".parse().unwrap();
    for measure in &music.measures {
        let written: i64 = measure
            .events
            .iter()
            .map(|event| event.value.ticks().0)
            .sum();
        assert_eq!(Ticks(written), meter.bar_ticks());
    }
}

#[test]
fn pages_hold_all_notes() {
    let show = ShownBesides {
        marks: true,
        tablature: true,
        fingers: true,
    };
    for size in StaffSize::ALL {
        for (_, music) in &ALL[..40] {
            let pages = print::pages(music, "about", (Paper::A4, size), show);
            let marks = pages.iter().flat_map(|page| &page.marks);
            let mut seen: Vec<usize> = marks
                .filter(|mark| mark.kind == ShapeUse::Head)
                .filter_map(|mark| mark.note)
                .collect();
            seen.sort_unstable();
            seen.dedup();
            assert_eq!(seen, (0..music.notes.len()).collect::<Vec<_>>());
        }
    }
}
