//! What a picture is made of: shapes with a place, measured in staff spaces.
//!
//! X goes right and y goes down; zero is the left edge and the middle line of the staff. Only +, -, * and /
//! are used on these numbers, so that a picture is the same on every platform.

use super::{
    font::Face,
    glyph::{Glyph, UNITS},
};

/// Thickness of a rope.
pub const ROPE_WIDTH: f64 = 0.19;

/// A shape.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A sign of music with its origin at a point; `size` 1 is that of the staff.
    Sign {
        /// Which.
        glyph: Glyph,
        /// Origin.
        x: f64,
        /// Origin.
        y: f64,
        /// Scale.
        size: f64,
    },
    /// A straight line with square ends.
    Line {
        /// From.
        from: (f64, f64),
        /// To.
        to: (f64, f64),
        /// Thickness.
        width: f64,
    },
    /// A filled area with straight edges.
    Area(Vec<(f64, f64)>),
    /// A tie: a filled bow between two points, or half of one.
    Bow {
        /// Left end.
        from: (f64, f64),
        /// Right end.
        to: (f64, f64),
        /// How far the middle stands off; negative is up.
        height: f64,
        /// Which part of it is drawn.
        part: BowPart,
    },
    /// A rope: a thin parabola that hangs between two points of one height, or half of it.
    Rope {
        /// Left end.
        from: (f64, f64),
        /// Its right end, or where it is cut.
        to: f64,
        /// How far its middle hangs down.
        height: f64,
        /// Which part of it is drawn.
        part: BowPart,
    },
    /// A line of text with its origin on the baseline.
    Text {
        /// The text.
        text: String,
        /// Origin.
        x: f64,
        /// Baseline.
        y: f64,
        /// Height of an em.
        size: f64,
        /// Weight.
        face: Face,
    },
    /// An outlined rectangle.
    Frame {
        /// Left, top, right, bottom.
        area: Rectangle,
        /// Thickness of its line.
        width: f64,
    },
}

/// Which part of a bow stands in this bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BowPart {
    /// All of it.
    Whole,
    /// Its left half: it goes on in the next bar.
    Left,
    /// Its right half.
    Right,
}

/// What a shape is for: what a page may hide, and what may not touch what.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ShapeUse {
    /// Lines of the staff or of tablature.
    Staff,
    /// Bar lines.
    Barline,
    /// Clef, key and time signature.
    Signature,
    /// Heads, with dots and rests.
    Head,
    /// Accidentals in front of notes, with their parentheses.
    Accidental,
    /// Stems, flags, beams.
    Stem,
    /// Ledger lines.
    Ledger,
    /// Ties.
    Tie,
    /// Figures of triplets with their brackets.
    Triplet,
    /// Chord symbols.
    Chord,
    /// Rehearsal marks and other words above the staff.
    Words,
    /// Figures, ropes and posts below the staff, and the underlines of grades.
    Mark,
    /// Fret numbers and fingers.
    Fret,
}

/// A shape in a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnShape {
    /// The shape.
    pub shape: Shape,
    /// What it is for.
    pub kind: ShapeUse,
    /// Which note of the line it belongs to.
    pub note: Option<usize>,
}

/// A rectangle: left, top, right, bottom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rectangle {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Lower edge.
    pub bottom: f64,
}

impl Rectangle {
    /// Both and all between.
    pub fn around(self, other: Rectangle) -> Rectangle {
        Rectangle {
            left: self.left.min(other.left),
            top: self.top.min(other.top),
            right: self.right.max(other.right),
            bottom: self.bottom.max(other.bottom),
        }
    }

    /// Whether they share more than an edge.
    pub fn overlaps(self, other: Rectangle) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    fn points(points: impl IntoIterator<Item = (f64, f64)>) -> Rectangle {
        let nothing = Rectangle {
            left: f64::INFINITY,
            top: f64::INFINITY,
            right: f64::NEG_INFINITY,
            bottom: f64::NEG_INFINITY,
        };
        points.into_iter().fold(nothing, |bounds, (x, y)| {
            bounds.around(Rectangle {
                left: x,
                top: y,
                right: x,
                bottom: y,
            })
        })
    }
}

