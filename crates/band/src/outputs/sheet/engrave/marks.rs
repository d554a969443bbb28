//! The marks of a bar, drawn below its staff: figures, ropes, posts, and the underlines of grades.
//!
//! A rope hangs from below its figure to the post of its keeping. One that crosses a bar line is cut at its
//! lowest point, half in either bar, so that bars can be drawn apart.

use super::{
    Levels,
    font::Face,
    ink::{BowPart, Picture, Shape, ShapeUse},
};
use crate::outputs::marks::{Grade, Mark, Promise, Rope};

/// Height of an em of a figure.
const SIZE: f64 = 1.75;
/// Below the baseline of the figures: where a rope begins, and the ends of a post.
const ROPE: f64 = 0.5;
const POST: (f64, f64) = (0.4, 1.6);
/// Thickness of a post.
const POST_WIDTH: f64 = 0.32;
/// How far a rope hangs, and how much lower one that goes around a figure.
const HANGS: f64 = 0.95;
const LOWER: f64 = 0.55;
/// Distance of two strands; edge and distance of dots.
const STRANDS: f64 = 0.5;
const DOT: f64 = 0.3;
const DOTS: f64 = 0.75;
/// Below the baseline of the figures: the lowest point of plain ropes, and of those around a figure.
pub const LOWEST: f64 = ROPE + HANGS + STRANDS;
pub const LOWEST_AROUND: f64 = LOWEST + LOWER;
/// What an underline takes below the ropes.
pub const UNDERLINE: f64 = 1.0;

/// Width of a figure.
pub fn figure_width(mark: &Mark) -> f64 {
    face(mark).width(&mark.figure) * SIZE
}

/// What belongs to the chord is set stronger than what passes.
fn face(mark: &Mark) -> Face {
    if mark.passes {
        Face::Regular
    } else {
        Face::Strong
    }
}

/// Whether the rope of a note passes under the figure of another, on its way to the post or from it.
pub fn goes_around(marks: &[Mark], index: usize) -> bool {
    let reaches_over = |from: usize| {
        let to = marks.get(from)?.promise?.to?;
        (to > from + 1).then_some(to)
    };
    let comes_in = |back: usize| index.checked_sub(back).and_then(reaches_over) == Some(index);
    reaches_over(index).is_some() || comes_in(2)
}

/// Draws the marks of the notes struck in a bar, each with the middle of its head; `marks` are those of the
/// whole music.
pub fn draw(
    picture: &mut Picture,
    marks: &[Mark],
    struck: &[(usize, f64)],
    width: f64,
    levels: &Levels,
) {
    for &(index, middle) in struck {
        let Some(mark) = marks.get(index) else {
            continue;
        };
        let note = Some(index);
        let at = (middle - figure_width(mark) / 2.0, levels.figures);
        picture.text(ShapeUse::Mark, note, &mark.figure, at, SIZE, face(mark));
        if mark.keeps {
            let (top, bottom) = (levels.figures + POST.0, levels.figures + POST.1);
            let post = ((middle, top), (middle, bottom));
            picture.line(ShapeUse::Mark, note, post.0, post.1, POST_WIDTH);
        }
        if let Some(promise) = mark.promise {
            let from = start(mark, middle);
            let there = struck.iter().find(|(to, _)| Some(*to) == promise.to);
            let next = struck.iter().find(|(next, _)| *next > index);
            let (to, part) = match (there, next) {
                (Some(&(to, middle)), _) => (end(&marks[to], middle), BowPart::Whole),
                // A promise that is not kept hangs loose before the next note.
                (None, Some(&(_, next))) if promise.to.is_none() => {
                    ((from + next) / 2.0, BowPart::Left)
                }
                (None, _) => (width, BowPart::Left),
            };
            let deep = promise.to.is_some_and(|to| to > index + 1);
            rope(picture, index, promise.rope, (from, to), part, deep, levels);
        }
        // Ropes from the bar before.
        for from in [index.checked_sub(2), index.checked_sub(1)]
            .into_iter()
            .flatten()
        {
            let is_here = struck.iter().any(|(here, _)| *here == from);
            let promise = marks[from]
                .promise
                .filter(|promise| promise.to == Some(index));
            if let Some(Promise { rope: drawn, .. }) = promise.filter(|_| !is_here) {
                let to = end(mark, middle);
                let deep = index > from + 1;
                rope(
                    picture,
                    index,
                    drawn,
                    (0.0, to),
                    BowPart::Right,
                    deep,
                    levels,
                );
            }
        }
        underline(picture, index, mark, middle, levels);
    }
}

