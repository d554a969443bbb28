//! How often liberties are taken, where a teacher asks for it.

use super::{Liberties, Liberty};
use endpin_theory::did_you_mean;
use std::str::FromStr;

/// For each liberty, of a hundred places where it could be taken about how many take it; none: as often as players.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Shares([Option<u8>; Liberty::ALL.len()]);

impl Shares {
    /// The share asked of a liberty, in a hundred.
    pub fn of(self, liberty: Liberty) -> Option<u8> {
        self.0[liberty as usize]
    }

    /// The same with another share of a liberty, 1 to 100.
    pub fn with(mut self, liberty: Liberty, share: u8) -> Shares {
        self.0[liberty as usize] = Some(share);
        self
    }

    /// Whether none is asked for.
    pub fn is_none(self) -> bool {
        self == Shares::default()
    }
}

/// Which liberties are taken, and how often.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Loose {
    /// Which.
    pub liberties: Liberties,
    /// How often.
    pub shares: Shares,
}

/// Text that names no liberty, or no share of one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LooseError {
    /// No liberty.
    #[error("\"{0}\" is not a liberty{near}; write all, or some of inverted, passing, leaning, unannounced and repeated with \
         commas between, each with how many in a hundred if wanted, as in inverted:20", near = did_you_mean(.0, Liberty::ALL))]
    Name(String),
    /// No share.
    #[error(
        "\"{share}\" is not a share of {liberty}; write a whole number from 0 to 100 after the colon, such as {liberty}:20: of a hundred places, so many"
    )]
    Share {
        /// The liberty.
        liberty: Liberty,
        /// As written.
        share: String,
    },
    /// A liberty named again.
    #[error("{0} is named twice")]
    Twice(Liberty),
}

impl FromStr for Loose {
    type Err = LooseError;

    /// `all`, or names with commas between, each with its share after a colon or without: `inverted:20,passing`.
    fn from_str(text: &str) -> Result<Loose, LooseError> {
        if text == "all" {
            return Ok(Loose {
                liberties: Liberties::ALL,
                shares: Shares::default(),
            });
        }
        let mut named = Liberties::NONE;
        let mut loose = Loose::default();
        for part in text.split(',') {
            let (name, share) = match part.split_once(':') {
                Some((name, share)) => (name.trim(), Some(share.trim())),
                None => (part.trim(), None),
            };
            let mut all = Liberty::ALL.into_iter();
            let liberty = all.find(|liberty| liberty.name() == name);
            let liberty = liberty.ok_or_else(|| LooseError::Name(name.to_owned()))?;
            if named.allow(liberty) {
                return Err(LooseError::Twice(liberty));
            }
            let this = Liberties::from_iter([liberty]);
            named = named.and(this);
            let Some(share) = share else {
                loose.liberties = loose.liberties.and(this);
                continue;
            };
            let number = share.parse().ok().filter(|number| *number <= 100);
            match number.ok_or_else(|| LooseError::Share {
                liberty,
                share: share.to_owned(),
            })? {
                // Never is a rule, not a weight.
                0 => {}
                number => {
                    loose.liberties = loose.liberties.and(this);
                    loose.shares = loose.shares.with(liberty, number);
                }
            }
        }
        Ok(loose)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read() {
        let all: Loose = "all".parse().unwrap();
        assert_eq!(
            (all.liberties, all.shares.is_none()),
            (Liberties::ALL, true)
        );
        let some: Loose = "inverted:20, repeated,passing : 0".parse().unwrap();
        for liberty in Liberty::ALL {
            let wanted = matches!(liberty, Liberty::Inverted | Liberty::Repeated);
            assert_eq!(some.liberties.allow(liberty), wanted);
            let share = (liberty == Liberty::Inverted).then_some(20);
            assert_eq!(some.shares.of(liberty), share);
            assert!(
                liberty
                    .name()
                    .parse::<Loose>()
                    .unwrap()
                    .liberties
                    .allow(liberty)
            );
        }
    }

    #[test]
    fn mistakes_are_named() {
        let said = |text: &str| text.parse::<Loose>().unwrap_err().to_string();
        assert!(
            said("invertde")
                .starts_with("\"invertde\" is not a liberty (did you mean \"inverted\"?)")
        );
        assert!(said("passing:120").starts_with("\"120\" is not a share of passing"));
        assert!(said("passing:").starts_with("\"\" is not a share of passing"));
        assert_eq!(said("passing,passing:3"), "passing is named twice");
    }
}
