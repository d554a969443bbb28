//! The rules that no line of the walker breaks, each a small named thing.
//!
//! A rule reads a line note by note, as a teacher listens: it knows the place of the coming note, the note
//! that sounded last and what it chose to remember, and it answers with what to remember from here on, or
//! says no. The lattice runs all rules side by side; whatever they remember is part of its state, so that
//! every line that obeys them can be sampled and counted exactly.
//!
//! They are design section 6, common practice of jazz bass teaching without a single source.

use crate::place::{Leads, Place, Sound, Within};

/// What a rule keeps in mind between two places; 0 at the start.
pub type Memory = u32;

/// One step of a line: the coming place, the note before, and the note that starts there, if one does.
#[derive(Clone, Copy, Debug)]
pub struct Step<'a> {
    /// The coming place.
    pub place: &'a Place,
    /// MIDI key of the last note that started; none at the start of a line.
    pub from: Option<u8>,
    /// MIDI key of the note that starts here; none if nothing does.
    pub to: Option<u8>,
}

impl Step<'_> {
    /// Semitones from the note before to the coming one, upwards positive.
    pub fn distance(&self) -> Option<i16> {
        Some(i16::from(self.to?) - i16::from(self.from?))
    }
}

/// A rule of the line.
pub trait Rule: std::fmt::Debug + Send + Sync {
    /// Its name in every output.
    fn name(&self) -> &'static str;

    /// What it asks and why, in words for a student.
    fn words(&self) -> &'static str;

    /// How many bits it remembers.
    fn memory_bits(&self) -> u32 {
        0
    }

    /// Takes one step: what to remember from here on, or `None` if the step breaks the rule.
    fn read(&self, memory: Memory, step: &Step<'_>) -> Option<Memory>;
}

/// Rule 1: the note at an arrival is the chord's root.
#[derive(Debug)]
pub struct ArrivalRoot;

impl Rule for ArrivalRoot {
    fn name(&self) -> &'static str {
        "arrival-root"
    }

    fn words(&self) -> &'static str {
        "When a new chord arrives, play its root (or the bass note written after the slash): everybody in \
         the room should hear the change from you alone."
    }

    fn read(&self, _: Memory, step: &Step<'_>) -> Option<Memory> {
        let (Some(to), true) = (step.to, step.place.arrival) else {
            return Some(0);
        };
        let at_home = to % 12 == step.place.bass;
        let loose = step.place.loose && step.place.tones.contains(to);
        (at_home || loose).then_some(0)
    }
}

/// Rule 2: strong beats hold chord tones only.
#[derive(Debug)]
pub struct StrongBeats;

impl Rule for StrongBeats {
    fn name(&self) -> &'static str {
        "strong-beats"
    }

    fn words(&self) -> &'static str {
        "On strong beats play chord tones: root, third, fifth or seventh (sixth or fourth where the symbol \
         says so). Listeners take their harmony from these beats."
    }

    fn memory_bits(&self) -> u32 {
        1
    }

    /// Remembers whether the note that sounds spells the chord, since it may be held over a strong beat.
    fn read(&self, spells: Memory, step: &Step<'_>) -> Option<Memory> {
        let place = step.place;
        match step.to {
            None => {
                (place.sound == Sound::Rest || !place.stressed || spells == 1).then_some(spells)
            }
            Some(to) if place.arrival || place.tones.contains(to) => Some(1),
            Some(_) => (!place.stressed).then_some(0),
        }
    }
}

/// Rule 3: weak beats connect.
///
/// A note that is neither chord tone nor scale note owes its resolution to the note that follows; the rule
/// remembers the debt. With two-note approaches allowed, the debt may be paid by the second next note.
#[derive(Debug)]
pub struct WeakBeats {
    /// Whether notes of the scale may pass.
    pub scale_notes: bool,
    /// Whether a note may owe its resolution to a strong beat within the chord, not to arrivals only.
    pub inner_approaches: bool,
    /// Whether the dominant is an approach.
    pub dominants: bool,
    /// Whether two notes may approach together.
    pub two_notes: bool,
}

impl WeakBeats {
    const OWES: Memory = 1;

    /// The debt of two notes of which the second stands `distance` above the first.
    fn pair(distance: i16) -> Memory {
        (distance + 8) as Memory
    }

