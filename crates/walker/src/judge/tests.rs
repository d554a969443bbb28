//! Lines written by hand, with what a teacher would say of them (common practice, no source).

use super::*;
use endpin_theory::{Chart, analysis::analyse};

/// A judge of a chart of these bars in a key.
fn judge(bars: &str, key: &str) -> Judge {
    let mut chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
    chart.key = key.parse().unwrap();
    let chorus = chart.chorus();
    let understood = analyse(&chorus.spans, chorus.key);
    Judge::new(chorus, &understood, (28, 55))
}

/// Notes as `F2` for a beat, `F2:2` for two, `F2:.5` for half a beat; `-` rests for a beat.
fn line(text: &str) -> Vec<Heard> {
    let mut now = 0.0;
    let mut heard = Vec::new();
    for word in text.split_whitespace() {
        let (name, beats) = word.split_once(':').unwrap_or((word, "1"));
        let beats: f64 = beats.parse().unwrap();
        if let Ok(pitch) = name.parse::<Pitch>() {
            heard.push(Heard {
                chorus: 1,
                start: Ticks((now * 960.0) as i64),
                length: Ticks((beats * 960.0) as i64),
                key: pitch.midi() as u8,
            });
        }
        now += beats;
    }
    heard
}

/// The rules broken, as `bar.beat rule`.
fn faults(judgement: &Judgement) -> Vec<String> {
    let each = judgement.verdicts.iter();
    each.flat_map(|verdict| {
        let at = format!("{}.{}", verdict.bar, verdict.beat);
        verdict
            .broken
            .iter()
            .map(move |rule| format!("{at} {rule}"))
    })
    .collect()
}

const TWO_FIVE: &str = "Dm7 | G7 | Cmaj7 | Cmaj7";

#[test]
fn a_line_of_the_books_keeps_all_rules() {
    let judged = judge(TWO_FIVE, "C").judge(
        &line("D2 F2 A2 Ab2 G2 B2 D3 Db3 C3 B2 G2 A2 E2 G2 E2 C#2"),
        1,
    );
    assert_eq!(faults(&judged), [""; 0]);
    assert_eq!(judged.figures.arrival_roots, Kept { kept: 3, of: 3 });
    assert_eq!(judged.figures.approaches, Kept { kept: 2, of: 2 });
}

#[test]
fn each_rule_is_heard_where_it_is_broken() {
    let good = "D2 F2 A2 Ab2 G2 B2 D3 Db3 C3 B2 G2 A2 E2 G2 E2 C#2";
    // The place of a note in the line, another note for it, and the fault.
    for (place, other, wanted) in [
        (4, "F2", "2.1 arrival-root"),
        (2, "G2", "1.3 strong-beats"),
        (1, "F#2", "1.2 weak-beats"),
        (3, "C3", "1.4 approach"),
        (9, "C4", "3.2 playable"),
        (15, "F2", "4.4 join"),
    ] {
        let mut words: Vec<&str> = good.split(' ').collect();
        words[place] = other;
        let judged = judge(TWO_FIVE, "C").judge(&line(&words.join(" ")), 1);
        let found = faults(&judged);
        assert!(
            found.iter().any(|fault| fault == wanted),
            "{other}: {found:?}"
        );
    }
    // The fifth an octave up lies above the seventh of the root that sounded.
    let judged = judge("C7 | F7", "F").judge(&line("C2 E2 G2 G2:.5 G3:.5 F2 A2 C3 B1"), 1);
    assert!(
        faults(&judged).contains(&"1.4.5 root-to-seventh".to_owned()),
        "{:?}",
        faults(&judged)
    );
}

#[test]
fn a_fault_is_said_and_mended() {
    let judged = judge(TWO_FIVE, "C").judge(
        &line("D2 F2 E2 Ab2 G2 B2 D3 Db3 C3 B2 G2 A2 E2 G2 E2 C#2"),
        1,
    );
    let ninth = &judged.verdicts[2];
    assert_eq!(
        ninth.why,
        "E is the ninth of Dm7, on a medium beat, which counts as strong: a chord tone belongs there, D, F, \
         A or C"
    );
    let mend = ninth.mend.as_ref().unwrap();
    assert!(
        ["D", "F", "A", "C"].contains(&mend.pitch.name().to_string().as_str()),
        "{mend:?}"
    );
    assert!(mend.others.is_empty());
}

#[test]
fn a_pedal_is_a_device() {
    let judged = judge("Dm7 | G7 | Em7 | A7", "C").judge(&line("G2:4 G2:4 G2:4 G2:4"), 1);
    for verdict in &judged.verdicts {
        assert!(verdict.stands(), "{verdict:?}");
    }
    assert_eq!(judged.verdicts[0].broken, ["arrival-root", "strong-beats"]);
    assert_eq!(judged.verdicts[0].device, Some(Device::Pedal));
    // On a note that is neither tonic nor dominant it is none.
    let judged = judge("Dm7 | G7 | Em7 | A7", "C").judge(&line("F2:4 F2:4 F2:4 F2:4"), 1);
    assert!(
        judged
            .verdicts
            .iter()
            .all(|verdict| verdict.device != Some(Device::Pedal))
    );
}

