//! Phrases: bars that take up others, and motifs.

use endpin_theory::{Chart, Chorus, chart::Feel};
use endpin_walker::{
    Arc, ChorusLine, Heard, Judge, Liberties, LineNote, Motif, Options, Phrases, Plan, Walker,
    phrases::{Likeness, Restated, Theme},
};

const CHARTS: [&str; 5] = [
    include_str!("../../../scenarios/breakwater-blues.toml"),
    include_str!("../../../scenarios/herring-count.toml"),
    include_str!("../../../scenarios/pilot-boat-waltz.toml"),
    include_str!("../../../scenarios/five-bollards.toml"),
    include_str!("../../../scenarios/customs-house-corner.toml"),
];

fn chorus(chart: &str) -> Chorus {
    Chart::parse(chart).unwrap().chorus()
}

fn at_level(level: u8) -> Options {
    Options {
        level: level.try_into().unwrap(),
        feel: Some(Feel::Four),
        ..Options::default()
    }
}

fn without(options: Options) -> Options {
    Options {
        phrases: Phrases::NONE,
        ..options
    }
}

fn walker(chorus: Chorus, options: Options) -> Walker {
    Walker::new(Plan::of(chorus, &options), options).unwrap()
}

/// The notes of some bars.
fn notes<'a>(
    lines: &'a [ChorusLine],
    chorus: u32,
    bars: &std::ops::RangeInclusive<u32>,
) -> Vec<&'a LineNote> {
    let line = lines.iter().find(|line| line.chorus == chorus).unwrap();
    line.notes
        .iter()
        .filter(|note| bars.contains(&note.bar))
        .collect()
}

/// Whether what is said of some bars is true, found from the notes as they are told; the note before a change, which
/// the judge's rule 4 speaks of, is known by its bar's last beat.
fn is_true(lines: &[ChorusLine], restated: &Restated) -> bool {
    let Theme::Bars { chorus, bars } = &restated.of else {
        return false;
    };
    let ours = notes(lines, restated.chorus, &restated.bars);
    let theirs = notes(lines, *chorus, bars);
    if ours.len() != theirs.len() {
        return false;
    }
    let change = |index: usize| {
        let here = ours[index];
        let beat = |note: &LineNote| (note.chorus, note.bar, note.beat() as u32);
        let all = lines.iter().flat_map(|line| &line.notes);
        let mut later = all.filter(|note| beat(note) > beat(here));
        later
            .next()
            .is_none_or(|next| next.chord != here.chord || next.chorus != here.chorus)
    };
    let pairs: Vec<(usize, &LineNote, &LineNote)> = (0..ours.len())
        .map(|index| (index, ours[index], theirs[index]))
        .filter(|(index, ..)| !restated.until_it_leads || !change(*index))
        .collect();
    let moves: Vec<(i16, i16)> = pairs
        .windows(2)
        .filter(|pair| pair[0].1.bar == pair[1].1.bar)
        .map(|pair| {
            let by = |one: &LineNote, other: &LineNote| other.pitch.midi() - one.pitch.midi();
            (by(pair[0].1, pair[1].1), by(pair[0].2, pair[1].2))
        })
        .collect();
    let kind = |by: i16| by.signum() * (1 + i16::from(by.abs() > 2));
    match restated.likeness {
        Likeness::Moved(by) => pairs
            .iter()
            .all(|(_, ours, theirs)| ours.pitch.midi() - theirs.pitch.midi() == i16::from(by)),
        Likeness::Degrees => pairs
            .iter()
            .all(|(_, ours, theirs)| ours.degree.number() == theirs.degree.number()),
        Likeness::Shape => moves
            .iter()
            .all(|(ours, theirs)| kind(*ours) == kind(*theirs)),
        Likeness::Mirror => moves
            .iter()
            .all(|(ours, theirs)| kind(*ours) == -kind(*theirs)),
        Likeness::Rhythm => (0..ours.len()).all(|index| ours[index].in_bar == theirs[index].in_bar),
    }
}

