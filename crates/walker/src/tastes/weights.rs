//! The table of weights: every preference of the walker as a number that a teacher could argue with.

use super::{
    Taste, approach::Approach, contour::Contour, device::Device, motion::Motion,
    register::Register, rhythm::Rhythm, shape::Shape, table::Row, tone::Tone,
};
use endpin_theory::did_you_mean_key;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Least and greatest weight.
pub const WEIGHT_RANGE: std::ops::RangeInclusive<u32> = 1..=1000;

/// Lists all tastes, once: the parts of the table, in its order.
macro_rules! weights {
    ($($(#[doc = $doc:literal])* $field:ident: $taste:ident,)*) => {
        /// All weights.
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct Weights {
            $($(#[doc = $doc])* pub $field: $taste,)*
        }

        impl Weights {
            fn tables(&self) -> Vec<(&'static str, Vec<Row>)> {
                vec![$((stringify!($field), self.$field.rows()),)*]
            }

            /// Every taste, reading its part of the table.
            pub(super) fn tastes(&self) -> Vec<Arc<dyn Taste>> {
                vec![$(Arc::new(self.$field),)*]
            }
        }
    };
}

weights! {
    /// Steps over leaps.
    motion: Motion,
    /// Kinds of approach.
    approach: Approach,
    /// Notes of the harmony.
    tone: Tone,
    /// Height.
    register: Register,
    /// Direction.
    contour: Contour,
    /// Bars that differ.
    shape: Shape,
    /// Two-note approaches and octave shifts.
    device: Device,
    /// Notes between the beats.
    rhythm: Rhythm,
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
