//! Liberties: what players do against the plain rules, each by a name.
//!
//! They are common practice without a single source. How often each is taken in recorded lines decided which of
//! them there are: the judge's first verdicts on such lines were mostly of these kinds.

use super::Onset;
use std::fmt;

/// Something that players do against a plain rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Liberty {
    /// A chord arrives on its third, fifth or seventh, reached by step or held over.
    Inverted,
    /// A scale note on a medium beat, between two steps in one direction.
    Passing,
    /// A note from outside the chord on a medium beat, which goes on by step.
    Leaning,
    /// A note that belongs to its chord does not lead into the change.
    Unannounced,
    /// A pitch three times running.
    Repeated,
}

impl Liberty {
    /// All of them.
    pub const ALL: [Liberty; 5] = [
        Liberty::Inverted,
        Liberty::Passing,
        Liberty::Leaning,
        Liberty::Unannounced,
        Liberty::Repeated,
    ];

    /// Its name in every output.
    pub fn name(self) -> &'static str {
        match self {
            Liberty::Inverted => "inverted",
            Liberty::Passing => "passing",
            Liberty::Leaning => "leaning",
            Liberty::Unannounced => "unannounced",
            Liberty::Repeated => "repeated",
        }
    }

    /// What it is, for a student.
    pub fn words(self) -> &'static str {
        match self {
            Liberty::Inverted => {
                "a liberty: the chord arrives on another of its tones, since the line comes there by step"
            }
            Liberty::Passing => {
                "a liberty: it passes through a stressed beat, walking on by step the same way"
            }
            Liberty::Leaning => {
                "a liberty: it leans on a stressed beat against the chord, and gives way by step"
            }
            Liberty::Unannounced => {
                "a liberty: the change comes unannounced, the line staying with its chord to the end"
            }
            Liberty::Repeated => "a liberty: the pitch stays, and only the time goes on",
        }
    }

    fn bit(self) -> u8 {
        1 << self as u8
    }
}

impl fmt::Display for Liberty {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// Which liberties a line may take.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Liberties(u8);

impl Liberties {
    /// None: the plain rules.
    pub const NONE: Liberties = Liberties(0);

    /// All of them.
    pub const ALL: Liberties = Liberties(0b1_1111);

    /// Whether this one may be taken.
    pub fn allow(self, liberty: Liberty) -> bool {
        self.0 & liberty.bit() != 0
    }

    /// These and those.
    pub fn and(self, others: Liberties) -> Liberties {
        Liberties(self.0 | others.0)
    }

    /// A number for each set, below [`Liberties::SETS`].
    pub(crate) fn number(self) -> usize {
        self.0.into()
    }

    /// How many sets there are.
    pub(crate) const SETS: usize = 1 << Liberty::ALL.len();

    /// Whether none may.
    pub fn is_none(self) -> bool {
        self == Liberties::NONE
    }
}

/// What a step of a line makes of liberties.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Chances {
    /// Those that have a place here.
    pub places: Liberties,
    /// Those that are taken.
    pub taken: Liberties,
}

impl Chances {
    /// A place for a liberty, where the onset allows it, and whether it is taken.
    pub(crate) fn of(liberty: Liberty, onset: &Onset, taken: bool) -> Chances {
        let all = |some: bool| match some && onset.loose.allow(liberty) {
            true => Liberties(liberty.bit()),
            false => Liberties::NONE,
        };
        Chances {
            places: all(true),
            taken: all(taken),
        }
    }

    /// These and those.
    pub(crate) fn and(self, others: Chances) -> Chances {
        Chances {
            places: self.places.and(others.places),
            taken: self.taken.and(others.taken),
        }
    }
}

impl FromIterator<Liberty> for Liberties {
    fn from_iter<I: IntoIterator<Item = Liberty>>(liberties: I) -> Liberties {
        Liberties(liberties.into_iter().fold(0, |set, one| set | one.bit()))
    }
}
