//! Rule 6: a hand can play it.

use super::{Chances, Conditions, Fault, Liberty, Memory, Onset, Rule, Spot, Step};
use crate::judge::Device;
use std::sync::Arc;

pub(super) fn rule(_: Conditions<'_>) -> Option<Arc<dyn Rule>> {
    Some(Arc::new(Playable))
}

#[derive(Debug)]
struct Playable;

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

    fn widest_move(&self) -> u8 {
        12
    }

    fn admits(&self, onset: &Onset, key: u8) -> bool {
        onset.keys.contains(key)
    }

    fn read(&self, memory: Memory, step: &Step<'_>) -> Option<Memory> {
        if step.to.is_none() {
            return Some(memory);
        }
        let Some(distance) = step.distance() else {
            return Some(Self::FREE);
        };
        let turns_back = match memory {
            Self::LEAPT_UP => distance < 0,
            Self::LEAPT_DOWN => distance > 0,
            Self::REPEATED => distance != 0 || !step.onset.no_triple,
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

    fn chances(&self, memory: Memory, step: &Step<'_>) -> Chances {
        match step.distance() {
            Some(distance) if memory == Self::REPEATED => {
                Chances::of(Liberty::Repeated, step.onset, distance == 0)
            }
            _ => Chances::default(),
        }
    }

    /// The same note an octave or more below the instrument; or a wide leap after which the line goes on.
    fn plant(&self, spot: &Spot<'_>, key: u8) -> Option<usize> {
        let (leap, on) = (spot.move_in(key), spot.move_out(key));
        let calm = |one: u8, other: u8| one.abs_diff(other) <= 7;
        let [_, before, this, next, after_next] = spot.keys;
        if spot.is_fixed() || !spot.is_quiet() || !calm(next, after_next) {
            return None;
        }
        let below = key < spot.range.0 && key.abs_diff(this) % 12 == 0;
        let away = leap.abs() >= 12 && on.abs() >= 12;
        if below && away && before != next && calm(before, next) {
            return spot.onset.connects(key).then_some(0);
        }
        let unanswered = (8..=11).contains(&leap.abs())
            && on.signum() == leap.signum()
            && on.abs() <= 7
            && spot.onset.spells(key)
            && key % 12 != spot.onset.root
            && (spot.range.0..=spot.seam).contains(&key);
        unanswered.then_some(1)
    }

    fn fault(&self, fault: &Fault<'_>) -> String {
        if let Some((lowest, highest)) = &fault.outside {
            return format!(
                "{} lies outside the instrument, {lowest} to {highest}",
                fault.note
            );
        }
        match fault.moved {
            0 => format!("{} again, where the line has to move on", fault.note),
            far if far.abs() > 12 => format!(
                "a leap of {} semitones: nothing wider than an octave",
                far.abs()
            ),
            1.. => "after the leap up the line goes on up: turn back down".to_owned(),
            _ => "after the leap down the line goes on down: turn back up".to_owned(),
        }
    }

    fn is_about_harmony(&self) -> bool {
        false
    }

    /// No reason makes a leap playable; only the same note may be struck again and again.
    fn is_excused_by(&self, device: &Device) -> bool {
        matches!(device, Device::Pedal | Device::Repeat)
    }
}
