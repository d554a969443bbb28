//! Pictures as SVG.
//!
//! Signs are defined once and used by name; all shapes are filled with the current colour. What belongs to one
//! note stands in one group.

use super::{
    engrave::{
        font::Face,
        glyph::{Glyph, UNITS},
        ink::{BowPart, DrawnShape, Picture, ROPE_WIDTH, Shape, ShapeUse},
        outline::{areas, bow_curves, rope_curve},
    },
    print::Paper,
    xml::legal,
};
use crate::outputs::origin::mark;
use quick_xml::escape::escape;
use std::fmt::Write;

/// How text is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lettering {
    /// As text, in a typeface that the surroundings provide.
    Text,
    /// As outlines, the same everywhere.
    Outlines,
}

/// A number with at most two decimals, which is a hundredth of a staff space.
pub fn number(value: f64) -> String {
    let hundredths = (value * 100.0).round() as i64;
    let sign = if hundredths < 0 { "-" } else { "" };
    let (whole, part) = (hundredths.abs() / 100, hundredths.abs() % 100);
    match (part, part % 10) {
        (0, _) => format!("{sign}{whole}"),
        (_, 0) => format!("{sign}{whole}.{}", part / 10),
        _ => format!("{sign}{whole}.{part:02}"),
    }
}

/// Definitions of the signs that these pictures use.
pub fn definitions<'a>(pictures: impl IntoIterator<Item = &'a Picture>) -> String {
    let mut used = [false; Glyph::ALL.len()];
    for mark in pictures.into_iter().flat_map(|picture| &picture.marks) {
        if let Shape::Sign { glyph, .. } = mark.shape {
            used[glyph as usize] = true;
        }
    }
    signs(Glyph::ALL.into_iter().filter(|&glyph| used[glyph as usize]))
}

/// Definitions of signs.
pub fn signs(glyphs: impl Iterator<Item = Glyph>) -> String {
    let scale = 1.0 / UNITS;
    let one = |glyph: Glyph| {
        let outline = glyph.outline();
        format!(
            r#"<path id="{}" transform="scale({scale})" d="{}"/>"#,
            outline.name, outline.path
        )
    };
    format!("<defs>{}</defs>", glyphs.map(one).collect::<String>())
}

/// The shapes of a picture, without the element around them.
pub fn body(picture: &Picture, lettering: Lettering) -> String {
    let mut marks: Vec<&DrawnShape> = picture.marks.iter().collect();
    marks.sort_by_key(|mark| (mark.note, mark.kind));
    let mut svg = String::new();
    let same_note = |a: &&DrawnShape, b: &&DrawnShape| a.note == b.note;
    for of_note in marks.chunk_by(same_note) {
        match of_note[0].note {
            None => kinds(&mut svg, of_note, (0.0, 0.0), lettering),
            Some(index) => {
                let (x, y) = origin(&of_note[0].shape);
                let at = format!("translate({} {})", number(x), number(y));
                put(
                    &mut svg,
                    format_args!(r#"<g class="n" data-n="{index}" transform="{at}">"#),
                );
                kinds(&mut svg, of_note, (x, y), lettering);
                svg.push_str("</g>");
            }
        }
    }
    svg
}

/// Where a shape is anchored. What belongs to a note is drawn from its head, so that notes of one shape are
/// one text, which packs well.
fn origin(shape: &Shape) -> (f64, f64) {
    match shape {
        Shape::Sign { x, y, .. } | Shape::Text { x, y, .. } => (*x, *y),
        _ => (0.0, 0.0),
    }
}

/// The middle of a text on its baseline.
fn middle(shape: &Shape) -> Option<(f64, f64)> {
    match shape {
        Shape::Text {
            text,
            x,
            y,
            size,
            face,
        } => Some((x + face.width(text) * size / 2.0, *y)),
        _ => None,
    }
}

/// Marks in order of their kinds, drawn from an origin.
fn kinds(svg: &mut String, marks: &[&DrawnShape], origin: (f64, f64), lettering: Lettering) {
    for of_kind in marks.chunk_by(|a, b| a.kind == b.kind) {
        let kind = of_kind[0].kind;
        // Below the staff stand figures of a few kinds with ropes of a few lengths: drawn from the middle of
        // the figure, they are the same text again and again.
        let figure = of_kind.iter().find_map(|mark| middle(&mark.shape));
        let from = figure.filter(|_| kind == ShapeUse::Mark).unwrap_or(origin);
        let moved = of_kind
            .iter()
            .map(|mark| mark.shape.clone().shifted(-from.0, -from.1));
        let shapes: Vec<Shape> = moved.collect();
        shapes_of_kind(
            svg,
            kind,
            (from.0 - origin.0, from.1 - origin.1),
            &shapes,
            lettering,
        );
    }
}

fn put(svg: &mut String, text: std::fmt::Arguments) {
    // A string takes every write.
    let _ = svg.write_fmt(text);
}

/// The class of what a page may show or hide.
fn class(kind: ShapeUse) -> Option<&'static str> {
    match kind {
        ShapeUse::Staff => Some("st"),
        ShapeUse::Chord => Some("c"),
        ShapeUse::Mark => Some("m"),
        ShapeUse::Words => Some("w"),
        _ => None,
    }
}

