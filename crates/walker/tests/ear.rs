//! Faults that listeners named, each as a figure over many lines.
//!
//! All bounds are common practice, no source: they were set after reading and hearing the lines.

use endpin_theory::{Chart, NoteName, chord::Chord, find_key};
use endpin_walker::{Hand, Level, Liberties, LineNote, Options, Plan, Tablature, Walker};

const BLUES: &str =
    "Bb7 | Eb7 | Bb7 | Fm7 Bb7 | Eb7 | Edim7 | Bb7 | G7b9 | Cm7 | F7 | Bb7 G7 | Cm7 F7";
const MINOR: &str =
    "Am7b5 | D7b9 | Gm7 | C7 | Am7b5 | D7b9 | Gm6 | Em7b5 A7b9 | Dm7 | Bm7b5 | E7b9 | Am6";
const SUSPENDED: &str = "G7sus4 | % | C | Bb/C | F9sus4 | Bbmaj7 | G7sus4 | G7";

fn walker(bars: &str, level: u8, loose: Liberties) -> Walker {
    let mut chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
    chart.key = find_key(&chart.chorus().spans);
    let options = Options {
        level: Level::try_from(level).unwrap(),
        loose,
        ..Options::default()
    };
    Walker::new(Plan::of(chart.chorus(), &options), options).unwrap()
}

fn lines(bars: &str, level: u8, loose: Liberties, choruses: u32) -> Vec<LineNote> {
    let lines = walker(bars, level, loose).lines(1, 1, choruses);
    lines.into_iter().flat_map(|line| line.notes).collect()
}

fn root(note: &LineNote) -> u8 {
    let chord: Chord = note.chord.parse().unwrap();
    NoteName::chroma(chord.root())
}

/// Semitones above the root of its chord.
fn above(note: &LineNote) -> i16 {
    (note.pitch.midi() - i16::from(root(note))).rem_euclid(12)
}

fn distance(pair: &[LineNote]) -> i16 {
    pair[1].pitch.midi() - pair[0].pitch.midi()
}

fn share(count: usize, of: usize) -> f64 {
    count as f64 / of as f64
}

#[test]
fn a_line_of_chord_tones_takes_the_near_ones_first() {
    for bars in [BLUES, MINOR] {
        let notes = lines(bars, 3, Liberties::NONE, 100);
        let leaps = notes
            .windows(2)
            .map(|pair| matches!(distance(pair).abs(), 5..=11));
        let leaps: Vec<bool> = leaps.collect();
        let wide = leaps.iter().filter(|leap| **leap).count();
        let running = leaps.windows(2).filter(|two| two[0] && two[1]).count();
        assert!(share(wide, leaps.len()) < 0.12, "{wide} of {}", leaps.len());
        assert!(share(running, leaps.len()) < 0.015, "{running}");
    }
}

#[test]
fn skips_step_off_drops_come_and_ghosts_stay() {
    let notes = lines(BLUES, 6, Liberties::NONE, 200);
    let bars = 200 * 12;
    let (mut skips, mut far, mut drops, mut ghosts) = (0, 0, 0, 0);
    for pair in notes.windows(2) {
        let within = (pair[1].beat().fract() * 6.0).round();
        match distance(pair).abs() {
            _ if within == 2.0 => drops += 1,
            _ if within != 3.0 => {}
            0 => ghosts += 1,
            moved => {
                skips += 1;
                far += usize::from(moved >= 5);
            }
        }
    }
    assert!(share(skips, bars) > 0.1, "{skips}");
    assert!(share(far, skips) < 0.08, "{far} of {skips}");
    assert!((20..=60).contains(&(bars / drops)), "{drops} drops");
    assert!((0.3..0.7).contains(&share(ghosts, bars)), "{ghosts}");
}

#[test]
fn one_chord_for_long_is_begun_and_come_back_to() {
    for (bars, third) in [
        ("D7 | % | % | % | % | % | % | %", 4),
        ("Dm7 | % | % | % | % | % | % | %", 3),
    ] {
        let notes = lines(bars, 4, Liberties::NONE, 200);
        let home: Vec<i16> = notes
            .iter()
            .filter(|note| note.beat() == 1.0 && [3, 5, 7].contains(&note.bar))
            .map(above)
            .collect();
        let tonic = home
            .iter()
            .filter(|&&above| above == 0 || above == 7 || above == third);
        assert!(share(tonic.count(), home.len()) > 0.97);
        let roots = home.iter().filter(|&&above| above == 0).count();
        assert!(share(roots, home.len()) > 0.5);
        let opening: Vec<&LineNote> = notes.iter().filter(|note| note.bar == 1).collect();
        let scale = if third == 4 {
            [0, 2, 4, 5, 7, 9, 10]
        } else {
            [0, 2, 3, 5, 7, 9, 10]
        };
        let outside = opening.iter().filter(|note| !scale.contains(&above(note)));
        assert!(share(outside.count(), opening.len()) < 0.03);
        let strayed = opening
            .iter()
            .any(|note| note.beat() == 2.0 && !scale.contains(&above(note)));
        assert!(!strayed, "{bars}");
    }
}

