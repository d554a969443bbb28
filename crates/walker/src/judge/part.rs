//! The part that a heard note plays, and its name.

use super::{
    Broken, Line, Verdict,
    devices::Device,
    ground::{LeadsInto, has},
};
use crate::{line::spelling, role::Role};
use endpin_theory::{Degree, NoteName, Strength};

/// The note that another leads into.
#[derive(Clone, Copy)]
struct Goal {
    key: i16,
    name: NoteName,
    arrival: bool,
}

/// The verdict on a note, without words and mend.
pub(super) fn verdict(
    line: &Line<'_>,
    index: usize,
    broken: Vec<Broken>,
    device: Option<Device>,
) -> Verdict {
    let stand = &line.stands[index];
    let heard = line.heard[index];
    let (role, approach, name) = part(line, index);
    let root = match line.sounding(index) {
        Some(sounding) => Some(sounding.chord.root()),
        None => stand.ending.then_some(line.ground.home),
    };
    let beats = |ticks: endpin_theory::Ticks| ticks.0 as f64 / stand.beat_length.0 as f64;
    Verdict {
        heard,
        bar: stand.bar,
        beat: beats(stand.in_bar) + 1.0,
        beats: beats(heard.length),
        pitch: spelling::at(name, heard.key),
        span: stand.span,
        chord: symbol(line, index),
        degree: root.map(|root| Degree::of(root, name)),
        role,
        approach,
        strength: stand.strength,
        broken,
        device,
        why: String::new(),
        mend: None,
    }
}

/// The chord symbol over a note; the chord to come home to over the ending.
fn symbol(line: &Line<'_>, index: usize) -> String {
    let stand = &line.stands[index];
    let chorus = &line.ground.chorus;
    match (stand.span, stand.ending) {
        (Some(span), _) => chorus.spans[span].symbol.clone(),
        (None, true) => match chorus.home_chord() {
            Some(_) => chorus.spans[0].symbol.clone(),
            None => line.ground.home.to_string(),
        },
        (None, false) => String::new(),
    }
}

/// Role, approach besides, and name.
fn part(line: &Line<'_>, index: usize) -> (Option<Role>, Option<Role>, NoteName) {
    let chroma = line.chroma(index);
    let stand = &line.stands[index];
    let Some(sounding) = line.sounding(index) else {
        let home = stand.ending && chroma == line.ground.home.chroma();
        return match home {
            true => (Some(Role::Root), None, line.ground.home),
            false => (None, None, spelling::plain(line.heard[index].key, false)),
        };
    };
    let approach = approach(line, index);
    let slash = sounding
        .chord
        .slash()
        .filter(|bass| bass.chroma() == chroma);
    let tone = sounding
        .tones
        .iter()
        .find(|tone| tone.name.chroma() == chroma);
    if let Some(tone) = tone {
        let name = slash.filter(|_| stand.arrival).unwrap_or(tone.name);
        return (Some(tone.part.into()), approach, name);
    }
    if let Some(bass) = slash {
        return (Some(Role::Bass), approach, bass);
    }
    let scale_name = sounding
        .scale
        .notes()
        .into_iter()
        .find(|name| name.chroma() == chroma);
    match (scale_name, approach) {
        // Into its goal a note reads best by direction: C up to D, even over A7, where it is B#, the #9.
        (Some(_), Some(approach)) if stand.leads != LeadsInto::Nothing => {
            (Some(approach), None, outside_name(line, index))
        }
        (Some(name), _) => (Some(Role::Scale), None, name),
        (None, Some(approach)) => (Some(approach), None, outside_name(line, index)),
        (None, None) => (None, None, outside_name(line, index)),
    }
}

/// The approach that a note makes: of two notes together if the first of them needs the second, else alone.
fn approach(line: &Line<'_>, index: usize) -> Option<Role> {
    let as_second = || pair(line, index.checked_sub(1)?);
    if let Some(role) = pair(line, index).or_else(as_second) {
        return Some(role);
    }
    let goal = goal(line, index)?;
    if line.stands[index].stressed && !goal.arrival {
        return None;
    }
    Role::single_approach(line.key(index) - goal.key, goal.arrival)
}

