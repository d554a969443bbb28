//! Which tones a chord offers to a player who leaves the root to the bass.
//!
//! Third and seventh first, colours next, the fifth last (common practice, no source). A
//! tone written in the symbol always wins over the palette, and palettes act on dominants only.

use endpin_theory::{Chord, Degree, chart::Palette};

/// The tones of one chord that a comp may use, all above the root.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Colours {
    /// The third; the fourth of a sus chord, the second of a sus2.
    pub third: Degree,
    /// The seventh, or what stands for it: the sixth of sixth chords and major triads.
    pub seventh: Option<Degree>,
    /// The fifth, where it may sound at all.
    pub fifth: Fifth,
    /// Ninths to choose from.
    pub ninths: Vec<Degree>,
    /// Elevenths, sharp ones over a major third.
    pub elevenths: Vec<Degree>,
    /// Thirteenths, and altered fifths that take their place.
    pub thirteenths: Vec<Degree>,
    /// Colours that the symbol itself asks for.
    pub written: Vec<Degree>,
}

/// What a rootless voicing may do with the fifth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fifth {
    /// Left out: dominants, sus and sixth chords, triads.
    Omitted,
    /// Perfect, in the four-note forms of major and minor seventh chords.
    Plain,
    /// Altered, and the chord's character: half-diminished, diminished, augmented.
    Character(Degree),
}

const FIFTH: Degree = Degree::new(5, 0);

/// Semitones of a degree above the root, within the octave.
pub fn semitones(degree: Degree) -> i16 {
    degree.interval().semitones().rem_euclid(12)
}

/// What a dominant is coloured with.
struct Dominant {
    ninths: &'static [i8],
    sharp_eleventh: bool,
    thirteenths: &'static [i8],
}

const PLAIN: Dominant = Dominant {
    ninths: &[0],
    sharp_eleventh: false,
    thirteenths: &[0],
};
const ALTERED: Dominant = Dominant {
    ninths: &[-1, 1],
    sharp_eleventh: false,
    thirteenths: &[-1],
};
const DIMINISHED: Dominant = Dominant {
    ninths: &[-1, 1],
    sharp_eleventh: true,
    thirteenths: &[0],
};
const LYDIAN: Dominant = Dominant {
    ninths: &[0],
    sharp_eleventh: true,
    thirteenths: &[0],
};
const FLAT_NINE: Dominant = Dominant {
    ninths: &[-1],
    sharp_eleventh: false,
    thirteenths: &[-1],
};
const FLAT_THIRTEEN: Dominant = Dominant {
    ninths: &[0],
    sharp_eleventh: false,
    thirteenths: &[-1],
};
const WHOLE_TONE: Dominant = Dominant {
    ninths: &[0],
    sharp_eleventh: true,
    thirteenths: &[-1],
};

/// The colours of a dominant whose scale is known, `has` telling whether it holds a note so many semitones
/// above the root.
fn by_scale(has: impl Fn(i16) -> bool) -> Dominant {
    match (has(1), has(2), has(6) && !has(5), has(9)) {
        (true, _, _, true) => DIMINISHED,
        (true, _, true, false) => ALTERED,
        (true, _, false, false) => FLAT_NINE,
        (false, _, true, true) => LYDIAN,
        (false, true, true, false) => WHOLE_TONE,
        (false, true, false, false) => FLAT_THIRTEEN,
        _ => PLAIN,
    }
}

/// The tones of `chord` under `palette`; `in_scale` tells whether the chord's scale holds the note so many
/// semitones (0 to 11) above its root. None for a power chord, over which the comp lays out.
pub fn colours(chord: &Chord, palette: Palette, in_scale: impl Fn(i16) -> bool) -> Option<Colours> {
    let symbol = Symbol::of(chord)?;
    let written = symbol.colours();
    let written_of = |numbers: &[u8]| numbered(&written, numbers);
    let or_else = |written: Vec<Degree>, otherwise: Vec<Degree>| match written.is_empty() {
        true => otherwise,
        false => written,
    };
    let dominant = match palette {
        _ if !symbol.is_dominant => PLAIN,
        Palette::Plain | Palette::Quartal => PLAIN,
        Palette::Altered => ALTERED,
        Palette::Diminished => DIMINISHED,
        Palette::Function => by_scale(&in_scale),
    };
    let mut thirteenths = written_of(&[5, 13]);
    if written_of(&[13]).is_empty() {
        thirteenths.extend(symbol.thirteenths(&dominant, &in_scale));
    }
    Some(Colours {
        third: symbol.third,
        seventh: symbol
            .seventh
            .or_else(|| symbol.instead_of_seventh(&in_scale)),
        fifth: symbol.fifth(),
        ninths: or_else(written_of(&[2, 9]), symbol.ninths(&dominant, &in_scale)),
        elevenths: or_else(written_of(&[4, 11]), symbol.elevenths(&dominant, &in_scale)),
        thirteenths,
        written,
    })
}

fn numbered(tones: &[Degree], numbers: &[u8]) -> Vec<Degree> {
    let of_number = tones.iter().filter(|tone| numbers.contains(&tone.number()));
    of_number.copied().collect()
}