#[test]
fn a_flat_fifth_is_the_fifth() {
    for (level, loose) in [
        (4, Liberties::NONE),
        (5, Liberties::NONE),
        (5, Liberties::ALL),
    ] {
        let notes = lines(MINOR, level, loose, 200);
        let half_diminished: Vec<&LineNote> = notes
            .iter()
            .filter(|note| note.chord.ends_with("m7b5"))
            .collect();
        let plain = half_diminished
            .iter()
            .filter(|note| above(note) == 7)
            .count();
        assert!(share(plain, half_diminished.len()) < 0.006, "{plain}");
        let second = half_diminished.iter().filter(|note| note.beat() == 2.0);
        let plain = second.filter(|note| above(note) == 7).count();
        assert!(plain <= 3, "{plain} in 800 bars");
    }
}

#[test]
fn a_suspended_third_is_never_played() {
    let all = Liberties::ALL;
    for (level, loose) in [
        (3, Liberties::NONE),
        (4, all),
        (5, all),
        (6, Liberties::NONE),
    ] {
        for note in lines(SUSPENDED, level, loose, 100) {
            let suspended = match note.chord.as_str() {
                "Bb/C" => Some(note.pitch.midi().rem_euclid(12)),
                chord if chord.contains("sus") => Some(above(&note)),
                _ => None,
            };
            assert_ne!(suspended, Some(4), "level {level}: {note}");
        }
    }
}

#[test]
fn what_leads_by_more_than_a_semitone_does_not_fight_the_chord() {
    let (mut changes, mut fights) = (0, 0);
    for bars in [
        BLUES,
        MINOR,
        "Abm7 | Gm7 | Cm7 | F7 | Bbmaj7 | Abm7 | Gm7 | C7",
    ] {
        for pair in lines(bars, 4, Liberties::NONE, 100).windows(2) {
            if pair[0].span == pair[1].span || distance(pair).abs() == 1 {
                continue;
            }
            changes += 1;
            let chord: Chord = pair[0].chord.parse().unwrap();
            let has = |above: u8| {
                let tones = chord.chord_tones().into_iter();
                let mut tones = tones.map(|tone| tone.name.chroma());
                tones.any(|tone| tone == (root(&pair[0]) + above) % 12)
            };
            let against = match above(&pair[0]) {
                1 => !has(1) && !pair[0].chord.contains("b9"),
                4 => has(3) && !has(4),
                _ => false,
            };
            fights += usize::from(against);
        }
    }
    assert!(share(fights, changes) < 0.003, "{fights} of {changes}");
}

/// Common practice, no source: two strings up, two frets up; and an open string gives the hand time.
#[test]
fn octaves_lie_in_their_shape_and_fast_lines_on_open_strings() {
    let hand = Hand {
        quarter: Some(60_000_000 / 260),
        ..Hand::default()
    };
    let (mut octaves, mut shaped, mut could, mut open) = (0, 0, 0, 0);
    for bars in [BLUES, MINOR] {
        let lines = walker(bars, 5, Liberties::NONE).lines(1, 1, 60);
        let tablature = Tablature::of(&hand, lines.iter().map(|line| &*line.notes), None).unwrap();
        let notes: Vec<&LineNote> = lines.iter().flat_map(|line| &line.notes).collect();
        for (pair, places) in notes.windows(2).zip(tablature.places.windows(2)) {
            could += usize::from([28, 33, 38, 43].contains(&pair[1].pitch.midi()));
            open += usize::from(places[1].fret == 0);
            let up = pair[1].pitch.midi() - pair[0].pitch.midi();
            if pair[0].chorus != pair[1].chorus
                || up.abs() != 12
                || places.iter().any(|place| place.fret == 0)
            {
                continue;
            }
            octaves += 1;
            let across = places[0].string.abs_diff(places[1].string);
            shaped += usize::from((across, places[0].fret.abs_diff(places[1].fret)) == (2, 2));
        }
    }
    assert!(
        octaves > 50 && share(shaped, octaves) > 0.9,
        "{shaped} of {octaves}"
    );
    assert!(share(open, could) > 0.9, "{open} of {could}");
}
