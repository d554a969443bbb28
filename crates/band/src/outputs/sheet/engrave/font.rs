//! The typeface of words, chord symbols and figures, and how wide they are.
//!
//! Literata (Copyright 2017 The Literata Project Authors, SIL Open Font License 1.1, see
//! `assets/text-OFL.txt`): its Latin, Greek and Cyrillic alphabets, without kerning, so that a text is as wide
//! on every reader as it was measured here; with the flat, natural and sharp of the font that
//! [`glyph`](super::glyph) names, scaled to stand beside capitals. The files for the web are Latin with these
//! signs.

use std::{collections::BTreeSet, sync::LazyLock};
use ttf_parser::{Face as Table, GlyphId};

/// A weight of the typeface.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Face {
    /// For reading.
    Regular,
    /// For chord symbols and headings.
    Strong,
}

static REGULAR: &[u8] = include_bytes!("../assets/text-regular.ttf");
static STRONG: &[u8] = include_bytes!("../assets/text-semibold.ttf");

/// A font file and its tables; the files are our own and are read by the tests.
static TABLES: LazyLock<[Option<Table<'static>>; 2]> =
    LazyLock::new(|| [Table::parse(REGULAR, 0).ok(), Table::parse(STRONG, 0).ok()]);

impl Face {
    /// Both weights.
    pub const ALL: [Face; 2] = [Face::Regular, Face::Strong];

    /// The font file.
    pub fn file(self) -> &'static [u8] {
        match self {
            Face::Regular => REGULAR,
            Face::Strong => STRONG,
        }
    }

    /// Its tables.
    pub fn tables(self) -> Option<&'static Table<'static>> {
        TABLES[self as usize].as_ref()
    }

    /// The glyph of a character; none if the typeface lacks it.
    pub fn glyph(self, character: char) -> Option<GlyphId> {
        self.tables()?.glyph_index(character)
    }

    /// Advance of a character in ems; one that the typeface lacks counts as an em.
    pub fn advance(self, character: char) -> f64 {
        let advance = || self.tables()?.glyph_hor_advance(self.glyph(character)?);
        advance().map_or(1.0, |units| f64::from(units) / 1000.0)
    }

    /// Width of a text in ems.
    pub fn width(self, text: &str) -> f64 {
        text.chars().map(|character| self.advance(character)).sum()
    }

    /// The characters of a text that the typeface lacks, each once, in order.
    pub fn missing(self, text: &str) -> String {
        let lacks = |&letter: &char| !letter.is_whitespace() && self.glyph(letter).is_none();
        let letters: BTreeSet<char> = text.chars().filter(lacks).collect();
        letters.into_iter().collect()
    }

    /// Height of a capital letter in ems.
    pub fn cap_height(self) -> f64 {
        let height = self.tables().and_then(|tables| tables.capital_height());
        height.map_or(0.7, |units| f64::from(units) / 1000.0)
    }

    /// A text cut to a width in ems, with an ellipsis where it was cut.
    pub fn fit(self, text: &str, width: f64) -> String {
        if self.width(text) <= width {
            return text.to_owned();
        }
        let mut fitting = String::new();
        let mut used = self.advance('…');
        for character in text.chars() {
            used += self.advance(character);
            if used > width {
                break;
            }
            fitting.push(character);
        }
        fitting.trim_end().to_owned() + "…"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_typeface_has_what_chord_symbols_need() {
        for face in Face::ALL {
            let tables = face.tables().unwrap();
            assert_eq!(tables.units_per_em(), 1000);
            for character in
                "ABCDEFGabcdefghijklmnopqrstuvwxyz0123456789/()+-.,%éłőž…♭♮♯Жяλώễ".chars()
            {
                assert!(face.glyph(character).is_some(), "{character}");
            }
            assert!(face.cap_height() > 0.6 && face.cap_height() < 0.8);
        }
        assert!(Face::Strong.width("Bb7") > Face::Regular.width("B"));
    }

    #[test]
    fn what_is_missing_is_known() {
        assert_eq!(Face::Strong.missing("B♭ Οδός Улица"), "");
        assert_eq!(Face::Strong.missing("海 and 山, 海"), "山海");
    }

    #[test]
    fn long_texts_are_cut() {
        assert_eq!(Face::Regular.fit("Short", 10.0), "Short");
        let cut = Face::Regular.fit("Breakwater Blues by Lantern Light", 6.5);
        assert!(cut.starts_with("Break") && cut.ends_with('…') && Face::Regular.width(&cut) <= 6.5);
    }
}
