//! Equal seeds give equal notes, in every build and from version to version. A deliberate change of these
//! values is recorded in the CHANGELOG: `ENDPIN_RENEW=1 cargo test -p endpin-walker --test value_stability`
//! writes them anew, so that any change of notes shows in review.

use endpin_theory::{Chart, Feel};
use endpin_walker::{Instrument, Options, Plan, Walker};
use std::{fmt::Write, fs};

/// A meter each, and one that changes its chords twice a bar.
const CHARTS: [(&str, &str); 4] = [
    (
        "blues 4/4",
        include_str!("../../../scenarios/breakwater-blues.toml"),
    ),
    (
        "waltz 3/4",
        include_str!("../../../scenarios/pilot-boat-waltz.toml"),
    ),
    (
        "five 5/4",
        include_str!("../../../scenarios/five-bollards.toml"),
    ),
    (
        "changes 4/4",
        include_str!("../../../scenarios/herring-count.toml"),
    ),
];

const FEELS: [Option<Feel>; 5] = [
    None,
    Some(Feel::Four),
    Some(Feel::Two),
    Some(Feel::Broken),
    Some(Feel::Pedal),
];

fn walker(chart: &str, options: Options) -> Walker {
    let chorus = Chart::parse(chart).unwrap().chorus();
    Walker::new(Plan::of(chorus, &options), options).unwrap()
}

/// A number that other keys are most unlikely to have (FNV-1a, 64 bits).
fn fingerprint(keys: &[u8]) -> u64 {
    keys.iter().fold(0xcbf2_9ce4_8422_2325, |hash, &key| {
        (hash ^ u64::from(key)).wrapping_mul(0x100_0000_01b3)
    })
}

/// The second chorus of seed 1 of every level, feel, meter and instrument: all its keys as a number, and its
/// first two bars.
fn values() -> String {
    let mut text = String::new();
    for (name, chart) in CHARTS {
        for instrument in Instrument::ALL {
            for feel in FEELS {
                for level in 1..=6u8 {
                    let mut options = Options {
                        level: level.try_into().unwrap(),
                        feel,
                        range: instrument.range,
                        ..Options::default()
                    };
                    options.hand.instrument = instrument;
                    let walker = walker(chart, options);
                    let keys = walker.keys(1, 2, 1).remove(0);
                    let line = walker.line(1, 2).to_string();
                    let opening: Vec<&str> = line.lines().take(2).map(str::trim).collect();
                    let feel = feel.map_or("own".to_owned(), |feel| feel.to_string());
                    let number = fingerprint(&keys);
                    let opening = opening.join("  ");
                    writeln!(
                        text,
                        "{name} {instrument} {feel} {level} {number:016x} {opening}"
                    )
                    .unwrap();
                }
            }
        }
    }
    text
}

#[test]
fn seeds_keep_their_notes() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/golden/values.txt");
    let found = values();
    if std::env::var_os("ENDPIN_RENEW").is_some() {
        fs::write(file, &found).unwrap();
    }
    let known = fs::read_to_string(file).unwrap();
    for (known, found) in known.lines().zip(found.lines()) {
        assert_eq!(known, found);
    }
    assert_eq!(known.lines().count(), found.lines().count());
}

#[test]
fn threads_do_not_matter() {
    // 64 choruses and more are drawn on all cores.
    let walker = walker(CHARTS[0].1, Options::default());
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| walker.keys(9, 1, 200))
    };
    assert_eq!(on(1), on(2));
    assert_eq!(on(2)[10..12], walker.keys(9, 11, 2));
}

#[test]
fn company_does_not_matter() {
    // Some thousands of choruses are drawn side by side, by other tables than a few; the first two choruses of
    // these options have turns of their own.
    for level in [4, 6] {
        let options = Options {
            level: level.try_into().unwrap(),
            ..Options::default()
        };
        let walker = walker(CHARTS[1].1, options);
        let many = walker.keys(3, 1, 5000);
        let alone: Vec<Vec<u8>> = (1..=5000u32)
            .step_by(7)
            .map(|number| walker.keys(3, number, 1).remove(0))
            .collect();
        assert!(many.into_iter().step_by(7).eq(alone));
    }
}
