//! Pages as PDF, with both weights of the typeface embedded.
//!
//! Signs and lines are filled paths, ropes drawn ones; words are text that can be selected and searched. Names, operators and
//! the structure of an embedded TrueType font follow ISO 32000-1, sections 9.6 to 9.10.

use super::{
    engrave::{
        font::Face,
        glyph::UNITS,
        ink::{Picture, ROPE_WIDTH, Shape},
        outline::{areas, bow_curves, rope_curve},
    },
    print::SPACE,
};
use crate::outputs::origin::mark;
use flate2::{Compression, write::ZlibEncoder};
use pdf_writer::{
    Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr,
    types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap},
};
use std::io::Write;

/// Points to a staff space: 72 an inch of 25.4 mm.
const POINTS: f32 = (SPACE * 72.0 / 25.4) as f32;
/// Names of the fonts on a page, in the order of [`Face::ALL`].
const FONTS: [Name; 2] = [Name(b"F0"), Name(b"F1")];

/// Numbers of the objects in a file.
struct Numbers(i32);

impl Numbers {
    fn next(&mut self) -> Ref {
        self.0 += 1;
        Ref::new(self.0)
    }
}

/// Writes pages, whose size is given in staff spaces.
pub fn document(title: &str, pages: &[Picture], size: (f64, f64)) -> Vec<u8> {
    let mut numbers = Numbers(0);
    let mut pdf = Pdf::new();
    let (catalog, tree, information) = (numbers.next(), numbers.next(), numbers.next());
    pdf.catalog(catalog).pages(tree);
    pdf.document_info(information)
        .title(TextStr(title))
        .keywords(TextStr(&mark(title)))
        .producer(TextStr(concat!("endpin ", env!("CARGO_PKG_VERSION"))));
    let fonts = Face::ALL.map(|face| font(&mut pdf, &mut numbers, face));
    let leaves: Vec<Ref> = pages.iter().map(|_| numbers.next()).collect();
    pdf.pages(tree)
        .kids(leaves.iter().copied())
        .count(pages.len() as i32);
    let (width, height) = (size.0 as f32 * POINTS, size.1 as f32 * POINTS);
    for (picture, leaf) in pages.iter().zip(leaves) {
        let content = numbers.next();
        let mut page = pdf.page(leaf);
        page.media_box(Rect::new(0.0, 0.0, width, height))
            .parent(tree)
            .contents(content);
        let mut resources = page.resources();
        let mut names = resources.fonts();
        for (name, font) in FONTS.iter().zip(fonts) {
            names.pair(*name, font);
        }
        names.finish();
        resources.finish();
        page.finish();
        let drawn = deflated(&draw(picture, height));
        pdf.stream(content, &drawn).filter(Filter::FlateDecode);
    }
    pdf.finish()
}

#[expect(clippy::expect_used, reason = "writing into a vector does not fail")]
fn deflated(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::best());
    encoder
        .write_all(bytes)
        .and_then(|()| encoder.finish())
        .expect("a vector takes every byte")
}

/// Embeds a weight of the typeface: characters are glyph numbers of two bytes.
fn font(pdf: &mut Pdf, numbers: &mut Numbers, face: Face) -> Ref {
    let (outer, inner, descriptor) = (numbers.next(), numbers.next(), numbers.next());
    let (file, unicode) = (numbers.next(), numbers.next());
    let name: &[u8] = match face {
        Face::Regular => b"Literata-Regular",
        Face::Strong => b"Literata-SemiBold",
    };
    let system = SystemInfo {
        registry: Str(b"Adobe"),
        ordering: Str(b"Identity"),
        supplement: 0,
    };
    pdf.type0_font(outer)
        .base_font(Name(name))
        .encoding_predefined(Name(b"Identity-H"))
        .descendant_font(inner)
        .to_unicode(unicode);
    let mut cid = pdf.cid_font(inner);
    cid.subtype(CidFontType::Type2)
        .base_font(Name(name))
        .system_info(system)
        .font_descriptor(descriptor)
        .cid_to_gid_map_predefined(Name(b"Identity"));
    let mut map = UnicodeCmap::<u16>::new(Name(b"ToUnicode"), system);
    let (mut bounds, mut ascent, mut descent) =
        (Rect::new(0.0, -300.0, 1000.0, 1000.0), 1000.0, -300.0);
    if let Some(tables) = face.tables() {
        let widths = (0..tables.number_of_glyphs()).map(|glyph| {
            f32::from(
                tables
                    .glyph_hor_advance(ttf_parser::GlyphId(glyph))
                    .unwrap_or(0),
            )
        });
        cid.widths().consecutive(0, widths);
        let outline = tables.global_bounding_box();
        bounds = Rect::new(
            f32::from(outline.x_min),
            f32::from(outline.y_min),
            f32::from(outline.x_max),
            f32::from(outline.y_max),
        );
        ascent = f32::from(tables.ascender());
        descent = f32::from(tables.descender());
        // The Latin alphabets and their punctuation.
        for character in (' '..='\u{24f}').chain('\u{2000}'..='\u{22ff}') {
            if let Some(glyph) = face.glyph(character) {
                map.pair(glyph.0, character);
            }
        }
    }
    cid.finish();
    pdf.font_descriptor(descriptor)
        .name(Name(name))
        .flags(FontFlags::SERIF | FontFlags::SYMBOLIC)
        .bbox(bounds)
        .italic_angle(0.0)
        .ascent(ascent)
        .descent(descent)
        .cap_height(face.cap_height() as f32 * 1000.0)
        .stem_v(if face == Face::Strong { 120.0 } else { 80.0 })
        .font_file2(file);
    let packed = deflated(face.file());
    pdf.stream(file, &packed)
        .filter(Filter::FlateDecode)
        .pair(Name(b"Length1"), face.file().len() as i32);
    let packed = deflated(map.finish().as_slice());
    pdf.cmap(unicode, &packed).filter(Filter::FlateDecode);
    outer
}

