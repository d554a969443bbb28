//! From drawn keys to a line that a student can read: names, parts and reasons.

use super::{
    ChorusLine, LineNote,
    layout::{Layout, Slot},
    parts::{Before, Goal, Neighbours},
    spelling::{self, Naming},
};
use crate::{options::Options, plan::Development, role::Role, rules::Sound};
use endpin_theory::{Degree, Mode, NoteName, Strength, Ticks, chart::Chorus};

/// What follows a chorus: the note on which the next one begins.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Following {
    /// MIDI key.
    pub key: u8,
    /// Its name.
    pub name: NoteName,
}

/// A note that sounds, with the number of its slot.
#[derive(Clone, Copy)]
struct Sounding {
    slot: usize,
    key: u8,
}

/// Names and explains the notes of a chorus; `keys` holds the key of each slot or [`u8::MAX`].
pub(crate) fn chorus(
    number: u32,
    layout: &Layout,
    development: Development,
    keys: &[u8],
    following: Option<Following>,
) -> ChorusLine {
    let sounding: Vec<Sounding> = keys
        .iter()
        .enumerate()
        .filter(|&(_, &key)| key != u8::MAX)
        .map(|(slot, &key)| Sounding { slot, key })
        .collect();
    let pairs = development.level.rung().pairs;
    let mut notes: Vec<LineNote> = Vec::with_capacity(sounding.len());
    // From the last note to the first: the name of a note may follow from that of its goal.
    let mut goal = following.map(|following| Goal {
        key: following.key,
        name: following.name,
        arrival: true,
        stressed: true,
    });
    let mut after: Option<Goal> = None;
    let mut following_slot = None;
    for (index, &note) in sounding.iter().enumerate().rev() {
        let slot = &layout.slots[note.slot];
        let before = index.checked_sub(1).map(|before| sounding[before]);
        let repeats = |other: &Slot| other.span == slot.span;
        let next_name =
            goal.filter(|next| next.key == note.key && following_slot.is_some_and(repeats));
        let pinned_before = before.filter(|before| before.key == note.key);
        let pinned_before = pinned_before.map(|before| &layout.slots[before.slot]);
        let pinned_before = pinned_before
            .filter(|slot| repeats(slot))
            .and_then(|slot| slot.pinned);
        let neighbours = Neighbours {
            key: note.key,
            onset: &slot.onset,
            harmony: &layout.harmonies[slot.span],
            strength: slot.strength,
            before: before.map(|before| Before {
                key: before.key,
                onset: &layout.slots[before.slot].onset,
            }),
            goal,
            second_next: after,
            repeated: pinned_before
                .map(|pitch| pitch.name())
                .or(next_name.map(|next| next.name)),
            begins_pair: pairs,
            ends_pair: pairs,
        };
        let end = end_of(layout, note.slot, &sounding, index);
        let named = line_note(number, slot, &neighbours, end);
        following_slot = Some(slot);
        after = goal;
        goal = Some(Goal {
            key: note.key,
            name: named.pitch.name(),
            arrival: slot.onset.arrival,
            stressed: slot.onset.stressed,
        });
        notes.push(named);
    }
    notes.reverse();
    ChorusLine {
        chorus: number,
        notes,
        phrases: Vec::new(),
    }
}

/// The note of a slot among its neighbours.
fn line_note(chorus: u32, slot: &Slot, neighbours: &Neighbours<'_>, end: Ticks) -> LineNote {
    let part = neighbours.part();
    let pitch = slot.pinned;
    let pitch = pitch.unwrap_or_else(|| spelling::at(part.name, neighbours.key));
    let harmony = neighbours.harmony;
    let liberty = neighbours.liberty(&part);
    LineNote {
        chorus,
        bar: slot.bar,
        start: slot.start,
        in_bar: slot.in_bar,
        beat_length: slot.beat_length,
        length: end - slot.start,
        pitch,
        span: Some(slot.span),
        chord: harmony.symbol.clone(),
        degree: harmony.degree(neighbours.key, pitch.name()),
        role: part.role.unwrap_or(Role::Scale),
        approach: part.approach,
        strength: slot.strength,
        ghost: part.ghost,
        why: match liberty {
            Some(liberty) => format!(
                "{}; {}",
                neighbours.why(&part, pitch.name()),
                liberty.words()
            ),
            None => neighbours.why(&part, pitch.name()),
        },
        liberty,
    }
}

/// Where a note ends: at the next note, or where the bass rests, or with the chorus.
fn end_of(layout: &Layout, slot: usize, sounding: &[Sounding], index: usize) -> Ticks {
    let next = sounding
        .get(index + 1)
        .map_or(layout.slots.len(), |next| next.slot);
    let rest = layout.slots[slot + 1..next]
        .iter()
        .find(|slot| slot.onset.sound == Sound::Rest);
    match (rest, layout.slots.get(next)) {
        (Some(rest), _) => rest.start,
        (None, Some(next)) => next.start,
        (None, None) => layout.length,
    }
}

/// The ending: the root of the home chord, held for a bar after the last chorus.
pub(crate) fn ending(
    chorus: &Chorus,
    last: &ChorusLine,
    following: Option<Following>,
    options: &Options,
) -> LineNote {
    let range = options.range;
    let naming = Naming {
        spelling: options.spelling,
        key: chorus.key,
    };
    let root = chorus.home_chord().map(|chord| chord.root());
    let name = naming.tone(root.unwrap_or(chorus.key.tonic));
    let from = last.notes.last().map(|note| note.pitch.midi() as u8);
    let middle = (range.0 + range.1) / 2;
    let as_planned = following.filter(|following| following.key % 12 == name.chroma());
    let key = match as_planned {
        Some(following) => following.key,
        None => nearest(name.chroma(), from.unwrap_or(middle), range),
    };
    let bar = &chorus.bars[chorus.bars.len() - 1];
    let chord = match chorus.home_chord() {
        Some(_) => chorus.spans[0].symbol.clone(),
        None if chorus.key.mode == Mode::Minor => format!("{name}m"),
        None => name.to_string(),
    };
    LineNote {
        chorus: last.chorus,
        bar: bar.number + 1,
        start: chorus.length(),
        in_bar: Ticks::ZERO,
        beat_length: bar.meter.beat_ticks(),
        length: bar.meter.bar_ticks(),
        pitch: spelling::at(name, key),
        span: None,
        why: format!("home: the root of {chord}, held"),
        chord,
        degree: Degree::new(1, 0),
        role: Role::Root,
        approach: None,
        strength: Strength::Strong,
        ghost: false,
        liberty: None,
    }
}

/// The key of this chroma that a line coming `from` ends on: a step or the dominant away if it can be, else
/// the nearest, the lower of two; outside the range only if the range has none.
fn nearest(chroma: u8, from: u8, range: (u8, u8)) -> u8 {
    let candidates = (0..128u8).filter(|key| key % 12 == chroma);
    candidates
        .min_by_key(|&key| {
            let outside = !(range.0..=range.1).contains(&key);
            let distance = key.abs_diff(from);
            (outside, distance, key)
        })
        .unwrap_or(from)
}