#[test]
fn what_is_said_of_bars_is_true_of_their_notes() {
    for chart in CHARTS {
        for options in [
            at_level(4),
            at_level(6),
            Options {
                loose: Liberties::ALL,
                ..at_level(5)
            },
        ] {
            let level = options.level;
            let walker = walker(chorus(chart), options);
            let mut found = [0; 5];
            for seed in 0..30 {
                let lines = walker.lines(seed, 1, 6);
                for restated in lines.iter().flat_map(|line| &line.phrases) {
                    assert!(
                        is_true(&lines, restated),
                        "seed {seed}, level {level}: {restated}\n{lines:#?}"
                    );
                    let kind = match restated.likeness {
                        Likeness::Moved(_) => 0,
                        Likeness::Degrees => 1,
                        Likeness::Shape => 2,
                        Likeness::Mirror => 3,
                        Likeness::Rhythm => 4,
                    };
                    found[kind] += 1;
                }
            }
            assert!(found[0] > 30, "level {level}: {found:?}");
            assert!(found[2] > 3, "level {level}: {found:?}");
        }
    }
}

#[test]
fn a_chorus_is_the_same_alone_and_its_lines_are_as_many_as_without_phrases() {
    for chart in CHARTS {
        for level in [4, 6] {
            let walker = walker(chorus(chart), at_level(level));
            let set = walker.lines(5, 1, 70);
            for number in [1, 2, 17, 66, 70] {
                assert_eq!(walker.line(5, number), set[number as usize - 1]);
            }
            assert_eq!(walker.lines(5, 65, 3), set[64..67]);
            let plain = self::walker(chorus(chart), without(at_level(level)));
            assert_eq!(walker.count(), plain.count());
            assert!(
                plain
                    .lines(5, 1, 8)
                    .iter()
                    .all(|line| line.phrases.is_empty())
            );
            let keys: Vec<_> = set.iter().map(|line| line.to_string()).collect();
            let mut different = keys.clone();
            different.sort();
            different.dedup();
            assert_eq!(different.len(), keys.len());
        }
    }
}

#[test]
fn beyond_the_thousandth_chorus_nothing_is_taken_up() {
    let walker = walker(chorus(CHARTS[0]), at_level(4));
    let set = walker.lines(5, 995, 12);
    assert!(set[..6].iter().any(|line| !line.phrases.is_empty()));
    assert!(set[6..].iter().all(|line| line.phrases.is_empty()));
    for line in [&set[0], &set[5], &set[6], &set[11]] {
        assert_eq!(walker.line(5, line.chorus), *line);
    }
    let plain = self::walker(chorus(CHARTS[0]), without(at_level(4)));
    assert_eq!(plain.lines(5, 1001, 6), set[6..]);
}

#[test]
fn below_level_four_and_beside_four_nothing_is_taken_up() {
    for (level, feel) in [
        (1, None),
        (2, None),
        (3, Some(Feel::Four)),
        (5, Some(Feel::Two)),
        (6, Some(Feel::Pedal)),
    ] {
        let options = Options {
            feel,
            ..at_level(level)
        };
        let with = walker(chorus(CHARTS[0]), options.clone()).lines(3, 1, 20);
        assert_eq!(
            with,
            walker(chorus(CHARTS[0]), without(options)).lines(3, 1, 20)
        );
    }
}

#[test]
fn lines_with_phrases_keep_the_rules_and_their_pins() {
    for chart in CHARTS {
        for arc in [None, Some(Arc::Rise)] {
            let options = Options {
                arc,
                pins: vec!["2:2.2=C3".parse().unwrap()],
                rests: vec!["4.2".parse().unwrap()],
                ..at_level(4)
            };
            let options = match Walker::new(Plan::of(chorus(chart), &options), options.clone()) {
                Ok(_) => options,
                Err(_) => Options {
                    pins: Vec::new(),
                    ..options
                },
            };
            let form = chorus(chart);
            let judge = Judge::as_asked(form.clone(), &options, Vec::new()).unwrap();
            let walker = walker(form.clone(), options.clone());
            for seed in 0..12 {
                let lines = walker.lines(seed, 1, 5);
                for line in &lines {
                    let rested =
                        |note: &LineNote| note.bar == 4 && (note.beat() - 2.0).abs() < 1e-9;
                    assert!(!line.notes.iter().any(rested));
                    let pinned =
                        |note: &LineNote| note.bar == 2 && (note.beat() - 2.0).abs() < 1e-9;
                    let pinned = line.notes.iter().find(|note| pinned(note));
                    if line.chorus == 2 && !options.pins.is_empty() {
                        assert_eq!(pinned.unwrap().pitch.midi(), 48);
                    }
                }
                if arc.is_some() {
                    continue;
                }
                let notes = lines.iter().flat_map(|line| &line.notes);
                let notes = notes.map(|note| Heard {
                    chorus: note.chorus,
                    start: note.start,
                    length: note.length,
                    key: note.pitch.midi() as u8,
                });
                let notes: Vec<Heard> = notes.collect();
                let broken = judge.broken(&notes, 5);
                assert!(broken.iter().all(Vec::is_empty), "seed {seed}: {broken:?}");
            }
        }
    }
}

