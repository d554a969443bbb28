//! What the left hand can do in time: part of rule 6.
//!
//! The rule remembers where on the neck the hand can be, given all notes so far. Between two notes it shifts
//! by as many frets as the time allows; of the onsets that it can come to, those from which a finger reaches
//! the coming note are kept. If none is left, no fingering plays the line at its tempo.

use super::{Conditions, Fault, Memory, Rule, Step, Within};
use crate::{
    instrument::Hand,
    judge::Device,
    line::{
        fingering::Fingering,
        layout::{Layout, Slot},
    },
};
use endpin_theory::Ticks;
use std::{collections::BTreeSet, sync::Arc};

pub(super) fn rule(conditions: Conditions<'_>) -> Option<Arc<dyn Rule>> {
    let in_time = conditions.in_time?;
    Some(Arc::new(in_time.clone()))
}

/// Positions of the hand: bit 0 has the index finger on the first fret.
type Positions = u32;

/// Rule 6 at a tempo: the hand comes in time.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct InTime {
    hand: Hand,
    /// For each MIDI key, the positions from which it can be played.
    from: Vec<Positions>,
    /// All positions.
    all: Positions,
    /// So long after a note the hand may be anywhere.
    free: Ticks,
    /// The time that a wait is remembered in.
    grain: Ticks,
}

impl InTime {
    /// Bits for the wait since the last note.
    const WAIT_BITS: u32 = 4;

    /// The rule where all distances between onsets are made of this unit. A wait over silent onsets is
    /// remembered to the unit where that fits, and else rounded down: the hand then has a little less time
    /// than in truth, and what passes can be played all the same.
    pub(crate) fn new(hand: &Hand, unit: Ticks) -> InTime {
        let instrument = &hand.instrument;
        let positions = instrument.positions();
        let from = |key| {
            let ways = Fingering::all(instrument, key).into_iter();
            ways.fold(0, |set, way| set | 1 << (way.hand - 1))
        };
        let free = hand.time_for(positions - 1);
        let units = (free.0 as u64).div_ceil((unit.0 as u64) << Self::WAIT_BITS);
        InTime {
            hand: *hand,
            from: (0..128).map(from).collect(),
            all: (1 << positions) - 1,
            free,
            grain: unit * units.max(1) as i64,
        }
    }

    /// The rule for chords laid out so, each chorus going on with the one named beside it; none if the hand
    /// has time for whatever the other rules allow in this range.
    pub(crate) fn needed(
        hand: &Hand,
        range: (u8, u8),
        layouts: &[Layout],
        after: impl Fn(usize) -> usize,
    ) -> Option<InTime> {
        let mut unit = 0;
        let mut shortest = i64::MAX;
        for (turn, layout) in layouts.iter().enumerate() {
            let first = (&layouts[after(turn)].slots[0], layout.length);
            let slots = layout.slots.iter().map(|slot| (slot, slot.start));
            let slots: Vec<(&Slot, Ticks)> = slots.chain([first]).collect();
            for two in slots.windows(2) {
                let time = (two[1].1 - two[0].1).0;
                unit = gcd(unit, time);
                if !excludes(two[0].0, two[1].0) {
                    shortest = shortest.min(time);
                }
            }
        }
        let shift = hand.shift_in(Ticks(shortest));
        let rule = InTime::new(hand, Ticks(unit.max(1)));
        (shift < hand.instrument.positions() - 1 && rule.can_fail(range, shift)).then_some(rule)
    }

    /// Whether some line in this range, of leaps up to an octave, has no fingering that shifts by so many
    /// frets at most.
    fn can_fail(&self, (lowest, highest): (u8, u8), shift: u8) -> bool {
        let keys = || (lowest..=highest).filter(|&key| self.from[usize::from(key)] != 0);
        let mut left: Vec<(u8, Positions)> = keys()
            .map(|key| (key, self.from[usize::from(key)]))
            .collect();
        let mut met: BTreeSet<(u8, Positions)> = left.iter().copied().collect();
        while let Some((key, set)) = left.pop() {
            for next in keys().filter(|next| next.abs_diff(key) <= 12) {
                let reached = self.spread(set, shift) & self.from[usize::from(next)];
                if reached == 0 {
                    return true;
                }
                if met.insert((next, reached)) {
                    left.push((next, reached));
                }
            }
        }
        false
    }

    fn spread(&self, set: Positions, shift: u8) -> Positions {
        let farther = |set: Positions, _| (set | set << 1 | set >> 1) & self.all;
        (0..shift.min(self.hand.instrument.positions())).fold(set, farther)
    }

    /// Where the hand can be, as remembered: positions it cannot have, and the wait since the last note.
    fn pack(&self, set: Positions, waited: Ticks) -> Memory {
        let grains = (waited.0 / self.grain.0) as u32;
        grains << self.hand.instrument.positions() | (self.all & !set)
    }
}