#[test]
fn what_players_do_on_purpose_has_its_name() {
    // Bars, key, line, place of the note, its device. Common practice, no source.
    for (bars, key, played, place, device) in [
        (
            "F7 | Bb7",
            "F",
            "F2 A2 C3 Eb3 D3 Bb2 F2 E2",
            4,
            Device::Inversion,
        ),
        // The note before leads into it.
        (
            "F7 | Bb7",
            "F",
            "F2 A2 C3 Eb3 D3 Bb2 F2 E2",
            3,
            Device::Inversion,
        ),
        (
            "Dm7 | G7",
            "C",
            "D2 F2 G2 A2 G2 B2 D3 Db3",
            2,
            Device::Passing,
        ),
        (
            "Dm7 | G7",
            "C",
            "D2 G2 G#2 A2 G2 B2 D3 Db3",
            2,
            Device::Passing,
        ),
        ("C7 | F7", "F", "C3 Bb2 A2 G2 F2 A2 C3 B2", 2, Device::Walk),
        // B flat, and the root A an octave away from where it leads.
        (
            "Em7 | A7",
            "D",
            "E2 G2 E2 Bb1 A2 G2 E2 Eb2",
            3,
            Device::OctaveApproach,
        ),
        // A and D over Ab7 are of D7, which leads to Db as Ab7 does.
        (
            "Ab7 | Db7",
            "Db",
            "Ab2 Eb2 A2 D2 Db2 F2 Ab2 A2",
            2,
            Device::TritoneDominant,
        ),
        (
            "F7 | F7",
            "F",
            "F2 F#2 G2 G#2 A2 C3 Eb3 C3",
            2,
            Device::ChromaticRun,
        ),
        (
            "F7 | F7",
            "F",
            "F2 F2 F2 A2 F2 C3 A2 Gb2",
            2,
            Device::Repeat,
        ),
        (
            "Dm7 | G7",
            "C",
            "D2 F2 A2 F2 F2 D2 G2 Db2",
            4,
            Device::CommonTone,
        ),
        (
            "Fm | Fm(maj7) | Fm7 | Fm6",
            "F minor",
            "F2 C2 Ab2 C2 E2 C2 F2 C2 Eb2 C2 F2 C2 D2 C2 F2 Gb2",
            8,
            Device::DescendingBass,
        ),
        (
            "F7 | Bb7",
            "F",
            "F2:2 C3:2 F3:2 Bb2:2",
            2,
            Device::RootAndFifth,
        ),
        (
            "Dm7 | Em7 | F6 | G7",
            "C",
            "D2 F2 G2 E2 E2 G2 A2 F2 F2 A2 C3 F#2 G2 B2 D3 Db3",
            6,
            Device::Answer,
        ),
    ] {
        let judged = judge(bars, key).judge(&line(played), 1);
        let verdict = &judged.verdicts[place];
        assert_eq!(verdict.device, Some(device), "{played}: {verdict:?}");
        assert_eq!(verdict.grade, Grade::Choice, "{played}");
    }
}

#[test]
fn grades_tell_a_mistake_from_what_is_only_unusual() {
    // A line of C7 to F7, with one note of it changed. Common practice, no source.
    for (place, other, grade) in [
        (0, "C2", Grade::Good),
        // Outside chord and scale on a strong beat.
        (2, "Gb2", Grade::Wrong),
        // The ninth on a medium beat, by leap.
        (2, "D3", Grade::Unusual),
        // The second and the third of F7 where it arrives, by leap.
        (4, "G2", Grade::Unusual),
        (4, "A2", Grade::Unusual),
        // Off the instrument.
        (2, "C1", Grade::Wrong),
    ] {
        let mut words = ["C2", "E2", "G2", "E2", "F2", "A2", "C3", "B2"];
        words[place] = other;
        let judged = judge("C7 | F7", "F").judge(&line(&words.join(" ")), 1);
        assert_eq!(judged.verdicts[place].grade, grade, "{other}");
    }
}

#[test]
fn an_anticipation_is_a_device() {
    let played = "D2 F2 A2 Ab2:.5 G2:1.5 B2 D3 Db3 C3 B2 G2 A2 E2 G2 E2 C#2";
    let judged = judge(TWO_FIVE, "C").judge(&line(played), 1);
    let early = &judged.verdicts[4];
    assert_eq!((early.bar, early.beat), (1, 4.5));
    assert_eq!(
        early.device,
        Some(Device::Anticipation),
        "{:?}",
        early.broken
    );
    assert_eq!(judged.figures.arrival_roots, Kept { kept: 3, of: 3 });
}

