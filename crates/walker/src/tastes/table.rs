//! Tables of weights: the numbers of a taste, each with its name and what it is for.

/// A weight: its name, its value, what it is for.
pub(crate) type Row = (&'static str, u32, &'static str);

/// Makes a table of weights out of rows of `/// meaning` and `name = default`.
macro_rules! table {
    ($(#[$meta:meta])* $name:ident { $($(#[doc = $doc:literal])* $field:ident = $value:literal,)* }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
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
            pub(crate) fn rows(&self) -> Vec<$crate::tastes::table::Row> {
                vec![$((stringify!($field), self.$field, concat!($($doc,)*)),)*]
            }
        }
    };
}

pub(crate) use table;
