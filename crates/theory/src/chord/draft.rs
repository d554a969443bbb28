//! A chord while its symbol is being read: what was said so far, and what it comes to.

use super::error::ChordProblem;
use super::quality::*;
use crate::interval::Degree;
use std::collections::BTreeSet;

/// The triad (and kind of seventh) that the first word of a quality stands for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Shape {
    #[default]
    Major,
    Minor,
    Diminished,
    HalfDiminished,
    Augmented,
}

const POWER: ChordProblem = ChordProblem::Contradiction("a power chord is root and fifth");
const ALT: ChordProblem = ChordProblem::Contradiction("\"alt\" already says everything");
const DIMINISHED: ChordProblem = ChordProblem::Contradiction("a diminished chord keeps its third");

type Said = Result<(), ChordProblem>;

#[derive(Default)]
pub(super) struct Draft {
    pub(super) shape: Shape,
    /// `maj` written without a number as yet.
    triad_said: bool,
    /// A major seventh.
    major: bool,
    /// 7, 9, 11 or 13: the highest of the stacked thirds.
    extension: Option<u8>,
    sixth: bool,
    power: bool,
    second: bool,
    fourth: bool,
    alt: bool,
    alterations: BTreeSet<Degree>,
    additions: BTreeSet<Degree>,
    no_third: bool,
    no_fifth: bool,
}

impl Draft {
    /// A bare number. Inside parentheses, a ninth or higher is an addition to what stands before them.
    pub(super) fn number(&mut self, number: u8, inside: bool) -> Said {
        match number {
            7 | 9 | 11 | 13 if inside && (number > 7 || self.extension.is_some()) => {
                self.add(number, 0)
            }
            _ if self.power => Err(POWER),
            9 if self.sixth => self.add(9, 0),
            7 | 11 | 13 if self.sixth => {
                Err(ChordProblem::Contradiction("a sixth chord has no seventh"))
            }
            7 | 9 | 11 | 13 if self.extension.is_some() || self.alt && number > 7 => {
                Err(ChordProblem::Twice)
            }
            7 | 9 | 11 | 13 => {
                self.major |= self.triad_said;
                self.extension = Some(number);
                Ok(())
            }
            6 if inside && self.has_seventh() => self.add(13, 0),
            6 if self.sixth || self.has_seventh() => Err(ChordProblem::Twice),
            6 => {
                self.sixth = true;
                Ok(())
            }
            5 if self.is_bare() => {
                self.power = true;
                Ok(())
            }
            2 if self.extension.is_none() => self.add(9, 0),
            _ => Err(ChordProblem::Unknown),
        }
    }

    fn has_seventh(&self) -> bool {
        self.extension.is_some() || self.alt || self.shape == Shape::HalfDiminished
    }

    fn is_bare(&self) -> bool {
        self.shape == Shape::Major
            && !self.major
            && self.extension.is_none()
            && !self.sixth
            && !self.second
            && !self.fourth
            && !self.alt
            && self.alterations.is_empty()
    }

    pub(super) fn six_nine(&mut self) -> Said {
        self.number(6, false)?;
        self.add(9, 0)
    }

    /// `maj7` and its extensions.
    pub(super) fn major_seventh(&mut self, number: u8) -> Said {
        // `m9(maj7)` names the ninth first.
        let named_later = number == 7 && self.extension.is_some_and(|stacked| stacked > 7);
        if named_later && self.shape == Shape::Minor && !self.major {
            self.major = true;
            return Ok(());
        }
        if self.triad_said || self.extension.is_some() {
            return Err(ChordProblem::Twice);
        }
        if self.sixth {
            return Err(ChordProblem::Contradiction("a sixth chord has no seventh"));
        }
        if self.shape == Shape::HalfDiminished {
            return Err(ChordProblem::Contradiction(
                "the half-diminished seventh is minor",
            ));
        }
        if self.alt {
            return Err(ChordProblem::Contradiction(
                "an altered chord is a dominant",
            ));
        }
        self.major = true;
        self.number(number, false)
    }