/// Shapes of one kind, drawn from a place.
fn shapes_of_kind(
    svg: &mut String,
    kind: ShapeUse,
    (x, y): (f64, f64),
    shapes: &[Shape],
    lettering: Lettering,
) {
    let class = class(kind);
    if let Some(class) = class {
        let place = match (number(x), number(y)) {
            (x, y) if x == "0" && y == "0" => String::new(),
            (x, y) => format!(r#" transform="translate({x} {y})""#),
        };
        put(svg, format_args!(r#"<g class="{class}"{place}>"#));
    }
    let (mut path, mut ropes) = (String::new(), String::new());
    for one in shapes {
        match one {
            Shape::Rope {
                from,
                to,
                height,
                part,
            } => rope(&mut ropes, rope_curve(*from, *to, *height, *part)),
            one => shape(svg, &mut path, one, lettering),
        }
    }
    if !ropes.is_empty() {
        put(
            svg,
            format_args!(
                r#"<path fill="none" stroke="currentColor" stroke-width="{ROPE_WIDTH}" d="{ropes}"/>"#
            ),
        );
    }
    if !path.is_empty() {
        put(svg, format_args!(r#"<path d="{path}"/>"#));
    }
    if class.is_some() {
        svg.push_str("</g>");
    }
}

/// Writes one shape, either as an element or as part of the common path.
fn shape(svg: &mut String, path: &mut String, shape: &Shape, lettering: Lettering) {
    match shape {
        Shape::Sign { glyph, x, y, size } => sign(svg, *glyph, (*x, *y), *size),
        Shape::Text {
            text,
            x,
            y,
            size,
            face,
        } => match lettering {
            Lettering::Text => letters(svg, text, (*x, *y), *size, *face),
            Lettering::Outlines => outlined(path, text, (*x, *y), *size, *face),
        },
        Shape::Line { .. } | Shape::Area(_) | Shape::Frame { .. } => {
            for corners in areas(shape) {
                polygon(path, &corners);
            }
        }
        Shape::Bow {
            from,
            to,
            height,
            part,
        } => bow(path, *from, *to, *height, *part),
        // Ropes are drawn with a pen; all else is filled.
        Shape::Rope { .. } => {}
    }
}

/// A rope, by steps from its start.
fn rope(path: &mut String, [(x, y), control, end]: [(f64, f64); 3]) {
    put(path, format_args!("M{} {}q", number(x), number(y)));
    let step = |(to_x, to_y): (f64, f64)| format!("{} {}", number(to_x - x), number(to_y - y));
    put(path, format_args!("{} {}", step(control), step(end)));
}

fn sign(svg: &mut String, glyph: Glyph, (x, y): (f64, f64), size: f64) {
    let (name, x, y) = (glyph.outline().name, number(x), number(y));
    let place = match (x.as_str(), y.as_str()) {
        _ if size != 1.0 => {
            let size = number(size);
            format!(r#" transform="translate({x} {y})scale({size})""#)
        }
        ("0", "0") => String::new(),
        _ => format!(r#" x="{x}" y="{y}""#),
    };
    put(svg, format_args!(r##"<use href="#{name}"{place}/>"##));
}

fn letters(svg: &mut String, text: &str, (x, y): (f64, f64), size: f64, face: Face) {
    let strong = match face {
        Face::Strong => r#" class="s""#,
        Face::Regular => "",
    };
    let (x, y, size) = (number(x), number(y), number(size));
    let text = legal(text);
    let text = escape(&text);
    put(
        svg,
        format_args!(r#"<text x="{x}" y="{y}" font-size="{size}"{strong}>{text}</text>"#),
    );
}

/// An upright rectangle by its sides, any other area by its corners.
fn polygon(path: &mut String, corners: &[(f64, f64)]) {
    let mut corner = |command: &str, (x, y): (f64, f64)| {
        put(path, format_args!("{command}{} {}", number(x), number(y)));
    };
    if let [(left, top), (right, top2), (right2, bottom), _] = *corners
        && top == top2
        && right == right2
    {
        corner("M", (left, top));
        let (width, height) = (number(right - left), number(bottom - top));
        put(path, format_args!("h{width}v{height}h-{width}z"));
        return;
    }
    let mut before = (0.0, 0.0);
    for (index, &(x, y)) in corners.iter().enumerate() {
        corner(
            if index == 0 { "M" } else { "l" },
            (x - before.0, y - before.1),
        );
        before = (x, y);
    }
    path.push('z');
}

fn bow(path: &mut String, from: (f64, f64), to: (f64, f64), height: f64, part: BowPart) {
    for (index, curve) in bow_curves(from, to, height, part).iter().enumerate() {
        let command = if index == 0 { "M" } else { "L" };
        put(
            path,
            format_args!("{command}{} {}C", number(curve[0].0), number(curve[0].1)),
        );
        for (x, y) in &curve[1..] {
            put(path, format_args!("{} {} ", number(*x), number(*y)));
        }
    }
    path.truncate(path.trim_end().len());
    path.push('Z');
}

/// Text as the outlines of its letters; a letter that the typeface lacks is left blank.
fn outlined(path: &mut String, text: &str, (mut x, y): (f64, f64), size: f64, face: Face) {
    for character in text.chars() {
        if let (Some(tables), Some(glyph)) = (face.tables(), face.glyph(character)) {
            let mut pen = Pen {
                path,
                x,
                y,
                scale: size / 1000.0,
            };
            tables.outline_glyph(glyph, &mut pen);
        }
        x += face.advance(character) * size;
    }
}

/// Draws letters into a path; typefaces count y upwards.
struct Pen<'a> {
    path: &'a mut String,
    x: f64,
    y: f64,
    scale: f64,
}

impl Pen<'_> {
    fn point(&self, x: f32, y: f32) -> String {
        let (x, y) = (
            self.x + f64::from(x) * self.scale,
            self.y - f64::from(y) * self.scale,
        );
        format!("{} {}", number(x), number(y))
    }

    fn draw(&mut self, command: char, points: &[(f32, f32)]) {
        self.path.push(command);
        let points: Vec<String> = points.iter().map(|&(x, y)| self.point(x, y)).collect();
        self.path.push_str(&points.join(" "));
    }
}

impl ttf_parser::OutlineBuilder for Pen<'_> {
    fn move_to(&mut self, x: f32, y: f32) {
        self.draw('M', &[(x, y)]);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.draw('L', &[(x, y)]);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.draw('Q', &[(x1, y1), (x, y)]);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.draw('C', &[(x1, y1), (x2, y2), (x, y)]);
    }
    fn close(&mut self) {
        self.path.push('Z');
    }
}

/// Pages of that paper as one SVG document, one below the other; `words` tell them to those who hear them. A
/// picture is as wide as its page, in staff spaces.
pub fn document(title: &str, words: &str, pages: &[Picture], paper: Paper) -> String {
    let (wide, high) = paper.millimetres();
    // Pages have the staff size of the first.
    let width = pages.first().map_or(wide, |page| page.width);
    let space = wide / width;
    let page_height = high / space;
    let height = page_height * pages.len() as f64;
    let name = title;
    let title = legal(title);
    let title = escape(&title);
    let words = legal(words);
    let words = escape(&words);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}mm\" height=\"{}mm\" viewBox=\"0 0 {} {}\" role=\"img\">\n<title>{title}</title>\n<desc>{words}</desc>\n<metadata>{}</metadata>\n{}\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n",
        number(width * space),
        number(height * space),
        number(width),
        number(height),
        mark(name),
        definitions(pages),
    );
    for (index, page) in pages.iter().enumerate() {
        let (number_of, top) = (index + 1, number(page_height * index as f64));
        put(
            &mut svg,
            format_args!("<g id=\"page-{number_of}\" transform=\"translate(0 {top})\">"),
        );
        svg.push_str(&body(page, Lettering::Outlines));
        svg.push_str("</g>\n");
    }
    svg.push_str("</svg>\n");
    svg
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_exact_to_a_hundredth() {
        for (value, wanted) in [
            (0.0, "0"),
            (1.0, "1"),
            (-0.5, "-0.5"),
            (2.345, "2.35"),
            (-3.04, "-3.04"),
            (10.999, "11"),
            (-0.001, "0"),
            (0.05, "0.05"),
        ] {
            assert_eq!(number(value), wanted);
        }
    }

    #[test]
    fn texts_never_become_markup() {
        let mut picture = Picture::default();
        picture.text(
            ShapeUse::Words,
            None,
            "</svg><script>\u{7}&",
            (0.0, 0.0),
            2.0,
            Face::Regular,
        );
        let svg = body(&picture, Lettering::Text);
        assert!(
            svg.contains("&lt;/svg&gt;&lt;script&gt; &amp;</text>"),
            "{svg}"
        );
        let outlined = body(&picture, Lettering::Outlines);
        assert!(
            outlined.starts_with("<g class=\"w\"><path d=\"M"),
            "{outlined}"
        );
    }
}
