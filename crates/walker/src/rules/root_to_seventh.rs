//! Rule 5: the bass stays at or below the seam, the seventh above the highest root of the span.
//!
//! A note above the seam of the roots heard so far is a promise that a higher root follows within the span.

use super::{Conditions, Fault, Memory, Onset, Rule, Spot, Step};
use crate::judge::Device;
use std::sync::Arc;

pub(super) fn rule(_: Conditions<'_>) -> Option<Arc<dyn Rule>> {
    Some(Arc::new(RootToSeventh))
}

#[derive(Debug)]
struct RootToSeventh;

/// The highest key that the bass may play in a span, given the onset of any of its notes and all its keys in
/// order; none if there are none.
pub fn seam(onset: &Onset, keys: impl Iterator<Item = u8>) -> Option<u8> {
    let mut keys = keys.peekable();
    let first = *keys.peek()?;
    let roots = keys.filter(|key| key % 12 == onset.root);
    Some(roots.max().unwrap_or(first) + onset.seventh)
}

/// What has sounded of a span, in semitones above the last note.
#[derive(Clone, Copy)]
struct Heard {
    /// The seam of the highest root, or of the first note while no root has sounded.
    seam: i16,
    /// Whether a root has sounded.
    rooted: bool,
    /// The highest note, if it still matters.
    high: Option<i16>,
}

impl Heard {
    /// Above every distance from one note to another.
    const ZERO: i16 = 128;

    fn pack(self) -> Memory {
        let settled = |high: &i16| !self.rooted || *high > self.seam;
        let high = self
            .high
            .filter(settled)
            .map_or(0, |high| (high + Self::ZERO) as Memory);
        (self.seam + Self::ZERO) as Memory | Memory::from(self.rooted) << 9 | high << 10
    }

    /// The same, with what no longer matters forgotten, `root` and `seventh` being semitones above the last note: of
    /// the highest note only which root would keep it, and once that root is waited for, nothing of others.
    fn settled(self, root: i16, seventh: i16) -> Heard {
        let Some(high) = self.high else { return self };
        // The lowest note that the same roots would keep: just above the seam of the next root below.
        let lowest = high - (high - root - seventh - 1).rem_euclid(12);
        Heard {
            seam: if high > self.seam {
                lowest - 1
            } else {
                self.seam
            },
            high: Some(lowest),
            ..self
        }
    }

    fn unpack(memory: Memory) -> Option<Heard> {
        let high = memory >> 10;
        (memory > 0).then(|| Heard {
            seam: (memory & 511) as i16 - Self::ZERO,
            rooted: memory >> 9 & 1 == 1,
            high: (high > 0).then(|| high as i16 - Self::ZERO),
        })
    }

    fn is_broken(self) -> bool {
        self.high.is_some_and(|high| high > self.seam)
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
        19
    }

    fn read(&self, memory: Memory, step: &Step<'_>) -> Option<Memory> {
        let mut heard = Heard::unpack(memory);
        if step.onset.arrival {
            if heard.is_some_and(Heard::is_broken) {
                return None;
            }
            heard = None;
        }
        let Some(to) = step.to else {
            return Some(heard.map_or(0, Heard::pack));
        };
        let seam = i16::from(step.onset.seventh);
        let is_root = to % 12 == step.onset.root;
        let now = match heard {
            None => Heard {
                seam,
                rooted: is_root,
                high: Some(0),
            },
            Some(before) => {
                let up = step.distance()?;
                let (old, high) = (before.seam - up, before.high.map(|high| high - up));
                Heard {
                    seam: match (is_root, before.rooted) {
                        (true, true) => old.max(seam),
                        (true, false) => seam,
                        (false, _) => old,
                    },
                    rooted: before.rooted || is_root,
                    high: high.max(Some(0)),
                }
            }
        };
        let above = i16::from((to % 12 + 12 - step.onset.root) % 12);
        Some(now.settled(-above, seam).pack())
    }

    fn owes(&self, memory: Memory) -> bool {
        Heard::unpack(memory).is_some_and(Heard::is_broken)
    }

    /// A chord tone above the seam, reached by a leap that is answered.
    fn plant(&self, spot: &Spot<'_>, key: u8) -> Option<usize> {
        let (up, down) = (spot.move_in(key), -spot.move_out(key));
        let goes_up_again = spot.keys[4] > spot.keys[3];
        let answered = matches!(down, 1..=7 | 12) || (matches!(down, 8..=11) && goes_up_again);
        let tone = spot.onset.spells(key) && key % 12 != spot.onset.root;
        let high = (spot.seam + 1..=spot.range.1).contains(&key);
        // Where a strong beat keeps its bass, another note would break that rule too.
        let free = !(spot.onset.keeps_bass && spot.onset.stressed);
        let plain = spot.is_quiet() && !spot.is_fixed() && free;
        (plain && tone && high && (1..=12).contains(&up) && answered).then_some(0)
    }

    fn is_about_harmony(&self) -> bool {
        false
    }

    /// Which devices are reason enough.
    fn is_excused_by(&self, device: &Device) -> bool {
        matches!(
            device,
            Device::Pedal | Device::Anticipation | Device::Sequence
        )
    }

    fn fault(&self, fault: &Fault<'_>) -> String {
        let seam = fault
            .seam
            .map_or_else(String::new, |seam| format!(" {seam}"));
        format!(
            "{} lies above the seventh{seam}, where the player who comps begins: stay at or below it",
            fault.note
        )
    }
}
