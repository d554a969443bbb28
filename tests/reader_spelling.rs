//! What a student reads: plain names, the same in the line, its reasons, its notation and the verdict on it.
//!
//! The names themselves are common practice, no source; that outputs agree is our own contract.

use endpin::{
    outputs::sheet::{
        measure::Music,
        musicxml::{self, Contents},
    },
    performance::session::{Session, Wishes},
};
use endpin_theory::{
    Chart, Chord, Key, NoteName, Pitch, Spelling, Ticks, analyse, spelling::is_awkward,
};
use endpin_walker::{Heard, Judge, Level, LineNote, Options, pins::Pin};
use std::collections::BTreeSet;

/// Chords whose degrees have far letters, in C; moved into every key.
const CHARTS: [(&str, &str); 3] = [
    (
        "C",
        "Cmaj7 C#dim7 | Dm7 D#dim7 | Em7b5 A7alt | Dm7 G7b9 | Gm7 Gb7 | Fmaj7 / Fm7 Bb7 | Ebdim7 Ab7alt | Dbmaj7 G7#5",
    ),
    (
        "C minor",
        "Cm6 Bbdim7 | Abmaj7 Db7 | Dm7b5 G7alt | Cm(maj7) C7b9 | Fm7 Bb7#9 | Ebmaj7#5 Gbm7 | Ab7 Adim7 | Db7b5/Ab G7#9",
    ),
    (
        "C",
        "C7 | F7 | C7 | Gm7 C7 | F7 | F#dim7 | C7 | A7b9 | Dm7 | G7 | C7 A7 | Dm7 G7",
    ),
];

fn session(bars: &str, written: &str, key: Key, line: Options) -> Session {
    let mut chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
    chart.key = written.parse().unwrap();
    let wishes = Wishes::plain(7, 2, line);
    Session::new(chart.in_key(key), wishes).unwrap()
}

fn keys() -> impl Iterator<Item = (Key, usize)> {
    Key::all()
        .flat_map(|key| (0..CHARTS.len()).map(move |chart| (key, chart)))
        .filter(|(key, chart)| {
            let written: Key = CHARTS[*chart].0.parse().unwrap();
            written.mode == key.mode
        })
}

/// A name that stands where readers may not meet it, unless it is a tone of the chord, its bass, or in the
/// signature.
fn is_odd(name: NoteName, chord: Option<&Chord>, key: Key) -> bool {
    let tones = chord.into_iter().flat_map(|chord| {
        let tones = chord.tones().into_iter().map(|(_, name)| name);
        tones.chain(chord.slash())
    });
    let known = tones.chain(key.notes()).any(|known| known == name);
    name.alteration().abs() > 1 || (is_awkward(name) && !known)
}

/// The names of notes in words, such as the Ebb of "a semitone above Ebb, leading down into it".
fn names_in(words: &str) -> impl Iterator<Item = NoteName> {
    let words = words.split(|c: char| !(c.is_alphanumeric() || c == '#' || c == '/'));
    words.filter_map(|word| word.parse().ok())
}

#[test]
fn lines_and_their_reasons_have_plain_names_in_every_key_and_level() {
    for (key, chart) in keys() {
        for level in 1..=6 {
            let (written, bars) = CHARTS[chart];
            let line = Options {
                level: Level::try_from(level).unwrap(),
                ..Options::default()
            };
            let session = session(bars, written, key, line);
            let made = session.perform().unwrap();
            for note in made.notes() {
                let chorus = session.chorus(note.chorus);
                let chord = note.span.and_then(|span| chorus.spans[span].chord.as_ref());
                let here = format!("{note} in {key}: {}", note.why);
                assert!(!is_odd(note.pitch.name(), chord, key), "{here}");
                let told = names_in(&note.why);
                // What a reason names may be a tone of the coming chord.
                assert!(
                    told.into_iter().all(|name| name.alteration().abs() < 2),
                    "{here}"
                );
            }
            for (line, comp) in &made.choruses {
                let chorus = session.chorus(line.chorus);
                for attack in &comp.attacks {
                    let chord = chorus.spans[attack.span].chord.as_ref().unwrap();
                    let named = attack.voicing.pitches(chord, Spelling::Reader, key);
                    assert_eq!(named.len(), attack.voicing.keys.len());
                    let odd = named
                        .iter()
                        .find(|pitch| is_odd(pitch.name(), Some(chord), key));
                    assert_eq!(odd, None, "{attack:?} over {chord} in {key}");
                }
            }
        }
    }
}

#[test]
fn a_repeated_pitch_keeps_its_name_over_one_chord() {
    let mut repeated = 0;
    for (key, chart) in keys() {
        let (written, bars) = CHARTS[chart];
        let line = Options {
            level: "6".parse().unwrap(),
            ..Options::default()
        };
        let made_by = session(bars, written, key, line);
        let made = made_by.perform().unwrap();
        for (line, _) in &made.choruses {
            for pair in line.notes.windows(2) {
                let same = pair[0].pitch.midi() == pair[1].pitch.midi();
                if same && pair[0].span == pair[1].span {
                    repeated += 1;
                    assert_eq!(
                        pair[0].pitch, pair[1].pitch,
                        "{} {} in {key}",
                        pair[0], pair[1]
                    );
                }
            }
        }
    }
    assert!(
        repeated > 100,
        "{repeated} repeated notes are too few to tell"
    );
}

