//! The laws of exact sampling, on charts small enough to try every line.
//!
//! The rules are stated here once more, as predicates on whole lines and without the walker's code, from
//! the design's own words; brute force over all pitch sequences is the check value.

use endpin_theory::{Chart, Chorus, Feel, Strength, analyse};
use endpin_walker::{Hand, Instrument, Options, Plan, Walker};
use std::collections::BTreeMap;

#[path = "support/law.rs"]
mod law;

use law::Law;

/// What the rules say of one beat.
struct Beat {
    /// Keys of the octave that the level lets a strong beat have.
    tones: [bool; 12],
    scale: [bool; 12],
    bass: u8,
    arrival: bool,
    strong: bool,
    /// The last of two beats or more of a chord.
    last: bool,
}

/// A small chart, and the predicates on its lines.
struct Small {
    chorus: Chorus,
    options: Options,
    level: u8,
    beats: Vec<Beat>,
}

fn small(bars: &str, meter: &str, level: u8, range: (u8, u8)) -> Small {
    let chart = Chart::from_bars(bars, meter.parse().unwrap()).unwrap();
    let options = Options {
        level: level.try_into().unwrap(),
        feel: Some(Feel::Four),
        range,
        arc: Some(endpin_walker::Arc::Flat),
        ..Options::default()
    };
    let chorus = chart.chorus();
    let understood = analyse(&chorus.spans, chorus.key);
    let beats = (0..chorus.beats())
        .map(|beat| {
            let number = chorus.span_at(beat);
            let span = &chorus.spans[number];
            let chord = span.chord.as_ref().unwrap();
            let mut tones = [false; 12];
            for tone in chord.chord_tones() {
                tones[usize::from(tone.name.chroma())] = match level {
                    1 => tone.name == chord.root(),
                    2 => tone.name == chord.root() || tone.degree.number() == 5,
                    _ => true,
                };
            }
            Beat {
                tones,
                scale: std::array::from_fn(|key| understood[number].scale.contains(key as u8)),
                bass: chord.bass().chroma(),
                arrival: chorus.is_arrival(beat),
                strong: chorus.strength(beat) != Strength::Weak,
                last: beat + 1 == span.start + span.beats && span.beats > 1,
            }
        })
        .collect();
    Small {
        chorus,
        options,
        level,
        beats,
    }
}

impl Small {
    fn walker(&self) -> Walker {
        let plan = Plan::of(self.chorus.clone(), &self.options);
        Walker::new(plan, self.options.clone()).unwrap()
    }

    /// Whether a line, completed by the first note of the next chorus, obeys rules 1 to 7.
    fn obeys(&self, line: &[u8], next: u8) -> bool {
        let key = |beat: usize| i16::from(*line.get(beat).unwrap_or(&next));
        let chroma = |beat: usize| usize::from(line[beat] % 12);
        let count = self.beats.len();
        let arrival = |beat: usize| beat == count || self.beats[beat].arrival;
        let strong = |beat: usize| beat == count || self.beats[beat].strong;
        let by_step = |beat: usize| matches!((key(beat) - key(beat + 1)).abs(), 1 | 2);
        let dominant = |beat: usize| self.level >= 4 && matches!(key(beat) - key(beat + 1), 7 | -5);
        let harmony = self.beats.iter().enumerate().all(|(beat, here)| {
            if here.arrival {
                return chroma(beat) == usize::from(here.bass);
            }
            if here.strong {
                return here.tones[chroma(beat)];
            }
            if here.last {
                return by_step(beat) || dominant(beat);
            }
            let two_notes = || {
                let (first, second) = (key(beat), key(beat + 1));
                if beat + 2 > count || strong(beat + 1) || !strong(beat + 2) {
                    return false;
                }
                let (a, b) = (first - key(beat + 2), second - key(beat + 2));
                let chromatic = matches!((a, b), (2, 1) | (-2, -1));
                let sides = a.signum() != b.signum();
                chromatic || (sides && matches!(a.abs(), 1 | 2) && matches!(b.abs(), 1 | 2))
            };
            let resolves =
                || strong(beat + 1) && (by_step(beat) || (arrival(beat + 1) && dominant(beat)));
            here.tones[chroma(beat)]
                || (self.level >= 4 && (here.scale[chroma(beat)] || resolves()))
                || (self.level >= 5 && two_notes())
        });
        let seams = || {
            self.chorus.spans.iter().all(|span| {
                let notes = &line[span.start..span.start + span.beats];
                let chord = span.chord.as_ref().unwrap();
                let roots = notes
                    .iter()
                    .filter(|&key| key % 12 == chord.root().chroma());
                let seam = roots.max().unwrap_or(&notes[0]) + chord.seventh();
                notes.iter().all(|&key| key <= seam)
            })
        };
        let moves = |beat: usize| key(beat + 1) - key(beat);
        harmony
            && (0..count).all(|beat| moves(beat).abs() <= 12)
            && (1..count).all(|beat| {
                let (first, second) = (moves(beat - 1), moves(beat));
                let leapt = matches!(first.abs(), 8..=11);
                (first != 0 || second != 0) && (!leapt || first.signum() == -second.signum())
            })
            && seams()
            && self.in_time(line, next)
    }

