//! What a drummer keeps in each feel: layers, one a limb, each with two-bar figures to choose from.
//!
//! Common practice, no source. In all of them the ride (or the hi-hat) is on every beat and the foot closes the hi-hat
//! on the back beats.

use super::{kit::Piece, rows::Row};

/// A figure of two bars, and how often it is taken beside the others.
#[derive(Clone, Copy, Debug)]
pub struct Figure {
    /// Its bars.
    pub bars: [Row; 2],
    /// Its weight.
    pub weight: u32,
}

/// What one limb plays.
#[derive(Clone, Copy, Debug)]
pub struct Layer {
    /// With what.
    pub piece: Piece,
    /// The figures, of groups of four beats.
    pub figures: &'static [Figure],
    /// What groups of three have instead of their first three beats.
    pub threes: Option<Row>,
}

/// All that keeps time in a feel.
pub type Groove = &'static [Layer];

const fn figure(first: Row, second: Row, weight: u32) -> Figure {
    Figure {
        bars: [first, second],
        weight,
    }
}

const fn always(row: Row) -> [Figure; 1] {
    [figure(row, row, 1)]
}

const fn layer(piece: Piece, figures: &'static [Figure]) -> Layer {
    Layer {
        piece,
        figures,
        threes: None,
    }
}

const fn with_threes(piece: Piece, figures: &'static [Figure], threes: Row) -> Layer {
    Layer {
        piece,
        figures,
        threes: Some(threes),
    }
}

const BACK_BEATS: Layer = layer(Piece::Pedal, &always("- x - x"));

/// With brushes: a sweep for each half of the bar.
const SWEEPS: Layer = with_threes(
    Piece::Sweep,
    &[
        figure("x - x -", "x - x -", 3),
        figure("x - x -", "x - o x", 1),
        figure("X - - -", "x - x -", 1),
    ],
    "x - - -",
);

/// The ride in four: a stroke a beat, and skips after some of them.
pub const FOUR: Groove = &[
    layer(
        Piece::Ride,
        &[
            figure("x Xo x Xo", "x Xo x Xo", 9),
            figure("x Xo x Xo", "x X x Xo", 12),
            figure("x X x Xo", "x Xo x Xo", 10),
            figure("x Xo x X", "x Xo x Xo", 9),
            figure("x Xo xo Xo", "x X x Xo", 7),
            figure("x Xo x Xo", "xo X x Xo", 7),
            figure("x X x Xo", "xo Xo x X", 6),
            figure("x X xo X", "x Xo x Xo", 5),
            figure("x Xo x X", "x Xo xo Xo", 5),
            figure("xo X xo X", "x Xo x Xo", 3),
            figure("x X x X", "x Xo x Xo", 5),
            figure("x X x Xo", "x X xo X", 4),
        ],
    ),
    BACK_BEATS,
    SWEEPS,
    with_threes(
        Piece::Kick,
        &[
            figure("o o o o", "o o o o", 9),
            figure("x o o o", "o o o o", 5),
            figure("x o x o", "x o x o", 4),
            figure("o o o o", "o o o oo", 2),
        ],
        "x o o -",
    ),
];

/// The ride where the bass has few notes: quarters, seldom a skip; the bass drum goes with the bass.
pub const SPARSE: Groove = &[
    layer(
        Piece::Ride,
        &[
            figure("x X x X", "x X x Xo", 10),
            figure("x X x Xo", "x X x X", 8),
            figure("x X x Xo", "x X x Xo", 7),
            figure("x X x X", "x Xo x Xo", 6),
            figure("x Xo x X", "x X x Xo", 6),
            figure("x Xo x Xo", "x X x X", 5),
            figure("x X x X", "x X xo X", 4),
            figure("x X x X", "x X x X", 4),
        ],
    ),
    BACK_BEATS,
    SWEEPS,
    with_threes(
        Piece::Kick,
        &[
            figure("x - x -", "x - x -", 8),
            figure("x - o -", "x - x -", 3),
            figure("x - x -", "o - x -", 3),
        ],
        "x - - -",
    ),
];

