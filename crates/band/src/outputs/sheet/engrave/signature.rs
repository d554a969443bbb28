//! What stands at the head of a line: clef, key signature, time signature.

use super::{
    font::Face,
    glyph::Glyph,
    ink::{Picture, ShapeUse},
};
use endpin_theory::{Letter, Meter};

/// Staff positions of the sharps of a signature under a bass clef, in the order in which they are added:
/// half spaces above the middle line, D (common practice, from memory).
const SHARP_POSITIONS: [i16; 7] = [2, -1, 3, 0, -3, 1, -2];
/// The same of the flats.
const FLAT_POSITIONS: [i16; 7] = [-2, 1, -3, 0, -4, -1, -5];

/// Height on the page of a staff position: half spaces above the middle line.
pub fn y_of(position: i16) -> f64 {
    -0.5 * f64::from(position)
}

/// The letters of a signature, each with its staff position; sharps positive.
pub fn signature(sharps: i8) -> Vec<(Letter, i16)> {
    let count = usize::from(sharps.unsigned_abs()).min(7);
    if sharps < 0 {
        let letters = Letter::BY_FIFTHS.into_iter().rev();
        letters.zip(FLAT_POSITIONS).take(count).collect()
    } else {
        Letter::BY_FIFTHS
            .into_iter()
            .zip(SHARP_POSITIONS)
            .take(count)
            .collect()
    }
}

/// Bass clef and key signature; sharps positive. Its width is set.
pub fn head(sharps: i8) -> Picture {
    let mut picture = Picture::default();
    picture.sign(ShapeUse::Signature, None, Glyph::FClef, 0.5, -1.0);
    let x = 0.5 + Glyph::FClef.width() + 0.5;
    let key = key(sharps, None);
    picture.width = x + key.width + 0.3;
    picture.place(key, x, 0.0);
    lines(&mut picture, 5, 1.0);
    picture
}

/// A key signature that starts at zero, all of its signs the same sign if one is given; its width is set.
fn key(sharps: i8, sign: Option<Glyph>) -> Picture {
    let own = if sharps < 0 {
        Glyph::Flat
    } else {
        Glyph::Sharp
    };
    let glyph = sign.unwrap_or(own);
    let mut picture = Picture::default();
    for (_, position) in signature(sharps) {
        let (x, y) = (picture.width, y_of(position));
        picture.sign(ShapeUse::Signature, None, glyph, x, y);
        picture.width += glyph.width() + 0.05;
    }
    picture
}

/// The signature of a key that follows another; naturals say that there is none (E. Gould, *Behind Bars*, 2011,
/// on changes of key signature; from memory). Its width is set.
pub fn change(before: i8, after: i8) -> Picture {
    match after {
        0 => key(before, Some(Glyph::Natural)),
        after => key(after, None),
    }
}

/// A time signature that starts at zero; its width is set.
pub fn time(meter: &Meter) -> Picture {
    let digits = |number: u8| -> Vec<Glyph> {
        number
            .to_string()
            .bytes()
            .map(|digit| Glyph::time_digit(digit - b'0'))
            .collect()
    };
    let width = |glyphs: &[Glyph]| glyphs.iter().map(|glyph| glyph.width()).sum::<f64>();
    let rows = [(digits(meter.upper()), -1.0), (digits(meter.unit()), 1.0)];
    let widest = rows.iter().map(|(row, _)| width(row)).fold(0.0, f64::max);
    let mut picture = Picture::default();
    for (row, y) in &rows {
        let mut x = (widest - width(row)) / 2.0;
        for &glyph in row {
            picture.sign(ShapeUse::Signature, None, glyph, x, *y);
            x += glyph.width();
        }
    }
    picture.width = widest;
    picture
}

/// The clef of tablature, with the names of the open strings; its width is `width`.
pub fn tablature_head(strings: usize, gap: f64, width: f64) -> Picture {
    let mut picture = Picture {
        width,
        ..Picture::default()
    };
    lines(&mut picture, strings, gap);
    for (index, letter) in ["T", "A", "B"].into_iter().enumerate() {
        let y = (index as f64 - 1.0) * 1.4 + 0.55;
        picture.text(
            ShapeUse::Signature,
            None,
            letter,
            (0.8, y),
            1.7,
            Face::Strong,
        );
    }
    picture
}

/// The lines of a staff, centred on zero, across the picture.
pub fn lines(picture: &mut Picture, count: usize, gap: f64) {
    let width = picture.width;
    for index in 0..count {
        let y = (index as f64 - (count as f64 - 1.0) / 2.0) * gap;
        picture.line(ShapeUse::Staff, None, (0.0, y), (width, y), 0.11);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_stand_on_their_letters() {
        // Under a bass clef the middle line is D3: written step 3 * 7 + 1.
        for sharps in -7..=7 {
            for (letter, position) in signature(sharps) {
                assert_eq!(
                    (22 + position).rem_euclid(7),
                    letter.index(),
                    "{sharps} {letter}"
                );
            }
            assert_eq!(signature(sharps).len(), usize::from(sharps.unsigned_abs()));
        }
    }

    #[test]
    fn time_signatures_are_centred() {
        let picture = time(&"12/8".parse().unwrap());
        let bounds = picture.bounds(|_| true).unwrap();
        assert!(bounds.left >= 0.0 && bounds.right <= picture.width);
        assert!(bounds.top >= -2.1 && bounds.bottom <= 2.1);
        assert_eq!(picture.marks.len(), 3);
    }
}