#[test]
fn under_an_arc_bars_are_taken_up_from_level_four_on() {
    let options = Options {
        arc: Some(Arc::Rise),
        ..at_level(6)
    };
    let walker = walker(chorus(CHARTS[0]), options);
    let lines: Vec<ChorusLine> = (0..40).flat_map(|seed| walker.lines(seed, 1, 8)).collect();
    let moved = |up: bool, from: u32, to: u32| {
        let of = lines
            .iter()
            .filter(|line| (from..=to).contains(&line.chorus));
        let of = of.flat_map(|line| &line.phrases).filter(|restated| {
            match (&restated.of, restated.likeness) {
                (Theme::Bars { chorus, .. }, Likeness::Moved(by)) if *chorus == restated.chorus => {
                    (by > 0) == up && by != 0
                }
                _ => false,
            }
        });
        of.count() as f64
    };
    // Early choruses lie low and go down, later ones climb.
    let share = |from, to| {
        moved(true, from, to) / (moved(true, from, to) + moved(false, from, to)).max(1.0)
    };
    assert!(
        share(5, 8) > share(1, 2) + 0.1,
        "{} {}",
        share(1, 2),
        share(5, 8)
    );
}

/// Semitones of a plain motif over the chords of a line's bar, by the chord's own degrees.
fn plays(line: &ChorusLine, bar: u32, degrees: &[&str]) -> bool {
    let notes: Vec<&LineNote> = line
        .notes
        .iter()
        .filter(|note| note.bar >= bar)
        .take(degrees.len())
        .collect();
    notes
        .iter()
        .zip(degrees)
        .all(|(note, degree)| note.degree.to_string().trim_start_matches(['b', '#']) == *degree)
}

#[test]
fn a_motif_is_played_in_every_key_where_the_rules_let_it() {
    let of = |motif: &str, level: u8| Options {
        phrases: Phrases {
            on: true,
            motif: Some(motif.parse::<Motif>().unwrap()),
        },
        ..at_level(level)
    };
    for chart in [CHARTS[0], CHARTS[1], CHARTS[4]] {
        for key in ["C", "Eb", "F#", "A", "Bb"] {
            let chart = Chart::parse(chart).unwrap();
            let chart = chart.in_key(key.parse().unwrap());
            let walker = walker(chart.chorus(), of("1 2 3 5", 4));
            let mut stated = 0;
            for seed in 0..10 {
                for line in walker.lines(seed, 1, 3) {
                    for restated in &line.phrases {
                        assert_eq!(restated.of, Theme::Motif("1 2 3 5".to_owned()));
                        assert!(
                            plays(&line, *restated.bars.start(), &["1", "2", "3", "5"]),
                            "{key}: {line}"
                        );
                        stated += 1;
                    }
                }
            }
            assert!(stated >= 30, "{key}: {stated}");
            assert_eq!(walker.line(4, 3), walker.lines(4, 1, 5)[2]);
        }
    }
    // Two bars, an octave mark, and levels that have no phrases of themselves.
    let two = walker(chorus(CHARTS[0]), of("1 3 5 3 1 5, 1 4", 3));
    let lines: Vec<ChorusLine> = (0..20).flat_map(|seed| two.lines(seed, 1, 2)).collect();
    assert!(lines.iter().any(|line| !line.phrases.is_empty()));
}

#[test]
fn a_motif_that_nobody_can_play_is_refused() {
    for motif in ["1 b9 b9 b9", "1:2 5:2", "1 2 3 4 5", "1''' 1,,,"] {
        let options = Options {
            phrases: Phrases {
                on: true,
                motif: Some(motif.parse().unwrap()),
            },
            ..at_level(4)
        };
        let refused = Walker::new(Plan::of(chorus(CHARTS[0]), &options), options);
        let message = refused.map(|_| ()).unwrap_err().to_string();
        assert!(
            message.contains(&format!("the motif \"{motif}\"")),
            "{message}"
        );
    }
}
