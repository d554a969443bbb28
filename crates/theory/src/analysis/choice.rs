//! The scales that a chord takes for what it does, in the order of preference.
//!
//! Each reading has a list; a scale stays on it if it holds every tone that the symbol asks for, so written
//! alterations always win. Common practice, no source.

use super::path::Sense;
use super::reading::{Color, Reading};
use super::sounding::Heard;
use crate::{
    chord::{Chord, Family},
    interval::Degree,
    key::Mode,
    scale::{Scale, ScaleKind, ScaleKind::*},
};

/// Dominants that come to rest on a major chord, or move on to another dominant.
const PLAIN: &[ScaleKind] = &[
    Mixolydian,
    LydianDominant,
    BebopDominant,
    HalfWhole,
    PhrygianDominant,
];
/// V of a minor tonic, and of chords that are minor in their key.
const TO_MINOR: &[ScaleKind] = &[PhrygianDominant, Altered, HalfWhole, MixolydianFlatSix];
/// V of ii: the major key's own sixth degree keeps the thirteenth, the coming chord asks for the b9.
const TO_TWO: &[ScaleKind] = &[HalfWhole, PhrygianDominant, MixolydianFlatSix, Altered];
/// Dominants that do not fall a fifth: tritone substitutes, the backdoor, bVI7.
const SIDEWAYS: &[ScaleKind] = &[LydianDominant, Mixolydian];
/// What is left if alterations rule all of these out.
const ANY_DOMINANT: &[ScaleKind] = &[
    Mixolydian,
    LydianDominant,
    BebopDominant,
    HalfWhole,
    PhrygianDominant,
    MixolydianFlatSix,
    WholeTone,
    Altered,
];

/// At most so many choices are named.
const MOST: usize = 4;

/// The scales for a chord at its step of the path, best first; never empty.
pub(super) fn choices(heard: &Heard, step: Sense) -> Vec<Scale> {
    let chord = heard.chord.as_ref();
    let fitting = |kinds: &[ScaleKind]| -> Vec<ScaleKind> {
        kinds
            .iter()
            .copied()
            .filter(|&kind| missing(chord, kind) == 0)
            .collect()
    };
    let mut kinds = fitting(preferred(heard, step));
    if kinds.is_empty() {
        kinds = fitting(reserve(chord.family()));
    }
    if kinds.is_empty() {
        // No usual scale has all of it (such as a sharp ninth with a plain fifth and a flat thirteenth).
        let reserve = reserve(chord.family()).iter().copied();
        kinds.extend(
            reserve
                .chain(ScaleKind::all())
                .min_by_key(|&kind| missing(chord, kind)),
        );
    }
    kinds.truncate(MOST);
    kinds
        .into_iter()
        .map(|kind| Scale::new(chord.root(), kind))
        .collect()
}

fn preferred(heard: &Heard, (hypothesis, reading): Sense) -> &'static [ScaleKind] {
    let chord = heard.chord.as_ref();
    let minor_key = hypothesis.mode() == Mode::Minor;
    let degree = (chord.root().chroma() + 12 - hypothesis.tonic) % 12;
    let sixth = chord.has(Degree::new(6, 0));
    match (chord.family(), reading) {
        (Family::Major | Family::Open, Reading::Secondary(_)) => PLAIN,
        (Family::Major | Family::Open, Reading::Own) => match degree {
            0 if minor_key && chord.family() == Family::Open => &[Dorian],
            7 => &[Mixolydian, Major],
            1 | 5 => &[Lydian, Major],
            8 if minor_key => &[Lydian, Major],
            10 if minor_key => &[Mixolydian, Lydian],
            _ => &[Major, Lydian],
        },
        (Family::Major, Reading::Borrowed) if degree != 0 => &[Lydian, Major],
        (Family::Major | Family::Open, _) => &[Major, Lydian],
        (Family::Minor, Reading::Own) if minor_key => match degree {
            0 if sixth => &[MelodicMinor, Dorian],
            0 => &[Dorian, MelodicMinor, Aeolian, HarmonicMinor],
            7 => &[Phrygian, Dorian],
            _ => &[Dorian, MelodicMinor],
        },
        (Family::Minor, Reading::Own) => match degree {
            4 => &[Phrygian, Dorian, Aeolian],
            9 => &[Aeolian, Dorian],
            _ => &[Dorian],
        },
        (Family::Minor, Reading::Borrowed) if degree == 5 && sixth => &[MelodicMinor, Dorian],
        (Family::Minor, _) => &[Dorian, MelodicMinor, Aeolian],
        // In minor, vi with its flat fifth belongs to the melodic minor scale.
        (Family::HalfDiminished, Reading::Own) if minor_key && degree == 9 => {
            &[LocrianNaturalTwo, Locrian]
        }
        (Family::HalfDiminished, _) => &[Locrian, LocrianNaturalTwo],
        (Family::Diminished, Reading::Own) => &[Locrian, WholeHalf],
        (Family::Diminished, _) => &[WholeHalf],
        // A dominant without its seventh.
        (Family::Augmented, Reading::Own) if degree == 7 => &[WholeTone],
        (Family::Augmented, Reading::Secondary(_)) => &[WholeTone],
        (Family::Augmented, _) => &[LydianAugmented, WholeTone],
        (Family::Suspended, Reading::Own) if degree == 0 && !minor_key => &[Mixolydian, Major],
        (Family::Suspended, _) => &[Mixolydian, DorianFlatTwo, Phrygian],
        (Family::Dominant, reading) => dominant(heard, hypothesis.color, degree, reading),
    }
}

