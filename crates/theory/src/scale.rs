//! Scales and modes as degrees, spelled on any tonic.
//!
//! A scale is a row of degrees above its tonic; spelling follows from the degrees, so a scale of seven notes
//! uses seven letters. A chord takes the scale that holds all of its tones and agrees with the key around it.
//!
//! | family | scales, each with the chord that it is heard with |
//! |---|---|
//! | modes of the major scale | major (I), dorian (ii), phrygian (iii), lydian (IV), mixolydian (V), aeolian (vi), locrian (vii with flat fifth) |
//! | modes of the melodic minor scale, its ascending form | melodic minor (minor tonic), dorian b2 (sus with b9), lydian augmented (maj7#5), lydian dominant (tritone substitute, backdoor), mixolydian b6 (dominant with b13), locrian natural 2 (m9b5), altered (alt) |
//! | harmonic minor | harmonic minor (tonic with major seventh), phrygian dominant (V of a minor chord: b9 and b13) |
//! | harmonic major | major with a flat sixth |
//! | diminished | half-whole (dominant with b9 and a plain thirteenth), whole-half (dim7) |
//! | others | whole tone (dominant with #5 and a plain ninth), bebop dominant, blues, the pentatonics |
//!
//! Two spellings are choices: the altered scale goes by its letters (C Db Eb Fb Gb Ab Bb), and the whole-half
//! diminished scale has the chord's own bb7 (Cdim7: Bbb, not A). Half-whole writes #2 beside b2, as b9 and #9.
//!
//! Sources: the sounds of every scale on fourteen tonics, and the spelling of all that have seven notes but the
//! altered scale, are those of tonal, music21, teoria, mingus and musthe (a test reads
//! `tests/reference/scales.csv` and `more_scales.csv`). Which chord takes which scale is common practice, no
//! source.
//!
//! ```
//! use endpin_theory::{Scale, ScaleKind};
//! let scale = Scale::new("Db".parse().unwrap(), ScaleKind::LydianDominant);
//! assert_eq!(scale.to_string(), "Db lydian dominant");
//! let notes: Vec<String> = scale.notes().iter().map(ToString::to_string).collect();
//! assert_eq!(notes.join(" "), "Db Eb F G Ab Bb Cb");
//! ```

use crate::{interval::Degree, pitch::NoteName};
use std::fmt;

/// The kinds of scales that chords take.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ScaleKind {
    /// First mode of the major scale.
    Major,
    /// Second mode of the major scale.
    Dorian,
    /// Third mode of the major scale.
    Phrygian,
    /// Fourth mode of the major scale.
    Lydian,
    /// Fifth mode of the major scale.
    Mixolydian,
    /// Sixth mode of the major scale, the natural minor scale.
    Aeolian,
    /// Seventh mode of the major scale.
    Locrian,
    /// The melodic minor scale, its ascending form both ways.
    MelodicMinor,
    /// Second mode of the melodic minor scale.
    DorianFlatTwo,
    /// Third mode of the melodic minor scale.
    LydianAugmented,
    /// Fourth mode of the melodic minor scale.
    LydianDominant,
    /// Fifth mode of the melodic minor scale.
    MixolydianFlatSix,
    /// Sixth mode of the melodic minor scale.
    LocrianNaturalTwo,
    /// Seventh mode of the melodic minor scale.
    Altered,
    /// The harmonic minor scale.
    HarmonicMinor,
    /// Fifth mode of the harmonic minor scale.
    PhrygianDominant,
    /// The harmonic major scale.
    HarmonicMajor,
    /// Diminished scale beginning with a half step: for dominants.
    HalfWhole,
    /// Diminished scale beginning with a whole step: for diminished seventh chords.
    WholeHalf,
    /// Six whole steps.
    WholeTone,
    /// Mixolydian with a major seventh between.
    BebopDominant,
    /// Five notes of the major scale, without its half steps.
    MajorPentatonic,
    /// Five notes of the natural minor scale, without its half steps.
    MinorPentatonic,
    /// Minor pentatonic with a flat fifth.
    Blues,
}

use ScaleKind::*;

