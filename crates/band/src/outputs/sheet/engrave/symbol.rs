//! Chord symbols as musicians set them: the root large, its accidental a real one, the quality smaller and the
//! figures raised; alterations in parentheses one over the other, so that long symbols stay narrow; a slash bass
//! on the line.
//!
//! The writer's own spelling is kept: `Bbm7b5`, `B♭-7(♭5)` and `Bbø` each stay what they are.

use super::{
    font::Face,
    glyph::Glyph,
    ink::{Picture, Shape, ShapeUse},
};
use endpin_theory::NoteName;

/// Height of an em of the root, in staff spaces.
const ROOT: f64 = 2.7;
/// Size of quality and figures to that of the root.
const SUFFIX: f64 = 0.74;
/// Size of alterations that stand one over the other to that of the root, and how far apart they stand.
const STACKED: f64 = 0.56;
const STEP: f64 = 0.49;
/// How far figures are raised, in ems of the root.
const RAISED: f64 = 0.24;

/// A chord symbol on a baseline at zero; its width is set.
pub fn chord_symbol(symbol: &str) -> Picture {
    let mut setter = Setter {
        picture: Picture::default(),
        x: 0.0,
    };
    match parts(symbol) {
        Some((root, quality, bass)) => {
            setter.name(root);
            setter.suffix(quality);
            if let Some(bass) = bass {
                setter.words("/", ROOT, 0.0, Face::Strong);
                setter.name(bass);
            }
        }
        // N.C. is words, and so is whatever else is no chord.
        None => setter.words(symbol, ROOT * SUFFIX, 0.0, Face::Strong),
    }
    setter.picture.width = setter.x;
    setter.picture
}

/// Root and quality of a chord symbol as written, and the bass after a slash if it is a note (`6/9` has none);
/// none if it is no chord.
pub fn parts(symbol: &str) -> Option<(&str, &str, Option<&str>)> {
    let (_, rest) = NoteName::read(symbol)?;
    let root = &symbol[..symbol.len() - rest.len()];
    let slash = rest.rsplit_once('/');
    let slash = slash.filter(|(_, bass)| bass.parse::<NoteName>().is_ok());
    Some(match slash {
        Some((quality, bass)) => (root, quality, Some(bass)),
        None => (root, rest, None),
    })
}

/// What stands before two alterations in parentheses, these, and what stands after; none if there are not two.
fn stacked(text: &str) -> Option<(&str, Vec<&str>, &str)> {
    let (before, rest) = text.split_once('(')?;
    let (inside, after) = rest.split_once(')')?;
    let alterations: Vec<&str> = inside.split(',').map(str::trim).collect();
    (alterations.len() == 2).then_some((before, alterations, after))
}

struct Setter {
    picture: Picture,
    x: f64,
}

impl Setter {
    fn words(&mut self, text: &str, size: f64, y: f64, face: Face) {
        if !text.is_empty() {
            self.picture
                .text(ShapeUse::Chord, None, text, (self.x, y), size, face);
            self.x += face.width(text) * size;
        }
    }

    /// A sign scaled so that it suits text of `size`, its middle half a capital above `y`.
    fn sign(&mut self, glyph: Glyph, size: f64, y: f64) {
        let shape = Shape::Sign {
            glyph,
            x: self.x + 0.04 * size,
            y,
            size,
        };
        self.x += (glyph.width() + 0.08) * size;
        self.picture.draw(ShapeUse::Chord, None, shape);
    }

    fn accidental(&mut self, sign: char, em: f64, y: f64) {
        let glyph = match sign {
            'b' | '♭' => Glyph::Flat,
            '𝄫' => Glyph::DoubleFlat,
            '𝄪' => Glyph::DoubleSharp,
            _ => Glyph::Sharp,
        };
        self.sign(glyph, 0.34 * em, y - 0.27 * em);
    }

    /// A note name, its accidentals a little raised.
    fn name(&mut self, name: &str) {
        let mut characters = name.chars();
        if let Some(letter) = characters.next() {
            self.words(letter.encode_utf8(&mut [0; 4]), ROOT, 0.0, Face::Strong);
        }
        for sign in characters {
            self.accidental(sign, ROOT, -0.12 * ROOT);
        }
    }

    /// The quality on the line where it is a word for minor, the rest raised.
    fn suffix(&mut self, suffix: &str) {
        let minor = ["min", "mi", "m", "-"].into_iter().find(|&word| {
            suffix
                .strip_prefix(word)
                .is_some_and(|rest| !rest.starts_with(['a', 'A', 'i']))
        });
        let (quality, rest) = suffix.split_at(minor.map_or(0, str::len));
        if quality == "-" {
            self.words("\u{2013}", ROOT * SUFFIX, 0.0, Face::Strong);
        } else {
            self.words(quality, ROOT * SUFFIX, 0.0, Face::Strong);
        }
        self.raised(rest);
    }

