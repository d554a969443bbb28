//! Styles, one row a feel: where the off-beat falls, what the drummer keeps and what the comp plays with.
//!
//! Common practice, no source. A new feel is one row here and one among the walker's feels.

use crate::players::drums::{self, Groove};
use endpin_theory::{Meter, chart::Feel};

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

const FOUR: Style = Style {
    feel: Feel::Four,
    off_beat: OffBeat::Swung,
    groove: drums::FOUR,
    cells: None,
    density: 100,
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

/// Struck anew now and then, and held as long as the chord lasts.
pub const PADS: &[RhythmCell] = &[
    (&[(0, 8)], 6),
    (&[(4, 4)], 1),
    (&[(3, 5)], 2),
    (&[(0, 4), (4, 4)], 6),
    (&[(0, 3), (3, 5)], 3),
    (&[(0, 6), (6, 2)], 1),
];

/// The same in three.
pub const PADS_OF_THREE: &[RhythmCell] = &[
    (&[(0, 6)], 6),
    (&[(2, 4)], 1),
    (&[(3, 3)], 2),
    (&[(0, 4), (4, 2)], 3),
    (&[(0, 3), (3, 3)], 3),
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
        groove: drums::SPARSE,
        cells: Some(HELD),
        density: 80,
        ..FOUR
    },
    Style {
        feel: Feel::Broken,
        groove: drums::SPARSE,
        ..FOUR
    },
    Style {
        feel: Feel::Pedal,
        groove: drums::SPARSE,
        ..FOUR
    },
    Style {
        feel: Feel::Bossa,
        off_beat: OffBeat::Even,
        groove: drums::BOSSA,
        cells: Some(BOSSA),
        density: 118,
    },
    Style {
        feel: Feel::Shuffle,
        off_beat: OffBeat::Triplet,
        groove: drums::SHUFFLE,
        cells: Some(SHUFFLE),
        density: 110,
    },
    Style {
        feel: Feel::HalfTime,
        groove: drums::HALF_TIME,
        cells: Some(HELD),
        density: 80,
        ..FOUR
    },
    Style {
        feel: Feel::DoubleTime,
        off_beat: OffBeat::Even,
        groove: drums::DOUBLE_TIME,
        density: 120,
        ..FOUR
    },
];

/// Below this many quarters a minute swinging tunes are ballads: the comp holds its chords, the drummer takes
/// brushes, open strings ring.
pub const BALLAD: f64 = 84.0;

impl Style {
    /// Whether the comp holds its chords: over pedals, and in ballads that swing and are not counted in threes.
    pub fn is_held(&self, tempo: f64, meter: &Meter) -> bool {
        self.feel == Feel::Pedal || self.is_ballad(tempo, meter)
    }

    /// Whether it is a ballad at this tempo.
    pub fn is_ballad(&self, tempo: f64, meter: &Meter) -> bool {
        matches!(
            self.feel,
            Feel::Four | Feel::Two | Feel::Broken | Feel::Pedal
        ) && tempo < BALLAD
            && !meter.is_compound()
    }

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
        }
    }
}
