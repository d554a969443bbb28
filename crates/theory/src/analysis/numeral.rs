//! Roman numerals and the names of functions.

use super::reading::Reading;
use crate::{
    chord::{Chord, Family},
    interval::Degree,
    key::{Key, Mode},
};

const NUMERALS: [&str; 7] = ["I", "II", "III", "IV", "V", "VI", "VII"];

/// The twelve degrees as chords that come down a half step are named, and as those that go up are.
#[rustfmt::skip]
const FALLING: [(u8, i8); 12] =
    [(1, 0), (2, -1), (2, 0), (3, -1), (3, 0), (4, 0), (5, -1), (5, 0), (6, -1), (6, 0), (7, -1), (7, 0)];
#[rustfmt::skip]
const RISING: [(u8, i8); 12] =
    [(1, 0), (1, 1), (2, 0), (2, 1), (3, 0), (4, 0), (4, 1), (5, 0), (5, 1), (6, 0), (7, -1), (7, 0)];

/// The numeral of a chord in a key: small for a minor third. In minor keys the capitals III, VI and VII stand
/// on the degrees of natural minor, the small vi and vii on the raised ones, as music21 reads them.
pub fn numeral(chord: &Chord, key: Key) -> String {
    on_degree(
        chord,
        key,
        customary(Degree::of(key.tonic, chord.root()), chord.family()),
    )
}

/// The same where it is known what the chord does: diminished chords that lead upwards stand on raised
/// degrees, tritone substitutes on lowered ones, however a plainer spelling hides it.
pub(super) fn numeral_as(chord: &Chord, key: Key, reading: Reading) -> String {
    let semitones = (chord.root().chroma() + 12 - key.tonic.chroma()) % 12;
    let (number, alteration) = match reading {
        Reading::Leading(_) | Reading::Rising => RISING[usize::from(semitones)],
        Reading::Passing if semitones == 6 => RISING[6],
        Reading::Passing | Reading::Substitute(_) => FALLING[usize::from(semitones)],
        _ => return numeral(chord, key),
    };
    on_degree(chord, key, Degree::new(number, alteration))
}

fn on_degree(chord: &Chord, key: Key, degree: Degree) -> String {
    let small = matches!(
        chord.family(),
        Family::Minor | Family::HalfDiminished | Family::Diminished
    );
    format!("{}{}", placed(degree, small, key.mode), figure(chord))
}

/// A degree under the name that functions go by: a backdoor dominant that is written E7 in Gb, to spare the
/// reader Fb7, is bVII7 all the same. Only diminished chords stand on raised degrees other than #IV.
fn customary(degree: Degree, family: Family) -> Degree {
    let is = |&(number, alteration): &(u8, i8)| degree == Degree::new(number, alteration);
    let raised = is(&(4, 1)) || family == Family::Diminished && RISING.iter().any(is);
    if raised || FALLING.iter().any(is) {
        return degree;
    }
    let semitones = degree.interval().semitones().rem_euclid(12);
    let (number, alteration) = FALLING[semitones as usize];
    Degree::new(number, alteration)
}

/// Sign and numeral of a degree (counted along the major scale).
fn placed(degree: Degree, small: bool, mode: Mode) -> String {
    let lowered = match (mode, degree.number()) {
        (Mode::Minor, 3) => true,
        (Mode::Minor, 6 | 7) => !small,
        _ => false,
    };
    let alteration = degree.alteration() + i8::from(lowered);
    let sign = if alteration < 0 { "b" } else { "#" };
    let signs = sign.repeat(usize::from(alteration.unsigned_abs()));
    let capital = NUMERALS[usize::from(degree.number() - 1) % 7];
    let numeral = if small {
        capital.to_ascii_lowercase()
    } else {
        capital.to_owned()
    };
    format!("{signs}{numeral}")
}

/// The quality after the numeral: `7`, `maj7`, `ø7`, `o7`, `+`.
fn figure(chord: &Chord) -> String {
    let suffix = chord.suffix();
    match chord.family() {
        Family::Minor => suffix.strip_prefix('m').unwrap_or(&suffix).to_owned(),
        Family::HalfDiminished => {
            let rest = suffix.strip_prefix('m').unwrap_or(&suffix);
            format!("ø{}", rest.replacen("b5", "", 1))
        }
        Family::Diminished => suffix.replacen("dim", "o", 1),
        Family::Augmented => suffix.replacen("aug", "+", 1),
        _ => suffix,
    }
}

/// The numeral of a target, as the key has it: ii, IV, bVI.
pub(super) fn target_numeral(semitones: u8, mode: Mode) -> &'static str {
    let names: [&str; 12] = match mode {
        Mode::Major => [
            "I", "bII", "ii", "bIII", "iii", "IV", "#IV", "V", "bVI", "vi", "bVII", "vii",
        ],
        Mode::Minor => [
            "i", "bII", "ii", "III", "#III", "iv", "#iv", "V", "VI", "vi", "VII", "vii",
        ],
    };
    names[usize::from(semitones) % 12]
}

/// The name of what a chord does: its numeral, and in parentheses what it is to another chord.
pub(super) fn function(chord: &Chord, key: Key, reading: Reading) -> String {
    let numeral = numeral_as(chord, key, reading);
    let to = |semitones| target_numeral(semitones, key.mode);
    let two = if chord.family() == Family::HalfDiminished {
        "iiø7"
    } else {
        "ii7"
    };
    match reading {
        Reading::Own | Reading::Foreign => numeral,
        Reading::Borrowed => format!("{numeral} (borrowed)"),
        Reading::Secondary(target) => format!("{numeral} (V7/{})", to(target)),
        Reading::RelatedTwo(target) => format!("{numeral} ({two}/{})", to(target)),
        Reading::Substitute(target) => format!("{numeral} (subV7/{})", to(target)),
        Reading::SubstituteTwo(target) => format!("{numeral} ({two} of subV7/{})", to(target)),
        Reading::Backdoor => format!("{numeral} (backdoor)"),
        Reading::Leading(0) | Reading::Inverted(0) => numeral,
        Reading::Leading(target) | Reading::Inverted(target) => {
            format!("{numeral} (viio7/{})", to(target))
        }
        Reading::Passing | Reading::Rising => format!("{numeral} (passing)"),
        Reading::CommonTone => format!("{numeral} (common tone)"),
    }
}
