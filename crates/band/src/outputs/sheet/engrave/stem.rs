//! Stems, flags, beams and the figures of triplets.

use super::{
    columns::head_glyph,
    glyph::Glyph,
    ink::{Picture, Shape, ShapeUse},
    signature::y_of,
};
use crate::outputs::sheet::{
    measure::{Measure, WrittenEvent},
    written_values,
};
use std::ops::Range;

/// Thickness of a stem.
const STEM: f64 = 0.12;
/// Length of a stem, an octave on the staff.
const LENGTH: f64 = 3.5;
/// The shortest stem under a slanted beam.
const SHORTEST: f64 = 2.6;
/// Thickness of a beam, and from one beam to the next.
const BEAM: f64 = 0.5;
const BEAM_STEP: f64 = 0.75;
/// The most that a beam climbs over its whole length.
const CLIMB: f64 = 0.9;
/// Length of a beam that joins nothing.
const STUB: f64 = 1.1;
/// Size of the figure of a triplet to its own.
const FIGURE: f64 = 0.8;

/// A note as the stems see it.
struct Stemmed<'a> {
    event: &'a WrittenEvent,
    note: usize,
    position: i16,
    x: f64,
}

/// Draws the stems of a bar, with flags or beams, and the figures of its triplets.
///
/// `x` gives the left edge of the head at each event.
pub fn draw(picture: &mut Picture, measure: &Measure, x: &dyn Fn(&WrittenEvent) -> f64) {
    let pieces = measure.pieces();
    let beams = written_values::beams(&measure.meter, &pieces);
    for beam in &beams {
        let group: Vec<Stemmed> = beam
            .clone()
            .filter_map(|index| stemmed(measure, index, x))
            .collect();
        draw_beam(picture, &group);
    }
    for index in 0..measure.events.len() {
        let is_alone = beams.iter().all(|beam| !beam.contains(&index));
        if let Some(note) = stemmed(measure, index, x).filter(|_| is_alone) {
            draw_alone(picture, &note);
        }
    }
    for triplet in written_values::triplets(&measure.meter, &pieces) {
        let beamed = beams.contains(&triplet);
        draw_triplet(picture, measure, triplet, beamed, x);
    }
}

fn stemmed<'a>(
    measure: &'a Measure,
    index: usize,
    x: &dyn Fn(&WrittenEvent) -> f64,
) -> Option<Stemmed<'a>> {
    let event = &measure.events[index];
    let head = event
        .note
        .as_ref()
        .filter(|head| event.value.fraction > 1 && !head.blank)?;
    Some(Stemmed {
        event,
        note: head.index,
        position: super::position(head.pitch),
        x: x(event),
    })
}

/// Whether stems go up: below the middle line they do.
fn goes_up(positions: impl Iterator<Item = i16>) -> bool {
    let furthest = positions.max_by_key(|position| (position.abs(), *position));
    furthest.is_none_or(|position| position < 0)
}

impl Stemmed<'_> {
    /// Middle of the stem.
    fn stem_x(&self, up: bool) -> f64 {
        self.x
            + if up {
                head_glyph(self.event).width() - STEM / 2.0
            } else {
                STEM / 2.0
            }
    }

    /// Where the stem leaves the head.
    fn foot(&self, up: bool) -> f64 {
        let off = if self.event.note.as_ref().is_some_and(|head| head.ghost) {
            0.44
        } else {
            0.168
        };
        y_of(self.position) + if up { -off } else { off }
    }

    /// Where a stem of the usual length ends: an octave away, and never short of the middle line.
    fn tip(&self, up: bool) -> f64 {
        let y = y_of(self.position);
        if up {
            (y - LENGTH).min(0.0)
        } else {
            (y + LENGTH).max(0.0)
        }
    }

    fn draw_stem(&self, picture: &mut Picture, up: bool, tip: f64) {
        let x = self.stem_x(up);
        picture.line(
            ShapeUse::Stem,
            Some(self.note),
            (x, self.foot(up)),
            (x, tip),
            STEM,
        );
    }
}

fn draw_alone(picture: &mut Picture, note: &Stemmed) {
    let up = goes_up([note.position].into_iter());
    let tip = note.tip(up);
    note.draw_stem(picture, up, tip);
    let flag = match (note.event.value.flags(), up) {
        (0, _) => return,
        (1, true) => Glyph::FlagUp,
        (1, false) => Glyph::FlagDown,
        (_, true) => Glyph::Flag2Up,
        (_, false) => Glyph::Flag2Down,
    };
    picture.sign(
        ShapeUse::Stem,
        Some(note.note),
        flag,
        note.stem_x(up) - STEM / 2.0,
        tip,
    );
}

/// The beam of a group: a straight line that all its stems reach.
struct Beam {
    up: bool,
    start: f64,
    base: f64,
    slope: f64,
}

