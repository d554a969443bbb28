//! Equal seeds give equal notes, in every build and from version to version. A deliberate change of these
//! values is recorded in the CHANGELOG.

use endpin_theory::Chart;
use endpin_walker::{Options, Plan, Walker};

fn opening(scenario: &str, level: u8) -> String {
    let chorus = Chart::parse(scenario).unwrap().chorus();
    let options = Options {
        level: level.try_into().unwrap(),
        ..Options::default()
    };
    let walker = Walker::new(Plan::of(chorus, &options), options).unwrap();
    let line = walker.line(1, 2);
    let notes: Vec<String> = line
        .notes
        .iter()
        .take(16)
        .map(|note| note.pitch.to_string())
        .collect();
    notes.join(" ")
}

#[test]
fn seeds_keep_their_notes() {
    let blues = include_str!("../../../scenarios/breakwater-blues.toml");
    let waltz = include_str!("../../../scenarios/pilot-boat-waltz.toml");
    let found: Vec<String> = (1..=6).map(|level| opening(blues, level)).collect();
    assert_eq!(
        found,
        [
            "F2 F2 Ab1 Bb1 Bb2 G2 F2 F2 Db2 C2 E2 F2 B2 Bb2 Bb1 C2",
            "F2 C2 Ab1 Bb1 Bb2 G2 F2 C2 Db2 C2 E2 F2 B2 Bb2 F2 C#2",
            "F2 Eb2 A1 B1 Bb1 Bb2 Ab2 E2 F2 Eb2 F2 B2 C3 Gb2 F2 A2",
            "F2 Eb2 A1 B1 Bb1 Bb2 Ab2 E2 F2 G2 Eb2 D2 C2 Gb2 F2 A2",
            "F2 Eb2 A1 B1 Bb1 Bb2 Ab2 E2 F2 G2 Eb2 D2 C2 Gb2 F2 A2",
            "F2 Eb2 B1 C2 B1 Bb1 D2 E2 F2 Eb2 Eb2 F2 A2 A2 F2 D2",
        ]
    );
    assert_eq!(
        opening(waltz, 5),
        "F1 A1 Ab1 Bb1 Ab2 G2 A2 E2 Eb2 D2 E#2 A2 G2 F2 Db2 C2"
    );
}

#[test]
fn threads_do_not_matter() {
    // 64 choruses and more are drawn on all cores.
    let blues = include_str!("../../../scenarios/breakwater-blues.toml");
    let chorus = Chart::parse(blues).unwrap().chorus();
    let options = Options::default();
    let walker = Walker::new(Plan::of(chorus, &options), options).unwrap();
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
    let waltz = include_str!("../../../scenarios/pilot-boat-waltz.toml");
    for level in [4, 6] {
        let chorus = Chart::parse(waltz).unwrap().chorus();
        let options = Options {
            level: level.try_into().unwrap(),
            ..Options::default()
        };
        let walker = Walker::new(Plan::of(chorus, &options), options).unwrap();
        let many = walker.keys(3, 1, 5000);
        let alone: Vec<Vec<u8>> = (1..=5000u32)
            .step_by(7)
            .map(|number| walker.keys(3, number, 1).remove(0))
            .collect();
        assert!(many.into_iter().step_by(7).eq(alone));
    }
}
