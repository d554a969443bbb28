//! One sentence for each chord and its scale.

use super::cliche;
use super::numeral::{numeral_as, target_numeral};
use super::path::Sense;
use super::reading::{Color, Reading};
use super::sounding::Heard;
use crate::{
    chord::{Chord, Family},
    interval::{Degree, Interval},
    key::{Key, Mode},
    pitch::NoteName,
    scale::{Scale, ScaleKind::*},
    spelling::{Heading, Spelling},
};

/// "V of ii, so half-whole diminished: its b9, Eb, falls to D, the fifth of Gm7."
pub(super) fn reason(
    all: &[Heard],
    place: usize,
    home: Key,
    key: Key,
    step: Sense,
    scale: Scale,
) -> String {
    let heard = &all[place];
    let mut what = what(heard, home, key, step);
    if let Some(line) = cliche::falling(all, place) {
        let notes: Vec<String> = line.notes.iter().map(ToString::to_string).collect();
        let notes = notes.join(" ");
        what += &match line.bass {
            true => format!(", over a bass that falls {notes}"),
            false => format!(", with a line inside that falls {notes}"),
        };
    }
    let next = heard.next.map(|next| all[next].written);
    match why(&heard.chord, key, step.1, scale, next) {
        Some(why) => format!("{what}, so {}: {why}", scale.name()),
        None => format!("{what}, so {}", scale.name()),
    }
}

fn long_name(key: Key) -> String {
    match key.mode {
        Mode::Major => format!("{} major", key.tonic),
        Mode::Minor => key.to_string(),
    }
}

fn what(heard: &Heard, home: Key, key: Key, (hypothesis, reading): Sense) -> String {
    let chord = heard.chord.as_ref();
    let numeral = numeral_as(chord, key, reading);
    let above = (heard.sound.root + 12 - hypothesis.tonic) % 12;
    let of = |target| target_numeral(target, key.mode);
    // A dominant that leads to another dominant, so that none of them comes to rest.
    let extended = match heard.after {
        Some(after) if after.family == Family::Dominant => ", itself a dominant",
        _ => "",
    };
    match reading {
        Reading::Own if hypothesis.color == Color::Blues && matches!(above, 0 | 5) => {
            format!("{numeral} of a blues in {}", key.tonic)
        }
        Reading::Own if hypothesis.is_tonic(heard.sound) => {
            let place = if (key.tonic.chroma(), key.mode) == (home.tonic.chroma(), home.mode) {
                String::new()
            } else {
                let degree = (key.tonic.chroma() + 12 - home.tonic.chroma()) % 12;
                match degree {
                    0 => ", home in its other mode".to_owned(),
                    _ => format!(
                        ", a key of its own on {} of {home}",
                        target_numeral(degree, home.mode)
                    ),
                }
            };
            let held = match hypothesis.rests(heard) {
                true => ", held long enough to be a mode of its own",
                false => "",
            };
            format!("{numeral} of {}{place}{held}", long_name(key))
        }
        Reading::Own => format!("{numeral} of {}", long_name(key)),
        Reading::Borrowed => {
            let minor_subdominant = key.mode == Mode::Major
                && (above == 5 || above == 2 && chord.family() == Family::HalfDiminished);
            let name = match minor_subdominant {
                true => ", the minor subdominant",
                false => "",
            };
            format!(
                "{numeral}{name}, borrowed into {} from its parallel key",
                long_name(key)
            )
        }
        Reading::Secondary(target) => format!("V of {}{extended}", of(target)),
        Reading::RelatedTwo(target) => format!("ii of the V of {} that follows", of(target)),
        Reading::Substitute(target) => {
            format!("tritone substitute for the V of {}{extended}", of(target))
        }
        Reading::SubstituteTwo(target) => {
            format!("ii of the tritone substitute for the V of {}", of(target))
        }
        Reading::Backdoor => format!("{numeral}, the backdoor dominant of {}", long_name(key)),
        Reading::Leading(target) => format!("diminished on the leading tone of {}", of(target)),
        Reading::Inverted(target) => {
            format!(
                "{numeral}, with the leading tone of {} above its root",
                of(target)
            )
        }
        Reading::Passing if chord.family() == Family::Minor => {
            format!("{numeral}, a passing chord between its neighbours a half step away")
        }
        Reading::Passing => format!("{numeral}, a passing diminished chord"),
        Reading::Rising => {
            format!("{numeral}, a passing diminished chord that rises into the coming bass")
        }
        Reading::CommonTone => format!(
            "{numeral}, a diminished chord about a common tone, {}",
            chord.root()
        ),
        Reading::Foreign => format!("{numeral}, no chord of {}", long_name(key)),
    }
}

fn why(
    chord: &Chord,
    key: Key,
    reading: Reading,
    scale: Scale,
    next: Option<&Chord>,
) -> Option<String> {
    // As a reader meets them: the b9 of Db7 is D.
    let tones: Vec<NoteName> = chord.chord_tones().iter().map(|tone| tone.name).collect();
    let read =
        |name: NoteName| Spelling::Reader.name(name.chroma(), None, &tones, key, Heading::Falling);
    let note = |degree: Degree| chord.root() + degree.interval();
    let falls = next.filter(|next| {
        (next.root().chroma() + 12 - chord.root().chroma()) % 12 == 5
            && matches!(scale.kind(), HalfWhole | PhrygianDominant | Altered)
    });
    if let Some(next) = falls {
        let ninth = note(Degree::new(9, -1));
        let fifth = ninth + -Interval::new(1, 1);
        return Some(format!(
            "its b9, {}, falls to {}, the fifth of {next}",
            read(ninth),
            read(fifth)
        ));
    }
    match (scale.kind(), reading) {
        (LydianDominant, Reading::Substitute(target)) => {
            let sharp_eleventh = note(Degree::new(11, 1));
            return Some(format!(
                "its #11, {}, is the root of the V of {} that it stands for",
                read(sharp_eleventh),
                target_numeral(target, key.mode)
            ));
        }
        (WholeHalf, _) => return Some("a whole step above each tone of the chord".to_owned()),
        (HalfWhole, _) => return Some("b9 and #9 below a plain fifth and thirteenth".to_owned()),
        (Altered, _) => return Some("both ninths and both fifths altered".to_owned()),
        (WholeTone, _) => return Some("whole steps only, for its altered fifth".to_owned()),
        _ => {}
    }
    let own: Vec<NoteName> = key.notes();
    let outside: Vec<String> = scale
        .notes()
        .iter()
        .filter(|name| !own.iter().any(|note| note.chroma() == name.chroma()))
        .map(ToString::to_string)
        .collect();
    let from = scale.tonic();
    Some(match outside.len() {
        0 if from == key.tonic => return None,
        0 => format!("the notes of {} from {from}", long_name(key)),
        1..=2 => format!(
            "the notes of {} with {}",
            long_name(key),
            outside.join(" and ")
        ),
        _ => return None,
    })
}