impl Shape {
    /// The rectangle that it fills.
    pub fn bounds(&self) -> Rectangle {
        match self {
            Shape::Sign { glyph, x, y, size } => {
                let [left, top, right, bottom] = glyph
                    .outline()
                    .bounds
                    .map(|edge| f64::from(edge) / UNITS * size);
                Rectangle {
                    left: x + left,
                    top: y + top,
                    right: x + right,
                    bottom: y + bottom,
                }
            }
            Shape::Line { from, to, width } => {
                let half = width / 2.0;
                let bounds = Rectangle::points([*from, *to]);
                // Square ends: an upright line is wider than its points, a level one higher.
                let (across, along) = if from.0 == to.0 {
                    (half, 0.0)
                } else {
                    (0.0, half)
                };
                Rectangle {
                    left: bounds.left - across,
                    top: bounds.top - along,
                    right: bounds.right + across,
                    bottom: bounds.bottom + along,
                }
            }
            Shape::Area(points) => Rectangle::points(points.iter().copied()),
            Shape::Bow {
                from, to, height, ..
            } => {
                let middle = from.1 + height;
                Rectangle::points([*from, *to, (from.0, middle)])
            }
            Shape::Rope {
                from, to, height, ..
            } => {
                let half = ROPE_WIDTH / 2.0;
                Rectangle::points([(from.0, from.1 - half), (*to, from.1 + height + half)])
            }
            Shape::Text {
                text,
                x,
                y,
                size,
                face,
            } => Rectangle {
                left: *x,
                top: y - face.cap_height() * size,
                right: x + face.width(text) * size,
                bottom: y + if text.contains(['g', 'j', 'p', 'q', 'y', ',', '(', ')', '/']) {
                    0.22 * size
                } else {
                    0.0
                },
            },
            Shape::Frame { area, width } => {
                let half = width / 2.0;
                Rectangle {
                    left: area.left - half,
                    top: area.top - half,
                    right: area.right + half,
                    bottom: area.bottom + half,
                }
            }
        }
    }

    /// Moved.
    pub fn shifted(mut self, dx: f64, dy: f64) -> Shape {
        let moved = |point: &mut (f64, f64)| *point = (point.0 + dx, point.1 + dy);
        match &mut self {
            Shape::Sign { x, y, .. } | Shape::Text { x, y, .. } => {
                *x += dx;
                *y += dy;
            }
            Shape::Line { from, to, .. } | Shape::Bow { from, to, .. } => {
                moved(from);
                moved(to);
            }
            Shape::Rope { from, to, .. } => {
                moved(from);
                *to += dx;
            }
            Shape::Area(points) => points.iter_mut().for_each(moved),
            Shape::Frame { area, .. } => {
                area.left += dx;
                area.right += dx;
                area.top += dy;
                area.bottom += dy;
            }
        }
        self
    }
}

/// A picture: marks, and how wide it is meant to be.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Picture {
    /// What is drawn, in order.
    pub marks: Vec<DrawnShape>,
    /// From its left edge to its right one, in staff spaces.
    pub width: f64,
}

impl Picture {
    /// Draws a shape.
    pub fn draw(&mut self, kind: ShapeUse, note: Option<usize>, shape: Shape) {
        self.marks.push(DrawnShape { shape, kind, note });
    }

    /// Draws a sign of the staff's own size.
    pub fn sign(&mut self, kind: ShapeUse, note: Option<usize>, glyph: Glyph, x: f64, y: f64) {
        self.draw(
            kind,
            note,
            Shape::Sign {
                glyph,
                x,
                y,
                size: 1.0,
            },
        );
    }

    /// Draws a line.
    pub fn line(
        &mut self,
        kind: ShapeUse,
        note: Option<usize>,
        from: (f64, f64),
        to: (f64, f64),
        width: f64,
    ) {
        self.draw(kind, note, Shape::Line { from, to, width });
    }

    /// Draws a line of text.
    pub fn text(
        &mut self,
        kind: ShapeUse,
        note: Option<usize>,
        text: &str,
        at: (f64, f64),
        size: f64,
        face: Face,
    ) {
        let text = text.to_owned();
        self.draw(
            kind,
            note,
            Shape::Text {
                text,
                x: at.0,
                y: at.1,
                size,
                face,
            },
        );
    }

    /// Puts another picture in at a place.
    pub fn place(&mut self, other: Picture, dx: f64, dy: f64) {
        let moved = |mark: DrawnShape| DrawnShape {
            shape: mark.shape.shifted(dx, dy),
            ..mark
        };
        self.marks.extend(other.marks.into_iter().map(moved));
    }

    /// The rectangle around all marks that `counts`; none if there is none.
    pub fn bounds(&self, counts: impl Fn(ShapeUse) -> bool) -> Option<Rectangle> {
        let marks = self.marks.iter().filter(|mark| counts(mark.kind));
        marks
            .map(|mark| mark.shape.bounds())
            .reduce(Rectangle::around)
    }
}
