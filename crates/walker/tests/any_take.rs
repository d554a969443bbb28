//! Any take over any chart is judged and mended without a panic: a counted run, whose length `ENDPIN_TAKES` sets
//! (2,000 if it does not; a million takes some hours of one core). `fuzz/judge` does the same with a fuzzer.
//!
//! `ENDPIN_TAKES=1000000 cargo test -p endpin-walker --test any_take -- --nocapture`

use endpin_theory::{Chart, Ticks, analysis::analyse};
use endpin_walker::{Heard, Judge};

/// A small generator (the constants of D. Knuth's MMIX), so that a run can be done again.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, of: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % of
    }

    fn choose<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.roll(of.len())]
    }
}

const CHORDS: [&str; 16] = [
    "F7", "Bb7", "Cm7", "D7b9", "Gm7b5", "C/E", "N.C.", "Ebmaj7", "A7sus4", "Bdim7", "E7alt",
    "Fm(maj7)", "Ab6", "C+", "G13", "Db",
];
const METERS: [&str; 8] = ["4/4", "3/4", "5/4", "7/4", "2/2", "6/8", "12/8", "2/4"];

fn chart(dice: &mut Dice) -> Chart {
    let bars: Vec<String> = (0..1 + dice.roll(6))
        .map(|_| {
            let chords = (0..1 + dice.roll(2)).map(|_| dice.choose(&CHORDS));
            chords.collect::<Vec<_>>().join(" ")
        })
        .collect();
    // Two chords do not divide every bar: then there is one.
    let meter: endpin_theory::Meter = dice.choose(&METERS).parse().unwrap();
    let one = |bar: &String| bar.split(' ').next().unwrap().to_owned();
    Chart::from_bars(&bars.join(" | "), meter.clone()).unwrap_or_else(|_| {
        let bars: Vec<String> = bars.iter().map(one).collect();
        Chart::from_bars(&bars.join(" | "), meter).unwrap()
    })
}

/// Notes in order of time: on beats, between them, anywhere, in runs of sixteenths and all at once.
fn take(dice: &mut Dice, choruses: u32, length: Ticks) -> Vec<Heard> {
    let (lowest, highest) = dice.choose(&[(28u8, 55u8), (28, 55), (0, 127), (40, 43)]);
    let step = dice.choose(&[960i64, 960, 960, 480, 320, 240, 1920, 1, 700]);
    let mut now = dice.choose(&[0i64, 0, 0, -960, -480, 960, 1920, -5000]);
    let mut notes = Vec::new();
    for _ in 0..dice.roll(40) {
        let chorus = (now.div_euclid(length.0)).clamp(0, i64::from(choruses) - 1);
        notes.push(Heard {
            chorus: chorus as u32 + 1,
            start: Ticks(now - chorus * length.0),
            length: Ticks(dice.choose(&[step, step, step * 2, 1, 20_000])),
            key: lowest + dice.roll(usize::from(highest - lowest) + 1) as u8,
        });
        now += step * dice.choose(&[1, 1, 1, 1, 2, 0, 3]);
    }
    notes
}

#[test]
fn any_take_is_judged_and_mended() {
    let takes: usize = std::env::var("ENDPIN_TAKES").map_or(2_000, |count| count.parse().unwrap());
    let mut dice = Dice(20_261_130);
    let (mut judged, mut notes, mut mends) = (0, 0, 0);
    while judged < takes {
        let chorus = chart(&mut dice).chorus();
        let understood = analyse(&chorus.spans, chorus.key);
        let length = chorus.length();
        let judge = Judge::new(chorus, &understood, (28, 55));
        for _ in 0..20 {
            let choruses = 1 + dice.roll(3) as u32;
            let heard = take(&mut dice, choruses, length);
            let verdicts = judge.judge(&heard, choruses).verdicts;
            assert_eq!(verdicts.len(), heard.len());
            for (verdict, played) in verdicts.iter().zip(&heard) {
                assert_eq!(verdict.heard, *played);
                assert!(!verdict.why.is_empty());
                if let Some(mend) = &verdict.mend {
                    assert_ne!(mend.pitch.midi(), i16::from(played.key));
                    mends += 1;
                }
            }
            notes += heard.len();
            judged += 1;
        }
        if judged % 100_000 == 0 {
            println!("{judged} takes, {notes} notes, {mends} mends");
        }
    }
    println!("{judged} takes, {notes} notes, {mends} mends");
    assert!(mends > takes);
}