    /// Whether some choice of strings and fingers plays the line, beat after beat at the tempo: the hand
    /// needs 80 ms to let go and settle and 15 ms a fret (values ours; see the instruments).
    fn in_time(&self, line: &[u8], next: u8) -> bool {
        let Hand {
            instrument,
            quarter: Some(quarter),
        } = self.options.hand
        else {
            return true;
        };
        let shift = (quarter as i32 / 1000 - 80).max(0) / 15;
        let last = i32::from(instrument.neck) - instrument.fingers.len() as i32 + 1;
        let plays = |key: u8, hand: i32| {
            instrument.strings.iter().any(|&open| {
                let fret = i32::from(key) - i32::from(open);
                fret == 0 || (hand..hand + instrument.fingers.len() as i32).contains(&fret)
            })
        };
        fn goes_on(
            keys: &[u8],
            hand: i32,
            shift: i32,
            last: i32,
            plays: &impl Fn(u8, i32) -> bool,
        ) -> bool {
            let Some((&key, rest)) = keys.split_first() else {
                return true;
            };
            let shifts = hand - shift..=hand + shift;
            let mut hands = shifts.filter(|hand| (1..=last).contains(hand));
            hands.any(|hand| plays(key, hand) && goes_on(rest, hand, shift, last, plays))
        }
        let keys = [line, &[next]].concat();
        (1..=last)
            .any(|hand| plays(keys[0], hand) && goes_on(&keys[1..], hand, shift, last, &plays))
    }

    /// All admissible lines with a next first note that completes them, by brute force.
    fn all(&self) -> Vec<Vec<u8>> {
        let (lowest, highest) = self.options.range;
        let bass = self.chorus.spans[0].chord.as_ref().unwrap().bass().chroma();
        let nexts: Vec<u8> = (lowest..=highest).filter(|key| key % 12 == bass).collect();
        let beats = self.chorus.beats();
        let mut lines = Vec::new();
        let mut line = vec![lowest; beats];
        loop {
            if nexts.iter().any(|&next| self.obeys(&line, next)) {
                lines.push(line.clone());
            }
            let Some(beat) = (0..beats).rev().find(|&beat| line[beat] < highest) else {
                return lines;
            };
            line[beat] += 1;
            line[beat + 1..].fill(lowest);
        }
    }
}

fn charts() -> Vec<Small> {
    vec![
        small("C7 F7", "4/4", 4, (36, 50)),
        small("Dm7 | G7", "2/4", 4, (33, 46)),
        small("Bbmaj7", "4/4", 4, (34, 48)),
        small("Fdim7", "5/4", 4, (29, 38)),
        small("C/E", "4/4", 4, (28, 41)),
        small("Gm7b5 / C7alt", "3/4", 5, (31, 48)),
        small("Am7", "3/4", 5, (33, 50)),
        small("Eb6 / / Ab7sus4 /", "5/4", 3, (32, 41)),
        small("C / F /", "4/4", 1, (28, 46)),
        small("F#m / / B7", "4/4", 2, (30, 44)),
    ]
}

#[test]
fn the_count_is_that_of_brute_force() {
    for small in charts() {
        let brute = small.all().len();
        let symbols: Vec<&str> = small
            .chorus
            .spans
            .iter()
            .map(|span| &*span.symbol)
            .collect();
        assert!(brute > 0, "{symbols:?}");
        let counted = small.walker().count();
        assert_eq!(
            counted,
            brute.into(),
            "{symbols:?} at level {}",
            small.level
        );
    }
}

