//! Rules 4 and 7: the last beat before a change, or before the next chorus, approaches the coming root.

use super::{
    Chances, Conditions, Fault, Leads, Liberty, Memory, Onset, Rule, Sound, Spot, Step,
    strong_beats::belongs,
};
use crate::judge::Device;
use std::sync::Arc;

/// Rule 4.
pub(super) fn change(conditions: Conditions<'_>) -> Option<Arc<dyn Rule>> {
    approach(conditions, Leads::IntoChange)
}

/// Rule 7.
pub(super) fn join(conditions: Conditions<'_>) -> Option<Arc<dyn Rule>> {
    approach(conditions, Leads::IntoChorus)
}

fn approach(conditions: Conditions<'_>, before: Leads) -> Option<Arc<dyn Rule>> {
    Some(Arc::new(Approach {
        before,
        dominants: conditions.level.rung().walks,
    }))
}

#[derive(Debug)]
struct Approach {
    /// What it leads into.
    before: Leads,
    /// Whether the dominant is an approach.
    dominants: bool,
}

impl Approach {
    /// Whether a move onto an arrival is an approach.
    fn announces(&self, distance: i16) -> bool {
        matches!(distance.abs(), 1 | 2) || (self.dominants && is_dominant(distance))
    }
}

/// Whether a move of so many semitones leads from the dominant to its root: a fifth down or a fourth up.
pub(crate) fn is_dominant(distance: i16) -> bool {
    distance == -7 || distance == 5
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
                "The last beat of a chorus leads into the first root of the next one, as before any other \
                 change."
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

    /// Where a chord may arrive on another tone or unannounced, any note may stand before it; what does not
    /// belong to its chord has to resolve all the same.
    fn admits(&self, onset: &Onset, key: u8) -> bool {
        let Some(coming) = onset.coming.filter(|_| onset.leads == self.before) else {
            return true;
        };
        let above = (key % 12 + 12 - coming) % 12;
        let free = [Liberty::Inverted, Liberty::Unannounced];
        let free = free.iter().any(|&liberty| onset.loose.allow(liberty))
            && belongs(onset, key).unwrap_or(true);
        free || matches!(above, 1 | 2 | 10 | 11) || (self.dominants && above == 7)
    }

    /// Remembers whether the note that sounds has yet to arrive.
    fn read(&self, leading: Memory, step: &Step<'_>) -> Option<Memory> {
        let onset = step.onset;
        match step.to {
            None if onset.sound == Sound::Rest => Some(0),
            None => Some(leading),
            Some(_) => {
                if leading == 1 && onset.arrival {
                    let unannounced = onset.loose.allow(Liberty::Unannounced);
                    if !self.announces(step.distance()?) && !unannounced {
                        return None;
                    }
                }
                Some((onset.leads == self.before).into())
            }
        }
    }

    fn chances(&self, leading: Memory, step: &Step<'_>) -> Chances {
        match step.distance() {
            Some(distance) if leading == 1 && step.onset.arrival => {
                Chances::of(Liberty::Unannounced, step.onset, !self.announces(distance))
            }
            _ => Chances::default(),
        }
    }

    fn owes(&self, leading: Memory) -> bool {
        leading == 1
    }

    /// A note of the chord or its scale that does not lead on.
    fn plant(&self, spot: &Spot<'_>, key: u8) -> Option<usize> {
        let last = spot.onset.leads == self.before && !spot.is_led_into && !spot.is_root();
        let stays = spot.onset.connects(key) && !spot.approaches(key);
        (last && stays && spot.is_smooth(key)).then_some(0)
    }

    /// Which devices are reason enough.
    fn is_excused_by(&self, device: &Device) -> bool {
        matches!(
            device,
            Device::Pedal
                | Device::Anticipation
                | Device::CommonTone
                | Device::Inversion
                | Device::Walk
                | Device::ChromaticRun
                | Device::OctaveApproach
                | Device::Sequence
        )
    }

    fn fault(&self, fault: &Fault<'_>) -> String {
        fault.leads_nowhere(match self.before {
            Leads::IntoChorus => "the next time round",
            _ => "the change",
        })
    }
}