    /// `maj` without a number: the major triad, written out.
    pub(super) fn major(&mut self) -> Said {
        if self.shape != Shape::Major {
            return Err(ChordProblem::Contradiction("the triad is not major"));
        }
        if !self.is_bare() || !self.additions.is_empty() {
            return Err(ChordProblem::Unknown);
        }
        match std::mem::replace(&mut self.triad_said, true) {
            true => Err(ChordProblem::Twice),
            false => Ok(()),
        }
    }

    fn is_diminished(&self) -> bool {
        matches!(self.shape, Shape::Diminished | Shape::HalfDiminished)
    }

    fn own_fifth(&self) -> Degree {
        match self.shape {
            Shape::Diminished | Shape::HalfDiminished => FLAT_FIFTH,
            Shape::Augmented => SHARP_FIFTH,
            Shape::Major | Shape::Minor => FIFTH,
        }
    }

    /// `b9`, `#11`, …; fourths and sixths are taken for the elevenths and thirteenths that they are.
    pub(super) fn alter(&mut self, number: u8, sign: i8) -> Said {
        let degree = coloured(number, sign).ok_or(ChordProblem::Unknown)?;
        if self.alt {
            return Err(ALT);
        }
        if self.power {
            return Err(POWER);
        }
        if degree.number() == 5 && self.own_fifth() != FIFTH {
            // `Cdim7b5` is seen; it only repeats itself.
            return match degree == self.own_fifth() {
                true => Ok(()),
                false => Err(ChordProblem::Contradiction("the fifth is altered already")),
            };
        }
        if degree.number() == 5 && self.no_fifth {
            return Err(ChordProblem::Contradiction("the fifth is left out"));
        }
        match self.alterations.insert(degree) {
            true => Ok(()),
            false => Err(ChordProblem::Twice),
        }
    }

    pub(super) fn add(&mut self, number: u8, sign: i8) -> Said {
        let degree = match (number, sign) {
            (3, 0) if self.is_diminished() => return Err(DIMINISHED),
            (3, 0) => MAJOR_THIRD,
            (6, 0) if !self.has_seventh() => {
                return match std::mem::replace(&mut self.sixth, true) {
                    true => Err(ChordProblem::Twice),
                    false => Ok(()),
                };
            }
            (5, _) => return Err(ChordProblem::Unknown),
            _ => coloured(number, sign).ok_or(ChordProblem::Unknown)?,
        };
        if self.alt {
            return Err(ALT);
        }
        match self.additions.insert(degree) {
            true => Ok(()),
            false => Err(ChordProblem::Twice),
        }
    }

    pub(super) fn suspend(&mut self, second: bool, fourth: bool) -> Said {
        if self.is_diminished() {
            return Err(DIMINISHED);
        }
        if self.power {
            return Err(POWER);
        }
        if self.alt {
            return Err(ALT);
        }
        if second && self.second || fourth && self.fourth {
            return Err(ChordProblem::Twice);
        }
        self.second |= second;
        self.fourth |= fourth;
        Ok(())
    }

    pub(super) fn omit(&mut self, number: u8) -> Said {
        if self.power {
            return Err(POWER);
        }
        let diminished = self.is_diminished();
        let (flag, altered) = match number {
            3 => (&mut self.no_third, diminished),
            5 => {
                let altered = self.alterations.iter().any(|d| d.number() == 5);
                let own = diminished || self.shape == Shape::Augmented;
                (&mut self.no_fifth, altered || own)
            }
            _ => return Err(ChordProblem::Unknown),
        };
        if altered || self.alt {
            return Err(ChordProblem::Contradiction(
                "the symbol has just asked for it",
            ));
        }
        match std::mem::replace(flag, true) {
            true => Err(ChordProblem::Twice),
            false => Ok(()),
        }
    }

