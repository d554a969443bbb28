//! Pins, holds, rests, variations and sets of choruses.

use endpin_theory::{Chart, Chorus};
use endpin_walker::{
    ChorusLine, Options, Plan, Walker,
    pins::{Bars, Hold},
};

const BLUES: &str = include_str!("../../../scenarios/breakwater-blues.toml");

fn blues() -> Chorus {
    Chart::parse(BLUES).unwrap().chorus()
}

fn walker(chorus: Chorus, options: Options) -> Walker {
    Walker::new(Plan::of(chorus, &options), options).unwrap()
}

fn refusal(chorus: Chorus, options: Options) -> String {
    let walker = Walker::new(Plan::of(chorus, &options), options);
    walker.map(|_| ()).unwrap_err().to_string()
}

/// The sounding of one bar: positions and keys.
fn bar(line: &ChorusLine, bar: u32) -> Vec<(i64, i16)> {
    let notes = line.notes.iter().filter(|note| note.bar == bar);
    notes
        .map(|note| (note.in_bar.0, note.pitch.midi()))
        .collect()
}

fn sound(line: &ChorusLine) -> Vec<(i64, i16)> {
    let notes = line.notes.iter();
    notes
        .map(|note| (note.start.0, note.pitch.midi()))
        .collect()
}

#[test]
fn a_chorus_is_the_same_alone_and_among_others() {
    let walker = walker(blues(), Options::default());
    let set = walker.lines(7, 1, 70);
    assert_eq!(walker.lines(7, 4, 3), set[3..6]);
    assert_eq!(walker.line(7, 66), set[65]);
    assert_ne!(sound(&set[0]), sound(&set[1]));
    assert_ne!(walker.line(8, 1), set[0]);
}

#[test]
fn pins_are_played_and_spelled_as_written() {
    let options = Options {
        pins: vec!["3.3=A2".parse().unwrap(), "2:12.4=E2".parse().unwrap()],
        rests: vec!["6.2".parse().unwrap()],
        avoid: vec!["Gb".parse().unwrap(), "C3".parse().unwrap()],
        ..Options::default()
    };
    let walker = walker(blues(), options);
    for seed in 0..40 {
        let lines = walker.lines(seed, 1, 3);
        for line in &lines {
            assert!(bar(line, 3).contains(&(1920, 45)));
            assert!(bar(line, 6).iter().all(|&(at, _)| at != 960));
            let rested = line.notes.iter().find(|note| note.bar == 6).unwrap();
            assert_eq!(rested.length.0, 960, "the rest cuts the note before");
            assert!(line.notes.iter().all(|note| note.pitch.midi() % 12 != 6));
            assert!(line.notes.iter().all(|note| note.pitch.midi() != 48));
        }
        assert!(bar(&lines[1], 12).contains(&(2880, 40)));
    }
}

#[test]
fn an_impossible_pin_names_the_rule_and_the_beat() {
    let pinned = |pin: &str| {
        let pins = vec![pin.parse().unwrap()];
        refusal(
            blues(),
            Options {
                pins,
                ..Options::default()
            },
        )
    };
    assert_eq!(
        pinned("3.1=Ab2"),
        "Ab2 cannot be pinned to bar 3, beat 1: rule arrival-root is in the way"
    );
    assert_eq!(
        pinned("3.3=Ab2"),
        "Ab2 cannot be pinned to bar 3, beat 3: rule strong-beats is in the way"
    );
    assert_eq!(
        pinned("1.4=D2"),
        "D2 cannot be pinned to bar 1, beat 4: rule approach is in the way"
    );
    assert!(pinned("13.1=F2").contains("no note starts at bar 13, beat 1"));
    // Two pins, each fine alone, more than an octave apart.
    let pins = vec!["1.1=F1".parse().unwrap(), "1.2=A2".parse().unwrap()];
    let message = refusal(
        blues(),
        Options {
            pins,
            ..Options::default()
        },
    );
    assert_eq!(
        message,
        "no line goes through bar 1, beat 2: rule playable is in the way"
    );
}

