//! What a teacher would say of a note.

use super::{
    Broken, Line, Verdict,
    ground::LeadsInto,
    part::{beat_words, coming_root},
    rules::seams,
};
use crate::{
    line::spelling::{self, pitch_of_key},
    role::Role,
};
use endpin_theory::{Chord, Degree};

/// The sentence for one note: what it breaks, or what it is.
pub(super) fn why(line: &Line<'_>, index: usize, verdict: &Verdict) -> String {
    if verdict.broken.is_empty() {
        return part_played(line, index, verdict);
    }
    let faults = verdict.broken.iter().filter(|&&rule| {
        // A wrong root that is no chord tone either, or an approach that also belongs nowhere: said once.
        let said = |other: Broken| verdict.broken.contains(&other);
        match rule {
            Broken::StrongBeats => !said(Broken::ArrivalRoot),
            Broken::WeakBeats => !said(Broken::Approach) && !said(Broken::Join),
            _ => true,
        }
    });
    let faults: Vec<String> = faults
        .map(|&rule| fault(line, index, verdict, rule))
        .collect();
    let fault = faults.join("; ");
    match &verdict.device {
        Some(device) => format!("{}; {fault}", device.words()),
        None => fault,
    }
}

fn fault(line: &Line<'_>, index: usize, verdict: &Verdict, rule: Broken) -> String {
    let name = verdict.pitch.name();
    let chord = &verdict.chord;
    let is = match verdict.degree {
        Some(degree) => format!("{name} is {} of {chord}", degree_words(degree)),
        None => format!("{name}"),
    };
    match rule {
        Broken::ArrivalRoot => arrival_fault(line, index, verdict, &is),
        Broken::StrongBeats => format!(
            "{is}, on {}: a chord tone belongs there, {}",
            beat_words(verdict.strength),
            chord_tones(line, index)
        ),
        Broken::WeakBeats => format!(
            "{name} belongs neither to {chord} nor to its scale, and does not lead into what follows"
        ),
        Broken::Approach | Broken::Join => {
            let coming = coming_root(line, index).map_or_else(String::new, |root| root.to_string());
            let what = match rule {
                Broken::Join => "the next time round",
                _ => "the change",
            };
            format!(
                "{is} and does not lead into {coming}: {what} wants a note a semitone or a whole step from \
                 {coming}, or its dominant"
            )
        }
        Broken::RootToSeventh => {
            let seam = seams(line)[index].unwrap_or_default();
            let seam = u8::try_from(seam).map_or_else(
                |_| String::new(),
                |key| format!(" {}", spelling::at(seam_name(line, index, key), key)),
            );
            format!(
                "{} lies above the seventh{seam}, where the player who comps begins: stay at or below it",
                verdict.pitch
            )
        }
        Broken::Playable => playable_fault(line, index, verdict),
    }
}

fn arrival_fault(line: &Line<'_>, index: usize, verdict: &Verdict, is: &str) -> String {
    let stand = &line.stands[index];
    if stand.ending {
        return format!(
            "{} at the end: home is {}",
            verdict.pitch.name(),
            line.ground.home
        );
    }
    let bass = match line.sounding(index).filter(|_| stand.arrival) {
        Some(sounding) => sounding.chord.bass(),
        None => {
            let under = line.beats_under(index).find(|(arrival, _)| *arrival);
            return match under {
                Some((_, coming)) => format!(
                    "{} is held over the arrival of {}: nobody hears its root, {}",
                    verdict.pitch.name(),
                    coming.chord,
                    coming.chord.bass()
                ),
                None => is.to_owned(),
            };
        }
    };
    format!("{is}, which arrives here: the room listens for {bass}")
}

fn playable_fault(line: &Line<'_>, index: usize, verdict: &Verdict) -> String {
    let (lowest, highest) = line.range;
    let key = line.heard[index].key;
    if !(lowest..=highest).contains(&key) {
        let (lowest, highest) = (pitch_of_key(lowest), pitch_of_key(highest));
        return format!(
            "{} lies outside the instrument, {lowest} to {highest}",
            verdict.pitch
        );
    }
    if super::rules::out_of_reach(line)[index] {
        return format!(
            "{} lies too far up or down the neck for the hand to come in time",
            verdict.pitch
        );
    }
    let before = index
        .checked_sub(1)
        .map_or(0, |before| line.key(index) - line.key(before));
    match before {
        0 => format!("{} for the third time running: move", verdict.pitch),
        far if far.abs() > 12 => {
            format!(
                "a leap of {} semitones: nothing wider than an octave",
                far.abs()
            )
        }
        up => {
            let (leapt, back) = if up > 0 {
                ("up", "down")
            } else {
                ("down", "up")
            };
            format!("after the leap {leapt} the line goes on {leapt}: turn back {back}")
        }
    }
}

