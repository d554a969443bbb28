//! What leads into what comes: set-ups into sections, fills into choruses, and the crash after one.
//!
//! Common practice, no source. Time goes on under all of them.

use super::{
    kit::Piece,
    rows::{Row, suits},
};
use crate::players::random_streams::{Purpose, stream, weighted};

/// What begins with the next bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Coming {
    /// A section.
    Section,
    /// The band, after others have played.
    Band,
    /// A chorus.
    Chorus,
}

/// Strokes over the last beats of a bar.
#[derive(Clone, Copy, Debug)]
pub struct Fill {
    /// What is played.
    pub parts: &'static [(Piece, Row)],
    /// How often, beside the others.
    weight: u32,
    /// Whether a crash may follow.
    pub large: bool,
}

const fn small(parts: &'static [(Piece, Row)], weight: u32) -> Fill {
    Fill {
        parts,
        weight,
        large: false,
    }
}

const fn large(parts: &'static [(Piece, Row)], weight: u32) -> Fill {
    Fill {
        parts,
        weight,
        large: true,
    }
}

use Piece::{High, Kick, Low, Snare};

const NONE: Fill = small(&[], 6);

/// Set-ups, for what is not the end of a chorus.
const SET_UPS: &[Fill] = &[
    NONE,
    small(&[(Snare, "- - - -x"), (Kick, "- - - -x")], 4),
    small(&[(Snare, "- - -x x")], 4),
    small(&[(Snare, "- - - xx")], 3),
    small(&[(Kick, "- - - -X")], 3),
    small(&[(Snare, "- - x-x x")], 3),
    small(&[(Snare, "- - -x -"), (Kick, "- - - -x")], 3),
    small(&[(Snare, "- - - oxx")], 2),
    small(&[(Snare, "- - --o x-x")], 2),
    small(&[(Snare, "- - - -"), (Low, "- - - -x")], 1),
];

/// Fills at the end of a chorus.
const FILLS: &[Fill] = &[
    NONE,
    small(&[(Snare, "- - -x x"), (Kick, "- - - -x")], 4),
    small(&[(Snare, "- - oxx x"), (Kick, "- - - --x")], 3),
    large(&[(Snare, "- - xx x"), (Low, "- - - -x")], 4),
    large(&[(Snare, "- - xxx x"), (High, "- - - -x")], 3),
    large(
        &[
            (Snare, "- - x-x -"),
            (High, "- - - x-x"),
            (Kick, "- - - -x"),
        ],
        3,
    ),
    large(&[(Snare, "- - xxx -"), (Low, "- - - xxx")], 3),
    large(
        &[(Snare, "- - xo x"), (High, "- - - -x"), (Kick, "- - x -")],
        3,
    ),
    large(&[(Snare, "- -x -x X"), (Kick, "- - x -x")], 3),
    large(&[(Snare, "- x-x x-x -"), (Low, "- - - x-X")], 2),
    large(&[(Snare, "- - xxxx x"), (Low, "- - - -x")], 2),
];

impl Fill {
    fn suits(&self, is_compound: bool, is_even: bool) -> bool {
        let mut rows = self.parts.iter();
        rows.all(|(_, row)| suits(row, is_compound, is_even))
    }

    /// The fill that leads out of bar `bar` (from 0) of a chorus (from 1). It depends on nothing else, so that the
    /// next chorus knows of it. Livelier music rests less often.
    pub fn into(
        coming: Coming,
        (seed, chorus, bar): (u64, u32, usize),
        is_compound: bool,
        is_even: bool,
    ) -> Fill {
        let fills = match coming {
            Coming::Section => SET_UPS,
            Coming::Band | Coming::Chorus => FILLS,
        };
        let weight = |fill: &Fill| match fill.suits(is_compound, is_even) {
            // The band is always led back in.
            true if fill.parts.is_empty() && coming == Coming::Band => 0,
            true => fill.weight,
            false => 0,
        };
        let weights: Vec<u32> = fills.iter().map(weight).collect();
        let mut rng = stream(seed, chorus, Purpose::Fill);
        // The stream has a place for each bar, so that loops of some bars have the same fills.
        let draw = (0..=bar)
            .filter_map(|_| weighted(&mut rng, &weights))
            .last();
        draw.map_or(NONE, |choice| fills[choice])
    }
}

#[cfg(test)]
mod tests {
    use super::{super::rows::strokes, *};

    #[test]
    fn fills_lie_in_the_last_beats_and_each_kind_of_time_has_some() {
        for fills in [SET_UPS, FILLS] {
            for fill in fills {
                for &(_, row) in fill.parts {
                    assert_eq!(row.split(' ').count(), 4, "{row}");
                    assert!(strokes(row).all(|(beat, ..)| beat >= 1), "{row}");
                }
            }
            for (is_compound, is_even) in [(false, false), (false, true), (true, false)] {
                let suiting = fills.iter().filter(|fill| fill.suits(is_compound, is_even));
                assert!(suiting.count() >= 2);
            }
        }
    }
}
