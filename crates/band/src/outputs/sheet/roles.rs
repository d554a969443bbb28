//! How the roles of notes are shown to a reader: a letter, a family that shares a colour, and words.
//!
//! Notes that spell the chord get a capital or their degree; notes on the way get a small letter: `x` by a
//! semitone, `w` by a whole step, `d` from the dominant, `xx` by two semitones, `e` as an enclosure.

use endpin_walker::Role;

/// The letter under a note.
pub fn letter(role: Role) -> &'static str {
    match role {
        Role::Root => "R",
        Role::Third => "3",
        Role::Fourth => "4",
        Role::Fifth => "5",
        Role::Sixth => "6",
        Role::Seventh => "7",
        Role::Bass => "B",
        Role::Scale => "S",
        Role::ChromaticBelow | Role::ChromaticAbove => "x",
        Role::ScaleBelow | Role::ScaleAbove => "w",
        Role::Dominant => "d",
        Role::DoubleChromatic => "xx",
        Role::Enclosure => "e",
    }
}

/// The family whose colour a note has.
pub fn family(role: Role) -> &'static str {
    match role {
        Role::Root | Role::Bass => "root",
        Role::Scale => "scale",
        role if role.is_approach() => "approach",
        _ => "tone",
    }
}

/// Letters and what they mean, for a legend.
pub const LEGEND: [(&str, &str, &str); 8] = [
    ("root", "R", "root"),
    (
        "tone",
        "3 5 7",
        "third, fifth, seventh (4 in sus, 6 in sixth chords)",
    ),
    ("root", "B", "the written bass"),
    ("scale", "S", "scale note"),
    ("approach", "x", "approach by a semitone"),
    ("approach", "w", "approach by a whole step"),
    ("approach", "d", "approach from the dominant"),
    (
        "approach",
        "xx e",
        "two-note approach: double chromatic, enclosure",
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_letter_is_explained_in_its_colour() {
        for role in Role::ALL {
            let explained = LEGEND.iter().any(|(colour, letters, words)| {
                *colour == family(role)
                    && (letters.split(' ').any(|one| one == letter(role))
                        || words.contains(letter(role)))
            });
            assert!(explained, "{role}");
        }
    }
}
