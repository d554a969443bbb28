//! Rule 1: the note at an arrival is the chord's root.

use super::{Chances, Conditions, Fault, Liberty, Memory, Onset, Rule, Sound, Spot, Step};
use crate::judge::Device;
use std::sync::Arc;

pub(super) fn rule(_: Conditions<'_>) -> Option<Arc<dyn Rule>> {
    Some(Arc::new(ArrivalRoot))
}

#[derive(Debug)]
struct ArrivalRoot;

impl Rule for ArrivalRoot {
    fn name(&self) -> &'static str {
        "arrival-root"
    }

    fn words(&self) -> &'static str {
        "When a new chord arrives, play its root (or the bass note written after the slash): everybody in \
         the room should hear the change from you alone."
    }

    fn admits(&self, onset: &Onset, key: u8) -> bool {
        let inverts = onset.loose.allow(Liberty::Inverted) && !onset.keeps_bass;
        !onset.arrival || onset.is_bass(key) || (inverts && onset.tones.contains(key))
    }

    /// A note may also be held over an arrival, if it is the root that arrives. Another tone than the root, where
    /// that is a liberty, is reached by step or held over.
    fn read(&self, _: Memory, step: &Step<'_>) -> Option<Memory> {
        match (step.to, step.from) {
            (None, Some(held)) if step.onset.arrival && step.onset.sound != Sound::Rest => {
                self.admits(step.onset, held).then_some(0)
            }
            (Some(key), _) if step.onset.arrival && !step.onset.is_bass(key) => {
                matches!(step.distance()?, -2..=2).then_some(0)
            }
            _ => Some(0),
        }
    }

    fn chances(&self, _: Memory, step: &Step<'_>) -> Chances {
        let onset = step.onset;
        match step.to {
            Some(to) if onset.arrival && !onset.keeps_bass => {
                Chances::of(Liberty::Inverted, onset, !onset.is_bass(to))
            }
            _ => Chances::default(),
        }
    }

    /// Another tone of the chord.
    fn plant(&self, spot: &Spot<'_>, key: u8) -> Option<usize> {
        let onset = spot.onset;
        let other = onset.spells(key) && !onset.is_bass(key) && key % 12 != onset.root;
        // Where the bass is to stay, what is held over a strong beat would break a rule there too.
        let other = other && !onset.keeps_bass;
        (onset.arrival && other && spot.is_smooth(key)).then_some(0)
    }

    /// Which devices are reason enough.
    fn is_excused_by(&self, device: &Device) -> bool {
        matches!(
            device,
            Device::Pedal
                | Device::Anticipation
                | Device::CommonTone
                | Device::Inversion
                | Device::DescendingBass
                | Device::RootAndFifth
                | Device::Sequence
                | Device::Answer
        )
    }

    fn fault(&self, fault: &Fault<'_>) -> String {
        match (&fault.held_over, fault.arrives) {
            (_, Some(home)) if fault.ending => {
                format!("{} at the end: home is {home}", fault.note.name())
            }
            (_, Some(root)) => format!(
                "{}, which arrives here: the room listens for {root}",
                fault.is
            ),
            (Some((chord, root)), None) => format!(
                "{} is held over the arrival of {chord}: nobody hears its root, {root}",
                fault.note.name()
            ),
            (None, None) => fault.is.clone(),
        }
    }
}
