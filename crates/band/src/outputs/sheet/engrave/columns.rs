//! Spacing: where the moments of a bar stand from left to right.
//!
//! Each moment at which a note, a rest or a chord symbol starts is a column. Columns stand apart by what
//! their length asks for, by what their signs need, and by the width of the chord symbols; room to spare is
//! shared in proportion to time.

use super::{glyph::Glyph, marks::figure_width, symbol::chord_symbol};
use crate::outputs::{
    marks::Mark,
    sheet::{
        measure::{Measure, WrittenEvent},
        written_values::Value,
    },
};
use endpin_theory::Ticks;

/// Clear space between what stands in neighbouring columns.
const CLEAR: f64 = 0.55;
/// Clear space between an accidental and its parentheses.
pub const TO_PARENTHESIS: f64 = 0.1;
/// Clear space between chord symbols.
const BETWEEN_CHORDS: f64 = 1.0;
/// Clear space after a bar line.
const AFTER_BARLINE: f64 = 0.9;
/// Ideal distance of the next note in staff spaces, by length in ticks (own choice, after the usual rule
/// that twice the length gets about one and a half the space).
const IDEAL: [(i64, f64); 6] = [
    (0, 1.9),
    (320, 2.4),
    (480, 2.7),
    (960, 3.6),
    (1920, 5.0),
    (3840, 7.0),
];

/// Width of an accidental with its clear space, parentheses included.
pub fn sign_width(event: &WrittenEvent) -> f64 {
    let sign = event.note.as_ref().and_then(|head| head.sign);
    sign.map_or(0.0, |sign| {
        let parentheses = if sign.courtesy {
            2.0 * (Glyph::ParenLeft.width() + TO_PARENTHESIS)
        } else {
            0.0
        };
        Glyph::accidental(sign.alteration).width() + parentheses + 0.25
    })
}

/// The sign of a head or a rest.
pub fn head_glyph(event: &WrittenEvent) -> Glyph {
    match (&event.note, event.value.fraction) {
        (Some(head), _) if head.ghost => Glyph::GhostHead,
        (Some(_), 1) => Glyph::WholeHead,
        (Some(_), 2) => Glyph::HalfHead,
        (Some(_), _) => Glyph::BlackHead,
        (None, 1) => Glyph::WholeRest,
        (None, 2) => Glyph::HalfRest,
        (None, 4) => Glyph::QuarterRest,
        (None, 8) => Glyph::EighthRest,
        (None, _) => Glyph::SixteenthRest,
    }
}

/// How far a note reaches to the right of its column.
fn reach(event: &WrittenEvent) -> f64 {
    let Value { dotted, .. } = event.value;
    let flag = match &event.note {
        Some(_) if event.value.flags() > 0 => 0.6,
        _ => 0.0,
    };
    head_glyph(event).width() + flag + if dotted { 0.8 } else { 0.0 }
}

/// The columns of a bar.
#[derive(Clone, Debug)]
pub struct Columns {
    places: Vec<(Ticks, f64)>,
    end: Ticks,
    /// The least width of the bar.
    pub natural: f64,
}

impl Columns {
    /// Spaces a bar whose first `lead` is taken by a time signature; `marks` are those of the music, or none.
    pub fn new(measure: &Measure, lead: f64, marks: &[Mark]) -> Columns {
        let end = measure.meter.bar_ticks();
        let mut moments: Vec<Ticks> = measure.events.iter().map(|event| event.start).collect();
        moments.extend(measure.chords.iter().map(|mark| mark.at));
        moments.sort();
        moments.dedup();
        let at = |moment: Ticks| measure.events.iter().find(|event| event.start == moment);
        let chord_width = |moment: Ticks| {
            let mark = measure.chords.iter().find(|mark| mark.at == moment);
            mark.map(|mark| chord_symbol(&mark.symbol).width)
        };
        // How far the figure of a note that is struck reaches to the left and to the right of its column.
        let figure = |event: &WrittenEvent| {
            let head = event.note.as_ref().filter(|head| !head.tied_back)?;
            let half = figure_width(marks.get(head.index)?) / 2.0;
            let middle = head_glyph(event).width() / 2.0;
            Some((half - middle, half + middle))
        };
        let mut figures = 0.0f64;
        let mut places: Vec<(Ticks, f64)> = Vec::with_capacity(moments.len());
        // Right edges of the last signs and of the last chord symbol, and how far the length asks.
        let (mut signs, mut chords, mut asked) = (lead + AFTER_BARLINE - CLEAR, lead, 0.0f64);
        for (index, &moment) in moments.iter().enumerate() {
            let event = at(moment);
            let mut x = (signs + CLEAR + event.map_or(0.0, sign_width)).max(asked);
            let width = chord_width(moment);
            if width.is_some() {
                x = x.max(chords);
            }
            if let Some((left, right)) = event.and_then(figure) {
                x = x.max(figures + left);
                figures = x + right + CLEAR;
            }
            places.push((moment, x));
            signs = signs.max(x + event.map_or(0.0, reach));
            let next = moments.get(index + 1).copied().unwrap_or(end);
            asked = x + ideal(next - moment);
            if let Some(width) = width {
                chords = x + width + BETWEEN_CHORDS;
            }
        }
        let natural = asked.max(signs + CLEAR).max(figures);
        let natural = natural.max(chords - BETWEEN_CHORDS + 0.5);
        Columns {
            places,
            end,
            natural,
        }
    }

    /// The moments at which something stands.
    pub fn moments(&self) -> impl Iterator<Item = Ticks> {
        self.places.iter().map(|&(at, _)| at)
    }

    /// Left edge of the heads at a moment, in a bar of that width.
    pub fn x(&self, moment: Ticks, width: f64) -> f64 {
        let first = self.places.first().map_or((Ticks(0), 0.0), |&place| place);
        let natural = self
            .places
            .iter()
            .find(|(at, _)| *at == moment)
            .map_or(first.1, |&(_, x)| x);
        let share = (moment - first.0).0 as f64 / (self.end - first.0).0.max(1) as f64;
        let x = natural + (width - self.natural).max(0.0) * share;
        // Quarters of a space are fine enough, and pictures pack better for them.
        (x * 4.0).round() / 4.0
    }
}

/// Ideal distance for a length, between the rows of the table in proportion.
fn ideal(length: Ticks) -> f64 {
    let mut below = IDEAL[0];
    for row in IDEAL {
        if length.0 <= row.0 {
            let share = (length.0 - below.0) as f64 / (row.0 - below.0).max(1) as f64;
            return below.1 + (row.1 - below.1) * share;
        }
        below = row;
    }
    below.1 + (length.0 - below.0) as f64 / 1920.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn longer_notes_get_more_room_but_less_than_their_share() {
        assert!(ideal(Ticks(960)) > ideal(Ticks(480)));
        assert!(ideal(Ticks(1920)) < 2.0 * ideal(Ticks(960)));
        assert!((ideal(Ticks(640)) - 3.0).abs() < 1e-9);
        assert!(ideal(Ticks(7680)) > ideal(Ticks(3840)));
    }
}
