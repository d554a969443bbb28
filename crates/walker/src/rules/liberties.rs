//! Liberties: what players do against the plain rules, each by a name.
//!
//! They are common practice without a single source. How often each is taken in recorded lines decided which of
//! them there are: the judge's first verdicts on such lines were mostly of these kinds.

use endpin_theory::did_you_mean;
use std::{fmt, str::FromStr};

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

    /// Whether none may.
    pub fn is_none(self) -> bool {
        self == Liberties::NONE
    }
}

impl FromIterator<Liberty> for Liberties {
    fn from_iter<I: IntoIterator<Item = Liberty>>(liberties: I) -> Liberties {
        Liberties(liberties.into_iter().fold(0, |set, one| set | one.bit()))
    }
}

/// Text that names no liberty.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no liberty{near}; write all, or some of inverted, passing, leaning, unannounced and repeated with \
         commas between", near = did_you_mean(.0, Liberty::ALL))]
pub struct LibertyError(String);

impl FromStr for Liberties {
    type Err = LibertyError;

    /// `all`, or names with commas between.
    fn from_str(text: &str) -> Result<Liberties, LibertyError> {
        if text == "all" {
            return Ok(Liberties::ALL);
        }
        let one = |name: &str| {
            let mut all = Liberty::ALL.into_iter();
            let found = all.find(|liberty| liberty.name() == name.trim());
            found.ok_or_else(|| LibertyError(name.trim().to_owned()))
        };
        text.split(',').map(one).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_read_back() {
        assert_eq!("all".parse(), Ok(Liberties::ALL));
        assert_eq!(
            Liberty::ALL.into_iter().collect::<Liberties>(),
            Liberties::ALL
        );
        let two: Liberties = "inverted, repeated".parse().unwrap();
        for liberty in Liberty::ALL {
            let wanted = matches!(liberty, Liberty::Inverted | Liberty::Repeated);
            assert_eq!(two.allow(liberty), wanted);
            assert!(liberty.name().parse::<Liberties>().unwrap().allow(liberty));
        }
        let error = "invertde".parse::<Liberties>().unwrap_err().to_string();
        assert!(
            error.starts_with("\"invertde\" is no liberty (did you mean \"inverted\"?)"),
            "{error}"
        );
    }
}