/// Whether a note at one place leaves none at the next: a beat is divided in two or in three.
fn excludes(slot: &Slot, next: &Slot) -> bool {
    let eighth = |slot: &Slot| slot.onset.within == Within::Eighth;
    let triplet = |slot: &Slot| {
        matches!(
            slot.onset.within,
            Within::SecondTriplet | Within::ThirdTriplet
        )
    };
    eighth(slot) && triplet(next) || triplet(slot) && eighth(next)
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

impl Rule for InTime {
    fn name(&self) -> &'static str {
        "playable"
    }

    fn words(&self) -> &'static str {
        "Keep it in reach at the tempo: the hand needs time to shift, and an open string gives it some."
    }

    fn reads_keys(&self) -> bool {
        true
    }

    fn memory_bits(&self) -> u32 {
        u32::from(self.hand.instrument.positions()) + Self::WAIT_BITS
    }

    fn read(&self, memory: Memory, step: &Step<'_>) -> Option<Memory> {
        let set = self.all & !memory;
        let grains = i64::from(memory >> self.hand.instrument.positions());
        let waited = self.grain * grains + step.onset.since;
        let is_free = waited >= self.free;
        let Some(to) = step.to else {
            return Some(if is_free { 0 } else { self.pack(set, waited) });
        };
        let come = match is_free {
            true => self.all,
            false => self.spread(set, self.hand.shift_in(waited)),
        };
        let reached = come & self.from.get(usize::from(to))?;
        (reached != 0).then(|| self.pack(reached, Ticks::ZERO))
    }

    fn fault(&self, fault: &Fault<'_>) -> String {
        format!(
            "{} lies too far up or down the neck for the hand to come in time",
            fault.note
        )
    }

    fn is_about_harmony(&self) -> bool {
        false
    }

    fn is_excused_by(&self, device: &Device) -> bool {
        *device == Device::Pedal
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{instrument::Instrument, lattice::Skeleton, options::Level, rules::rules};

    /// The fewest frets between two notes with which every line of the range can be played.
    fn enough(instrument: Instrument) -> u8 {
        let hand = Hand {
            instrument,
            quarter: Some(500_000),
        };
        let rule = InTime::new(&hand, Ticks(160));
        let shifts = 0..instrument.positions();
        let mut shifts = shifts.filter(|&shift| !rule.can_fail(instrument.range, shift));
        shifts.next().unwrap()
    }

    #[test]
    fn at_ordinary_tempi_nothing_is_out_of_reach() {
        // The last triplet of a beat at 140 lasts 142 ms: time for four frets, which are always enough.
        let beat = Some(60_000_000 / 140);
        for instrument in Instrument::ALL {
            let hand = Hand {
                instrument,
                quarter: beat,
            };
            assert!(
                hand.shift_in(Ticks(320)) >= enough(instrument),
                "{instrument}"
            );
        }
    }

    #[test]
    fn a_long_wait_is_remembered_in_few_bits() {
        // Triplets and halves of eighth beats at 400 lie 12.5 ms apart; the longest shift takes 320 ms.
        let hand = Hand {
            quarter: Some(150_000),
            ..Hand::default()
        };
        let rule = InTime::new(&hand, Ticks(80));
        assert_eq!((rule.free, rule.grain), (Ticks(2048), Ticks(160)));
        for instrument in Instrument::ALL {
            for quarter in [1, 1_000, 100_000, 150_000, 3_000_000, u32::MAX] {
                let quarter = Some(quarter);
                let rule = InTime::new(
                    &Hand {
                        instrument,
                        quarter,
                    },
                    Ticks(1),
                );
                let longest = Ticks(rule.free.0 - 1);
                let memory = rule.pack(0, longest);
                assert!(memory < 1 << rule.memory_bits(), "{instrument} {quarter:?}");
                let remembered = rule.grain * i64::from(memory >> instrument.positions());
                assert!(remembered <= longest && longest < remembered + rule.grain);
            }
        }
    }

    #[test]
    fn all_rules_remember_what_fits_with_the_hand() {
        for instrument in Instrument::ALL {
            let hand = Hand {
                instrument,
                quarter: Some(100_000),
            };
            let rule = InTime::new(&hand, Ticks(1));
            let conditions = Conditions {
                in_time: Some(&rule),
                ..Conditions::of(Level::TOP)
            };
            // It panics if they remember too much.
            Skeleton::new(rules(conditions), Vec::new());
        }
    }

    #[test]
    fn the_shift_spreads_the_hand() {
        let rule = InTime::new(&Hand::default(), Ticks(960));
        assert_eq!(rule.spread(0b1000, 0), 0b1000);
        assert_eq!(rule.spread(0b1000, 2), 0b111110);
        assert_eq!(rule.spread(1, u8::MAX), rule.all);
        // G3 lies on the twelfth fret of the G string and the seventeenth of the D string.
        let positions = (9..=12)
            .chain(14..=17)
            .fold(0, |set, hand| set | 1 << (hand - 1));
        assert_eq!(rule.from[55], positions);
        assert_eq!(rule.from[38], rule.all, "an open string");
        assert_eq!(rule.from[27], 0);
    }
}
