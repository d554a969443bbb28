//! Chord symbols as MusicXML says them: a kind, and the degrees that differ from it.
//!
//! The kinds and what they hold are those of the `kind-value` type of the MusicXML 4.0 schema (W3C
//! Community Group report); degree alterations follow its `degree-alter`: an added degree is measured
//! against a dominant chord, an altered or left-out one against the kind.

use endpin_theory::{Chord, Degree};

/// A degree as a number and semitones against the major scale.
type Tone = (u8, i8);

/// Kinds with their degrees. A thirteenth chord may leave out its eleventh, so it is not among them.
const KINDS: [(&str, &[Tone]); 25] = [
    ("major", &[(1, 0), (3, 0), (5, 0)]),
    ("minor", &[(1, 0), (3, -1), (5, 0)]),
    ("augmented", &[(1, 0), (3, 0), (5, 1)]),
    ("diminished", &[(1, 0), (3, -1), (5, -1)]),
    ("dominant", &[(1, 0), (3, 0), (5, 0), (7, -1)]),
    ("major-seventh", &[(1, 0), (3, 0), (5, 0), (7, 0)]),
    ("minor-seventh", &[(1, 0), (3, -1), (5, 0), (7, -1)]),
    ("diminished-seventh", &[(1, 0), (3, -1), (5, -1), (7, -2)]),
    ("augmented-seventh", &[(1, 0), (3, 0), (5, 1), (7, -1)]),
    ("half-diminished", &[(1, 0), (3, -1), (5, -1), (7, -1)]),
    ("major-minor", &[(1, 0), (3, -1), (5, 0), (7, 0)]),
    ("major-sixth", &[(1, 0), (3, 0), (5, 0), (6, 0)]),
    ("minor-sixth", &[(1, 0), (3, -1), (5, 0), (6, 0)]),
    ("dominant-ninth", &[(1, 0), (3, 0), (5, 0), (7, -1), (9, 0)]),
    ("major-ninth", &[(1, 0), (3, 0), (5, 0), (7, 0), (9, 0)]),
    ("minor-ninth", &[(1, 0), (3, -1), (5, 0), (7, -1), (9, 0)]),
    (
        "dominant-11th",
        &[(1, 0), (3, 0), (5, 0), (7, -1), (9, 0), (11, 0)],
    ),
    (
        "major-11th",
        &[(1, 0), (3, 0), (5, 0), (7, 0), (9, 0), (11, 0)],
    ),
    (
        "minor-11th",
        &[(1, 0), (3, -1), (5, 0), (7, -1), (9, 0), (11, 0)],
    ),
    (
        "dominant-13th",
        &[(1, 0), (3, 0), (5, 0), (7, -1), (9, 0), (13, 0)],
    ),
    (
        "major-13th",
        &[(1, 0), (3, 0), (5, 0), (7, 0), (9, 0), (13, 0)],
    ),
    (
        "minor-13th",
        &[(1, 0), (3, -1), (5, 0), (7, -1), (9, 0), (13, 0)],
    ),
    ("suspended-second", &[(1, 0), (2, 0), (5, 0)]),
    ("suspended-fourth", &[(1, 0), (4, 0), (5, 0)]),
    ("power", &[(1, 0), (5, 0)]),
];

/// How a degree of the chord differs from its kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Change {
    /// The kind has no such degree.
    Add,
    /// The kind has it otherwise.
    Alter,
    /// The kind has it, the chord does not.
    Subtract,
}

impl Change {
    /// The name that the schema gives it.
    pub fn name(self) -> &'static str {
        match self {
            Change::Add => "add",
            Change::Alter => "alter",
            Change::Subtract => "subtract",
        }
    }
}

/// A chord as MusicXML says it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spoken {
    /// Its kind.
    pub kind: &'static str,
    /// Degrees that differ, as number, alteration and change.
    pub degrees: Vec<(u8, i8, Change)>,
}

/// The kind that needs the fewest changes, the earlier in the schema if two do.
pub fn speak(chord: &Chord) -> Spoken {
    let tone = |degree: Degree| (degree.number(), degree.alteration());
    let tones: Vec<Tone> = chord
        .tones()
        .into_iter()
        .map(|(degree, _)| tone(degree))
        .collect();
    let spoken = KINDS.map(|(kind, held)| Spoken {
        kind,
        degrees: changes(held, &tones),
    });
    // The first of equals is taken; the table is never empty.
    let mut best = spoken[0].clone();
    for candidate in spoken {
        if candidate.degrees.len() < best.degrees.len() {
            best = candidate;
        }
    }
    best
}

fn changes(held: &[Tone], tones: &[Tone]) -> Vec<(u8, i8, Change)> {
    let mut changes = Vec::new();
    // A degree may come twice (the two altered fifths of an altered dominant): the first alters the one of
    // the kind, the second is added.
    let mut used: Vec<u8> = Vec::new();
    for &(number, alteration) in tones {
        if held.contains(&(number, alteration)) {
            used.push(number);
        }
    }
    for &(number, alteration) in tones {
        if held.contains(&(number, alteration)) {
            continue;
        }
        let of_kind = held.iter().find(|(of_kind, _)| *of_kind == number);
        match of_kind {
            Some(&(_, kinds)) if !used.contains(&number) => {
                changes.push((number, alteration - kinds, Change::Alter));
                used.push(number);
            }
            _ => {
                // Added sevenths are measured against a minor one.
                let dominant = if number == 7 { -1 } else { 0 };
                changes.push((number, alteration - dominant, Change::Add));
            }
        }
    }
    for &(number, _) in held {
        if !used.contains(&number) {
            changes.push((number, 0, Change::Subtract));
        }
    }
    changes.sort_by_key(|&(number, alteration, change)| (number, change, alteration));
    changes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(symbol: &str) -> String {
        let spoken = speak(&symbol.parse().unwrap());
        let degrees = spoken.degrees.iter().map(|(number, alteration, change)| {
            format!(" {} {number}{alteration:+}", change.name())
        });
        spoken.kind.to_owned() + &degrees.collect::<String>()
    }

    #[test]
    fn kinds_and_degrees() {
        for (symbol, wanted) in [
            ("C", "major"),
            ("F7", "dominant"),
            ("Bbmaj7", "major-seventh"),
            ("Dm7", "minor-seventh"),
            ("Em7b5", "half-diminished"),
            ("Bdim7", "diminished-seventh"),
            ("C+", "augmented"),
            ("G7#5", "augmented-seventh"),
            ("CmMaj7", "major-minor"),
            ("C6", "major-sixth"),
            ("Am6", "minor-sixth"),
            ("C6/9", "major-sixth add 9+0"),
            ("D9", "dominant-ninth"),
            ("D13", "dominant-13th"),
            ("D7b9", "dominant add 9-1"),
            ("G7b5", "dominant alter 5-1"),
            ("G7#11", "dominant add 11+1"),
            ("G13b9", "dominant-13th alter 9-1"),
            ("Csus4", "suspended-fourth"),
            ("C7sus4", "suspended-fourth add 7+0"),
            ("C5", "power"),
            ("Cadd9", "major add 9+0"),
            ("Dm7/G", "minor-seventh"),
        ] {
            assert_eq!(said(symbol), wanted, "{symbol}");
        }
    }
}