#[test]
fn a_sequence_is_a_device() {
    // The same figure a step lower over each chord, whatever the chord.
    let played = "D2 E2 F2 A2 C2 D2 Eb2 G2 Bb1 C2 Db2 F2 C2 E2 G2 B1";
    let judged = judge(TWO_FIVE, "C").judge(&line(played), 1);
    let figure = &judged.verdicts[4..12];
    assert!(figure.iter().any(|verdict| !verdict.broken.is_empty()));
    for verdict in figure.iter().filter(|verdict| !verdict.broken.is_empty()) {
        assert_eq!(
            verdict.device,
            Some(Device::Sequence),
            "{}.{}",
            verdict.bar,
            verdict.beat
        );
    }
}

#[test]
fn silence_and_what_stands_outside_are_free() {
    let judged = judge("F7 | N.C. | F7 | Bb7", "F").judge(
        &line("F2 A2 C3 D3 Ab2 Ab2 B2 E3 F2 A2 C3 A2 Bb2 F2 D2 E2"),
        1,
    );
    assert_eq!(faults(&judged), [""; 0]);
    assert_eq!(judged.verdicts[4].why, "a fill while the band is silent");
    let mut pickup = line("F2 A2 C3 B2 Bb2 F2 D2 E2");
    pickup.insert(
        0,
        Heard {
            start: Ticks(-960),
            ..pickup[3]
        },
    );
    let judged = judge("F7 | Bb7", "F").judge(&pickup, 1);
    assert_eq!((judged.verdicts[0].bar, judged.verdicts[0].beat), (0, 4.0));
    assert_eq!(faults(&judged), [""; 0]);
}

#[test]
fn nothing_and_nonsense_do_not_panic() {
    let judge = judge(TWO_FIVE, "C");
    assert!(judge.judge(&[], 1).verdicts.is_empty());
    let wild = (0..40).map(|index| Heard {
        chorus: 1 + index / 8,
        start: Ticks(i64::from(index % 8) * 700 - 900),
        length: Ticks(100_000),
        key: (index * 37 % 128) as u8,
    });
    let mut wild: Vec<Heard> = wild.collect();
    wild.sort_by_key(|note| (note.chorus, note.start));
    judge.judge(&wild, 5);
    judge.judge(&wild, 1);
}

#[test]
fn a_leap_is_answered_at_once() {
    // The walker finds no line with these notes either: a repeated note does not answer a leap.
    let judged = judge("C7 | F7", "F").judge(&line("C2 Bb2 Bb2 E2 F2:4"), 1);
    assert_eq!(faults(&judged), ["1.3 playable"]);
    let judged = judge("C7 | F7", "F").judge(&line("C2 Bb2 G2 E2 F2:4"), 1);
    assert_eq!(faults(&judged), [""; 0]);
}

#[test]
fn out_of_the_way_and_back_is_one_fault() {
    let judged = judge("C7 | F7", "F").judge(&line("C2 C4 C2 E2 F2:4"), 1);
    assert_eq!(faults(&judged), ["1.2 playable"]);
    // Not back, but on in the new place.
    let judged = judge("C7 | F7", "F").judge(&line("C2 E2 G3 E3 F3:4"), 1);
    let faults = faults(&judged);
    let playable: Vec<_> = faults
        .iter()
        .filter(|fault| fault.contains("playable"))
        .collect();
    assert_eq!(playable, ["1.3 playable"]);
}

#[test]
fn an_approach_into_a_wrong_root_is_judged_by_the_root_that_was_meant() {
    let judged = judge(TWO_FIVE, "C").judge(&line("D2 F2 A2 Ab2 B2 A2 F2 Db2 C2 E2 G2 A2"), 1);
    assert_eq!(faults(&judged), ["2.1 arrival-root"]);
}

#[test]
fn another_feel_than_the_charts_is_judged() {
    // Half notes over a walking chart, the second of them held over the last beat.
    let two = judge(TWO_FIVE, "C").judge(&line("D2:2 A2:2 G2:2 D2:2 C2:2 G2:2 C2:2 C2:2"), 1);
    assert_eq!(faults(&two), [""; 0]);
    assert_eq!(two.figures.arrival_roots, Kept { kept: 3, of: 3 });
    let wrong = judge(TWO_FIVE, "C").judge(&line("D2:2 B2:2 G2:2 D2:2 C2:2 G2:2 C2:4"), 1);
    assert_eq!(faults(&wrong), ["1.3 strong-beats"]);
}

#[test]
fn what_stands_off_the_grid_belongs_or_leads() {
    let played = |after: &str| format!("C2:.5 {after}:.5 E2 G2 E2 F2 A2 C3 B2");
    let judged = judge("C7 | F7", "F").judge(&line(&played("D2")), 1);
    assert_eq!(faults(&judged), [""; 0]);
    let judged = judge("C7 | F7", "F").judge(&line(&played("B1")), 1);
    assert_eq!(faults(&judged), ["1.1.5 weak-beats"]);
}