fn dominant(heard: &Heard, color: Color, degree: u8, reading: Reading) -> &'static [ScaleKind] {
    let after = heard.after.map(|next| (next.root, next.family));
    let own_root = heard.chord.root().chroma();
    let to_minor = match after {
        // A chain of dominants: each is the plain seventh chord of its own key. So is one whose target, a
        // dominant, is put off by a ii on this very root.
        Some((_, Family::Dominant)) => return plain_or_sideways(reading),
        Some((root, Family::Minor | Family::HalfDiminished)) if root == own_root => {
            return plain_or_sideways(reading);
        }
        // What rests on a major chord does not take the scale of a minor one, whatever key is near.
        Some((root, Family::Major)) if root == (own_root + 5) % 12 => {
            return plain_or_sideways(reading);
        }
        Some((root, family)) => {
            root == (own_root + 5) % 12 && matches!(family, Family::Minor | Family::HalfDiminished)
        }
        None => false,
    };
    match (reading, color) {
        (Reading::Substitute(_) | Reading::Backdoor | Reading::Borrowed, _) => SIDEWAYS,
        (Reading::Secondary(2), Color::Major | Color::Blues) => TO_TWO,
        (Reading::Secondary(4 | 9), Color::Major | Color::Blues) => TO_MINOR,
        (Reading::Secondary(2 | 5), Color::Minor) => TO_MINOR,
        (Reading::Secondary(_), _) if to_minor => TO_MINOR,
        (Reading::Own, Color::Minor) => match degree {
            7 => TO_MINOR,
            5 | 8 => SIDEWAYS,
            _ => PLAIN,
        },
        _ => PLAIN,
    }
}

fn plain_or_sideways(reading: Reading) -> &'static [ScaleKind] {
    match reading {
        Reading::Substitute(_) | Reading::Backdoor => SIDEWAYS,
        _ => PLAIN,
    }
}

/// Scales of the family beyond those that its function suggests.
fn reserve(family: Family) -> &'static [ScaleKind] {
    match family {
        Family::Major => &[Major, Lydian, LydianAugmented, HarmonicMajor, Mixolydian],
        Family::Minor => &[
            Dorian,
            Aeolian,
            MelodicMinor,
            HarmonicMinor,
            Phrygian,
            DorianFlatTwo,
        ],
        Family::Dominant => ANY_DOMINANT,
        Family::Suspended => &[Mixolydian, DorianFlatTwo, Phrygian, Major, Lydian],
        Family::HalfDiminished => &[Locrian, LocrianNaturalTwo],
        Family::Diminished => &[WholeHalf],
        Family::Augmented => &[LydianAugmented, WholeTone],
        Family::Open => &[Mixolydian, Major, Dorian],
    }
}

/// How many notes of the symbol the scale lacks, the slash bass included; a plain fifth beside a sharpened
/// one counts as a lack.
fn missing(chord: &Chord, kind: ScaleKind) -> usize {
    let sharp_fifth = chord.has(Degree::new(5, 1)) && !chord.has(Degree::new(5, 0));
    let wrong_fifth = sharp_fifth && kind.has(7) && chord.family() != Family::Minor;
    let bass = i16::from(chord.bass().chroma()) - i16::from(chord.root().chroma());
    let tones = chord
        .tones()
        .into_iter()
        .map(|(degree, _)| degree.interval().semitones());
    let lacking = tones
        .chain([bass])
        .filter(|&semitones| !kind.has(semitones))
        .count();
    lacking + usize::from(wrong_fifth)
}
