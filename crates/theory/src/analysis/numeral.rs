//! Roman numerals and the names of functions.

use super::reading::Reading;
use crate::{
    chord::{Chord, Family},
    interval::Degree,
    key::{Key, Mode},
};

const NUMERALS: [&str; 7] = ["I", "II", "III", "IV", "V", "VI", "VII"];

/// The numeral of a chord in a key: small for a minor third. In minor keys the capitals III, VI and VII stand
/// on the degrees of natural minor, the small vi and vii on the raised ones, as music21 reads them.
pub fn numeral(chord: &Chord, key: Key) -> String {
    let small = matches!(
        chord.family(),
        Family::Minor | Family::HalfDiminished | Family::Diminished
    );
    let degree = customary(Degree::of(key.tonic, chord.root()), chord.family());
    format!("{}{}", placed(degree, small, key.mode), figure(chord))
}

/// A degree under the name that functions go by: a backdoor dominant that is written E7 in Gb, to spare the
/// reader Fb7, is bVII7 all the same. Diminished chords that pass upwards keep their sharps.
fn customary(degree: Degree, family: Family) -> Degree {
    const USUAL: [(u8, i8); 13] = [
        (1, 0),
        (2, -1),
        (2, 0),
        (3, -1),
        (3, 0),
        (4, 0),
        (4, 1),
        (5, 0),
        (6, -1),
        (6, 0),
        (7, -1),
        (7, 0),
        (5, -1),
    ];
    const RISING: [(u8, i8); 3] = [(1, 1), (2, 1), (5, 1)];
    let named = |&(number, alteration): &(u8, i8)| Degree::new(number, alteration);
    let rising = family == Family::Diminished && RISING.iter().map(named).any(|d| d == degree);
    if rising || USUAL.iter().map(named).any(|d| d == degree) {
        return degree;
    }
    let sound = |degree: Degree| degree.interval().semitones().rem_euclid(12);
    let same = USUAL
        .iter()
        .map(named)
        .find(|other| sound(*other) == sound(degree));
    same.unwrap_or(degree)
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
    let numeral = numeral(chord, key);
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
        Reading::Passing => format!("{numeral} (passing)"),
    }
}