    /// Pays the debt that the notes before have left, or says what is still owed.
    fn pay(&self, owed: Memory, step: &Step<'_>) -> Option<Memory> {
        if owed == 0 {
            return Some(0);
        }
        let place = step.place;
        let distance = step.distance()?;
        let goal = place.stressed && (place.arrival || self.inner_approaches);
        if owed == Self::OWES {
            let dominant = self.dominants && place.arrival && is_dominant(distance);
            return match (goal, distance.abs()) {
                (true, 1 | 2) => Some(0),
                (true, _) => dominant.then_some(0),
                (false, 1..=4) => self.two_notes.then(|| Self::pair(distance)),
                (false, _) => None,
            };
        }
        let first_to_second = owed as i16 - 8;
        (goal && completes_pair(first_to_second, distance)).then_some(0)
    }
}

/// Whether a move of so many semitones leads from the dominant to its root: a fifth down or a fourth up.
pub(crate) fn is_dominant(distance: i16) -> bool {
    distance == -7 || distance == 5
}

/// Whether two notes and their goal are a double chromatic approach or an enclosure, given the move from
/// first to second and the move from second to goal.
pub(crate) fn completes_pair(first_to_second: i16, second_to_goal: i16) -> bool {
    is_double_chromatic(first_to_second, second_to_goal)
        || is_enclosure(first_to_second, second_to_goal)
}

pub(crate) fn is_double_chromatic(first_to_second: i16, second_to_goal: i16) -> bool {
    first_to_second.abs() == 1 && second_to_goal == first_to_second
}

pub(crate) fn is_enclosure(first_to_second: i16, second_to_goal: i16) -> bool {
    let first_to_goal = first_to_second + second_to_goal;
    (1..=2).contains(&first_to_goal.abs())
        && (1..=2).contains(&second_to_goal.abs())
        && first_to_goal.signum() != second_to_goal.signum()
}

impl Rule for WeakBeats {
    fn name(&self) -> &'static str {
        "weak-beats"
    }

    fn words(&self) -> &'static str {
        "Weak beats connect: a chord tone, a note of the chord's scale, or a note that leads by step (or as \
         the dominant) into the strong note that follows. A note that leads must resolve."
    }

    fn memory_bits(&self) -> u32 {
        4
    }

    fn read(&self, owed: Memory, step: &Step<'_>) -> Option<Memory> {
        let place = step.place;
        let Some(to) = step.to else {
            return (owed == 0 || place.sound != Sound::Rest).then_some(owed);
        };
        let owed = self.pay(owed, step)?;
        let connects = place.tones.contains(to) || (self.scale_notes && place.scale.contains(to));
        if place.stressed || owed > 0 || connects {
            Some(owed)
        } else {
            Some(Self::OWES)
        }
    }
}

/// Rules 4 and 7: the last beat before a change, or before the next chorus, approaches the coming root.
#[derive(Debug)]
pub struct Approach {
    /// The change that this rule looks after.
    pub before: Leads,
    /// Whether the dominant is an approach.
    pub dominants: bool,
}

impl Rule for Approach {
    fn name(&self) -> &'static str {
        match self.before {
            Leads::IntoChorus => "join",
            _ => "approach",
        }
    }

    fn words(&self) -> &'static str {
        match self.before {
            Leads::IntoChorus => {
                "The last beat of a chorus leads into the first root of the next, so that the form turns \
                 round without a seam."
            }
            _ => {
                "The last beat before a new chord leads into its root: from a semitone or a whole step away \
                 on either side, or from its dominant. The change is heard coming."
            }
        }
    }

    fn memory_bits(&self) -> u32 {
        1
    }

    /// Remembers whether the note that sounds has yet to arrive.
    fn read(&self, leading: Memory, step: &Step<'_>) -> Option<Memory> {
        let place = step.place;
        match step.to {
            None if place.sound == Sound::Rest => Some(0),
            None => Some(leading),
            Some(_) => {
                if leading == 1 && place.arrival {
                    let distance = step.distance()?;
                    let by_step = matches!(distance.abs(), 1 | 2);
                    let dominant = self.dominants && is_dominant(distance);
                    if !by_step && !dominant {
                        return None;
                    }
                }
                Some((place.leads == self.before).into())
            }
        }
    }
}

/// Rule 5: the bass stays at or below the seam, the seventh above the highest root of the span.
///
/// A note above the seam of the roots heard so far is a promise that a higher root follows within the span.
#[derive(Debug)]
pub struct RootToSeventh;

impl RootToSeventh {
    /// Memory: the seam (0: no note of this span yet), whether a root has sounded, the highest note if it
    /// still matters.
    fn pack(seam: u8, rooted: bool, high: u8) -> Memory {
        let high = if rooted && high <= seam { 0 } else { high };
        Memory::from(seam) << 8 | Memory::from(high) << 1 | Memory::from(rooted)
    }