/// A kind, its name, and its degrees above the tonic: number and alteration.
type Row = (ScaleKind, &'static str, &'static [(u8, i8)]);

/// One row a kind, in the order of the kinds.
#[rustfmt::skip]
const SCALES: [Row; 24] = [
    (Major, "major", &[(1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, 0), (7, 0)]),
    (Dorian, "dorian", &[(1, 0), (2, 0), (3, -1), (4, 0), (5, 0), (6, 0), (7, -1)]),
    (Phrygian, "phrygian", &[(1, 0), (2, -1), (3, -1), (4, 0), (5, 0), (6, -1), (7, -1)]),
    (Lydian, "lydian", &[(1, 0), (2, 0), (3, 0), (4, 1), (5, 0), (6, 0), (7, 0)]),
    (Mixolydian, "mixolydian", &[(1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, 0), (7, -1)]),
    (Aeolian, "aeolian", &[(1, 0), (2, 0), (3, -1), (4, 0), (5, 0), (6, -1), (7, -1)]),
    (Locrian, "locrian", &[(1, 0), (2, -1), (3, -1), (4, 0), (5, -1), (6, -1), (7, -1)]),
    (MelodicMinor, "melodic minor", &[(1, 0), (2, 0), (3, -1), (4, 0), (5, 0), (6, 0), (7, 0)]),
    (DorianFlatTwo, "dorian b2", &[(1, 0), (2, -1), (3, -1), (4, 0), (5, 0), (6, 0), (7, -1)]),
    (LydianAugmented, "lydian augmented", &[(1, 0), (2, 0), (3, 0), (4, 1), (5, 1), (6, 0), (7, 0)]),
    (LydianDominant, "lydian dominant", &[(1, 0), (2, 0), (3, 0), (4, 1), (5, 0), (6, 0), (7, -1)]),
    (MixolydianFlatSix, "mixolydian b6", &[(1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, -1), (7, -1)]),
    (LocrianNaturalTwo, "locrian natural 2", &[(1, 0), (2, 0), (3, -1), (4, 0), (5, -1), (6, -1), (7, -1)]),
    (Altered, "altered", &[(1, 0), (2, -1), (3, -1), (4, -1), (5, -1), (6, -1), (7, -1)]),
    (HarmonicMinor, "harmonic minor", &[(1, 0), (2, 0), (3, -1), (4, 0), (5, 0), (6, -1), (7, 0)]),
    (PhrygianDominant, "phrygian dominant", &[(1, 0), (2, -1), (3, 0), (4, 0), (5, 0), (6, -1), (7, -1)]),
    (HarmonicMajor, "harmonic major", &[(1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, -1), (7, 0)]),
    (HalfWhole, "half-whole diminished", &[(1, 0), (2, -1), (2, 1), (3, 0), (4, 1), (5, 0), (6, 0), (7, -1)]),
    (WholeHalf, "whole-half diminished", &[(1, 0), (2, 0), (3, -1), (4, 0), (5, -1), (6, -1), (7, -2), (7, 0)]),
    (WholeTone, "whole tone", &[(1, 0), (2, 0), (3, 0), (4, 1), (5, 1), (7, -1)]),
    (BebopDominant, "bebop dominant", &[(1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, 0), (7, -1), (7, 0)]),
    (MajorPentatonic, "major pentatonic", &[(1, 0), (2, 0), (3, 0), (5, 0), (6, 0)]),
    (MinorPentatonic, "minor pentatonic", &[(1, 0), (3, -1), (4, 0), (5, 0), (7, -1)]),
    (Blues, "blues", &[(1, 0), (3, -1), (4, 0), (5, -1), (5, 0), (7, -1)]),
];

impl ScaleKind {
    /// Every kind, the modes of the major scale first.
    pub fn all() -> impl Iterator<Item = ScaleKind> {
        SCALES.iter().map(|row| row.0)
    }