/// Where the rope of a promise begins: below the middle of its figure, beside a post that stands there.
fn start(mark: &Mark, middle: f64) -> f64 {
    middle + if mark.keeps { 0.25 } else { 0.0 }
}

/// Where a rope ends: at the post, or below the figure from which it goes on.
fn end(mark: &Mark, middle: f64) -> f64 {
    middle - if mark.keeps { 0.0 } else { 0.25 }
}

/// A rope between two points of its lane, or the half of it that lies in this bar.
fn rope(
    picture: &mut Picture,
    index: usize,
    rope: Rope,
    (from, to): (f64, f64),
    part: BowPart,
    deep: bool,
    levels: &Levels,
) {
    let y = levels.figures + ROPE;
    let height = HANGS + if deep { LOWER } else { 0.0 };
    let strand = |lower: f64| Shape::Rope {
        from: (from, y + lower),
        to,
        height,
        part,
    };
    let note = Some(index);
    match rope {
        Rope::One => picture.draw(ShapeUse::Mark, note, strand(0.0)),
        Rope::Two => {
            picture.draw(ShapeUse::Mark, note, strand(0.0));
            picture.draw(ShapeUse::Mark, note, strand(STRANDS));
        }
        Rope::Dots => {
            for (x, y) in dots((from, y), to, height, part) {
                let edge = ((x - DOT / 2.0, y), (x + DOT / 2.0, y));
                picture.line(ShapeUse::Mark, note, edge.0, edge.1, DOT);
            }
        }
    }
}

/// Dots along a hanging rope: a parabola, or the half of one.
fn dots(from: (f64, f64), to: f64, height: f64, part: BowPart) -> Vec<(f64, f64)> {
    let run = to - from.0;
    let count = (run / DOTS).floor().max(2.0);
    // From -1 to 1 along the whole rope; its lowest point is 0.
    let along = |share: f64| match part {
        BowPart::Whole => 2.0 * share - 1.0,
        BowPart::Left => share - 1.0,
        BowPart::Right => share,
    };
    (0..count as usize)
        .map(|number| {
            let share = (number as f64 + 0.5) / count;
            let place = along(share);
            (
                from.0 + run * share,
                from.1 + height * (1.0 - place * place),
            )
        })
        .collect()
}

/// The grade of a judged note, below everything else.
fn underline(picture: &mut Picture, index: usize, mark: &Mark, middle: f64, levels: &Levels) {
    let (half, y, thick) = (1.1, levels.ropes + 0.7, 0.24);
    let mut stroke = |left: f64, right: f64| {
        let (from, to) = ((middle + left, y), (middle + right, y));
        picture.line(ShapeUse::Mark, Some(index), from, to, thick);
    };
    match mark.grade {
        Grade::Good => {}
        Grade::Choice => stroke(-half, half),
        Grade::Unusual => {
            for left in [-half, -0.25, half - 0.5] {
                stroke(left, left + 0.5);
            }
        }
        Grade::Wrong => {
            stroke(-half, half);
            // Two strokes that cross on the line.
            let (reach, slant) = (0.5, 0.14);
            for way in [-1.0, 1.0] {
                let (up, down) = (y - reach, y + reach);
                let (left, right) = (middle - way * reach, middle + way * reach);
                let corners = vec![
                    (left - slant, up),
                    (left + slant, up),
                    (right + slant, down),
                    (right - slant, down),
                ];
                picture.draw(ShapeUse::Mark, Some(index), Shape::Area(corners));
            }
        }
    }
}
