//! Notes between the beats lead on: part of rule 3.

use super::{Conditions, Fault, Leads, Memory, Rule, Step, Within};
use std::sync::Arc;

pub(super) fn rule(_: Conditions<'_>) -> Option<Arc<dyn Rule>> {
    Some(Arc::new(BetweenBeats))
}

#[derive(Debug)]
struct BetweenBeats;

impl BetweenBeats {
    /// The second triplet of this beat has fallen; the third follows.
    const FALLING: Memory = 1;
}

impl Rule for BetweenBeats {
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
        let onset = step.onset;
        let falls = || {
            let down = step
                .distance()
                .is_some_and(|distance| (-7..0).contains(&distance));
            down && step.to.is_some_and(|to| onset.tones.contains(to))
        };
        match (onset.within, step.to) {
            (Within::Beat, _) => Some(0),
            (Within::SecondTriplet, Some(_)) => falls().then_some(Self::FALLING),
            (Within::SecondTriplet, None) => Some(0),
            (Within::Eighth, Some(_)) => {
                let distance = step.distance()?;
                let ghost = distance == 0;
                let leads_on = onset.leads == Leads::Nowhere && distance.abs() <= 7;
                (falling == 0 && (ghost || leads_on)).then_some(0)
            }
            (Within::Eighth, None) => Some(falling),
            (Within::ThirdTriplet, Some(_)) => (falling == Self::FALLING && falls()).then_some(0),
            (Within::ThirdTriplet, None) => (falling == 0).then_some(0),
        }
    }

    fn fault(&self, fault: &Fault<'_>) -> String {
        format!(
            "{} between the beats does not lead on: play a ghost of the note before it or a neighbour, and \
             before a change only the ghost",
            fault.note.name()
        )
    }
}