/// The approach that a note begins as the first of two, if it belongs to chord and scale neither.
fn pair(line: &Line<'_>, first: usize) -> Option<Role> {
    let outside = |note: usize| {
        line.sounding(note)
            .is_some_and(|sounding| !has(sounding.connecting, line.chroma(note)))
    };
    let (second, goal) = (first + 1, first + 2);
    let placed = goal < line.heard.len()
        && !line.stands[first].stressed
        && !line.stands[second].stressed
        && line.stands[goal].stressed;
    if !placed || !outside(first) {
        return None;
    }
    let (to_first, to_second) = (
        line.key(first) - line.key(goal),
        line.key(second) - line.key(goal),
    );
    match (to_first, to_second) {
        (2, 1) | (-2, -1) => Some(Role::DoubleChromatic),
        (1 | 2, -1 | -2) | (-1 | -2, 1 | 2) => Some(Role::Enclosure),
        _ => None,
    }
}

/// The note that another leads into: the one that follows it on a strong beat, or the root that should.
fn goal(line: &Line<'_>, index: usize) -> Option<Goal> {
    let stand = &line.stands[index];
    let from = line.key(index);
    let next = index + 1;
    if let Some(coming) = coming_root(line, index) {
        let arrives = line.stands.get(next).is_some_and(|next| next.arrival);
        if !arrives || line.chroma(next) != coming.chroma() {
            let ahead = [1, -1, 2, -2, 5, -7].into_iter();
            let mut keys = ahead.map(|ahead| from + ahead);
            return keys
                .find(|key| key.rem_euclid(12) == i16::from(coming.chroma()))
                .map(|key| Goal {
                    key,
                    name: coming,
                    arrival: true,
                });
        }
    }
    let follows = line.stands.get(next).filter(|next| next.stressed)?;
    let crosses = follows.span != stand.span || follows.chorus != stand.chorus;
    // Silence of harmony in between breaks the thread.
    let broken_off = crosses && stand.leads == LeadsInto::Nothing && !follows.arrival;
    (!broken_off).then(|| Goal {
        key: line.key(next),
        name: own_name(line, next),
        arrival: follows.arrival,
    })
}

/// The root that the last beat of a span leads into.
pub(super) fn coming_root(line: &Line<'_>, index: usize) -> Option<NoteName> {
    let stand = &line.stands[index];
    match stand.leads {
        LeadsInto::Nothing => None,
        LeadsInto::Change => {
            let coming = line.ground.sounding(stand.span? + 1)?;
            Some(coming.chord.bass())
        }
        LeadsInto::Chorus => {
            let ends = line.stands.get(index + 1).is_some_and(|next| next.ending);
            match ends {
                true => Some(line.ground.home),
                false => line.ground.sounding(0).map(|first| first.chord.bass()),
            }
        }
    }
}

/// The name that chord or scale give to a note, else a plain one.
fn own_name(line: &Line<'_>, index: usize) -> NoteName {
    let chroma = line.chroma(index);
    let fallback = || spelling::plain(line.heard[index].key, false);
    let Some(sounding) = line.sounding(index) else {
        let home = line.ground.home;
        return if home.chroma() == chroma {
            home
        } else {
            fallback()
        };
    };
    let tones = sounding.tones.iter().map(|tone| tone.name);
    [sounding.chord.bass()]
        .into_iter()
        .chain(tones)
        .chain(sounding.scale.notes())
        .find(|name| name.chroma() == chroma)
        .unwrap_or_else(fallback)
}

/// The name of a note from outside chord and scale: by the note to which it leads, else plain, with flats
/// where the chord has them.
fn outside_name(line: &Line<'_>, index: usize) -> NoteName {
    let key = line.heard[index].key;
    let of_pair = pair(line, index).map(|_| index + 2);
    if let Some(goal) = of_pair {
        return spelling::towards(key, own_name(line, goal), line.key(goal) - line.key(index));
    }
    match goal(line, index) {
        Some(goal) => spelling::towards(key, goal.name, goal.key - line.key(index)),
        None => {
            let flats = line.sounding(index).is_some_and(|sounding| {
                sounding.tones.iter().any(|tone| tone.name.alteration() < 0)
            });
            spelling::plain(key, !flats)
        }
    }
}

/// Words for a strength, as in "on a strong beat".
pub(super) fn beat_words(strength: Strength) -> &'static str {
    match strength {
        Strength::Strong => "a strong beat",
        Strength::Medium => "a medium beat, which counts as strong",
        Strength::Weak => "a weak beat",
    }
}
