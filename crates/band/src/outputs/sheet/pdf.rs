//! Pages as PDF, with what they use of both weights of the typeface embedded.
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
    print::Paper,
};
use crate::outputs::origin::mark;
use flate2::{Compression, write::ZlibEncoder};
use pdf_writer::{
    Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr,
    types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap},
};
use std::{collections::BTreeMap, io::Write};
use subsetter::GlyphRemapper;
use ttf_parser::GlyphId;

/// Points to a millimetre: 72 an inch of 25.4 mm.
const POINTS: f64 = 72.0 / 25.4;
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

/// Writes pages of that paper; a picture is as wide as its page, in staff spaces.
pub fn document(title: &str, pages: &[Picture], paper: Paper) -> Vec<u8> {
    let mut numbers = Numbers(0);
    let mut pdf = Pdf::new();
    let (catalog, tree, information) = (numbers.next(), numbers.next(), numbers.next());
    pdf.catalog(catalog).pages(tree);
    pdf.document_info(information)
        .title(TextStr(title))
        .keywords(TextStr(&mark(title)))
        .producer(TextStr(concat!("endpin ", env!("CARGO_PKG_VERSION"))));
    let letters = Face::ALL.map(|face| Letters::of(face, pages));
    let fonts = letters
        .each_ref()
        .map(|letters| font(&mut pdf, &mut numbers, letters));
    let leaves: Vec<Ref> = pages.iter().map(|_| numbers.next()).collect();
    pdf.pages(tree)
        .kids(leaves.iter().copied())
        .count(pages.len() as i32);
    let (width, height) = paper.millimetres();
    let (width, height) = (width * POINTS, height * POINTS);
    for (picture, leaf) in pages.iter().zip(leaves) {
        let content = numbers.next();
        let mut page = pdf.page(leaf);
        page.media_box(Rect::new(0.0, 0.0, width as f32, height as f32))
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
        let points = width / picture.width;
        let drawn = deflated(&draw(picture, &letters, height as f32, points as f32));
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

/// The letters that pages show in a weight of the typeface.
struct Letters {
    face: Face,
    /// Each with its glyph in the whole typeface.
    glyphs: BTreeMap<char, GlyphId>,
    /// Numbers of the glyphs in the embedded part of it.
    numbers: GlyphRemapper,
}

impl Letters {
    fn of(face: Face, pages: &[Picture]) -> Letters {
        let mut glyphs = BTreeMap::new();
        for mark in pages.iter().flat_map(|page| &page.marks) {
            if let Shape::Text { text, face: of, .. } = &mark.shape
                && *of == face
            {
                let letters = text.chars();
                glyphs.extend(letters.filter_map(|letter| Some((letter, face.glyph(letter)?))));
            }
        }
        let mut numbers = GlyphRemapper::new();
        for glyph in glyphs.values() {
            numbers.remap(glyph.0);
        }
        Letters {
            face,
            glyphs,
            numbers,
        }
    }

    /// The number that a page shows a letter by; none if the typeface lacks it.
    fn number(&self, letter: char) -> Option<u16> {
        self.numbers.get(self.glyphs.get(&letter)?.0)
    }
}

/// Embeds the letters of a weight of the typeface: characters are glyph numbers of two bytes. The name of a part
/// of a font begins with six capitals (ISO 32000-1, 9.6.4).
fn font(pdf: &mut Pdf, numbers: &mut Numbers, letters: &Letters) -> Ref {
    let face = letters.face;
    let (outer, inner, descriptor) = (numbers.next(), numbers.next(), numbers.next());
    let (file, unicode) = (numbers.next(), numbers.next());
    let name: &[u8] = match face {
        Face::Regular => b"ENDPIN+Literata-Regular",
        Face::Strong => b"ENDPIN+Literata-SemiBold",
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
        let widths = letters.numbers.remapped_gids().map(|glyph| {
            let advance = tables.glyph_hor_advance(GlyphId(glyph));
            f32::from(advance.unwrap_or(0))
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
        for &letter in letters.glyphs.keys() {
            if let Some(number) = letters.number(letter) {
                map.pair(number, letter);
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
    // The files are our own, so that a part of them can be made; the numbers would not fit the whole.
    let part = subsetter::subset(face.file(), 0, &letters.numbers).unwrap_or_default();
    let packed = deflated(&part);
    pdf.stream(file, &packed)
        .filter(Filter::FlateDecode)
        .pair(Name(b"Length1"), part.len() as i32);
    let packed = deflated(map.finish().as_slice());
    pdf.cmap(unicode, &packed).filter(Filter::FlateDecode);
    outer
}

/// A page's operators, so many points to a staff space. PDF counts y upwards from the foot of the page.
fn draw(picture: &Picture, letters: &[Letters; 2], height: f32, points: f32) -> Vec<u8> {
    let mut content = Content::new();
    let at = |(x, y): (f64, f64)| (x as f32 * points, height - y as f32 * points);
    for mark in &picture.marks {
        match &mark.shape {
            Shape::Text {
                text,
                x,
                y,
                size,
                face,
            } => {
                let letters = &letters[*face as usize];
                let numbers = text.chars().filter_map(|letter| letters.number(letter));
                let codes: Vec<u8> = numbers.flat_map(u16::to_be_bytes).collect();
                let (x, y) = at((*x, *y));
                content.begin_text();
                content.set_font(FONTS[*face as usize], *size as f32 * points);
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
                content.set_line_width(ROPE_WIDTH as f32 * points);
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
