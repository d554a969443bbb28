//! Styles, one row a feel: where the off-beat falls, what the drummer keeps and what the comp plays with.
//!
//! Common practice, no source. A new feel is one row here and one among the walker's feels.

use endpin_theory::chart::Feel;

/// Where the off-beat eighth falls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OffBeat {
    /// By the tempo, or as asked.
    Swung,
    /// On the last third of the triplet, unless asked otherwise.
    Triplet,
    /// Half way.
    Even,
}

/// What a drummer plays with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Piece {
    /// The ride, or what a kit has in its place.
    Ride,
    /// A closed hi-hat, with the stick.
    Hat,
    /// The hi-hat closed with the foot.
    Pedal,
    /// Across the rim of the snare.
    Stick,
    /// The snare.
    Snare,
    /// The bass drum.
    Kick,
}

/// A stroke of a pattern: how far from the bar line in twelfths of a beat, with what, and how loud.
pub type PatternStroke = (i64, Piece, i32);

/// What keeps time.
#[derive(Clone, Copy, Debug)]
pub enum Groove {
    /// Ride and hi-hat, put together from the groups of the meter.
    Ride {
        /// Whether the bass drum is feathered on weak beats too.
        weak_kicks: bool,
        /// Whether the ride skips as in four, or less.
        skips: bool,
    },
    /// Bars of four beats in turn; other meters take as much of them as they need.
    Bars(&'static [&'static [PatternStroke]]),
}

