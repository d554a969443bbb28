//! Lines that are too fast for some fingerings: the walker's are never too fast for all.

use endpin_theory::{Chart, analyse};
use endpin_walker::{Hand, Heard, Instrument, Judge, LineNote, Options, Plan, Tablature, Walker};
use proptest::prelude::*;

const BARS: [&str; 4] = [
    "F7 | Bb7 | F7 / Cm7 F7",
    "Dm7b5 / G7b9 / | Cm7 | Ab7 | Db7#11",
    "Cmaj7 | Ebdim7 | Dm7 | G7",
    "Gm7 C7 | Fmaj7 Bbmaj7 | Em7b5 A7 | Dm6",
];

/// Two choruses of a line, and the judge of them who asks for this hand.
fn made(
    bars: &str,
    level: u8,
    hand: Hand,
    asked: Hand,
    seed: u64,
) -> Option<(Vec<LineNote>, Judge)> {
    let chorus = Chart::from_bars(bars, "4/4".parse().unwrap())
        .unwrap()
        .chorus();
    let options = Options {
        level: level.try_into().unwrap(),
        range: hand.instrument.range,
        hand,
        ..Options::default()
    };
    let understood = analyse(&chorus.spans, chorus.key);
    let judge = Judge::new(chorus.clone(), &understood, options.range).with_hand(asked);
    let walker = Walker::new(Plan::of(chorus, &options), options).ok()?;
    let lines = walker.lines(seed, 2, 2).into_iter();
    Some((lines.flat_map(|line| line.notes).collect(), judge))
}

/// Notes to which the hand does not come in time, says the judge, who tries every fingering.
fn too_late(notes: &[LineNote], judge: &Judge) -> usize {
    let first = notes[0].chorus - 1;
    let heard: Vec<Heard> = notes
        .iter()
        .map(|note| Heard {
            chorus: note.chorus - first,
            start: note.start,
            length: note.length,
            key: note.pitch.midi() as u8,
        })
        .collect();
    let broken = judge.broken(&heard, 2);
    broken
        .iter()
        .filter(|rules| rules.contains(&"playable"))
        .count()
}

fn hands() -> impl Strategy<Value = Hand> {
    // From a comfortable tempo to the fastest of a chart, and beyond it.
    let quarters = prop_oneof![100_000u32..600_000, 150_000u32..300_000];
    (proptest::sample::select(&Instrument::ALL[..]), quarters).prop_map(|(instrument, quarter)| {
        Hand {
            instrument,
            quarter: Some(quarter),
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn the_hand_comes_in_time(
        bars in proptest::sample::select(&BARS[..]), level in 3u8..=6, hand in hands(), seed in any::<u64>(),
    ) {
        if let Some((notes, judge)) = made(bars, level, hand, hand, seed) {
            prop_assert_eq!(too_late(&notes, &judge), 0);
            let choruses = notes.chunk_by(|note, next| note.chorus == next.chorus);
            let places = Tablature::of(&hand, choruses, None).unwrap().places;
            for (two, played) in notes.windows(2).zip(places.windows(2)) {
                if two[0].chorus != two[1].chorus {
                    continue;
                }
                let time = two[1].start - two[0].start;
                let shifted = played[0].hand.abs_diff(played[1].hand);
                prop_assert!(shifted <= hand.shift_in(time), "{} {}", two[0], two[1]);
            }
        }
    }
}

#[test]
fn without_the_rule_the_hand_is_late_at_times() {
    // Triplets at 400 on a double bass, whose hand spans a whole tone; on the others four frets under the
    // hand leave such lines next to nothing to shift for.
    let asked = |quarter| Hand {
        instrument: Instrument::ALL[2],
        quarter,
    };
    let fast = asked(Some(150_000));
    let late = |hand: Hand| -> usize {
        let lines = (0..40).filter_map(|seed| made(BARS[0], 6, hand, fast, seed));
        lines.map(|(notes, judge)| too_late(&notes, &judge)).sum()
    };
    assert_eq!(late(fast), 0);
    assert!(late(asked(None)) > 0);
}
