//! The part that each note of a line plays.
//!
//! The names are the ones that every output uses.

use endpin_theory::Part;
use std::{fmt, str::FromStr};

/// The part a note of the bass plays: a chord tone, a scale note, or an approach into the coming note.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// The root of the chord.
    Root,
    /// Its third, major or minor.
    Third,
    /// The fourth of a suspended chord.
    Fourth,
    /// Its fifth, altered or not.
    Fifth,
    /// The sixth of a sixth chord.
    Sixth,
    /// Its seventh.
    Seventh,
    /// The written slash bass where it is no chord tone.
    Bass,
    /// A note of the chord's scale that is no chord tone.
    Scale,
    /// One semitone below the coming note.
    ChromaticBelow,
    /// One semitone above the coming note.
    ChromaticAbove,
    /// A whole step below the coming note, in the scale or out of it.
    ScaleBelow,
    /// A whole step above the coming note, in the scale or out of it.
    ScaleAbove,
    /// A fifth above or a fourth below the coming root.
    Dominant,
    /// One of two notes that reach the coming note by semitones in one direction.
    DoubleChromatic,
    /// One of two notes that surround the coming note, one on each side.
    Enclosure,
}

impl Role {
    /// All roles, in the order of their definition.
    pub const ALL: [Role; 15] = [
        Role::Root,
        Role::Third,
        Role::Fourth,
        Role::Fifth,
        Role::Sixth,
        Role::Seventh,
        Role::Bass,
        Role::Scale,
        Role::ChromaticBelow,
        Role::ChromaticAbove,
        Role::ScaleBelow,
        Role::ScaleAbove,
        Role::Dominant,
        Role::DoubleChromatic,
        Role::Enclosure,
    ];

    /// The name that outputs use.
    pub fn name(self) -> &'static str {
        match self {
            Role::Root => "root",
            Role::Third => "third",
            Role::Fourth => "fourth",
            Role::Fifth => "fifth",
            Role::Sixth => "sixth",
            Role::Seventh => "seventh",
            Role::Bass => "bass",
            Role::Scale => "scale",
            Role::ChromaticBelow => "chromatic-below",
            Role::ChromaticAbove => "chromatic-above",
            Role::ScaleBelow => "scale-below",
            Role::ScaleAbove => "scale-above",
            Role::Dominant => "dominant",
            Role::DoubleChromatic => "double-chromatic",
            Role::Enclosure => "enclosure",
        }
    }

    /// Whether the note spells the chord.
    pub fn is_chord_tone(self) -> bool {
        matches!(
            self,
            Role::Root | Role::Third | Role::Fourth | Role::Fifth | Role::Sixth | Role::Seventh
        )
    }

    /// Whether the note leads into the one that follows.
    pub fn is_approach(self) -> bool {
        self >= Role::ChromaticBelow
    }

    /// The approach that a single note at `distance` semitones above (negative: below) its goal makes, if
    /// it is one. `into_root` allows the dominant.
    pub fn single_approach(distance: i16, into_root: bool) -> Option<Role> {
        match distance {
            -1 => Some(Role::ChromaticBelow),
            1 => Some(Role::ChromaticAbove),
            -2 => Some(Role::ScaleBelow),
            2 => Some(Role::ScaleAbove),
            7 | -5 if into_root => Some(Role::Dominant),
            _ => None,
        }
    }
}

impl From<Part> for Role {
    fn from(part: Part) -> Role {
        match part {
            Part::Root => Role::Root,
            Part::Third => Role::Third,
            Part::Fourth => Role::Fourth,
            Part::Fifth => Role::Fifth,
            Part::Sixth => Role::Sixth,
            Part::Seventh => Role::Seventh,
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// Text that names no role.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a role of a bass note")]
pub struct RoleError(String);

impl FromStr for Role {
    type Err = RoleError;

    fn from_str(text: &str) -> Result<Role, RoleError> {
        Role::ALL
            .into_iter()
            .find(|role| role.name() == text)
            .ok_or_else(|| RoleError(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_read_back() {
        for role in Role::ALL {
            assert_eq!(role.to_string().parse(), Ok(role));
        }
        assert!("tenor".parse::<Role>().is_err());
    }

    #[test]
    fn approaches_are_named_by_distance() {
        // One semitone is chromatic, a whole step is scale, 7 above or 5 below dominant.
        assert_eq!(Role::single_approach(-1, false), Some(Role::ChromaticBelow));
        assert_eq!(Role::single_approach(2, false), Some(Role::ScaleAbove));
        assert_eq!(Role::single_approach(7, true), Some(Role::Dominant));
        assert_eq!(Role::single_approach(-5, true), Some(Role::Dominant));
        assert_eq!(Role::single_approach(-5, false), None);
        assert_eq!(Role::single_approach(0, true), None);
    }
}
