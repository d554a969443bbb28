//! Rule 3: weak beats connect.
//!
//! A note that is neither chord tone nor scale note owes its resolution to the note that follows; the rule
//! remembers the debt. With two-note approaches allowed, the debt may be paid by the second next note.

use super::{
    Conditions, Fault, Leads, Memory, Onset, Rule, Sound, Spot, Step, approach::is_dominant,
    strong_beats::belongs,
};
use crate::judge::Device;
use std::sync::Arc;

pub(super) fn rule(conditions: Conditions<'_>) -> Option<Arc<dyn Rule>> {
    let walks = conditions.level.rung().walks;
    Some(Arc::new(WeakBeats {
        walks,
        two_notes: conditions.level.rung().pairs,
    }))
}

#[derive(Debug)]
struct WeakBeats {
    /// Whether notes of the scale may pass, and a note may owe its resolution to a strong beat within the
    /// chord or be the dominant of an arrival.
    walks: bool,
    /// Whether two notes may approach together.
    two_notes: bool,
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
        let onset = step.onset;
        let distance = step.distance()?;
        let goal = onset.stressed && (onset.arrival || self.walks);
        if owed == Self::OWES {
            let dominant = self.walks && onset.arrival && is_dominant(distance);
            return match (goal, distance.abs()) {
                (true, 1 | 2) => Some(0),
                (true, _) => dominant.then_some(0),
                (false, 1..=4) => self.two_notes.then(|| Self::pair(distance)),
                (false, _) => None,
            };
        }
        let first_to_second = owed as i16 - 8;
        let completes = is_double_chromatic(first_to_second, distance)
            || is_enclosure(first_to_second, distance);
        (goal && completes).then_some(0)
    }
}

/// Whether two moves are a double chromatic approach: two semitones in one direction.
pub(crate) fn is_double_chromatic(first_to_second: i16, second_to_goal: i16) -> bool {
    first_to_second.abs() == 1 && second_to_goal == first_to_second
}

/// Whether two moves are an enclosure: two notes, one on each side of the goal and a whole step away at most.
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
         the dominant) into the strong note that follows. A note that leads must resolve. While a suspended \
         chord lasts, nobody plays its third."
    }

    fn memory_bits(&self) -> u32 {
        4
    }

    fn admits(&self, onset: &Onset, key: u8) -> bool {
        let free = onset.leads != Leads::Nowhere || belongs(onset, key).unwrap_or(true);
        onset.stressed || (free && !onset.withheld.contains(key))
    }

    fn read(&self, owed: Memory, step: &Step<'_>) -> Option<Memory> {
        let onset = step.onset;
        let Some(to) = step.to else {
            return (owed == 0 || onset.sound != Sound::Rest).then_some(owed);
        };
        let owed = self.pay(owed, step)?;
        let connects = onset.spells(to)
            || (self.walks && onset.scale.contains(to))
            || belongs(onset, to).unwrap_or(false);
        if onset.stressed || owed > 0 || connects {
            Some(owed)
        } else {
            Some(Self::OWES)
        }
    }

    fn owes(&self, owed: Memory) -> bool {
        owed > 0
    }

    /// A last beat that neither leads nor belongs is said once.
    fn is_said_with(&self, broken: &[&str]) -> bool {
        broken.contains(&"approach") || broken.contains(&"join")
    }

    /// A note that neither belongs nor leads into the strong beat that follows.
    fn plant(&self, spot: &Spot<'_>, key: u8) -> Option<usize> {
        let weak = !spot.onset.stressed && spot.next.stressed && !spot.is_fixed();
        let stray = !spot.onset.connects(key) && !spot.approaches(key);
        (weak && stray && spot.is_smooth(key)).then_some(0)
    }

    /// Which devices are reason enough.
    fn is_excused_by(&self, device: &Device) -> bool {
        matches!(
            device,
            Device::Pedal
                | Device::Anticipation
                | Device::Walk
                | Device::Passing
                | Device::ChromaticRun
                | Device::OctaveApproach
                | Device::Sequence
        )
    }

    fn fault(&self, fault: &Fault<'_>) -> String {
        if fault.withheld {
            return format!(
                "{} is the third that {} leaves open: while it lasts, nobody plays it",
                fault.note.name(),
                fault.chord
            );
        }
        format!(
            "{} belongs neither to {chord} nor to its scale, and does not lead into what follows",
            fault.note.name(),
            chord = fault.chord
        )
    }
}
