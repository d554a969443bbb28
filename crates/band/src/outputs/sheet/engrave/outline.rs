//! Outlines of shapes, for whoever fills them: corners and curves.

use super::ink::{BowPart, Rectangle, Shape};

type Point = (f64, f64);

/// Straight shapes as filled polygons.
pub fn areas(shape: &Shape) -> Vec<Vec<Point>> {
    let rectangle = |left: f64, top: f64, right: f64, bottom: f64| {
        vec![(left, top), (right, top), (right, bottom), (left, bottom)]
    };
    match shape {
        Shape::Area(corners) => vec![corners.clone()],
        Shape::Line { .. } => {
            let Rectangle {
                left,
                top,
                right,
                bottom,
            } = shape.bounds();
            vec![rectangle(left, top, right, bottom)]
        }
        Shape::Frame { area, width } => {
            let half = width / 2.0;
            let (left, right) = (area.left - half, area.right + half);
            let (top, bottom) = (area.top - half, area.bottom + half);
            vec![
                rectangle(left, top, right, top + width),
                rectangle(left, bottom - width, right, bottom),
                rectangle(left, top + width, left + width, bottom - width),
                rectangle(right - width, top + width, right, bottom - width),
            ]
        }
        _ => Vec::new(),
    }
}

/// A rope as one quadratic curve: start, control point, end.
pub fn rope_curve(from: Point, to: f64, height: f64, part: BowPart) -> [Point; 3] {
    let ((x, y), middle, low) = (from, (from.0 + to) / 2.0, from.1 + height);
    match part {
        BowPart::Whole => [from, (middle, y + 2.0 * height), (to, y)],
        BowPart::Left => [from, (middle, low), (to, low)],
        BowPart::Right => [(x, low), (middle, low), (to, y)],
    }
}

/// The two curves of a bow as cubic control points: there along the outside, back along the inside.
pub fn bow_curves(from: Point, to: Point, height: f64, part: BowPart) -> [[Point; 4]; 2] {
    let thickness = if height < 0.0 { 0.2 } else { -0.2 };
    let curve = |height: f64| match part {
        BowPart::Whole => whole(from, to, height),
        BowPart::Left => half(from, to, height),
        BowPart::Right => backwards(half(to, from, height)),
    };
    [curve(height), backwards(curve(height + thickness))]
}

fn whole(from: Point, to: Point, height: f64) -> [Point; 4] {
    let (run, rise) = (to.0 - from.0, height * 4.0 / 3.0);
    [
        from,
        (from.0 + run * 0.25, from.1 + rise),
        (to.0 - run * 0.25, to.1 + rise),
        to,
    ]
}

/// From the end of a bow to where it is cut in its middle, level at its height.
fn half(from: Point, to: Point, height: f64) -> [Point; 4] {
    let (run, level) = (to.0 - from.0, to.1 + height);
    [
        from,
        (from.0 + run * 0.4, level),
        (to.0 - run * 0.3, level),
        (to.0, level),
    ]
}

fn backwards(mut curve: [Point; 4]) -> [Point; 4] {
    curve.reverse();
    curve
}