/// The written names of a MusicXML part, tied notes once.
fn written(xml: &str) -> Vec<String> {
    let part = xml.split("<part id").nth(1).unwrap();
    let notes = part
        .split("<note")
        .skip(1)
        .filter(|note| note.contains("<pitch>"));
    let notes = notes.filter(|note| !note.contains("<tie type=\"stop\""));
    let text = |note: &str, tag: &str| {
        let after = note.split(&format!("<{tag}>")).nth(1)?;
        Some(after.split('<').next()?.trim().to_owned())
    };
    notes
        .map(|note| {
            let alter = text(note, "alter").map_or(0, |alter| alter.parse::<i8>().unwrap());
            let sign = if alter < 0 { "b" } else { "#" }.repeat(usize::from(alter.unsigned_abs()));
            format!(
                "{}{sign}{}",
                text(note, "step").unwrap(),
                text(note, "octave").unwrap()
            )
        })
        .collect()
}

#[test]
fn lines_sheets_and_verdicts_call_a_note_the_same() {
    for (key, chart) in keys() {
        for (spelling, level) in [
            (Spelling::Reader, 4),
            (Spelling::Reader, 6),
            (Spelling::Strict, 5),
        ] {
            let (title, bars) = CHARTS[chart];
            let line = Options {
                level: Level::try_from(level).unwrap(),
                spelling,
                ..Options::default()
            };
            let session = session(bars, title, key, line.clone());
            let made = session.perform().unwrap();
            let notes: Vec<&LineNote> = made.notes().collect();
            // A bass is written an octave above its sound.
            let written_as =
                |note: &&LineNote| Pitch::new(note.pitch.name(), note.pitch.octave() + 1);
            let names: Vec<String> = notes
                .iter()
                .map(|note| written_as(note).to_string())
                .collect();

            let played: Vec<_> = made
                .choruses
                .iter()
                .map(|(line, _)| (session.chorus(line.chorus), line))
                .collect();
            let ending = made.ending.as_ref().map(|(note, _)| note);
            let music = Music::new(&played, ending, true, &line.hand);
            let xml = musicxml::write(&music, None, Contents::default());
            assert_eq!(
                written(&String::from_utf8(xml).unwrap()),
                names,
                "notation in {key}"
            );

            let chorus = session.chorus(1).clone();
            let judge = Judge::new(chorus, session.understood(1), line.range).spelled(spelling);
            let heard: Vec<_> = notes.iter().map(|&note| note.into()).collect();
            let judged = judge.judge(&heard, 2);
            for (note, verdict) in notes.iter().zip(&judged.verdicts) {
                assert_eq!(verdict.pitch, note.pitch, "{note} in {key}, {spelling}");
                assert_eq!(
                    verdict.degree,
                    Some(note.degree),
                    "{note} in {key}, {spelling}"
                );
            }
        }
    }
}

#[test]
fn faults_are_told_by_plain_names() {
    let mut chart =
        Chart::from_bars("Fdim7 | Abm7b5 | Db7alt | Gbmaj7", "4/4".parse().unwrap()).unwrap();
    chart.key = "Gb".parse().unwrap();
    let chorus = chart.chorus();
    let understood = analyse(&chorus.spans, chorus.key);
    let judge = Judge::new(chorus.clone(), &understood, (28, 55));
    let mut told = BTreeSet::new();
    for lowest in 28..=43 {
        let beats = chorus.beats() as u8;
        let heard: Vec<_> = (0..beats)
            .map(|beat| Heard {
                chorus: 1,
                start: Ticks(960 * i64::from(beat)),
                length: Ticks(960),
                key: lowest + (beat * 5) % 12,
            })
            .collect();
        for verdict in judge.judge(&heard, 1).verdicts {
            let mended = verdict.mend.as_ref().map_or("", |mend| mend.why.as_str());
            for words in [verdict.why.as_str(), mended] {
                told.extend(names_in(words));
                let odd = names_in(words).find(|name| name.alteration().abs() > 1);
                assert_eq!(odd, None, "{words}");
            }
            assert!(verdict.pitch.name().alteration().abs() < 2);
        }
    }
    assert!(told.len() > 11, "{told:?}");
}

#[test]
fn the_theorist_reads_the_degrees_letters() {
    let strict = Options {
        spelling: Spelling::Strict,
        ..Options::default()
    };
    let key: Key = "F".parse().unwrap();
    let session = session("Fdim7 | % | % | %", "F", key, strict);
    let made = session.perform().unwrap();
    let names: BTreeSet<String> = made
        .notes()
        .map(|note| note.pitch.name().to_string())
        .collect();
    assert!(names.contains("Ebb"), "{names:?}");
    assert!(!names.contains("D"), "{names:?}");
}

#[test]
fn a_pinned_note_is_called_as_it_was_pinned() {
    let pin: Pin = "1.3=Gb2".parse().unwrap();
    let line = Options {
        level: "6".parse().unwrap(),
        pins: vec![pin],
        ..Options::default()
    };
    let key: Key = "D".parse().unwrap();
    let session = session("D7 | % | G7 | %", "D", key, line);
    let made = session.perform().unwrap();
    let pinned = made
        .notes()
        .find(|note| note.bar == 1 && note.beat() == 3.0)
        .unwrap();
    assert_eq!(pinned.pitch.to_string(), "Gb2");
}
