//! The cheapest path of keys along a chart.

use super::reading::{Color, Reading, cheapest};
use super::sounding::Heard;
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
/// For a major home that begins, or ends, as a blues.
const HOME_AS_BLUES: u32 = 1;
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

    /// What it costs to begin in this key, or to end in it before the form comes round: a major home may as
    /// well be a blues.
    fn away_from(self, home: Hypothesis) -> u32 {
        let blues = Hypothesis {
            color: Color::Blues,
            ..home
        };
        match home.color {
            Color::Major => home
                .change_to(self)
                .min(HOME_AS_BLUES + blues.change_to(self)),
            _ => home.change_to(self),
        }
    }

    /// What it costs to go on in another key; the same both ways but for entering a blues.
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

/// A chord with its cheapest reading under every hypothesis, major tonics first, from C up.
pub(super) struct Priced {
    weight: u32,
    readings: [(u32, Reading); COUNT],
}

impl Priced {
    pub(super) fn of(heard: &Heard) -> Priced {
        Priced {
            weight: heard.beats.clamp(USUAL_BEATS / 2, USUAL_BEATS * 4) as u32,
            readings: std::array::from_fn(|index| {
                cheapest(heard, (index % 12) as u8, COLORS[index / 12])
            }),
        }
    }

    fn under(&self, hypothesis: Hypothesis) -> (u32, Reading) {
        let (cost, reading) =
            self.readings[hypothesis.color as usize * 12 + usize::from(hypothesis.tonic)];
        (self.weight * cost, reading)
    }
}

/// A chord's key and what it is there.
pub(super) type Step = (Hypothesis, Reading);

/// The cheapest keys for all chords, beginning and ending at home as the form comes round, and the total
/// cost. Of equal paths, the one that stays in a key, then the one in the key listed first.
pub(super) fn cheapest_path(chords: &[Priced], home: Hypothesis) -> (Vec<Step>, u32) {
    let scale = USUAL_BEATS as u32;
    let at: [Hypothesis; COUNT] = std::array::from_fn(|index| Hypothesis::at(index, home));
    // To each key, from each key.
    let change = at.map(|to| at.map(|from| scale * from.change_to(to)));
    let away = at.map(|key| scale * key.away_from(home));
    let mut total = away;
    let mut came_from: Vec<[u8; COUNT]> = Vec::with_capacity(chords.len());
    for (index, chord) in chords.iter().enumerate() {
        let mut next = [(0, 0u8); COUNT];
        for (key, change) in change.iter().enumerate() {
            // The start already counts the way from home.
            let mut best = (total[key], key as u8);
            for before in (0..COUNT).filter(|_| index > 0) {
                let cost = total[before] + change[before];
                if cost < best.0 {
                    best = (cost, before as u8);
                }
            }
            next[key] = (best.0 + chord.under(at[key]).0, best.1);
        }
        total = next.map(|(cost, _)| cost);
        came_from.push(next.map(|(_, before)| before));
    }
    let ending = |key: usize| total[key] + away[key];
    let mut key = (0..COUNT).min_by_key(|&key| ending(key)).unwrap_or(0);
    let cost = ending(key);
    let mut path: Vec<Step> = Vec::with_capacity(chords.len());
    for (chord, came_from) in chords.iter().zip(&came_from).rev() {
        path.push((at[key], chord.under(at[key]).1));
        key = usize::from(came_from[key]);
    }
    path.reverse();
    (path, cost)
}

/// What the documentation's table names.
#[cfg(test)]
pub(super) const COSTS: &[(&str, u32)] = &[
    ("CHANGE_TO_RELATIVE", CHANGE_TO_RELATIVE),
    ("CHANGE_TO_PARALLEL", CHANGE_TO_PARALLEL),
    ("CHANGE", CHANGE),
    ("CHANGE_TO_BLUES", CHANGE_TO_BLUES),
    ("HOME_AS_BLUES", HOME_AS_BLUES),
];
