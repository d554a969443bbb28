//! The laws of exact sampling, on charts small enough to try every line.
//!
//! Brute force over all pitch sequences is the check value, by the rules as `oracle` states them.

use endpin_walker::{Hand, Instrument};
use std::collections::BTreeMap;

#[path = "support/law.rs"]
mod law;

#[path = "support/oracle.rs"]
#[allow(dead_code)]
mod oracle;

use law::Law;
use oracle::{Small, small};

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