#[test]
fn a_hand_in_a_hurry_is_counted_exactly() {
    // Far beyond the tempi of charts, so that quarters bite too: microseconds of a quarter.
    let [bass, five, double] = Instrument::ALL;
    let hurried = [
        (small("Am7", "3/4", 5, (28, 55)), bass, 70_000),
        (small("Am7", "3/4", 5, (28, 55)), bass, 100_000),
        (small("Fdim7", "4/4", 4, (28, 53)), bass, 80_000),
        (small("Am7", "3/4", 5, (28, 55)), double, 75_000),
        (small("Gm7b5 / C7alt", "3/4", 5, (36, 55)), double, 100_000),
        (small("C7 F7", "4/4", 4, (28, 50)), double, 115_000),
        (small("Dm7 | G7", "2/4", 4, (24, 48)), five, 65_000),
    ];
    let mut bitten = 0;
    for (mut small, instrument, quarter) in hurried {
        let all = small.all().len();
        small.options.hand = Hand {
            instrument,
            quarter: Some(quarter),
        };
        let brute = small.all().len();
        if brute == 0 {
            continue;
        }
        assert_eq!(
            small.walker().count(),
            brute.into(),
            "{instrument} at {quarter}"
        );
        bitten += usize::from(brute < all);
    }
    assert!(bitten >= 3, "{bitten}");
}

#[test]
fn samples_follow_the_exact_law_and_reach_every_line() {
    // The law: a first root, weighted with all that may follow; then the line, up to the next root. The
    // walker's own list of lines with their weights is checked against brute force above by its number.
    let small = small("C7 F7", "4/4", 4, (36, 48));
    let walker = small.walker();
    let lines = small.all();
    let draws = 100_000;
    let mut seen: BTreeMap<Vec<u8>, u32> = BTreeMap::new();
    for seed in 0..draws {
        *seen.entry(walker.keys(seed, 1, 1).remove(0)).or_default() += 1;
    }
    let law = Law::of(&small.chorus, &small.options).of_lines();
    assert_eq!(
        law.len(),
        lines.len(),
        "no admissible line has probability zero"
    );
    let mut chi_square = 0.0;
    let mut freedom = -1.0;
    let mut rare = (0.0, 0.0);
    for (line, probability) in &law {
        assert!(lines.contains(line));
        assert!(*probability > 0.0);
        let expected = probability * draws as f64;
        let found = f64::from(seen.remove(line).unwrap_or(0));
        if expected < 8.0 {
            rare = (rare.0 + expected, rare.1 + found);
            continue;
        }
        chi_square += (found - expected).powi(2) / expected;
        freedom += 1.0;
    }
    assert!(seen.is_empty(), "nothing inadmissible is drawn");
    if rare.0 > 0.0 {
        chi_square += (rare.1 - rare.0).powi(2) / rare.0;
        freedom += 1.0;
    }
    // Chi-square is near normal with this many degrees of freedom; five deviations either way.
    let deviation = (chi_square - freedom) / (2.0f64 * freedom).sqrt();
    assert!(
        deviation.abs() < 5.0,
        "chi-square {chi_square} at {freedom}"
    );
    let total: f64 = law.values().sum();
    assert!((total - 1.0).abs() < 1e-12);
}

#[test]
fn joins_are_exact() {
    // The start of chorus 3, over many seeds, against two steps of the chain computed from the lists.
    let small = small("Dm7 | G7", "2/4", 4, (33, 57));
    let walker = small.walker();
    let draws = 40_000u32;
    let mut found: BTreeMap<u8, u32> = BTreeMap::new();
    for seed in 0..u64::from(draws) {
        *found.entry(walker.keys(seed, 3, 1)[0][0]).or_default() += 1;
    }
    let exact = Law::of(&small.chorus, &small.options).of_starts(3);
    for (key, probability) in exact {
        let expected = probability * f64::from(draws);
        let got = f64::from(found.remove(&key).unwrap_or(0));
        let deviation = (got - expected) / (expected * (1.0 - probability)).sqrt().max(1.0);
        assert!(deviation.abs() < 5.0, "{key}: {got} for {expected}");
    }
    assert!(found.is_empty());
}
