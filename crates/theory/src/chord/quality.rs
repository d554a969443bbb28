//! What a chord symbol says about the tones above its root: a set of degrees.

use crate::interval::Degree;
use std::collections::BTreeSet;

pub(super) const ROOT: Degree = Degree::new(1, 0);
pub(super) const SECOND: Degree = Degree::new(2, 0);
pub(super) const MINOR_THIRD: Degree = Degree::new(3, -1);
pub(super) const MAJOR_THIRD: Degree = Degree::new(3, 0);
pub(super) const FOURTH: Degree = Degree::new(4, 0);
pub(super) const FLAT_FIFTH: Degree = Degree::new(5, -1);
pub(super) const FIFTH: Degree = Degree::new(5, 0);
pub(super) const SHARP_FIFTH: Degree = Degree::new(5, 1);
pub(super) const SIXTH: Degree = Degree::new(6, 0);
pub(super) const DIMINISHED_SEVENTH: Degree = Degree::new(7, -2);
pub(super) const MINOR_SEVENTH: Degree = Degree::new(7, -1);
pub(super) const MAJOR_SEVENTH: Degree = Degree::new(7, 0);
pub(super) const FLAT_NINTH: Degree = Degree::new(9, -1);
pub(super) const NINTH: Degree = Degree::new(9, 0);
pub(super) const SHARP_NINTH: Degree = Degree::new(9, 1);
pub(super) const ELEVENTH: Degree = Degree::new(11, 0);
pub(super) const SHARP_ELEVENTH: Degree = Degree::new(11, 1);
pub(super) const FLAT_THIRTEENTH: Degree = Degree::new(13, -1);
pub(super) const THIRTEENTH: Degree = Degree::new(13, 0);

/// The altered dominant: both altered fifths and both altered ninths (decision in the module docs).
pub(super) const ALTERED: [Degree; 7] = [
    ROOT,
    MAJOR_THIRD,
    FLAT_FIFTH,
    SHARP_FIFTH,
    MINOR_SEVENTH,
    FLAT_NINTH,
    SHARP_NINTH,
];

/// The degrees of a chord, root included. Two symbols mean the same chord if these are equal, so the
/// printed spelling is worked out from them and from nothing else.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Quality(BTreeSet<Degree>);

impl Quality {
    pub(super) fn new(degrees: impl IntoIterator<Item = Degree>) -> Self {
        Quality(degrees.into_iter().collect())
    }

    pub(super) fn has(&self, degree: Degree) -> bool {
        self.0.contains(&degree)
    }

    /// In the order of their numbers, the root first.
    pub(super) fn degrees(&self) -> impl Iterator<Item = Degree> + '_ {
        self.0.iter().copied()
    }

    /// Every degree of one number: both fifths of an altered dominant, for one.
    pub(super) fn all(&self, number: u8) -> impl Iterator<Item = Degree> + '_ {
        self.degrees().filter(move |d| d.number() == number)
    }

    pub(super) fn third(&self) -> Option<Degree> {
        self.all(3).next()
    }

    pub(super) fn seventh(&self) -> Option<Degree> {
        self.all(7).next()
    }

    /// Whether the fifth is exactly this one.
    pub(super) fn fifth_is(&self, degree: Degree) -> bool {
        self.all(5).eq([degree])
    }

    /// A fourth or second in the place of the third; the eleventh of a chord without third is its fourth.
    pub(super) fn is_suspended(&self) -> bool {
        self.has(FOURTH) || self.has(SECOND) || (self.third().is_none() && self.has(ELEVENTH))
    }
}
