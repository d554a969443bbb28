//! Feels, asserted on 200 choruses of each, in all keys.
//!
//! What each feel asks is common practice, without a source.

use endpin_theory::{Chart, Interval, NoteName, chart::Feel};
use endpin_walker::{Level, LineNote, Options, Plan, Walker};
use std::collections::BTreeMap;

const BLUES: &str = include_str!("../../../scenarios/breakwater-blues.toml");

/// Over 200 choruses of a chart in turns through the keys: each bar, with its notes.
fn bars(chart: &Chart, level: u8, feel: Option<Feel>) -> Vec<Vec<LineNote>> {
    let mut bars = Vec::new();
    for half_steps in 0..12 {
        let key = endpin_theory::Key {
            tonic: chart.key.tonic
                + Interval::new(
                    [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6][half_steps],
                    half_steps as i16,
                ),
            ..chart.key
        };
        let options = Options {
            level: Level::try_from(level).unwrap(),
            feel,
            ..Options::default()
        };
        let plan = Plan::of(chart.in_key(key.simplest()).chorus(), &options);
        let walker = Walker::new(plan, options).unwrap();
        for line in walker.lines(half_steps as u64, 1, 17) {
            let mut by_bar: BTreeMap<u32, Vec<LineNote>> = BTreeMap::new();
            for note in line.notes {
                by_bar.entry(note.bar).or_default().push(note);
            }
            bars.extend(by_bar.into_values());
        }
    }
    assert!(bars.len() >= 2000);
    bars
}

fn starts(bar: &[LineNote]) -> Vec<f64> {
    bar.iter().map(LineNote::beat).collect()
}

fn share(bars: &[Vec<LineNote>], is: impl Fn(&[LineNote]) -> bool) -> f64 {
    bars.iter().filter(|bar| is(bar)).count() as f64 / bars.len() as f64
}

#[test]
fn two_is_two_halves_with_a_pickup_now_and_then() {
    let chart = Chart::parse(BLUES).unwrap();
    for (level, feel) in [
        (1, None),
        (2, None),
        (3, Some(Feel::Two)),
        (4, Some(Feel::Two)),
        (5, Some(Feel::Two)),
    ] {
        let bars = bars(&chart, level, feel);
        let halves = share(&bars, |bar| starts(bar) == [1.0, 3.0]);
        let pickups = share(&bars, |bar| starts(bar) == [1.0, 3.0, 4.0]);
        println!("level {level}: halves {halves:.3}, pickups {pickups:.3}");
        assert_eq!(
            share(&bars, |bar| [vec![1.0, 3.0], vec![1.0, 3.0, 4.0]]
                .contains(&starts(bar))),
            1.0
        );
        let usual = 0.01..=0.25;
        assert!(usual.contains(&pickups), "level {level}: {pickups}");
    }
}

#[test]
fn the_first_level_has_roots_alone_apart_from_pickups() {
    let chart = Chart::parse(BLUES).unwrap();
    for bar in bars(&chart, 1, None) {
        for note in bar.iter().filter(|note| note.beat() < 4.0) {
            assert_eq!(note.role.name(), "root", "{note}");
        }
    }
    // With two chords a bar each half is a root, at every level.
    let two = Chart::from_bars("Dm7 G7 | Em7 A7 | Dm7 G7 | C6 A7", "4/4".parse().unwrap()).unwrap();
    for level in 1..=5 {
        for bar in bars_of_all(&two, level) {
            for note in bar.iter().filter(|note| note.beat() < 4.0) {
                assert_eq!(note.role.name(), "root", "{note}");
            }
        }
    }
}

fn bars_of_all(chart: &Chart, level: u8) -> Vec<Vec<LineNote>> {
    let options = Options {
        level: Level::try_from(level).unwrap(),
        feel: Some(Feel::Two),
        ..Options::default()
    };
    let walker = Walker::new(Plan::of(chart.chorus(), &options), options).unwrap();
    let lines = walker.lines(1, 1, 50).into_iter();
    lines.map(|line| line.notes).collect()
}

#[test]
fn a_pedal_keeps_one_pitch_class_through_every_change() {
    let text = r#"
title = "Slack Water"
key = "Ab"
form = "A B"
[section.A]
bars = "| Abmaj7 | Fm7 | Bbm7 | Eb7 |"
[section.B]
pedal = "Eb"
bars = "| Abmaj7 | Gm7 C7 | Bbm7 | Dbmaj7 / E7 / | Ebm7 | F7 | Bb7 | A7 |"
"#;
    let chart = Chart::parse(text).unwrap();
    let eb: NoteName = "Eb".parse().unwrap();
    for level in 1..=6 {
        let bars = bars(&chart, level, None);
        let held: Vec<Vec<LineNote>> = bars.into_iter().filter(|bar| bar[0].bar > 4).collect();
        let mut octaves = 0;
        let mut patterns: BTreeMap<String, usize> = BTreeMap::new();
        for bar in &held {
            let first = bar[0].pitch.midi();
            // The key moves, the note with it: one pitch class a chorus, and octaves of it.
            assert!(bar.iter().all(|note| (note.pitch.midi() - first) % 12 == 0));
            octaves += bar.iter().filter(|note| note.pitch.midi() != first).count();
            *patterns.entry(format!("{:?}", starts(bar))).or_default() += 1;
        }
        println!(
            "level {level}: {octaves} octaves in {} bars, {patterns:?}",
            held.len()
        );
        assert!(patterns.len() >= 3 && octaves > 0);
        assert!(patterns.values().all(|count| *count < held.len() * 7 / 10));
    }
    let walker = Walker::new(
        Plan::of(chart.chorus(), &Options::default()),
        Options::default(),
    )
    .unwrap();
    let held = walker
        .lines(1, 1, 200)
        .into_iter()
        .flat_map(|line| line.notes);
    for note in held.filter(|note| note.bar > 4) {
        assert_eq!(note.pitch.name().chroma(), eb.chroma(), "{note}");
    }
}

