//! Engraving: from bars to pictures.
//!
//! Pictures are made of [`ink`] in staff spaces and know nothing of files or pages. A [`bar::EngravedBar`] is
//! spaced once and drawn at any width; the heads of lines come from [`signature`].

pub mod bar;
mod columns;
pub mod font;
pub mod glyph;
pub mod ink;
mod marks;
pub mod outline;
pub mod signature;
mod stem;
pub mod symbol;

use bar::EngravedBar;
use endpin_theory::Pitch;

/// Position of a note on the staff: half spaces above the middle line, D3 as written. The bass is written
/// an octave above its sound (common practice, no source).
pub fn position(pitch: Pitch) -> i16 {
    const MIDDLE_LINE: i16 = 3 * 7 + 1;
    pitch.staff_step() + 7 - MIDDLE_LINE
}

/// What is shown besides notes and chords.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ShownBesides {
    /// The marks of the notes, under the staff.
    pub marks: bool,
    /// Tablature under the staff.
    pub tablature: bool,
    /// Fingers under the tablature.
    pub fingers: bool,
}

/// Heights that the bars of a line share, in staff spaces below the middle line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levels {
    /// Baseline of the chord symbols.
    pub chords: f64,
    /// Baseline of the figures.
    pub figures: f64,
    /// Lowest point of the ropes.
    pub ropes: f64,
    /// Top of all.
    pub top: f64,
    /// Bottom of all.
    pub bottom: f64,
}

impl Levels {
    /// Heights that clear all notes of these bars.
    pub fn of<'a>(
        bars: impl IntoIterator<Item = &'a EngravedBar<'a>>,
        show: ShownBesides,
    ) -> Levels {
        let (mut top, mut bottom) = (-2.0f64, 2.0f64);
        let (mut around, mut graded) = (false, false);
        for bar in bars {
            around |= bar.has_ropes_around();
            graded |= bar.is_graded();
            // Beams slant more where there is room.
            for stretch in [1.0, 2.0] {
                if let Some(bounds) = bar.staff(stretch * bar.natural()).bounds(|_| true) {
                    top = top.min(bounds.top);
                    bottom = bottom.max(bounds.bottom);
                }
            }
        }
        let chords = top - 1.2;
        let figures = bottom + 1.9;
        let ropes = figures
            + if around {
                marks::LOWEST_AROUND
            } else {
                marks::LOWEST
            };
        Levels {
            chords,
            figures,
            ropes,
            // The tallest chord symbol: a raised parenthesis.
            top: chords - 2.9,
            bottom: match (show.marks, graded) {
                (true, true) => ropes + marks::UNDERLINE,
                (true, false) => ropes,
                (false, _) => bottom,
            } + 0.3,
        }
    }
}