impl Beam {
    fn over(first: &Stemmed, last: &Stemmed, group: &[Stemmed]) -> Beam {
        let up = goes_up(group.iter().map(|note| note.position));
        let away = if up { -1.0 } else { 1.0 };
        let start = first.stem_x(up);
        let climb = (last.tip(up) - first.tip(up)).clamp(-CLIMB, CLIMB);
        let slope = climb / (last.stem_x(up) - start);
        // It passes through the tip that lies furthest from the heads, and no stem gets too short.
        let level = |note: &Stemmed, tip: f64| tip - slope * (note.stem_x(up) - start);
        let ends = [first, last].map(|note| level(note, note.tip(up)));
        let shortest = group
            .iter()
            .map(|note| level(note, y_of(note.position) + away * SHORTEST));
        let further = |base: f64, level: f64| match up {
            true => base.min(level),
            false => base.max(level),
        };
        Beam {
            up,
            start,
            base: ends.into_iter().chain(shortest).fold(ends[0], further),
            slope,
        }
    }

    fn y_at(&self, x: f64) -> f64 {
        self.base + self.slope * (x - self.start)
    }

    /// Draws a bar from stem to stem, the outermost numbered 0.
    fn draw_bar(&self, picture: &mut Picture, from: f64, to: f64, number: u8) {
        let inward = if self.up { 1.0 } else { -1.0 };
        let off = inward * BEAM_STEP * f64::from(number);
        let (left, right) = (from - STEM / 2.0, to + STEM / 2.0);
        let (y1, y2) = (self.y_at(left) + off, self.y_at(right) + off);
        let thick = inward * BEAM;
        let area = vec![
            (left, y1),
            (right, y2),
            (right, y2 + thick),
            (left, y1 + thick),
        ];
        picture.draw(ShapeUse::Stem, None, Shape::Area(area));
    }
}

fn draw_beam(picture: &mut Picture, group: &[Stemmed]) {
    let [first, .., last] = group else { return };
    let beam = Beam::over(first, last, group);
    let x = |note: &Stemmed| note.stem_x(beam.up);
    for note in group {
        note.draw_stem(picture, beam.up, beam.y_at(x(note)));
    }
    beam.draw_bar(picture, x(first), x(last), 0);
    for number in 1..4 {
        let has =
            |note: Option<&Stemmed>| note.is_some_and(|note| note.event.value.flags() > number);
        for (index, note) in group.iter().enumerate().filter(|(_, note)| has(Some(note))) {
            let before = index.checked_sub(1).map(|before| &group[before]);
            match group.get(index + 1) {
                Some(next) if has(Some(next)) => {
                    beam.draw_bar(picture, x(note), x(next), number);
                }
                _ if has(before) => {}
                // What joins nothing is a stub, inside the group.
                Some(_) => beam.draw_bar(picture, x(note), x(note) + STUB, number),
                None => beam.draw_bar(picture, x(note) - STUB, x(note), number),
            }
        }
    }
}

/// The figure 3 over a triplet, with a bracket where no beam holds it together.
fn draw_triplet(
    picture: &mut Picture,
    measure: &Measure,
    triplet: Range<usize>,
    beamed: bool,
    x: &dyn Fn(&WrittenEvent) -> f64,
) {
    let events = &measure.events[triplet];
    let [first, .., last] = events else { return };
    let (left, right) = (x(first), x(last) + head_glyph(last).width());
    let glyph = Glyph::Triplet;
    let wide = glyph.width() * FIGURE;
    let figure = (left + right) / 2.0 - wide / 2.0;
    let y = top_of(picture, events, (left, right)) - 0.4;
    let sign = Shape::Sign {
        glyph,
        x: figure,
        y,
        size: FIGURE,
    };
    picture.draw(ShapeUse::Triplet, None, sign);
    if beamed {
        return;
    }
    let line = y - 0.55;
    for (outer, inner) in [(left, figure - 0.2), (right, figure + wide + 0.2)] {
        let (from, to) = ((outer.min(inner), line), (outer.max(inner), line));
        picture.line(ShapeUse::Triplet, None, from, to, STEM);
        picture.line(ShapeUse::Triplet, None, (outer, line), (outer, y), STEM);
    }
}

/// How high what belongs to these events reaches between left and right; the staff at the least.
fn top_of(picture: &Picture, events: &[WrittenEvent], (left, right): (f64, f64)) -> f64 {
    let heads = events.iter().filter_map(|event| event.note.as_ref());
    let notes: Vec<usize> = heads.map(|head| head.index).collect();
    let stands = [
        ShapeUse::Head,
        ShapeUse::Stem,
        ShapeUse::Accidental,
        ShapeUse::Tie,
    ];
    let marks = picture.marks.iter().filter(|mark| {
        stands.contains(&mark.kind) && mark.note.is_none_or(|note| notes.contains(&note))
    });
    marks
        .map(|mark| mark.shape.bounds())
        .filter(|bounds| bounds.left < right + 0.3 && bounds.right > left - 0.3)
        .map(|bounds| bounds.top)
        .fold(-2.0, f64::min)
}