/// Even eighths on the hi-hat, the stick in a clave of two bars, the bass drum in dotted quarters.
pub const BOSSA: Groove = &[
    layer(
        Piece::Hat,
        &[
            figure("xo xo xo xo", "xo xo xo xX", 4),
            figure("xo xo xo x", "xo xo xo xo", 3),
            figure("x xo x xo", "x xo xo xo", 2),
            figure("xo x xo xo", "xo xo x xo", 2),
            figure("xo Xo xo Xo", "xo Xo xo X", 2),
        ],
    ),
    BACK_BEATS,
    layer(
        Piece::Stick,
        &[
            figure("x -x - x", "- x -x -", 5),
            figure("x -x - x", "- x - -", 3),
            figure("x - - x", "- x -x -", 3),
            figure("- x -x -", "x -x - x", 3),
        ],
    ),
    layer(
        Piece::Kick,
        &[
            figure("x -o x -o", "x -o x -o", 4),
            figure("x -o x -", "x -o x -o", 3),
            figure("x - x -o", "x -o x -o", 3),
            figure("x -o x -o", "x -o x -", 2),
        ],
    ),
];

/// The ride (or the hat) in long and short, back beats on the snare.
pub const SHUFFLE: Groove = &[
    layer(
        Piece::Ride,
        &[
            figure("xo Xo xo Xo", "xo Xo xo Xo", 12),
            figure("x Xo x Xo", "xo Xo xo Xo", 6),
            figure("xo Xo xo Xo", "xo X xo Xo", 5),
            figure("xo X xo Xo", "xo Xo xo Xo", 4),
            figure("x Xo xo Xo", "xo Xo x Xo", 4),
        ],
    ),
    BACK_BEATS,
    SWEEPS,
    layer(Piece::Snare, &always("- X - X")),
    layer(
        Piece::Snare,
        &[
            figure("- - - -", "- - - -", 8),
            figure("- - -o -", "- - - -", 4),
            figure("- - - -o", "- - -o -", 4),
            figure("-o - - -", "- - - -o", 3),
            figure("- - - -", "-o - -o -", 3),
        ],
    ),
    layer(
        Piece::Kick,
        &[
            figure("x o x o", "x o x o", 8),
            figure("x o x o", "x o xo o", 4),
            figure("x oo x o", "x o x o", 3),
            figure("x o x oo", "x o x o", 3),
            figure("xo o x o", "x o x oo", 2),
        ],
    ),
];

/// The back beat on the third beat.
pub const HALF_TIME: Groove = &[
    layer(
        Piece::Ride,
        &[
            figure("x x x x", "x x x x", 5),
            figure("x x x xo", "x x x x", 5),
            figure("x xo x x", "x x x xo", 4),
            figure("x x xo x", "x x x xo", 3),
            figure("x xo x xo", "x x x x", 3),
        ],
    ),
    SWEEPS,
    layer(Piece::Stick, &always("- - X -")),
    layer(
        Piece::Kick,
        &[
            figure("X - - -o", "X -o - -", 6),
            figure("X - - -", "X - - -o", 4),
            figure("X -o - -", "X - - xo", 3),
            figure("X - - -o", "X - -o -", 3),
        ],
    ),
];

