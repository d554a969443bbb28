//! Rule 2: strong beats hold chord tones only.

use super::{
    Chances, Conditions, Fault, Liberty, Memory, Onset, Rule, Sound, Spot, Step, Vocabulary,
};
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
    const LEANS: Memory = 4;

    /// Whether a note goes on the way it came.
    fn passes(memory: Memory, onward: i16) -> bool {
        (memory & Self::UP > 0 && onward > 0) || (memory & Self::DOWN > 0 && onward < 0)
    }
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
        3
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
            let by_step = (1..=2).contains(&onward.abs());
            let leans = passing & Self::LEANS > 0;
            if !by_step || !(leans || Self::passes(passing, onward)) {
                return None;
            }
        }
        match (step.to, step.from) {
            (Some(key), _) if onset.stressed && !onset.arrival && !onset.spells(key) => {
                let passes = onset.loose.allow(Liberty::Passing) && onset.scale.contains(key);
                let way = match step.distance()? {
                    1 | 2 if passes => Self::UP,
                    -2 | -1 if passes => Self::DOWN,
                    _ => Self::STANDS,
                };
                let leans = onset.loose.allow(Liberty::Leaning);
                let may = way | if leans { Self::LEANS } else { Self::STANDS };
                (may != Self::STANDS).then_some(may)
            }
            (None, Some(held)) if onset.stressed && onset.sound != Sound::Rest => {
                let spells = !onset.keeps_bass && onset.spells(held);
                (spells || onset.is_bass(held)).then_some(0)
            }
            _ => Some(0),
        }
    }

    /// Whether a note passed or leant is told of at the note after it, which says which.
    fn chances(&self, memory: Memory, step: &Step<'_>) -> Chances {
        let onset = step.onset;
        let both = [Liberty::Passing, Liberty::Leaning];
        let free = onset.stressed && !onset.arrival && !onset.keeps_bass;
        let places = free && step.to.is_some() && onset.vocabulary == Vocabulary::Scale;
        let taken = match step.distance() {
            Some(onward) if memory != Self::STANDS => Some(match Self::passes(memory, onward) {
                true => Liberty::Passing,
                false => Liberty::Leaning,
            }),
            _ => None,
        };
        let allowed = both
            .into_iter()
            .filter(|&liberty| places && onset.loose.allow(liberty));
        Chances {
            places: allowed.collect(),
            taken: taken.into_iter().collect(),
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
                | Device::ChromaticRun
                | Device::TritoneDominant
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