    fn unpack(memory: Memory) -> (u8, bool, u8) {
        (
            (memory >> 8) as u8,
            memory & 1 == 1,
            (memory >> 1 & 127) as u8,
        )
    }
}

impl Rule for RootToSeventh {
    fn name(&self) -> &'static str {
        "root-to-seventh"
    }

    fn words(&self) -> &'static str {
        "Stay between the root and its seventh (or below the root): what lies above belongs to the player \
         who comps, and ninths in the bass muddy the chord."
    }

    fn memory_bits(&self) -> u32 {
        16
    }

    fn read(&self, memory: Memory, step: &Step<'_>) -> Option<Memory> {
        let place = step.place;
        let (mut seam, mut rooted, mut high) = Self::unpack(memory);
        if place.arrival {
            if high > seam {
                return None;
            }
            (seam, rooted, high) = (0, false, 0);
        }
        let Some(to) = step.to else {
            return Some(Self::pack(seam, rooted, high));
        };
        let above = to + place.seventh;
        if to % 12 == place.root {
            seam = if rooted { seam.max(above) } else { above };
            rooted = true;
        } else if seam == 0 {
            seam = above;
        }
        Some(Self::pack(seam, rooted, high.max(to)))
    }
}

/// Rule 6: a hand can play it.
#[derive(Debug)]
pub struct Playable;

impl Playable {
    const FREE: Memory = 0;
    const LEAPT_UP: Memory = 1;
    const LEAPT_DOWN: Memory = 2;
    const REPEATED: Memory = 3;
}

impl Rule for Playable {
    fn name(&self) -> &'static str {
        "playable"
    }

    fn words(&self) -> &'static str {
        "Keep it under the hand: no leap beyond an octave, turn back after a leap wider than a fifth (an \
         octave is free), and no pitch three times running in a walking line."
    }

    fn memory_bits(&self) -> u32 {
        2
    }

    fn read(&self, memory: Memory, step: &Step<'_>) -> Option<Memory> {
        let Some(to) = step.to else {
            return Some(memory);
        };
        if !step.place.keys.contains(to) {
            return None;
        }
        let Some(distance) = step.distance() else {
            return Some(Self::FREE);
        };
        let turns_back = match memory {
            Self::LEAPT_UP => distance < 0,
            Self::LEAPT_DOWN => distance > 0,
            Self::REPEATED => distance != 0 || !step.place.no_triple,
            _ => true,
        };
        if !turns_back {
            return None;
        }
        match distance {
            0 => Some(Self::REPEATED),
            8..=11 => Some(Self::LEAPT_UP),
            -11..=-8 => Some(Self::LEAPT_DOWN),
            -12..=12 => Some(Self::FREE),
            _ => None,
        }
    }
}

/// Notes between the beats lead on: part of rule 3.
#[derive(Debug)]
pub struct OffBeats;

impl OffBeats {
    /// The second triplet of this beat has fallen; the third follows.
    const FALLING: Memory = 1;
}

impl Rule for OffBeats {
    fn name(&self) -> &'static str {
        "weak-beats"
    }

    fn words(&self) -> &'static str {
        "Between the beats play little and lead on: a ghost of the note just played, a neighbouring eighth, \
         or two triplets that fall through the chord. Before a new chord only a ghost: nothing may blur the \
         arrival."
    }

    fn memory_bits(&self) -> u32 {
        1
    }

    fn read(&self, falling: Memory, step: &Step<'_>) -> Option<Memory> {
        let place = step.place;
        let falls = || {
            let down = step
                .distance()
                .is_some_and(|distance| (-7..0).contains(&distance));
            down && step.to.is_some_and(|to| place.tones.contains(to))
        };
        match (place.within, step.to) {
            (Within::Beat, _) => Some(0),
            (Within::SecondTriplet, Some(_)) => falls().then_some(Self::FALLING),
            (Within::SecondTriplet, None) => Some(0),
            (Within::Eighth, Some(_)) => {
                let distance = step.distance()?;
                let ghost = distance == 0;
                let leads_on = place.leads == Leads::Nowhere && distance.abs() <= 7;
                (falling == 0 && (ghost || leads_on)).then_some(0)
            }
            (Within::Eighth, None) => Some(falling),
            (Within::ThirdTriplet, Some(_)) => (falling == Self::FALLING && falls()).then_some(0),
            (Within::ThirdTriplet, None) => (falling == 0).then_some(0),
        }
    }
}