fn degrees(number: u8, alterations: &[i8]) -> Vec<Degree> {
    let alterations = alterations.iter();
    alterations
        .map(|&alteration| Degree::new(number, alteration))
        .collect()
}

/// What the symbol of a chord settles.
struct Symbol {
    tones: Vec<Degree>,
    /// The third, or what stands in its place.
    third: Degree,
    is_major: bool,
    is_minor: bool,
    is_suspended: bool,
    is_dominant: bool,
    /// The seventh, or the sixth of a sixth chord.
    seventh: Option<Degree>,
    altered_fifths: Vec<Degree>,
}

impl Symbol {
    fn of(chord: &Chord) -> Option<Symbol> {
        let tones = chord.tones().into_iter().map(|(degree, _)| degree);
        let tones: Vec<Degree> = tones.collect();
        let first = |numbers: &[u8]| numbered(&tones, numbers).first().copied();
        let real_third = first(&[3]);
        let third = real_third
            .or_else(|| first(&[4, 11]))
            .or_else(|| first(&[2, 9]))?;
        let mut altered_fifths = numbered(&tones, &[5]);
        altered_fifths.retain(|&fifth| fifth != FIFTH);
        Some(Symbol {
            third,
            is_major: real_third.is_some_and(|third| third.alteration() == 0),
            is_minor: real_third.is_some_and(|third| third.alteration() < 0),
            is_suspended: real_third.is_none(),
            is_dominant: chord.is_dominant(),
            seventh: first(&[7]).or_else(|| first(&[6])),
            altered_fifths,
            tones,
        })
    }

    fn has_seventh(&self) -> bool {
        self.seventh.is_some_and(|tone| tone.number() == 7)
    }

    /// What a chord without a seventh takes in its place: the sixth over a major triad, the scale's seventh
    /// or sixth over a minor one, the diminished seventh over a diminished one (common practice, no source).
    fn instead_of_seventh(&self, in_scale: impl Fn(i16) -> bool) -> Option<Degree> {
        let (is_major, is_minor) = (self.is_major, self.is_minor);
        match self.altered_fifths.first() {
            Some(_) if is_minor => Some(Degree::new(7, -2)),
            Some(&sharp) => Some(sharp),
            None if is_minor && in_scale(10) => Some(Degree::new(7, -1)),
            None if is_major || is_minor => Some(Degree::new(6, 0)),
            None => None,
        }
    }

    fn fifth(&self) -> Fifth {
        let is_minor_major = self.is_minor && self.seventh == Some(Degree::new(7, 0));
        match self.altered_fifths.first() {
            _ if self.is_dominant => Fifth::Omitted,
            Some(&altered) => Fifth::Character(altered),
            None if self.has_seventh() && !self.is_suspended && !is_minor_major => Fifth::Plain,
            None => Fifth::Omitted,
        }
    }

    /// What it writes beyond its seventh chord.
    fn colours(&self) -> Vec<Degree> {
        let mut written = numbered(&self.tones, &[2, 4, 9, 11, 13]);
        // The third of a sus2 is no colour; and a written natural eleventh over a major third is left to the
        // soloist: it would grind against the third in the bass.
        written.retain(|&tone| tone != self.third && !(self.is_major && semitones(tone) == 5));
        if self.is_dominant {
            written.extend(&self.altered_fifths);
        }
        written
    }

    /// The ninths of a chord that writes none.
    fn ninths(&self, dominant: &Dominant, in_scale: impl Fn(i16) -> bool) -> Vec<Degree> {
        let is_sus2 = self.is_suspended && !matches!(self.third.number(), 4 | 11);
        if is_sus2 {
            Vec::new()
        } else if self.is_dominant {
            degrees(9, dominant.ninths)
        } else if self.is_major || in_scale(2) {
            degrees(9, &[0])
        } else {
            Vec::new()
        }
    }

    /// The elevenths of a chord that writes none.
    fn elevenths(&self, dominant: &Dominant, in_scale: impl Fn(i16) -> bool) -> Vec<Degree> {
        if self.is_dominant && !self.is_suspended && dominant.sharp_eleventh {
            degrees(11, &[1])
        } else if self.is_minor && in_scale(5) {
            degrees(11, &[0])
        } else if self.is_major && !self.is_dominant && in_scale(6) && !in_scale(5) {
            degrees(11, &[1])
        } else {
            Vec::new()
        }
    }

    /// The thirteenths of a chord that writes none.
    fn thirteenths(&self, dominant: &Dominant, in_scale: impl Fn(i16) -> bool) -> Vec<Degree> {
        let mut fifths = self.altered_fifths.iter();
        let welcomes_thirteenth = match self.is_major {
            true => self.has_seventh(),
            false => (self.is_suspended || self.altered_fifths.is_empty()) && in_scale(9),
        };
        // A sharp fifth leaves no room for the natural thirteenth beside it; a flat fifth does.
        if fifths.any(|fifth| fifth.alteration() > 0) {
            Vec::new()
        } else if self.is_dominant {
            degrees(13, dominant.thirteenths)
        } else if welcomes_thirteenth {
            degrees(13, &[0])
        } else {
            Vec::new()
        }
    }
}