#[test]
fn a_range_without_roots_is_refused() {
    let message = refusal(
        blues(),
        Options {
            range: (30, 32),
            ..Options::default()
        },
    );
    assert_eq!(
        message,
        "bar 1, beat 1: no note between the lowest and the highest obeys rule arrival-root"
    );
}

#[test]
fn held_bars_stay_and_their_source_too() {
    let options = Options::default();
    let free = walker(blues(), options.clone());
    let hold: Hold = "2-4=chorus 1".parse().unwrap();
    let plan = Plan::of(blues(), &options);
    let held = Walker::holding(plan, options, &[hold], 5).unwrap();
    let source = free.line(5, 1);
    let lines = held.lines(5, 1, 6);
    assert_eq!(sound(&lines[0]), sound(&source));
    for line in &lines {
        for number in 2..=4 {
            assert_eq!(bar(line, number), bar(&source, number));
        }
    }
    assert_ne!(bar(&lines[1], 7), bar(&lines[2], 7));
}

#[test]
fn one_place_varies_and_the_rest_stays() {
    let walker = walker(blues(), Options::default());
    let original = walker.line(3, 2);
    let bars: Bars = "11-12".parse().unwrap();
    let versions = walker.vary(3, 2, &bars, 8).unwrap();
    assert_eq!(versions.len(), 8);
    let ends = |line: &ChorusLine| [bar(line, 11), bar(line, 12)];
    for (number, version) in versions.iter().enumerate() {
        assert_ne!(ends(version), ends(&original));
        assert!(
            versions[..number]
                .iter()
                .all(|other| ends(other) != ends(version))
        );
        for number in 1..=10 {
            assert_eq!(bar(version, number), bar(&original, number));
        }
    }
    let message = walker.vary(3, 2, &bars, u32::MAX).unwrap_err().to_string();
    assert!(message.starts_with("4294967295 different choruses were asked for, and exactly "));
    assert!(walker.vary(3, 2, &"12-13".parse().unwrap(), 1).is_err());
}

#[test]
fn where_lines_are_few_each_comes_once_and_the_number_is_exact() {
    let chorus = Chart::from_bars("C", "4/4".parse().unwrap())
        .unwrap()
        .chorus();
    let options = Options {
        level: 3.try_into().unwrap(),
        range: (36, 48),
        ..Options::default()
    };
    let walker = walker(chorus, options);
    // C2 or C3, two tones of the chord, then a step beside a C within the range.
    let exist: u32 = walker.count().try_into().unwrap();
    assert!(!walker.lines_abound());
    let message = walker.distinct(1, 1, exist + 1, 1).unwrap_err().to_string();
    assert_eq!(
        message,
        format!(
            "{} different choruses were asked for, and exactly {exist} exist at this level, in this range \
             and with these pins",
            exist + 1
        )
    );
    let set = walker.distinct(1, 1, exist / 2, 1).unwrap();
    for (number, line) in set.iter().enumerate() {
        assert!(
            set[..number]
                .iter()
                .all(|other| sound(other) != sound(line))
        );
    }
    assert_eq!(walker.distinct(1, 3, 2, 1).unwrap(), set[2..4]);
}

#[test]
fn choruses_can_be_kept_apart() {
    let walker = walker(blues(), Options::default());
    let set = walker.distinct(2, 1, 30, 24).unwrap();
    let notes = |line: &ChorusLine| {
        sound(line)
            .into_iter()
            .map(|(_, key)| key)
            .collect::<Vec<_>>()
    };
    for (number, line) in set.iter().enumerate() {
        for other in &set[..number] {
            let differing = notes(line)
                .iter()
                .zip(notes(other))
                .filter(|(a, b)| *a != b)
                .count();
            assert!(
                differing >= 24,
                "chorus {} and {}: {differing}",
                line.chorus,
                other.chorus
            );
        }
    }
    let message = walker.distinct(2, 1, 3, 49).unwrap_err().to_string();
    assert!(
        message.starts_with("after 1 choruses none was found"),
        "{message}"
    );
}
