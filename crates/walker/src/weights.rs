//! The table of weights: every preference of the walker as a number that a teacher could argue with.

use endpin_theory::did_you_mean_key;
use serde::{Deserialize, Serialize};

/// Least and greatest weight.
pub const WEIGHT_RANGE: std::ops::RangeInclusive<u32> = 1..=1000;

/// A weight: its name, its value, what it is for.
type Row = (&'static str, u32, &'static str);

macro_rules! table {
    ($(#[$meta:meta])* $name:ident { $($(#[doc = $doc:literal])* $field:ident = $value:literal,)* }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct $name {
            $($(#[doc = $doc])* pub $field: u32,)*
        }

        impl Default for $name {
            fn default() -> Self {
                $name { $($field: $value,)* }
            }
        }

        impl $name {
            /// Every weight with its name and what it is for, in the order of the table.
            fn rows(&self) -> Vec<Row> {
                vec![$((stringify!($field), self.$field, concat!($($doc,)*)),)*]
            }
        }
    };
}

table! {
    /// How far one note stands from the next.
    Motion {
        /// the same note again
        repeated = 3,
        /// a semitone
        semitone = 12,
        /// a whole tone
        whole_tone = 15,
        /// a minor or major third
        third = 9,
        /// a fourth
        fourth = 9,
        /// a tritone
        tritone = 4,
        /// a fifth
        fifth = 7,
        /// a sixth or a seventh
        sixth_or_seventh = 4,
        /// an octave
        octave = 6,
    }
}

table! {
    /// How a change of chord is approached.
    Approach {
        /// a semitone below the coming root
        chromatic_below = 11,
        /// a semitone above it
        chromatic_above = 12,
        /// a whole tone below it
        scale_below = 4,
        /// a whole tone above it
        scale_above = 5,
        /// a fourth below it
        dominant_below = 36,
        /// a fifth above it
        dominant_above = 22,
        /// a chord tone on a strong last beat that happens to lie a step away
        strong_by_step = 4,
    }
}

table! {
    /// Which notes of the harmony stand where, arrivals and approaches apart.
    Tone {
        /// the root on a strong beat
        strong_root = 6,
        /// the fifth on a strong beat
        strong_fifth = 8,
        /// another chord tone on a strong beat
        strong_other = 8,
        /// the root on a weak beat
        weak_root = 5,
        /// the fifth on a weak beat
        weak_fifth = 8,
        /// another chord tone on a weak beat
        weak_other = 8,
        /// a scale note on a weak beat
        weak_scale = 6,
        /// a note from outside on a weak beat
        weak_chromatic = 2,
        /// with loose arrivals: the root
        loose_root = 13,
        /// with loose arrivals: another chord tone
        loose_other = 1,
    }
}

table! {
    /// How far from the middle of the register, which rises and falls over four bars, a note may stray.
    Register {
        /// within a major third of the middle
        within_third = 6,
        /// within a fifth
        within_fifth = 5,
        /// within a seventh
        within_seventh = 3,
        /// beyond
        beyond = 1,
    }
}

table! {
    /// Long arcs rather than see-sawing on two notes.
    Contour {
        /// going on in the same direction by step or third
        onward = 10,
        /// the same, after three moves that way
        onward_late = 7,
        /// going on in the same direction by a leap
        leap_onward = 4,
        /// going on in the same direction after a leap
        onward_after_leap = 3,
        /// turning round after a leap
        turn_after_leap = 8,
        /// turning round after two moves or more
        turn = 8,
        /// turning round at once
        turn_early = 6,
        /// turning straight back to the note before
        back_and_forth = 1,
    }
}

table! {
    /// A bar is answered with another bar.
    Shape {
        /// the bar sets off as the bar before did
        as_before = 1,
        /// it sets off in another way
        otherwise = 3,
    }
}

table! {
    /// What level 5 adds.
    Device {
        /// two notes that surround the coming root
        enclosure = 6,
        /// two semitones in one direction into the coming root
        double_chromatic = 8,
        /// any other way into it
        single = 3,
        /// a leap of an octave
        octave_shift = 2,
    }
}

table! {
    /// The life of the rhythm: level 6, and the feel `broken`.
    Rhythm {
        /// nothing between two beats
        plain = 280,
        /// an eighth note between two beats
        skip = 2,
        /// the same note again between two beats, as a ghost
        ghost = 8,
        /// two falling triplets
        drop = 1,
        /// in `broken`: holding the note over a beat
        hold = 250,
        /// in `broken`: striking on that beat
        strike = 3,
        /// times any of the lively ones soon after another: figures come in company
        again = 6,
    }
}

/// All weights.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Weights {
    /// Steps over leaps.
    pub motion: Motion,
    /// Kinds of approach.
    pub approach: Approach,
    /// Notes of the harmony.
    pub tone: Tone,
    /// Height.
    pub register: Register,
    /// Direction.
    pub contour: Contour,
    /// Bars that differ.
    pub shape: Shape,
    /// Two-note approaches and octave shifts.
    pub device: Device,
    /// Notes between the beats.
    pub rhythm: Rhythm,
}

/// A table of weights that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WeightsError {
    /// Not TOML, or not this table; the message names line and column.
    #[error("{0}")]
    Toml(String),
    /// A weight beyond the range.
    #[error("weight {table}.{name} is {found}; a weight is a whole number from {from} to {to}",
        from = WEIGHT_RANGE.start(), to = WEIGHT_RANGE.end())]
    Range {
        /// Part of the table.
        table: &'static str,
        /// Name of the weight.
        name: &'static str,
        /// As written.
        found: u32,
    },
}

