//! Any bytes as a chart of a few bars and a take over it: every note gets its verdict, and no mend is the note that
//! was played.
#![no_main]

use endpin_theory::{Chart, Ticks, analysis::analyse};
use endpin_walker::{Heard, Judge};
use libfuzzer_sys::fuzz_target;

const CHORDS: [&str; 8] = [
    "F7", "Bb7", "Cm7", "D7b9", "C/E", "N.C.", "Ebmaj7", "A7sus4",
];
const METERS: [&str; 4] = ["4/4", "3/4", "7/4", "2/2"];

fuzz_target!(|bytes: &[u8]| {
    let [form, meter, choruses, notes @ ..] = bytes else {
        return;
    };
    let bars: Vec<&str> = (0..1 + form % 4)
        .map(|bar| CHORDS[usize::from(form.rotate_left(u32::from(bar) * 3) % 8)])
        .collect();
    let Ok(meter) = METERS[usize::from(meter % 4)].parse() else {
        return;
    };
    let Ok(chart) = Chart::from_bars(&bars.join(" | "), meter) else {
        return;
    };
    let chorus = chart.chorus();
    let (length, choruses) = (chorus.length().0, u32::from(choruses % 3) + 1);
    let mut now = -960i64;
    // Three bytes a note: when after the last, how long, which key.
    let heard: Vec<Heard> = notes
        .chunks_exact(3)
        .take(64)
        .map(|note| {
            now += i64::from(note[0]) * 40;
            let turn = now.div_euclid(length).clamp(0, i64::from(choruses) - 1);
            Heard {
                chorus: turn as u32 + 1,
                start: Ticks(now - turn * length),
                length: Ticks(i64::from(note[1]) * 40 + 1),
                key: note[2] & 127,
            }
        })
        .collect();
    let understood = analyse(&chorus.spans, chorus.key);
    let verdicts = Judge::new(chorus, &understood, (28, 55))
        .judge(&heard, choruses)
        .verdicts;
    assert_eq!(verdicts.len(), heard.len());
    for (verdict, played) in verdicts.iter().zip(&heard) {
        let is_played = |midi: i16| midi == i16::from(played.key);
        assert!(
            !verdict
                .mend
                .as_ref()
                .is_some_and(|mend| is_played(mend.pitch.midi()))
        );
    }
});