/// Everything twice in the bar: the beat is half of the written one.
pub const DOUBLE_TIME: Groove = &[
    layer(
        Piece::Ride,
        &[
            figure(
                "x--X-o x--X-o x--X-o x--X-o",
                "x--X-o x--X-o x--X-o x--X-o",
                6,
            ),
            figure(
                "x--X-o x--X-- x--X-o x--X-o",
                "x--X-o x--X-o x--X-o x--X--",
                5,
            ),
            figure(
                "x--X-- x--X-o x--X-- x--X-o",
                "x--X-o x--X-o x--X-o x--X-o",
                5,
            ),
            figure(
                "x--X-o x--X-o x--X-- x--X-o",
                "x--X-o x-oX-o x--X-o x--X--",
                3,
            ),
            figure(
                "x-oX-- x--X-o x--X-o x--X-o",
                "x--X-o x--X-- x--X-- x--X-o",
                3,
            ),
        ],
    ),
    layer(Piece::Pedal, &always("-x -x -x -x")),
    layer(
        Piece::Snare,
        &[
            figure("- - - -", "- - - -", 6),
            figure("- - - ---o", "- - - -", 3),
            figure("- -o-- - -", "- - - ---o", 3),
            figure("- - ---o -", "- - - -", 2),
        ],
    ),
    layer(
        Piece::Kick,
        &[
            figure("o o o o", "o o o o", 6),
            figure("o o o oo", "o o o o", 3),
            figure("oo o o o", "o o o oo", 2),
        ],
    ),
];

/// Three to a beat, as in a slow blues in 12/8: back beats on the stick.
pub const THREES: Groove = &[
    layer(
        Piece::Ride,
        &[
            figure("xoo Xoo xoo Xoo", "xoo Xoo xoo Xoo", 8),
            figure("xoo Xoo xoo Xoo", "xoo Xoo xoo X-o", 6),
            figure("x-o X-o x-o X-o", "xoo Xoo xoo Xoo", 5),
            figure("xoo X-o xoo X-o", "xoo X-o xoo Xoo", 5),
            figure("x-o Xoo x-o Xoo", "x-o X-o x-o Xoo", 4),
            figure("xoo Xoo x-o X-o", "xoo Xoo xoo Xoo", 4),
        ],
    ),
    BACK_BEATS,
    layer(Piece::Stick, &always("- X - X")),
    layer(
        Piece::Snare,
        &[
            figure("- - - -", "- - - -", 8),
            figure("- - - -", "- - - --o", 3),
            figure("- - --o -", "- - - -", 3),
            figure("- --o - -", "- - - --o", 2),
        ],
    ),
    layer(
        Piece::Kick,
        &[
            figure("x - x -", "x - x -", 5),
            figure("x --o x -", "x - x -", 5),
            figure("x - x --o", "x --o x -", 4),
            figure("x - x -", "x --o x --o", 3),
        ],
    ),
];

#[cfg(test)]
mod tests {
    use super::{
        super::{kit::Stress, rows::strokes},
        *,
    };

    #[test]
    fn every_row_is_four_beats_of_parts_that_divide_them() {
        for groove in [FOUR, SPARSE, BOSSA, SHUFFLE, HALF_TIME, DOUBLE_TIME, THREES] {
            let rows = groove.iter().flat_map(|layer| {
                assert!(layer.figures.iter().all(|figure| figure.weight > 0));
                let figures = layer.figures.iter().flat_map(|figure| figure.bars);
                figures.chain(layer.threes)
            });
            for row in rows {
                let beats: Vec<&str> = row.split(' ').collect();
                assert_eq!(beats.len(), 4, "{row}");
                assert!(
                    beats
                        .iter()
                        .all(|beat| [1, 2, 3, 4, 6].contains(&beat.len())),
                    "{row}"
                );
                assert!(row.chars().all(|mark| " -oxX".contains(mark)), "{row}");
            }
        }
    }

    #[test]
    fn time_is_kept_on_every_beat_in_every_figure() {
        for groove in [FOUR, SPARSE, BOSSA, SHUFFLE, HALF_TIME, DOUBLE_TIME, THREES] {
            let time = groove
                .iter()
                .filter(|layer| matches!(layer.piece, Piece::Ride | Piece::Hat));
            for row in time
                .flat_map(|layer| layer.figures)
                .flat_map(|figure| figure.bars)
            {
                let on_beats =
                    strokes(row).filter(|(_, into, stress)| *into == 0 && *stress != Stress::Soft);
                assert_eq!(on_beats.count(), 4, "{row}");
            }
        }
    }
}
