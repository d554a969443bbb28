//! The one house spelling of a chord, worked out from its degrees.

use super::draft::implied;
use super::quality::*;
use crate::interval::Degree;
use std::{collections::BTreeSet, fmt};

impl fmt::Display for Quality {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.degrees().eq(ALTERED) {
            return f.write_str("7alt");
        }
        let mut left: BTreeSet<Degree> = self.degrees().collect();
        left.remove(&ROOT);
        let seventh = self.seventh();
        let triad_only = seventh.is_none() && !self.has(SIXTH);
        let minor = self.has(MINOR_THIRD);
        let suspended = self.has(SECOND) || self.has(FOURTH);
        let mut text = String::new();

        let thirdless = self.third().is_none() && !suspended;
        if minor && self.fifth_is(FLAT_FIFTH) && seventh != Some(MINOR_SEVENTH) && !self.has(SIXTH)
        {
            text.push_str("dim");
            left.remove(&FLAT_FIFTH);
        } else if minor {
            text.push('m');
        } else if triad_only && self.fifth_is(SHARP_FIFTH) && !thirdless && !suspended {
            text.push_str("aug");
            left.remove(&SHARP_FIFTH);
        } else if triad_only && thirdless && self.fifth_is(FIFTH) {
            text.push('5');
        }
        let power = text == "5";
        left.remove(&MINOR_THIRD);
        if !suspended {
            left.remove(&MAJOR_THIRD);
        }
        left.remove(&FIFTH);

        let extension = self.extension();
        if let Some(number) = extension {
            if seventh == Some(MAJOR_SEVENTH) {
                text.push_str(if text.is_empty() { "maj" } else { "Maj" });
            }
            text.push_str(&number.to_string());
            for degree in implied(number, minor) {
                left.remove(degree);
            }
        }
        if let Some(seventh) = seventh {
            left.remove(&seventh);
        }
        if left.remove(&SIXTH) {
            text.push('6');
            let ninths: Vec<Degree> = self.all(9).collect();
            if ninths == [NINTH] {
                text.push('9');
                left.remove(&NINTH);
            }
        }
        if suspended {
            text.push_str("sus");
            for (degree, number) in [(SECOND, '2'), (FOURTH, '4')] {
                if left.remove(&degree) {
                    text.push(number);
                }
            }
        }

        self.write_alterations(&mut text, &mut left, triad_only);
        for degree in &left {
            text.push_str(&format!("add{degree}"));
        }
        let eleventh_for_third = extension == Some(11) && !minor && seventh == Some(MINOR_SEVENTH);
        if thirdless && !power && !eleventh_for_third {
            text.push_str("no3");
        }
        if self.all(5).next().is_none() {
            text.push_str("no5");
        }
        f.write_str(&text)
    }
}

impl Quality {
    /// The number that names the chord: the highest natural extension under which nothing is missing that
    /// its stack implies (an alteration stands for the natural tone).
    fn extension(&self) -> Option<u8> {
        let seventh = self.seventh()?;
        let minor = self.has(MINOR_THIRD);
        let stacked = |number: u8| {
            implied(number, minor).iter().all(|&natural| {
                let alone = self.all(natural.number()).count() == 1;
                let altered = natural.number() != number && !self.has(natural);
                let suspended = natural == NINTH && number > 9 && self.has(SECOND)
                    || natural == ELEVENTH && number > 11 && self.has(FOURTH);
                let there = self.has(natural) && alone;
                let replaced = altered && self.all(natural.number()).next().is_some();
                there || replaced || suspended
            })
        };
        // A dominant eleventh has no third; with one, the eleventh is an addition.
        let eleventh = minor || seventh == MAJOR_SEVENTH || self.third().is_none();
        [13, 11, 9]
            .into_iter()
            .find(|&number| stacked(number) && (number != 11 || eleventh))
            .or(Some(7))
    }

    /// Altered tones in the order of their numbers. A triad names altered colours as additions, and an
    /// altered fifth that nothing precedes takes parentheses, or the sign would be read with the root.
    fn write_alterations(&self, text: &mut String, left: &mut BTreeSet<Degree>, triad_only: bool) {
        let altered: Vec<Degree> = left
            .iter()
            .copied()
            .filter(|d| d.alteration() != 0 && (d.number() == 5 || !triad_only))
            .collect();
        if altered.is_empty() {
            return;
        }
        let signs: String = altered.iter().map(Degree::to_string).collect();
        if text.is_empty() {
            text.push_str(&format!("({signs})"));
        } else {
            text.push_str(&signs);
        }
        left.retain(|degree| !altered.contains(degree));
    }
}
