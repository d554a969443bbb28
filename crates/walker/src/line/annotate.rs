//! From drawn keys to a line that a student can read: names, parts and reasons.

use super::{
    ChorusLine, LineNote,
    layout::{Harmony, Layout, Slot},
    spelling,
};
use crate::{
    plan::Development,
    role::Role,
    rules::{Leads, Sound, Within, is_double_chromatic, is_enclosure},
};
use endpin_theory::{Degree, NoteName, Strength, Ticks, chart::Chorus};

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

/// What a note leads to.
#[derive(Clone, Copy)]
struct Goal {
    key: u8,
    name: NoteName,
    arrival: bool,
    stressed: bool,
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
    let mut notes: Vec<LineNote> = Vec::with_capacity(sounding.len());
    // From the last note to the first: the name of a note may follow from that of its goal.
    let mut goal = following.map(|following| Goal {
        key: following.key,
        name: following.name,
        arrival: true,
        stressed: true,
    });
    let mut after: Option<Goal> = None;
    for (index, &note) in sounding.iter().enumerate().rev() {
        let slot = &layout.slots[note.slot];
        let before = index.checked_sub(1).map(|before| sounding[before]);
        let reader = Reader {
            layout,
            development,
            slot,
            key: note.key,
            goal,
            second_next: after,
            before: before.map(|before| (before.key, &layout.slots[before.slot])),
        };
        let named = reader.read(number, end_of(layout, note.slot, &sounding, index));
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

/// One note among its neighbours.
struct Reader<'a> {
    layout: &'a Layout,
    development: Development,
    slot: &'a Slot,
    key: u8,
    /// The note that follows.
    goal: Option<Goal>,
    /// The note after that.
    second_next: Option<Goal>,
    before: Option<(u8, &'a Slot)>,
}

impl Reader<'_> {
    fn harmony(&self) -> &Harmony {
        &self.layout.harmonies[self.slot.span]
    }

    fn read(&self, chorus: u32, end: Ticks) -> LineNote {
        let approach = self.approach();
        let (role, approach, name) = self.part(approach);
        let harmony = self.harmony();
        let root = harmony.chord.as_ref().map_or(name, |chord| chord.root());
        let pitch = self
            .slot
            .pinned
            .unwrap_or_else(|| spelling::at(name, self.key));
        let ghost = self.slot.onset.within == Within::Eighth
            && self.before.is_some_and(|(key, _)| key == self.key);
        let mut note = LineNote {
            chorus,
            bar: self.slot.bar,
            start: self.slot.start,
            in_bar: self.slot.in_bar,
            beat_length: self.slot.beat_length,
            length: end - self.slot.start,
            pitch,
            span: Some(self.slot.span),
            chord: harmony.symbol.clone(),
            degree: Degree::of(root, pitch.name()),
            role,
            approach,
            strength: self.slot.strength,
            ghost,
            why: String::new(),
        };
        note.why = self.why(&note);
        note
    }

    /// The approach that the note makes into what follows, if any.
    fn approach(&self) -> Option<Role> {
        let onset = &self.slot.onset;
        let goal = self.goal?;
        if onset.stressed && !goal.arrival && !self.development.level.rung().pairs {
            return None;
        }
        if let Some(pair) = self.pair() {
            return Some(pair);
        }
        if !goal.stressed || (onset.stressed && !goal.arrival) {
            return None;
        }
        let distance = i16::from(self.key) - i16::from(goal.key);
        Role::single_approach(distance, goal.arrival)
    }

    /// The two-note approach to which the note belongs, from level 5 on.
    fn pair(&self) -> Option<Role> {
        if !self.development.level.rung().pairs {
            return None;
        }
        let goal = self.goal?;
        let this = i16::from(self.key);
        let as_second = self.before.and_then(|(before, slot)| {
            let fits = goal.stressed && !self.slot.onset.stressed && !slot.onset.arrival;
            fits.then(|| (this - i16::from(before), i16::from(goal.key) - this))
        });
        let as_first = self.second_next.and_then(|second_next| {
            let fits = second_next.stressed && !goal.stressed && !self.slot.onset.arrival;
            let to_goal = i16::from(goal.key) - this;
            fits.then(|| (to_goal, i16::from(second_next.key) - i16::from(goal.key)))
        });
        [as_second, as_first]
            .into_iter()
            .flatten()
            .find_map(|(first, second)| {
                if is_double_chromatic(first, second) {
                    Some(Role::DoubleChromatic)
                } else {
                    is_enclosure(first, second).then_some(Role::Enclosure)
                }
            })
    }

    /// Role, approach besides, and name.
    fn part(&self, approach: Option<Role>) -> (Role, Option<Role>, NoteName) {
        let harmony = self.harmony();
        let chroma = self.key % 12;
        let slash = harmony.chord.as_ref().and_then(|chord| chord.slash());
        let written_bass = slash.filter(|bass| self.slot.onset.arrival && bass.chroma() == chroma);
        let tone = harmony
            .tones
            .iter()
            .find(|tone| tone.name.chroma() == chroma);
        if let Some(tone) = tone {
            return (
                tone.part.into(),
                approach,
                written_bass.unwrap_or(tone.name),
            );
        }
        if let Some(bass) = written_bass {
            return (Role::Bass, approach, bass);
        }
        let in_scale = harmony
            .scale
            .iter()
            .flat_map(|scale| scale.notes())
            .find(|name| name.chroma() == chroma);
        let leads = self.slot.onset.leads != Leads::Nowhere;
        match (in_scale, approach) {
            // Into its goal a note reads best by direction: C up to D, even over A7 where it is B#, the #9.
            (Some(_), Some(approach)) if leads => (approach, None, self.outside_name()),
            (Some(name), _) => (Role::Scale, None, name),
            (None, _) => {
                let name = self.outside_name();
                (approach.unwrap_or(Role::Scale), None, name)
            }
        }
    }

    /// The name of a note from outside the chord and its scale, by the note to which it leads.
    fn outside_name(&self) -> NoteName {
        let goal = match (self.goal, self.second_next) {
            (Some(goal), Some(second_next)) if !goal.stressed => Some(second_next),
            (goal, _) => goal,
        };
        match goal {
            Some(goal) => spelling::towards(
                self.key,
                goal.name,
                i16::from(goal.key) - i16::from(self.key),
            ),
            None => spelling::plain(self.key, true),
        }
    }

    /// The reason for a note, in words for a student.
    fn why(&self, note: &LineNote) -> String {
        let onset = &self.slot.onset;
        let chord = &note.chord;
        let name = note.pitch.name();
        let goal = self.goal.map(|goal| goal.name);
        if note.ghost {
            return format!("ghost of the {name} just played: rhythm, not harmony");
        }
        let leading = |role: Role| match (goal, role) {
            (Some(goal), Role::ChromaticBelow) => {
                format!("a semitone below {goal}, leading up into it")
            }
            (Some(goal), Role::ChromaticAbove) => {
                format!("a semitone above {goal}, leading down into it")
            }
            (Some(goal), Role::ScaleBelow) => {
                format!("a whole step below {goal}, leading up into it")
            }
            (Some(goal), Role::ScaleAbove) => {
                format!("a whole step above {goal}, leading down into it")
            }
            (Some(goal), Role::Dominant) => format!("the dominant of {goal}, which follows"),
            (_, Role::DoubleChromatic) => {
                let goal = self
                    .pair_goal()
                    .map_or_else(String::new, |goal| format!(" into {goal}"));
                format!("one of two semitone steps{goal}")
            }
            (_, Role::Enclosure) => {
                let goal = self
                    .pair_goal()
                    .map_or_else(String::new, |goal| format!(" {goal}"));
                format!("one of two notes that surround{goal} before it sounds")
            }
            _ => format!("leads on from {chord}"),
        };
        let falls = matches!(onset.within, Within::SecondTriplet | Within::ThirdTriplet);
        let stands = match () {
            () if onset.arrival => format!("on the arrival of {chord}"),
            () if falls => format!("of {chord}, in a falling triplet"),
            () if onset.within != Within::Beat => format!("of {chord}, between the beats"),
            () if note.strength == Strength::Weak => format!("of {chord} on a weak beat"),
            () => format!("of {chord} on a strong beat"),
        };
        match (note.role, note.approach) {
            (Role::Bass, _) => format!("the bass note written in {chord}, on its arrival"),
            (Role::Scale, _) => {
                let scale = self
                    .harmony()
                    .scale
                    .map_or_else(String::new, |scale| scale.to_string());
                match (self.before, self.goal) {
                    (Some((before, _)), Some(goal)) if between(before, self.key, goal.key) => {
                        format!("scale note passing on to {} ({scale})", goal.name)
                    }
                    _ => format!("scale note of {chord} ({scale})"),
                }
            }
            (role, _) if role.is_approach() => leading(role),
            (role, None) => format!("{role} {stands}"),
            (role, Some(approach)) => format!("{role} {stands}; also {}", leading(approach)),
        }
    }

    fn pair_goal(&self) -> Option<NoteName> {
        match (self.goal, self.second_next) {
            (Some(goal), _) if goal.stressed => Some(goal.name),
            (_, second_next) => second_next.map(|goal| goal.name),
        }
    }
}

fn between(before: u8, key: u8, after: u8) -> bool {
    (before < key && key < after) || (before > key && key > after)
}

/// The ending: the root of the home chord, held for a bar after the last chorus.
pub(crate) fn ending(
    chorus: &Chorus,
    last: &ChorusLine,
    following: Option<Following>,
    range: (u8, u8),
) -> LineNote {
    let name = chorus
        .home_chord()
        .map_or(chorus.key.tonic, |chord| chord.root());
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
