//! How a note stands before a listener: good, a choice, unusual or wrong.

use super::{Device, played::Played};
use std::fmt;

/// The grade of a judged note. The better one is the lesser.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Grade {
    /// As the rules have it.
    Good,
    /// Against a plain rule, by a device that has a name.
    Choice,
    /// Against a rule, in the harmony, by no device.
    Unusual,
    /// A listener hears a mistake: a note from outside chord and scale that nothing explains, a promise that is
    /// not kept, or a note that is not on the instrument.
    Wrong,
}

impl Grade {
    /// All grades, the best first.
    pub const ALL: [Grade; 4] = [Grade::Good, Grade::Choice, Grade::Unusual, Grade::Wrong];

    /// Its name in every output.
    pub fn name(self) -> &'static str {
        match self {
            Grade::Good => "good",
            Grade::Choice => "choice",
            Grade::Unusual => "unusual",
            Grade::Wrong => "wrong",
        }
    }
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// The grade of a note that breaks these rules, by number, and is explained by this device.
pub(super) fn of(
    line: &Played<'_>,
    note: usize,
    broken: &[usize],
    device: Option<&Device>,
) -> Grade {
    let (lowest, highest) = line.judge.range;
    let key = line.heard[note].key;
    let strange = |rule: &usize| line.judge.rules[*rule].is_about_harmony();
    match device {
        _ if broken.is_empty() => Grade::Good,
        _ if !(lowest..=highest).contains(&key) => Grade::Wrong,
        Some(_) => Grade::Choice,
        None if !line.place(note).onset.connects(key) && broken.iter().any(strange) => Grade::Wrong,
        None => Grade::Unusual,
    }
}