/// An attack of the comp: the half beat at which it falls and how many it is held.
pub type Stroke = (u8, u8);
/// A rhythm of one group, and how often it is taken among those with as many attacks.
pub type RhythmCell = (&'static [Stroke], u32);

/// A feel as the band plays it.
#[derive(Clone, Copy, Debug)]
pub struct Style {
    feel: Feel,
    /// Where its off-beats fall.
    pub off_beat: OffBeat,
    /// The drummer's time.
    pub groove: Groove,
    /// The comp's rhythms of four beats; none for those of a line in four.
    pub cells: Option<&'static [RhythmCell]>,
    /// Percent of the comp's density in four.
    pub density: u32,
}

use Piece::{Hat, Kick, Pedal, Ride, Snare, Stick};

const FOUR: Style = Style {
    feel: Feel::Four,
    off_beat: OffBeat::Swung,
    groove: Groove::Ride {
        weak_kicks: true,
        skips: true,
    },
    cells: None,
    density: 100,
};

const SPARSE: Groove = Groove::Ride {
    weak_kicks: false,
    skips: false,
};

/// Half and whole notes.
const HELD: &[RhythmCell] = &[
    (&[], 1),
    (&[(0, 6)], 3),
    (&[(0, 8)], 3),
    (&[(3, 5)], 2),
    (&[(4, 4)], 2),
    (&[(7, 5)], 2),
    (&[(0, 4), (4, 4)], 4),
    (&[(0, 3), (3, 5)], 3),
    (&[(2, 2), (4, 4)], 1),
    (&[(3, 4), (7, 4)], 2),
];

/// Held as long as the chord lasts.
const PADS: &[RhythmCell] = &[
    (&[(0, 8)], 6),
    (&[(4, 4)], 1),
    (&[(3, 5)], 2),
    (&[(0, 4), (4, 4)], 6),
    (&[(0, 3), (3, 5)], 3),
    (&[(0, 6), (6, 2)], 1),
];

const BOSSA: &[RhythmCell] = &[
    (&[(0, 3)], 1),
    (&[(3, 3)], 1),
    (&[(0, 2), (3, 3)], 3),
    (&[(2, 2), (5, 3)], 3),
    (&[(3, 2), (7, 3)], 2),
    (&[(0, 2), (3, 2), (6, 2)], 4),
    (&[(1, 2), (4, 2), (7, 3)], 3),
    (&[(2, 1), (4, 1), (7, 3)], 2),
    (&[(0, 1), (2, 1), (5, 2)], 2),
    (&[(1, 1), (3, 2), (6, 1)], 2),
];

const SHUFFLE: &[RhythmCell] = &[
    (&[], 1),
    (&[(3, 2)], 2),
    (&[(7, 3)], 2),
    (&[(0, 1), (3, 2)], 4),
    (&[(3, 1), (7, 1)], 4),
    (&[(1, 1), (5, 1)], 2),
    (&[(2, 1), (6, 1)], 2),
    (&[(1, 1), (3, 1), (5, 1), (7, 1)], 2),
    (&[(0, 1), (3, 1), (7, 2)], 3),
];

const STYLES: [Style; 8] = [
    FOUR,
    Style {
        feel: Feel::Two,
        groove: SPARSE,
        cells: Some(HELD),
        density: 80,
        ..FOUR
    },
    Style {
        feel: Feel::Broken,
        groove: SPARSE,
        ..FOUR
    },
    Style {
        feel: Feel::Pedal,
        groove: SPARSE,
        cells: Some(PADS),
        ..FOUR
    },
    Style {
        feel: Feel::Bossa,
        off_beat: OffBeat::Even,
        groove: Groove::Bars(&[
            &[
                (0, Hat, 56),
                (6, Hat, 46),
                (12, Hat, 54),
                (18, Hat, 46),
                (24, Hat, 56),
                (30, Hat, 46),
                (36, Hat, 54),
                (42, Hat, 46),
                (0, Stick, 54),
                (18, Stick, 54),
                (36, Stick, 54),
                (0, Kick, 44),
                (18, Kick, 34),
                (24, Kick, 44),
                (42, Kick, 34),
                (12, Pedal, 50),
                (36, Pedal, 50),
            ],
            &[
                (0, Hat, 56),
                (6, Hat, 46),
                (12, Hat, 54),
                (18, Hat, 46),
                (24, Hat, 56),
                (30, Hat, 46),
                (36, Hat, 54),
                (42, Hat, 46),
                (12, Stick, 54),
                (30, Stick, 54),
                (0, Kick, 44),
                (18, Kick, 34),
                (24, Kick, 44),
                (42, Kick, 34),
                (12, Pedal, 50),
                (36, Pedal, 50),
            ],
        ]),
        cells: Some(BOSSA),
        density: 130,
    },
    Style {
        feel: Feel::Shuffle,
        off_beat: OffBeat::Triplet,
        groove: Groove::Bars(&[&[
            (0, Ride, 66),
            (6, Ride, 50),
            (12, Ride, 70),
            (18, Ride, 52),
            (24, Ride, 66),
            (30, Ride, 50),
            (36, Ride, 70),
            (42, Ride, 52),
            (12, Snare, 58),
            (36, Snare, 58),
            (12, Pedal, 58),
            (36, Pedal, 58),
            (0, Kick, 42),
            (12, Kick, 30),
            (24, Kick, 40),
            (36, Kick, 30),
        ]]),
        cells: Some(SHUFFLE),
        density: 110,
    },
    Style {
        feel: Feel::HalfTime,
        groove: Groove::Bars(&[
            &[
                (0, Ride, 64),
                (12, Ride, 52),
                (24, Ride, 64),
                (36, Ride, 52),
                (24, Stick, 62),
                (0, Kick, 48),
                (42, Kick, 34),
            ],
            &[
                (0, Ride, 64),
                (12, Ride, 52),
                (24, Ride, 64),
                (36, Ride, 52),
                (42, Ride, 44),
                (24, Stick, 62),
                (0, Kick, 48),
                (18, Kick, 36),
            ],
        ]),
        cells: Some(HELD),
        density: 80,
        ..FOUR
    },
    Style {
        feel: Feel::DoubleTime,
        off_beat: OffBeat::Even,
        groove: Groove::Bars(&[&[
            (0, Ride, 64),
            (6, Ride, 68),
            (10, Ride, 50),
            (12, Ride, 62),
            (18, Ride, 68),
            (22, Ride, 50),
            (24, Ride, 64),
            (30, Ride, 68),
            (34, Ride, 50),
            (36, Ride, 62),
            (42, Ride, 68),
            (46, Ride, 50),
            (6, Pedal, 58),
            (18, Pedal, 58),
            (30, Pedal, 58),
            (42, Pedal, 58),
            (0, Kick, 36),
            (12, Kick, 32),
            (24, Kick, 36),
            (36, Kick, 32),
        ]]),
        density: 120,
        ..FOUR
    },
];

impl Style {
    /// The row of a feel.
    pub fn of(feel: Feel) -> &'static Style {
        STYLES.iter().find(|row| row.feel == feel).unwrap_or(&FOUR)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_feel_has_a_row_whose_strokes_lie_within_the_bar() {
        for feel in Feel::ALL {
            let style = Style::of(feel);
            assert_eq!(style.feel, feel);
            for &(strokes, weight) in style.cells.unwrap_or_default() {
                assert!(weight > 0);
                assert!(strokes.windows(2).all(|pair| pair[0].0 < pair[1].0));
                assert!(strokes.iter().all(|&(at, held)| at < 8 && held > 0));
            }
            if let Groove::Bars(bars) = style.groove {
                let strokes = bars.iter().copied().flatten();
                for &(at, _, velocity) in strokes {
                    assert!((0..48).contains(&at) && (20..=80).contains(&velocity));
                }
            }
        }
    }
}
