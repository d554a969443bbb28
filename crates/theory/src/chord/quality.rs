//! What a chord symbol says about the tones above its root: a set of degrees.

use crate::interval::Degree;
use std::fmt;

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
///
/// A bit for each: five to a number, from doubly flat to doubly sharp. What a chord is called is asked for
/// every voicing of every key, too often to look it up in a tree.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Quality(u128);

/// Bits to a number.
const ALTERATIONS: u32 = 5;

/// The bit of a degree; none of one that no symbol can say.
const fn bit(degree: Degree) -> u128 {
    let (number, altered) = (degree.number(), degree.alteration() + 2);
    match number >= 1 && number <= 13 && altered >= 0 && altered < ALTERATIONS as i8 {
        true => 1 << ((number as u32 - 1) * ALTERATIONS + altered as u32),
        false => 0,
    }
}

impl Quality {
    pub(super) fn new(degrees: impl IntoIterator<Item = Degree>) -> Self {
        let bits = degrees.into_iter().fold(0, |set, degree| set | bit(degree));
        Quality(bits)
    }

    pub(super) fn has(&self, degree: Degree) -> bool {
        self.0 & bit(degree) != 0
    }

    /// In the order of their numbers, the root first.
    pub(super) fn degrees(&self) -> impl Iterator<Item = Degree> + use<> {
        let mut left = self.0;
        std::iter::from_fn(move || {
            let lowest = (left != 0).then(|| left.trailing_zeros())?;
            left &= left - 1;
            let (number, altered) = (lowest / ALTERATIONS + 1, lowest % ALTERATIONS);
            Some(Degree::new(number as u8, altered as i8 - 2))
        })
    }

    /// Every degree of one number: both fifths of an altered dominant, for one.
    pub(super) fn all(&self, number: u8) -> impl Iterator<Item = Degree> + use<> {
        let first = (u32::from(number) - 1) * ALTERATIONS;
        let of_number = ((1 << ALTERATIONS) - 1) << first;
        Quality(self.0 & of_number).degrees()
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

impl fmt::Debug for Quality {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(self.degrees()).finish()
    }
}
