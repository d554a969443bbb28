//! Takes of any kind over charts of any kind: the judge has something to say of each note, and no mend is the
//! note that was played.

use endpin_theory::{Chart, Chorus, Ticks, analysis::analyse};
use endpin_walker::{Heard, Judge, Judgement};
use proptest::prelude::*;

fn judged(chorus: &Chorus, heard: &[Heard], choruses: u32) -> Judgement {
    let understood = analyse(&chorus.spans, chorus.key);
    let judge = Judge::new(chorus.clone(), &understood, (28, 55));
    let judgement = judge.judge(heard, choruses);
    assert_eq!(judgement.verdicts.len(), heard.len());
    for (verdict, note) in judgement.verdicts.iter().zip(heard) {
        assert_eq!(verdict.heard, *note);
        assert!(!verdict.why.is_empty(), "{verdict:?}");
        if let Some(mend) = &verdict.mend {
            assert_ne!(mend.pitch.midi(), i16::from(note.key), "{verdict:?}");
            assert!(!verdict.stands());
        }
    }
    judgement
}

/// Notes one after another from a position, each so long.
fn even(keys: &[u8], start: i64, length: i64) -> Vec<Heard> {
    let note = |(number, &key): (usize, &u8)| Heard {
        chorus: 1,
        start: Ticks(start + length * number as i64),
        length: Ticks(length),
        key,
    };
    keys.iter().enumerate().map(note).collect()
}

#[test]
fn sixteenths_are_judged_and_mended() {
    let chorus = Chart::from_bars("F7 | F7", "4/4".parse().unwrap())
        .unwrap()
        .chorus();
    let scale: Vec<u8> = (0..24)
        .map(|note| [41, 43, 45, 46, 48, 50, 51, 50][note % 8])
        .collect();
    let good = judged(&chorus, &even(&scale, 0, 240), 1);
    let faults = good.verdicts.iter().filter(|verdict| !verdict.stands());
    assert!(
        faults.count() <= 6,
        "notes of the scale in sixteenths belong"
    );
    let wild: Vec<u8> = (0..24).map(|note| 30 + (note * 7) % 25).collect();
    let bad = judged(&chorus, &even(&wild, 0, 240), 1);
    let mut mends = bad.verdicts.iter().filter(|verdict| verdict.mend.is_some());
    assert!(mends.next().is_some());
}

#[test]
fn meters_that_change_around_silence_are_judged() {
    let text = "title = \"x\"\nkey = \"F\"\nmeter = \"2/2\"\ntempo = 100\nform = \"A B\"\n\n[section.A]\nbars = \"\"\"\n\
                | F7 | N.C. |\n\"\"\"\n\n[section.B]\nmeter = \"7/4\"\nbars = \"\"\"\n| Bb7 / / N.C. / C7 / |\n\"\"\"\n";
    let chorus = Chart::parse(text).unwrap().chorus();
    for length in [240, 320, 480, 960, 1000, 1920, 5000] {
        let keys: Vec<u8> = (0..60).map(|note| 28 + (note * 11 % 30) as u8).collect();
        judged(&chorus, &even(&keys, -960, length), 2);
    }
}

fn bars() -> impl Strategy<Value = (String, &'static str)> {
    const CHORDS: &[&str] = &[
        "F7", "Bb7", "Cm7", "D7b9", "Gm7b5", "C/E", "N.C.", "Ebmaj7", "A7sus4", "%",
    ];
    let bars = proptest::collection::vec(proptest::sample::select(CHORDS), 1..6);
    const METERS: &[&str] = &["2/2", "2/4", "3/4", "4/4", "5/4", "7/4", "6/8", "24/16"];
    (bars, proptest::sample::select(METERS)).prop_map(|(bars, meter)| {
        let first = if bars[0] == "%" { "F7" } else { bars[0] };
        let bars: Vec<&str> = [first]
            .into_iter()
            .chain(bars.iter().skip(1).copied())
            .collect();
        (bars.join(" | "), meter)
    })
}

fn notes() -> impl Strategy<Value = Vec<Heard>> {
    let position = prop_oneof![
        (-8i64..120).prop_map(|eighths| eighths * 480),
        (-24i64..360).prop_map(|thirds| thirds * 160),
        -2000i64..40_000,
    ];
    let length = prop_oneof![Just(240i64), Just(480), Just(960), Just(1920), 1i64..20_000];
    let key = prop_oneof![28u8..=55, 0u8..=127];
    let note = (1u32..4, position, length, key).prop_map(|(chorus, start, length, key)| Heard {
        chorus,
        start: Ticks(start),
        length: Ticks(length),
        key,
    });
    proptest::collection::vec(note, 0..60).prop_map(|mut notes| {
        notes.sort_by_key(|note| (note.chorus, note.start));
        notes
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 32, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_take_is_judged((bars, meter) in bars(), notes in notes(), choruses in 1u32..4) {
        let chorus = Chart::from_bars(&bars, meter.parse().unwrap()).unwrap().chorus();
        judged(&chorus, &notes, choruses);
    }

    /// A take in order of time, as takes are.
    #[test]
    fn any_take_in_time_is_judged(
        (bars, meter) in bars(), keys in proptest::collection::vec(28u8..56, 1..80),
        start in -2i64..9, length in proptest::sample::select(&[240i64, 320, 480, 960, 1920][..]),
    ) {
        let chorus = Chart::from_bars(&bars, meter.parse().unwrap()).unwrap().chorus();
        judged(&chorus, &even(&keys, start * 480, length), 2);
    }
}
