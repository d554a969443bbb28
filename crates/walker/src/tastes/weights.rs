//! The table of weights: every preference of the walker as a number that a teacher could argue with.

use super::{
    Taste, approach::Approach, contour::Contour, device::Device, friction::Friction,
    ground::Ground, motion::Motion, reach::Reach, register::Register, rhythm::Rhythm, shape::Shape,
    table::Row, tone::Tone,
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
            /// Every table: taste, name within the taste, rows.
            pub(crate) fn tables(&self) -> Vec<(&'static str, &'static str, Vec<Row>)> {
                let mut all = Vec::new();
                $(
                    let tables = self.$field.tables().into_iter();
                    all.extend(tables.map(|(table, rows)| (stringify!($field), table, rows)));
                )*
                all
            }

            /// Every weight, in the order of the tables.
            pub(crate) fn values_mut(&mut self) -> Vec<&mut u32> {
                [$(self.$field.values_mut(),)*].into_iter().flatten().collect()
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
    /// Clashes.
    friction: Friction,
    /// One chord for bars.
    ground: Ground,
    /// Near chord tones.
    reach: Reach,
    /// Height.
    register: Register,
    /// Direction.
    contour: Contour,
    /// Bars that differ.
    shape: Shape,
    /// Two-note approaches.
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
    #[error("weight {name} is {found}; a weight is a whole number from {from} to {to}",
        from = WEIGHT_RANGE.start(), to = WEIGHT_RANGE.end())]
    Range {
        /// Name of the weight, that of its table before it.
        name: String,
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
        let _: Weights = toml::from_str(text).map_err(|error: toml::de::Error| {
            let meant = did_you_mean_key(error.message());
            WeightsError::Toml(error.to_string().trim_end().to_owned() + &meant)
        })?;
        // What a table leaves out is that table's own default, which serde does not know of.
        let said: toml::Table = text
            .parse()
            .map_err(|error: toml::de::Error| WeightsError::Toml(error.to_string()))?;
        let mut weights = Weights::default();
        let names = weights.names();
        for (value, (path, name)) in weights.values_mut().into_iter().zip(names) {
            let mut table = Some(&said);
            for part in path.split('.') {
                table = table.and_then(|table| table.get(part)?.as_table());
            }
            let found = table.and_then(|table| table.get(name)?.as_integer());
            *value = found.map_or(*value, |found| u32::try_from(found).unwrap_or(0));
            if !WEIGHT_RANGE.contains(value) {
                let name = format!("{path}.{name}");
                return Err(WeightsError::Range {
                    name,
                    found: *value,
                });
            }
        }
        Ok(weights)
    }

    /// The path of the table of each weight and its name in it, in the order of the tables.
    pub(crate) fn names(&self) -> Vec<(String, &'static str)> {
        let tables = self.tables().into_iter();
        let names = tables.flat_map(|(taste, table, rows)| {
            let path = path(taste, table);
            let names = rows.into_iter().map(move |(name, ..)| (path.clone(), name));
            names.collect::<Vec<_>>()
        });
        names.collect()
    }

    /// The table as a file to change: every weight with its meaning.
    pub fn template(&self) -> String {
        let mut text = String::from(
            "# Weights of the walker: whole numbers from 1 to 1000. Only their proportions within a table\n\
             # matter; a line is as likely as the product of the weights along it.\n",
        );
        for (taste, table, rows) in self.tables() {
            text.push_str(&format!("\n[{}]\n", path(taste, table)));
            for (name, weight, meaning) in rows {
                let setting = format!("{name} = {weight}");
                text.push_str(&format!("{setting:<26}#{meaning}\n"));
            }
        }
        text
    }
}

/// The name of a table in a file.
fn path(taste: &str, table: &str) -> String {
    match table {
        "" => taste.to_owned(),
        table => format!("{taste}.{table}"),
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
        let weights = Weights::parse("[motion.last]\nsemitone_up = 7\n").unwrap();
        assert_eq!(weights.motion.last.semitone_up, 7);
        let usual = Motion::default();
        assert_eq!(weights.motion.last.third_up, usual.last.third_up);
        assert_eq!(weights.motion.strong, usual.strong);
    }

    #[test]
    fn mistakes_are_named() {
        let message = |text| Weights::parse(text).unwrap_err().to_string();
        assert_eq!(
            message("[motion.second]\nthird_up = 0"),
            "weight motion.second.third_up is 0; a weight is a whole number from 1 to 1000"
        );
        let unknown = message("[contour]\ntrun = 3");
        assert!(unknown.contains("unknown field `trun`"), "{unknown}");
        assert!(unknown.ends_with("(did you mean \"turn\"?)"), "{unknown}");
        assert!(message("[contour]\nturn = -3").contains("line 2"));
    }
}
