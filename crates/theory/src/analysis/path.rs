//! The cheapest path of keys along a chart.

use super::reading::{Color, Heard, Reading, cheapest};
use crate::key::{Key, Mode};

/// A key as a hypothesis: what sounds, without spelling.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Hypothesis {
    pub(super) tonic: u8,
    pub(super) color: Color,
}

/// Twelve tonics in three colours.
const COUNT: usize = 36;
const COLORS: [Color; 3] = [Color::Major, Color::Minor, Color::Blues];

/// Cost of leaving a key: this much, and one for each fifth between the signatures.
const CHANGE: u32 = 6;
/// Between relative major and minor, which share their notes; between parallel ones, which do not.
const CHANGE_TO_RELATIVE: u32 = 4;
const CHANGE_TO_PARALLEL: u32 = 7;
/// Between the plain and the blues colour of one tonic; on top, into a blues elsewhere.
const CHANGE_TO_BLUES: u32 = 5;
/// Beats over which a chord's cost counts once; shorter chords count half, longer ones up to fourfold, so
/// that a chord held for four bars makes itself at home.
const USUAL_BEATS: usize = 4;

impl Hypothesis {
    /// The hypotheses in order, counted from the home tonic up, so that equal costs are settled alike in
    /// every key.
    fn at(index: usize, home: Hypothesis) -> Hypothesis {
        Hypothesis {
            tonic: (home.tonic + (index % 12) as u8) % 12,
            color: COLORS[index / 12],
        }
    }

    pub(super) fn of(key: Key) -> Hypothesis {
        Hypothesis {
            tonic: key.tonic.chroma(),
            color: match key.mode {
                Mode::Major => Color::Major,
                Mode::Minor => Color::Minor,
            },
        }
    }

    pub(super) fn mode(self) -> Mode {
        match self.color {
            Color::Minor => Mode::Minor,
            Color::Major | Color::Blues => Mode::Major,
        }
    }

    /// The tonic of the major key with the same signature.
    fn signature_tonic(self) -> u8 {
        match self.color {
            Color::Minor => (self.tonic + 3) % 12,
            Color::Major | Color::Blues => self.tonic,
        }
    }

    /// What it costs to go on in another key.
    fn change_to(self, to: Hypothesis) -> u32 {
        if self == to {
            return 0;
        }
        let blues = [self.color, to.color].contains(&Color::Blues);
        if self.tonic == to.tonic {
            return if blues && self.mode() == to.mode() {
                CHANGE_TO_BLUES
            } else {
                CHANGE_TO_PARALLEL
            };
        }
        let apart = (self.signature_tonic() + 12 - to.signature_tonic()) % 12;
        // A fifth is seven semitones, and 7 is its own inverse modulo 12.
        let fifths = u32::from(apart * 7 % 12);
        let fifths = fifths.min(12 - fifths);
        let change = if fifths == 0 {
            CHANGE_TO_RELATIVE
        } else {
            CHANGE + fifths
        };
        change
            + if to.color == Color::Blues {
                2 * CHANGE_TO_BLUES
            } else {
                0
            }
    }
}

/// A chord's key and what it is there.
pub(super) type Step = (Hypothesis, Reading);

/// The cheapest keys for all chords (given with their beats), beginning and ending at home as the form comes
/// round, and the total cost. Of equal paths, the one that stays in the key listed first.
pub(super) fn cheapest_path(chords: &[(Heard, usize)], home: Hypothesis) -> (Vec<Step>, u32) {
    let scale = USUAL_BEATS as u32;
    let at = |index: usize| Hypothesis::at(index, home);
    let change: Vec<[u32; COUNT]> = (0..COUNT)
        .map(|from| std::array::from_fn(|to| scale * at(from).change_to(at(to))))
        .collect();
    let mut total: [u32; COUNT] = std::array::from_fn(|key| scale * home.change_to(at(key)));
    let mut steps: Vec<([usize; COUNT], [Reading; COUNT])> = Vec::with_capacity(chords.len());
    for (index, (heard, beats)) in chords.iter().enumerate() {
        let weight = (*beats).clamp(USUAL_BEATS / 2, USUAL_BEATS * 4) as u32;
        let mut from = [0; COUNT];
        let mut readings = [Reading::Foreign; COUNT];
        let mut next = [0; COUNT];
        for key in 0..COUNT {
            // The start already counts the way from home.
            let (best, cost) = if index == 0 {
                (key, total[key])
            } else {
                let costs = (0..COUNT).map(|before| (before, total[before] + change[before][key]));
                costs
                    .min_by_key(|&(before, cost)| (cost, before != key))
                    .unwrap_or((key, 0))
            };
            let hypothesis = at(key);
            let (price, reading) = cheapest(heard, hypothesis.tonic, hypothesis.color);
            from[key] = best;
            readings[key] = reading;
            next[key] = cost + weight * price;
        }
        total = next;
        steps.push((from, readings));
    }
    let ending = |key: usize| total[key] + scale * at(key).change_to(home);
    let mut key = (0..COUNT).min_by_key(|&key| ending(key)).unwrap_or(0);
    let cost = ending(key);
    let mut path: Vec<Step> = Vec::with_capacity(chords.len());
    for (from, readings) in steps.iter().rev() {
        path.push((at(key), readings[key]));
        key = from[key];
    }
    path.reverse();
    (path, cost)
}
