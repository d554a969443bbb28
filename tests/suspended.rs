//! A suspended chord, and a triad over a bass that makes one, is one sonority for the whole band: nobody sounds
//! the third that it leaves open, and a written bass stands on the first and the third beat. Common practice, no
//! source.

use endpin::performance::session::{Made, Session, Wishes};
use endpin_theory::{Chart, Interval, Key, Ticks};
use endpin_walker::{Heard, Judge, Level, Liberties, Options};

const CHARTS: [&str; 3] = [
    "Bb/C | % | Fmaj7 | Gm7/C C7",
    "C7sus4 | C7 | Fmaj7 / Bb/C / | Bbmaj7/C",
    "Gm7b5/C | Fmaj7 | F9sus4 Bb13sus4 | Fsus2",
];

fn charts() -> impl Iterator<Item = (Chart, Key)> {
    let keys = (0..12i16).map(|up| {
        let by = Interval::new((up * 7 + 6) / 12, up);
        Key::major("F".parse::<endpin_theory::NoteName>().unwrap() + by).simplest()
    });
    keys.flat_map(|key| CHARTS.map(|bars| (bars, key)))
        .map(|(bars, key)| {
            let mut chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
            chart.key = "F".parse().unwrap();
            (chart.in_key(key), key)
        })
}

fn played(chart: &Chart, level: u8, loose: bool) -> Session {
    let line = Options {
        level: Level::try_from(level).unwrap(),
        loose: if loose {
            Liberties::ALL
        } else {
            Liberties::NONE
        },
        ..Options::default()
    };
    Session::new(chart.clone(), Wishes::plain(u64::from(level), 3, line)).unwrap()
}

/// Notes of bass and comp that sound while a chord lasts, and how many of each there are.
fn holds(session: &Session, made: &Made<'_>) -> [usize; 2] {
    let mut sounded = [0, 0];
    for (line, comp) in &made.choruses {
        let chorus = session.chorus(line.chorus);
        for span in &chorus.spans {
            let chord = span.chord.as_ref().unwrap();
            let Some(third) = chord.withheld_third() else {
                continue;
            };
            let lasts = chorus.ticks_at(span.start)..chorus.ticks_at(span.start + span.beats);
            let sounds =
                |start: Ticks, length: Ticks| start < lasts.end && start + length > lasts.start;
            for note in line
                .notes
                .iter()
                .filter(|note| sounds(note.start, note.length))
            {
                sounded[0] += 1;
                let here = format!("{note} over {} in {}", span.symbol, chorus.key);
                assert_ne!(note.pitch.name().chroma(), third.chroma(), "{here}");
                let beat = note.beat();
                if chord.as_suspended().is_some() && (beat == 1.0 || beat == 3.0) {
                    assert_eq!(note.pitch.name().chroma(), chord.bass().chroma(), "{here}");
                }
            }
            for attack in comp
                .attacks
                .iter()
                .filter(|attack| sounds(attack.start, attack.length))
            {
                sounded[1] += 1;
                let third = third.chroma();
                let has_third = attack.voicing.keys.iter().any(|key| key % 12 == third);
                assert!(
                    !has_third,
                    "{attack:?} over {} in {}",
                    span.symbol, chorus.key
                );
            }
        }
    }
    sounded
}

#[test]
fn nobody_sounds_the_third_that_a_suspended_chord_leaves_open() {
    for level in 1..=6 {
        let mut sounded = [0, 0];
        for (chart, _) in charts() {
            for loose in [false, true] {
                let session = played(&chart, level, loose);
                let made = session.perform().unwrap();
                let [bass, comp] = holds(&session, &made);
                sounded[0] += bass;
                sounded[1] += comp;
            }
        }
        assert!(
            sounded[0] > 500 && sounded[1] > 200,
            "{sounded:?} are too few to tell"
        );
    }
}

#[test]
fn the_judge_hears_the_third_and_misses_the_bass() {
    for (chart, key) in charts().filter(|(chart, _)| chart.to_string().contains("| % |")) {
        let session = played(&chart, 4, false);
        let chorus = session.chorus(1).clone();
        let chord = chorus.spans[0].chord.clone().unwrap();
        let (third, bass) = (chord.withheld_third().unwrap(), chord.bass());
        let made = session.perform().unwrap();
        let heard: Vec<Heard> = made.notes().map(Heard::from).collect();
        let judge = Judge::new(chorus, session.understood(1), (28, 55));
        let above = |up: u8| (bass.chroma() + up) % 12;
        let near = |chroma: u8| (28..55u8).find(|key| key % 12 == chroma).unwrap();
        // The third in the place of the second note; a tone of the triad in the place of the third.
        for (at, played, rule, words) in [
            (1, near(third.chroma()), "weak-beats", "leaves open"),
            (2, near(above(10)), "strong-beats", "hangs over its bass"),
        ] {
            let mut take = heard.clone();
            take[at].key = played;
            let verdict = &judge.judge(&take, 3).verdicts[at];
            assert!(verdict.broken.contains(&rule), "{verdict:?} in {key}");
            assert!(verdict.why.contains(words), "{} in {key}", verdict.why);
        }
        let kept = judge.judge(&heard, 3).verdicts;
        assert!(
            kept.iter().all(|verdict| verdict.broken.is_empty()),
            "in {key}"
        );
    }
}
