//! Intro, tag and ending: the line's rules hold through the joins, and choruses stay what they are.

use endpin_theory::{
    Chart, Key, analyse,
    chart::{Ending, Place},
};
use endpin_walker::{ChorusLine, Heard, Judge, Level, LineNote, Options, Plan, Walker};

const FRAMED: &str = r#"
title = "Lantern Slip"
key = "F"
intro = "I"
tag = "T"
[section.I]
bars = "| Gm7 C7 | Am7 D7 | Gm7 | C7 |"
[section.A]
bars = """
| F7   | Bb7   | F7    | Cm7 F7  |
| Bb7  | Bdim7 | F7    | D7b9    |
| Gm7  | C7    | F7 D7 | Gm7 C7  |
"""
[section.T]
bars = "| Bbmaj7 | Bdim7 | F7 D7 | Gm7 C7 |"
"#;

fn walker(chart: &Chart, options: &Options, choruses: u32, ending: Option<Ending>) -> Walker {
    let plan = Plan::of(chart.chorus(), options)
        .with_intro(chart.intro_chorus().unwrap())
        .ending_with(
            choruses,
            chart.last_chorus(choruses, ending),
            chart.home_bar(),
        );
    Walker::new(plan, options.clone()).unwrap()
}

/// Semitones between two chromas, the shorter way round.
fn apart(a: &LineNote, b: &LineNote) -> i16 {
    let up = (b.pitch.midi() - a.pitch.midi()).rem_euclid(12);
    up.min(12 - up)
}

/// Rules of approach: a step of one or two semitones, or the dominant.
fn approaches(note: &LineNote, goal: &LineNote) -> bool {
    matches!(apart(note, goal), 1 | 2)
        || (goal.pitch.midi() - note.pitch.midi()).rem_euclid(12) == 5
}

#[test]
fn each_join_is_approached_in_all_keys_at_all_levels() {
    let chart = Chart::parse(FRAMED).unwrap();
    let mut joins = 0;
    for tonic in [
        "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
    ] {
        let key: Key = tonic.parse().unwrap();
        let chart = chart.in_key(key);
        for level in 3..=6 {
            let options = Options {
                level: Level::try_from(level).unwrap(),
                ..Options::default()
            };
            let walker = walker(&chart, &options, 2, Some(Ending::Thrice));
            for seed in 1..=5 {
                let lines: Vec<ChorusLine> =
                    (0..=2).map(|number| walker.line(seed, number)).collect();
                let ending = walker.ending(seed, &lines[2]);
                let all: Vec<&LineNote> = lines
                    .iter()
                    .flat_map(|line| &line.notes)
                    .chain([&ending])
                    .collect();
                let opens = |note: &LineNote| {
                    note.start.0 == 0 || note.bar == 13 || note.bar == 17 || note.bar == 21
                };
                for pair in all.windows(2) {
                    if opens(pair[1]) && pair[1].beat() == 1.0 && pair[1].chorus > 0 {
                        joins += 1;
                        assert!(
                            approaches(pair[0], pair[1]),
                            "{key} {level} {seed}: {} {}",
                            pair[0],
                            pair[1]
                        );
                    }
                }
                assert_eq!((ending.bar, ending.pitch.name()), (21, key.tonic));
            }
        }
    }
    // Into both choruses, the tag, the way home and the last chord.
    assert_eq!(joins, 12 * 4 * 5 * 5);
}

#[test]
fn the_last_chorus_keeps_the_rules_with_all_that_follows() {
    let chart = Chart::parse(FRAMED).unwrap();
    let last = chart.last_chorus(2, Some(Ending::Thrice));
    let places: Vec<Place> = last.bars.iter().map(|bar| bar.place).collect();
    assert_eq!(places[11..13], [Place::Form, Place::Tag]);
    let options = Options::default();
    let walker = walker(&chart, &options, 2, Some(Ending::Thrice));
    let judge = Judge::new(last.clone(), &analyse(&last.spans, last.key), options.range);
    for seed in 1..=20 {
        let line = walker.line(seed, 2);
        let ending = walker.ending(seed, &line);
        let heard: Vec<Heard> = line
            .notes
            .iter()
            .chain([&ending])
            .map(|note| Heard {
                chorus: 1,
                ..note.into()
            })
            .collect();
        let broken = judge.broken(&heard, 1);
        assert!(broken.iter().all(Vec::is_empty), "{seed}: {broken:?}");
    }
}

#[test]
fn choruses_before_the_last_do_not_know_which_is_last() {
    let chart = Chart::parse(FRAMED).unwrap();
    let options = Options::default();
    let (three, five) = (
        walker(&chart, &options, 3, None),
        walker(&chart, &options, 5, None),
    );
    for seed in 1..=10 {
        let one_by_one = [0, 1, 2].map(|number| three.line(seed, number));
        assert_eq!(one_by_one.to_vec(), five.lines(seed, 0, 3));
        assert_eq!(one_by_one[1..], three.distinct(seed, 1, 2, 1).unwrap());
        // The last begins where a chorus in its place would, and goes on into its tag.
        let (last, plain) = (three.line(seed, 3), five.line(seed, 3));
        assert_eq!(last.notes[0].pitch, plain.notes[0].pitch);
        assert_eq!(
            (
                last.notes.last().unwrap().bar,
                plain.notes.last().unwrap().bar
            ),
            (16, 12)
        );
    }
    // Held and pinned bars are those of the form.
    let pinned = Options {
        pins: vec!["3.1=F2".parse().unwrap()],
        ..options
    };
    let walker = walker(&chart, &pinned, 2, None);
    for number in 1..=2 {
        let line = walker.line(7, number);
        let pinned = line
            .notes
            .iter()
            .find(|note| note.bar == 3 && note.beat() == 1.0);
        assert_eq!(pinned.unwrap().pitch.to_string(), "F2");
    }
}

#[test]
fn stop_time_leaves_the_first_beats() {
    let mut chart = Chart::parse(FRAMED).unwrap().chorus();
    chart.bars.iter_mut().for_each(|bar| bar.stop_time = true);
    for feel in endpin_theory::Feel::ALL {
        let options = Options {
            feel: Some(feel),
            ..Options::default()
        };
        let walker = Walker::new(Plan::of(chart.clone(), &options), options).unwrap();
        for line in walker.lines(3, 1, 20) {
            let places: Vec<(u32, f64, f64)> = line
                .notes
                .iter()
                .map(|note| (note.bar, note.beat(), note.beats()))
                .collect();
            let wanted: Vec<(u32, f64, f64)> = (1..=12).map(|bar| (bar, 1.0, 1.0)).collect();
            assert_eq!(places, wanted, "{feel}");
        }
    }
}