/// A page's operators. PDF counts y upwards from the foot of the page.
fn draw(picture: &Picture, height: f32) -> Vec<u8> {
    let mut content = Content::new();
    let at = |(x, y): (f64, f64)| (x as f32 * POINTS, height - y as f32 * POINTS);
    for mark in &picture.marks {
        match &mark.shape {
            Shape::Text {
                text,
                x,
                y,
                size,
                face,
            } => {
                let glyphs = text.chars().filter_map(|character| face.glyph(character));
                let codes: Vec<u8> = glyphs.flat_map(|glyph| glyph.0.to_be_bytes()).collect();
                let (x, y) = at((*x, *y));
                content.begin_text();
                content.set_font(FONTS[*face as usize], *size as f32 * POINTS);
                content.next_line(x, y).show(Str(&codes));
                content.end_text();
            }
            Shape::Sign { glyph, x, y, size } => {
                let unit = size / UNITS;
                let place = |px: f64, py: f64| at((x + px * unit, y + py * unit));
                trace(&mut content, glyph.outline().path, &place);
                content.fill_nonzero();
            }
            Shape::Bow {
                from,
                to,
                height,
                part,
            } => {
                let curves = bow_curves(*from, *to, *height, *part);
                for (index, curve) in curves.into_iter().enumerate() {
                    let [start, one, two, end] = curve.map(at);
                    if index == 0 {
                        content.move_to(start.0, start.1);
                    } else {
                        content.line_to(start.0, start.1);
                    }
                    content.cubic_to(one.0, one.1, two.0, two.1, end.0, end.1);
                }
                content.close_path().fill_nonzero();
            }
            Shape::Rope {
                from,
                to,
                height,
                part,
            } => {
                let [start, control, end] = rope_curve(*from, *to, *height, *part);
                // A quadratic curve as a cubic one: two thirds of the way to its control point.
                let towards = |(x, y): (f64, f64)| {
                    at((
                        x + (control.0 - x) * 2.0 / 3.0,
                        y + (control.1 - y) * 2.0 / 3.0,
                    ))
                };
                let (one, two) = (towards(start), towards(end));
                let (start, end) = (at(start), at(end));
                content.set_line_width(ROPE_WIDTH as f32 * POINTS);
                content.move_to(start.0, start.1);
                content.cubic_to(one.0, one.1, two.0, two.1, end.0, end.1);
                content.stroke();
            }
            shape => {
                for area in areas(shape) {
                    for (index, corner) in area.into_iter().enumerate() {
                        let (x, y) = at(corner);
                        if index == 0 {
                            content.move_to(x, y);
                        } else {
                            content.line_to(x, y);
                        }
                    }
                    content.close_path();
                }
                content.fill_nonzero();
            }
        }
    }
    content.finish().into_vec()
}

/// Traces the outline of a sign: M, L, C and Z with absolute coordinates.
fn trace(content: &mut Content, path: &str, place: &dyn Fn(f64, f64) -> (f32, f32)) {
    for (start, command) in path.match_indices(char::is_alphabetic) {
        let rest = &path[start + 1..];
        let numbers = rest.split(char::is_alphabetic).next().unwrap_or("");
        let numbers: Vec<f64> = numbers
            .split(' ')
            .filter_map(|number| number.parse().ok())
            .collect();
        let points: Vec<(f32, f32)> = numbers
            .chunks_exact(2)
            .map(|pair| place(pair[0], pair[1]))
            .collect();
        match (command, &points[..]) {
            ("M", [point]) => _ = content.move_to(point.0, point.1),
            ("L", [point]) => _ = content.line_to(point.0, point.1),
            ("C", [one, two, end]) => {
                _ = content.cubic_to(one.0, one.1, two.0, two.1, end.0, end.1)
            }
            _ => _ = content.close_path(),
        }
    }
}
