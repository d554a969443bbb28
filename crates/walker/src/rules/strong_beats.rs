//! Rule 2: strong beats hold chord tones only.

use super::{Conditions, Fault, Liberty, Memory, Onset, Rule, Sound, Spot, Step, Vocabulary};
use crate::judge::Device;
use std::sync::Arc;

pub(super) fn rule(_: Conditions<'_>) -> Option<Arc<dyn Rule>> {
    Some(Arc::new(StrongBeats))
}

#[derive(Debug)]
struct StrongBeats;

impl StrongBeats {
    const STANDS: Memory = 0;
    /// A note passes, coming from below.
    const UP: Memory = 1;
    /// It comes from above.
    const DOWN: Memory = 2;
    /// It goes on by step, whichever way.
    const LEANS: Memory = 3;
}

impl Rule for StrongBeats {
    fn name(&self) -> &'static str {
        "strong-beats"
    }

    fn words(&self) -> &'static str {
        "On strong beats play chord tones: root, third, fifth or seventh (sixth or fourth where the symbol \
         says so); over a triad whose bass makes it a suspended chord, that bass. Listeners take their harmony from \
         these beats."
    }

    fn memory_bits(&self) -> u32 {
        2
    }

    fn admits(&self, onset: &Onset, key: u8) -> bool {
        let leans = onset.loose.allow(Liberty::Leaning);
        let passes = onset.loose.allow(Liberty::Passing) && onset.scale.contains(key);
        let may_pass = (leans || passes) && !onset.withheld.contains(key);
        let spells = match onset.keeps_bass {
            true => onset.is_bass(key),
            false => belongs(onset, key).unwrap_or(onset.spells(key) || may_pass),
        };
        onset.arrival || !onset.stressed || spells
    }

    /// A note may also be held over a strong beat, if it spells the chord. Where a note passes through one, the
    /// rule remembers which way.
    fn read(&self, passing: Memory, step: &Step<'_>) -> Option<Memory> {
        let onset = step.onset;
        if passing != Self::STANDS {
            let onward = match step.to {
                Some(_) => step.distance()?,
                None => return (onset.sound == Sound::Option).then_some(passing),
            };
            let same_way = match passing {
                Self::UP => onward,
                Self::DOWN => -onward,
                _ => onward.abs(),
            };
            if !(1..=2).contains(&same_way) {
                return None;
            }
        }
        match (step.to, step.from) {
            (Some(key), _) if onset.stressed && !onset.arrival && !onset.spells(key) => {
                match step.distance()? {
                    _ if onset.loose.allow(Liberty::Leaning) => Some(Self::LEANS),
                    1 | 2 => Some(Self::UP),
                    -2 | -1 => Some(Self::DOWN),
                    _ => None,
                }
            }
            (None, Some(held)) if onset.stressed && onset.sound != Sound::Rest => {
                let spells = !onset.keeps_bass && onset.spells(held);
                (spells || onset.is_bass(held)).then_some(0)
            }
            _ => Some(0),
        }
    }

    /// A wrong root that is no chord tone either is said once.
    fn is_said_with(&self, broken: &[&str]) -> bool {
        broken.contains(&"arrival-root")
    }

    /// A note that does not spell the chord.
    fn plant(&self, spot: &Spot<'_>, key: u8) -> Option<usize> {
        let onset = spot.onset;
        let strong = onset.stressed && !onset.arrival && !spot.is_root();
        (strong && !onset.spells(key) && spot.is_smooth(key)).then_some(0)
    }

    /// Which devices are reason enough.
    fn is_excused_by(&self, device: &Device) -> bool {
        matches!(
            device,
            Device::Pedal
                | Device::Anticipation
                | Device::CommonTone
                | Device::Passing
                | Device::Walk
                | Device::Sequence
                | Device::Answer
        )
    }

    fn fault(&self, fault: &Fault<'_>) -> String {
        match fault.keeps_bass {
            Some(bass) => format!(
                "{}, on {}: {} hangs over its bass, and {bass} belongs there",
                fault.is, fault.beat, fault.chord
            ),
            None => format!(
                "{}, on {}: a chord tone belongs there, {}",
                fault.is, fault.beat, fault.tones
            ),
        }
    }
}

/// Whether a key belongs to the few notes that level or feel leave to an onset; none if they leave all.
pub(super) fn belongs(onset: &Onset, key: u8) -> Option<bool> {
    let root = key % 12 == onset.root || onset.is_bass(key);
    match onset.vocabulary {
        Vocabulary::Roots => Some(root),
        Vocabulary::Fifths => Some(root || key % 12 == onset.fifth),
        Vocabulary::ChordTones => Some(onset.spells(key)),
        Vocabulary::Scale => None,
    }
}