    fn raised(&mut self, text: &str) {
        let Some((before, alterations, after)) = stacked(text) else {
            self.run(text, ROOT * SUFFIX, -RAISED * ROOT);
            return;
        };
        self.run(before, ROOT * SUFFIX, -RAISED * ROOT);
        let (em, step) = (ROOT * STACKED, ROOT * STEP);
        // The lowest stands on the line; parentheses reach around all.
        let rows = alterations.len() as f64;
        let high = ROOT * STACKED * 0.7 + step * (rows - 1.0);
        let (tall, foot) = (high / 0.85, 0.05 * high);
        self.words("(", tall, foot, Face::Strong);
        let left = self.x;
        let mut right = left;
        for (row, alteration) in alterations.iter().rev().enumerate() {
            self.x = left;
            self.run(alteration, em, -step * row as f64);
            right = right.max(self.x);
        }
        self.x = right;
        self.words(")", tall, foot, Face::Strong);
        self.run(after, ROOT * SUFFIX, -RAISED * ROOT);
    }

    /// Figures and signs side by side, of an em and on a baseline.
    fn run(&mut self, text: &str, em: f64, y: f64) {
        let mut run = String::new();
        let mut characters = text.chars().peekable();
        while let Some(character) = characters.next() {
            let before_figure = characters.peek().is_some_and(char::is_ascii_digit);
            let glyph = match character {
                'Δ' | '△' | '∆' => Some(Glyph::MajorSeventh),
                'ø' | 'Ø' => Some(Glyph::HalfDiminished),
                '°' | 'o' if text.starts_with(character) => Some(Glyph::Diminished),
                _ => None,
            };
            let is_accidental = matches!(character, '♭' | '♯' | '𝄫' | '𝄪')
                || (matches!(character, 'b' | '#') && before_figure);
            if glyph.is_none() && !is_accidental {
                run.push(character);
                continue;
            }
            self.words(&std::mem::take(&mut run), em, y, Face::Strong);
            match glyph {
                Some(glyph) => self.sign(glyph, 0.32 * em, y),
                None => self.accidental(character, em, y),
            }
        }
        self.words(&run, em, y, Face::Strong);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The parts of a symbol in order: text as it is, signs by name.
    fn parts(symbol: &str) -> String {
        let shown = chord_symbol(symbol)
            .marks
            .into_iter()
            .map(|mark| match mark.shape {
                Shape::Text { text, y, .. } if y < 0.0 => format!("^{text}"),
                Shape::Text { text, .. } => text,
                Shape::Sign { glyph, .. } => format!("{glyph:?}"),
                other => panic!("{other:?}"),
            });
        shown.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn symbols_are_set_in_parts() {
        for (symbol, wanted) in [
            ("F7", "F ^7"),
            ("Bb7", "B Flat ^7"),
            ("C#m7b5", "C Sharp m ^7 Flat ^5"),
            ("B♭-7", "B Flat – ^7"),
            ("Cmaj7", "C ^maj7"),
            ("Fmin6", "F min ^6"),
            ("CΔ7", "C MajorSeventh ^7"),
            ("Eø", "E HalfDiminished"),
            ("B°7", "B Diminished ^7"),
            ("D7(b9,#11)", "D ^7 ( Sharp 11 Flat ^9 )"),
            ("D7(b9)", "D ^7( Flat ^9)"),
            ("D7(b9,#11,b13)", "D ^7( Flat ^9, Sharp ^11, Flat ^13)"),
            ("G7sus4/F", "G ^7sus4 / F"),
            ("C6/9", "C ^6/9"),
            ("Ab/Bb", "A Flat / B Flat"),
            ("mMaj7", "mMaj7"),
            ("Cm(maj7)", "C m ^(maj7)"),
            ("CmMaj7", "C m ^Maj7"),
            ("N.C.", "N.C."),
        ] {
            assert_eq!(parts(symbol), wanted, "{symbol}");
        }
    }

    #[test]
    fn parts_stand_side_by_side() {
        for symbol in ["Bb13(#11)", "F#m7b5/E", "CΔ7#11", "Bbb°7"] {
            let picture = chord_symbol(symbol);
            let mut right = 0.0;
            for mark in &picture.marks {
                let bounds = mark.shape.bounds();
                assert!(bounds.left >= right - 0.12, "{symbol}: {mark:?}");
                right = bounds.right;
            }
            assert!(picture.width >= right - 0.12, "{symbol}");
        }
    }
}