/// How often each rhythm comes, as the places of a bar's notes.
fn rhythms(bars: &[Vec<LineNote>]) -> BTreeMap<String, f64> {
    let mut counts = BTreeMap::new();
    for bar in bars {
        *counts.entry(format!("{:?}", starts(bar))).or_default() += 1.0 / bars.len() as f64;
    }
    counts
}

const LEVELS: std::ops::RangeInclusive<u8> = 3..=6;

#[test]
fn bossa_is_root_and_fifth_in_a_few_rhythms_of_dotted_quarters_and_eighths() {
    let chart = Chart::parse(BLUES).unwrap();
    for level in LEVELS {
        let bars = bars(&chart, level, Some(Feel::Bossa));
        let rhythms = rhythms(&bars);
        println!("bossa, level {level}: {rhythms:.2?}");
        let full = rhythms["[1.0, 2.5, 3.0, 4.5]"];
        let others = ["[1.0, 3.0]", "[1.0, 2.5, 3.0]", "[1.0, 3.0, 4.5]"];
        assert!((0.5..0.8).contains(&full));
        let rest: f64 = others
            .iter()
            .filter_map(|rhythm| rhythms.get(*rhythm))
            .sum();
        assert!((full + rest - 1.0).abs() < 1e-9 && rhythms.len() == 4);
        let notes: Vec<&LineNote> = bars.iter().flatten().collect();
        assert!(
            notes
                .iter()
                .all(|note| ["root", "fifth"].contains(&note.role.name()))
        );
        let fifths = notes
            .iter()
            .filter(|note| note.role.name() == "fifth")
            .count();
        let share = fifths as f64 / notes.len() as f64;
        println!("bossa, level {level}: {share:.2} fifths");
        assert!((0.2..0.6).contains(&share));
        assert!(notes.iter().all(|note| !note.ghost));
    }
}

#[test]
fn a_shuffle_walks_in_four_and_skips() {
    let chart = Chart::parse(BLUES).unwrap();
    for level in LEVELS {
        let bars = bars(&chart, level, Some(Feel::Shuffle));
        let rhythms = rhythms(&bars);
        println!("shuffle, level {level}: {rhythms:.2?}");
        let on_beats = |bar: &[LineNote]| {
            starts(bar)
                .into_iter()
                .filter(|at| at.fract() == 0.0)
                .count()
                == 4
        };
        assert_eq!(share(&bars, on_beats), 1.0);
        let skips = share(&bars, |bar| bar.len() > 4);
        assert!((0.2..0.9).contains(&skips), "{skips}");
        assert!(bars.iter().flatten().all(|note| !note.ghost));
    }
}

#[test]
fn half_time_walks_in_halves_and_double_time_in_eighths() {
    let chart = Chart::parse(BLUES).unwrap();
    for level in LEVELS {
        let halves = bars(&chart, level, Some(Feel::HalfTime));
        assert_eq!(share(&halves, |bar| starts(bar) == [1.0, 3.0]), 1.0);
        let eighths = bars(&chart, level, Some(Feel::DoubleTime));
        let places = [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5];
        assert_eq!(share(&eighths, |bar| starts(bar) == places), 1.0);
        // At twice the pace the line moves by steps and thirds for the most part.
        let keys = eighths
            .iter()
            .flat_map(|bar| bar.iter().map(|note| note.pitch.midi()));
        let keys: Vec<i16> = keys.collect();
        let leaps = keys
            .windows(2)
            .filter(|pair| (pair[1] - pair[0]).abs() > 4)
            .count();
        let leaps = leaps as f64 / keys.len() as f64;
        println!("double-time, level {level}: {leaps:.2} leaps");
        assert!(leaps < 0.2);
        // A chord that lasts a bar is left by a note that leads on, in its own values.
        for bars in [halves, eighths] {
            let before_changes = bars.iter().filter(|bar| bar[0].bar == 1 || bar[0].bar == 5);
            for last in before_changes.filter_map(|bar| bar.last()) {
                let leads = last.role.is_approach() || last.approach.is_some();
                assert!(leads, "{last}");
            }
        }
    }
}

#[test]
fn twelve_eighths_are_counted_in_dotted_quarters() {
    let bars_text = "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | D7b9 | Gm7 | C7 | F7 D7 | Gm7 C7";
    for (meter, beats) in [("12/8", 4), ("6/8", 2)] {
        let mut chart = Chart::from_bars(bars_text, meter.parse().unwrap()).unwrap();
        chart.key = "F".parse().unwrap();
        for level in LEVELS {
            let bars = bars(&chart, level, None);
            println!("{meter}, level {level}: {:.2?}", rhythms(&bars));
            let on_beats = |bar: &[LineNote]| {
                starts(bar).iter().filter(|at| at.fract() == 0.0).count() == beats
            };
            assert_eq!(share(&bars, on_beats), 1.0);
            let skips = share(&bars, |bar| bar.len() > beats);
            assert!((0.005..0.9).contains(&skips), "{skips}");
            for note in bars.iter().flatten() {
                assert!(
                    note.in_bar.0 % 480 == 0 && note.beat_length.0 == 1440,
                    "{note}"
                );
            }
        }
    }
}