impl Weights {
    fn tables(&self) -> [(&'static str, Vec<Row>); 8] {
        [
            ("motion", self.motion.rows()),
            ("approach", self.approach.rows()),
            ("tone", self.tone.rows()),
            ("register", self.register.rows()),
            ("contour", self.contour.rows()),
            ("shape", self.shape.rows()),
            ("device", self.device.rows()),
            ("rhythm", self.rhythm.rows()),
        ]
    }

    /// Reads a table; what it leaves out keeps its default.
    ///
    /// # Errors
    /// Text that is no such table, or a weight beyond [`WEIGHT_RANGE`].
    pub fn parse(text: &str) -> Result<Weights, WeightsError> {
        let weights: Weights = toml::from_str(text).map_err(|error: toml::de::Error| {
            let meant = did_you_mean_key(error.message());
            WeightsError::Toml(error.to_string().trim_end().to_owned() + &meant)
        })?;
        for (table, rows) in weights.tables() {
            for (name, found, _) in rows {
                if !WEIGHT_RANGE.contains(&found) {
                    return Err(WeightsError::Range { table, name, found });
                }
            }
        }
        Ok(weights)
    }

    /// The table as a file to change: every weight with its meaning.
    pub fn template(&self) -> String {
        let mut text = String::from(
            "# Weights of the walker: whole numbers from 1 to 1000. Only their proportions within a table\n\
             # matter; a line is as likely as the product of the weights along it.\n",
        );
        for (table, rows) in self.tables() {
            text.push_str(&format!("\n[{table}]\n"));
            for (name, weight, meaning) in rows {
                let setting = format!("{name} = {weight}");
                text.push_str(&format!("{setting:<26}#{meaning}\n"));
            }
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_template_reads_back() {
        let weights = Weights::default();
        assert_eq!(Weights::parse(&weights.template()), Ok(weights));
        assert_eq!(Weights::parse(""), Ok(weights));
    }

    #[test]
    fn a_table_may_say_part_of_it() {
        let weights = Weights::parse("[motion]\nsemitone = 7\n").unwrap();
        assert_eq!(weights.motion.semitone, 7);
        assert_eq!(weights.motion.third, Motion::default().third);
    }

    #[test]
    fn mistakes_are_named() {
        let message = |text| Weights::parse(text).unwrap_err().to_string();
        assert_eq!(
            message("[motion]\nthird = 0"),
            "weight motion.third is 0; a weight is a whole number from 1 to 1000"
        );
        let unknown = message("[motion]\nthrid = 3");
        assert!(unknown.contains("unknown field `thrid`"), "{unknown}");
        assert!(unknown.ends_with("(did you mean \"third\"?)"), "{unknown}");
        assert!(message("[motion]\nthird = -3").contains("line 2"));
    }
}