/// The chord's tones, as "F, A, C or Eb".
fn chord_tones(line: &Line<'_>, index: usize) -> String {
    let under = || line.beats_under(index).next().map(|(_, sounding)| sounding);
    let Some(sounding) = line.sounding(index).or_else(under) else {
        return String::new();
    };
    let names: Vec<String> = sounding
        .tones
        .iter()
        .map(|tone| tone.name.to_string())
        .collect();
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => names.join(""),
    }
}

fn seam_name(line: &Line<'_>, index: usize, key: u8) -> endpin_theory::NoteName {
    let plain = spelling::plain(key, false);
    let Some(sounding) = line.sounding(index) else {
        return plain;
    };
    let seventh = Chord::tones(&sounding.chord)
        .into_iter()
        .map(|(_, name)| name)
        .chain(sounding.scale.notes());
    seventh
        .into_iter()
        .find(|name| name.chroma() == key % 12)
        .unwrap_or(plain)
}

/// What a note that keeps the rules is.
fn part_played(line: &Line<'_>, index: usize, verdict: &Verdict) -> String {
    let stand = &line.stands[index];
    let chord = &verdict.chord;
    if stand.ending {
        return match verdict.role {
            Some(_) => format!("home: the root of {chord}"),
            None => "after the end".to_owned(),
        };
    }
    if stand.span.is_none() {
        return "before the first chorus".to_owned();
    }
    if line.sounding(index).is_none() {
        return "a fill while the band is silent".to_owned();
    }
    let goal = match coming_root(line, index) {
        Some(root) => root.to_string(),
        None => match line.heard.get(index + 1) {
            Some(next) => spelling::plain(next.key, false).to_string(),
            None => "what follows".to_owned(),
        },
    };
    let on = match () {
        () if stand.arrival => format!("on the arrival of {chord}"),
        () if !stand.on_beat => format!("of {chord}, between the beats"),
        () => format!("of {chord} on {}", beat_words(verdict.strength)),
    };
    match (verdict.role, verdict.approach) {
        (None, _) => format!("leads on from {chord}"),
        (Some(Role::Bass), _) => format!("the bass note written in {chord}"),
        (Some(Role::Scale), _) => format!("scale note {on}"),
        (Some(role), _) if role.is_approach() => leading(role, &goal),
        (Some(role), None) => format!("{role} {on}"),
        (Some(role), Some(approach)) if stand.leads != LeadsInto::Nothing => {
            format!("{role} {on}; also {}", leading(approach, &goal))
        }
        (Some(role), Some(_)) => format!("{role} {on}"),
    }
}

fn leading(role: Role, goal: &str) -> String {
    match role {
        Role::ChromaticBelow => format!("a semitone below {goal}, leading up into it"),
        Role::ChromaticAbove => format!("a semitone above {goal}, leading down into it"),
        Role::ScaleBelow => format!("a whole step below {goal}, leading up into it"),
        Role::ScaleAbove => format!("a whole step above {goal}, leading down into it"),
        Role::Dominant => format!("the dominant of {goal}"),
        Role::DoubleChromatic => "one of two semitone steps into the coming note".to_owned(),
        Role::Enclosure => "one of two notes that surround the coming note".to_owned(),
        other => format!("{other}, leading into {goal}"),
    }
}

/// A degree as musicians say it: the second of a chord is its ninth.
fn degree_words(degree: Degree) -> String {
    let name = match degree.number() {
        1 => "root",
        2 => "ninth",
        3 => "third",
        4 => "eleventh",
        5 => "fifth",
        6 => "thirteenth",
        _ => "seventh",
    };
    let quality = match (degree.number(), degree.alteration()) {
        (3 | 7, 0) => "major ",
        (3 | 7, -1) => "minor ",
        (7, -2) => "diminished ",
        (_, 0) => "",
        (_, down) if down < 0 => "flat ",
        _ => "sharp ",
    };
    format!("the {quality}{name}")
}