    /// `alt`: all that there is to say about the alterations of a dominant.
    pub(super) fn altered(&mut self) -> Said {
        let plain = self.shape == Shape::Major
            && !self.major
            && !self.sixth
            && !self.power
            && !self.second
            && !self.fourth
            && !self.no_third
            && !self.no_fifth
            && self.alterations.is_empty()
            && self.additions.is_empty()
            && self.extension.is_none_or(|number| number == 7);
        if !plain {
            return Err(ChordProblem::Contradiction(
                "\"alt\" goes with a plain seventh chord",
            ));
        }
        match std::mem::replace(&mut self.alt, true) {
            true => Err(ChordProblem::Twice),
            false => Ok(()),
        }
    }

    /// The degrees that all of it comes to.
    pub(super) fn finish(self) -> Quality {
        if self.alt {
            return Quality::new(ALTERED);
        }
        let altered = |number: u8| self.alterations.iter().any(|d| d.number() == number);
        let mut degrees = BTreeSet::from([ROOT]);
        let minor = !matches!(self.shape, Shape::Major | Shape::Augmented);

        let mut third = !(self.power || self.second || self.fourth || self.no_third);
        // `ø` needs no number: without its seventh it would be a diminished triad.
        let half_diminished = (self.shape == Shape::HalfDiminished).then_some(7);
        if let Some(extension) = self.extension.or(half_diminished) {
            degrees.insert(self.seventh());
            let stacked = implied(extension, minor);
            degrees.extend(stacked.iter().filter(|d| !altered(d.number())));
            // The eleventh over a dominant's major third is a minor ninth: the third gives way.
            third &= minor || self.major || extension != 11 || altered(11);
        }
        if self.sixth {
            degrees.insert(SIXTH);
        }
        if third {
            degrees.insert(if minor { MINOR_THIRD } else { MAJOR_THIRD });
        }
        if !altered(5) && !self.no_fifth {
            degrees.insert(self.own_fifth());
        }
        degrees.extend(&self.alterations);
        degrees.extend(&self.additions);
        if self.additions.contains(&MAJOR_THIRD) {
            degrees.remove(&MINOR_THIRD);
        }
        // A suspended second or fourth is the ninth or eleventh, only lower.
        if self.second {
            degrees.remove(&NINTH);
            degrees.insert(SECOND);
        }
        if self.fourth {
            degrees.remove(&ELEVENTH);
            degrees.insert(FOURTH);
        }
        Quality::new(degrees)
    }

    fn seventh(&self) -> Degree {
        match (self.major, self.shape) {
            (true, _) => MAJOR_SEVENTH,
            (false, Shape::Diminished) => DIMINISHED_SEVENTH,
            (false, _) => MINOR_SEVENTH,
        }
    }
}

/// The colours that a stack of thirds up to `extension` holds besides its seventh chord. Over a major third
/// the thirteenth leaves the eleventh out, over a minor third it does not (decision in the module docs).
pub(super) fn implied(extension: u8, minor_third: bool) -> &'static [Degree] {
    match (extension, minor_third) {
        (9, _) => &[NINTH],
        (11, _) => &[NINTH, ELEVENTH],
        (13, true) => &[NINTH, ELEVENTH, THIRTEENTH],
        (13, false) => &[NINTH, THIRTEENTH],
        _ => &[],
    }
}

/// A fifth or colour tone as the vocabulary has it: seconds, fourths and sixths an octave up.
fn coloured(number: u8, sign: i8) -> Option<Degree> {
    let number = match number {
        2 => 9,
        4 => 11,
        6 => 13,
        other => other,
    };
    let degree = Degree::new(number, sign);
    [
        FLAT_FIFTH,
        SHARP_FIFTH,
        FLAT_NINTH,
        NINTH,
        SHARP_NINTH,
        ELEVENTH,
        SHARP_ELEVENTH,
        FLAT_THIRTEENTH,
        THIRTEENTH,
    ]
    .contains(&degree)
    .then_some(degree)
}