    /// The name in common use.
    pub fn name(self) -> &'static str {
        SCALES[self as usize].1
    }

    /// Degrees above the tonic, upwards, the tonic first.
    pub fn degrees(self) -> impl Iterator<Item = Degree> + Clone {
        SCALES[self as usize]
            .2
            .iter()
            .map(|&(number, alteration)| Degree::new(number, alteration))
    }

    /// Whether the scale has a note `semitones` above its tonic (taken within the octave).
    pub fn has(self, semitones: i16) -> bool {
        self.degrees()
            .any(|degree| (degree.interval().semitones() - semitones) % 12 == 0)
    }
}

/// A scale on a tonic.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Scale {
    tonic: NoteName,
    kind: ScaleKind,
}

impl Scale {
    /// The scale of this kind on `tonic`.
    pub fn new(tonic: NoteName, kind: ScaleKind) -> Scale {
        Scale { tonic, kind }
    }

    /// Its first note.
    pub fn tonic(self) -> NoteName {
        self.tonic
    }

    /// Its kind.
    pub fn kind(self) -> ScaleKind {
        self.kind
    }

    /// Its kind's name, without the tonic.
    pub fn name(self) -> &'static str {
        self.kind.name()
    }

    /// Its notes upwards from the tonic, spelled, the octave left out.
    pub fn notes(self) -> Vec<NoteName> {
        self.kind
            .degrees()
            .map(|degree| self.tonic + degree.interval())
            .collect()
    }

    /// Degrees above the tonic, in the order of [`Scale::notes`].
    pub fn degrees(self) -> Vec<Degree> {
        self.kind.degrees().collect()
    }

    /// Whether a note of the scale sounds this key of the octave, 0 (C) to 11 (B).
    pub fn contains(self, chroma: u8) -> bool {
        self.kind
            .has(i16::from(chroma) - i16::from(self.tonic.chroma()))
    }
}

impl fmt::Display for Scale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} {}", self.tonic, self.name()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Letter;

    #[test]
    fn the_table_is_in_the_order_of_the_kinds() {
        for (index, kind) in ScaleKind::all().enumerate() {
            assert_eq!(kind as usize, index);
        }
    }

    #[test]
    fn seven_notes_have_successive_letters_and_all_scales_rise() {
        for kind in ScaleKind::all() {
            for letter in Letter::ALL {
                for alteration in -2..=2 {
                    let tonic = NoteName::new(letter, alteration);
                    let scale = Scale::new(tonic, kind);
                    let notes = scale.notes();
                    assert_eq!(notes[0], tonic);
                    assert!(notes.iter().all(|note| scale.contains(note.chroma())));
                    if notes.len() == 7 {
                        for (step, note) in notes.iter().enumerate() {
                            assert_eq!(note.letter(), letter.up(step as i16), "{scale}");
                        }
                    }
                }
            }
            let heights: Vec<i16> = kind.degrees().map(|d| d.interval().semitones()).collect();
            assert!(heights.is_sorted_by(|a, b| a < b), "{}", kind.name());
            let outside = (0..12).filter(|&semitones| kind.has(semitones)).count();
            assert_eq!(outside, heights.len(), "{}", kind.name());
        }
    }

    #[test]
    fn modes_are_rotations_of_their_parents() {
        let chromas = |kind: ScaleKind, shift: i16| -> Vec<i16> {
            let mut all: Vec<i16> = kind
                .degrees()
                .map(|d| (d.interval().semitones() + shift).rem_euclid(12))
                .collect();
            all.sort_unstable();
            all
        };
        let families = [
            [
                Major, Dorian, Phrygian, Lydian, Mixolydian, Aeolian, Locrian,
            ],
            [
                MelodicMinor,
                DorianFlatTwo,
                LydianAugmented,
                LydianDominant,
                MixolydianFlatSix,
                LocrianNaturalTwo,
                Altered,
            ],
        ];
        for family in families {
            for (mode, start) in family.iter().zip(family[0].degrees()) {
                let shift = start.interval().semitones();
                assert_eq!(
                    chromas(*mode, shift),
                    chromas(family[0], 0),
                    "{}",
                    mode.name()
                );
            }
        }
        assert_eq!(chromas(PhrygianDominant, 7), chromas(HarmonicMinor, 0));
        assert_eq!(chromas(HalfWhole, 11), chromas(WholeHalf, 0));
    }
}
