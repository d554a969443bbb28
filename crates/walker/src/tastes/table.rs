//! Tables of weights: the numbers of a taste, each with its name and what it is for.
//!
//! Wherever a taste has a say it names exactly one row of one of its tables, whatever the line does there. So
//! a table has its say as often in one line as in another, and only the proportions within it matter.

/// A weight: its name, its value, what it is for.
pub(crate) type Row = (&'static str, u32, &'static str);

/// A table: its name within the taste (empty if the taste has but one) and its rows.
pub(crate) type Rows = (&'static str, Vec<Row>);

/// Makes a table of weights out of rows of `/// meaning` and `name = default`; or several tables with the same
/// rows, out of their names and rows of `name = [a default for each]`.
macro_rules! table {
    ($(#[$meta:meta])* $name:ident { $($(#[doc = $doc:literal])* $field:ident = $value:literal,)* }) => {
        $crate::tastes::table::table! { @rows $(#[$meta])* $name { $($(#[doc = $doc])* $field,)* } }

        impl Default for $name {
            fn default() -> Self {
                $name { $($field: $value,)* }
            }
        }

        impl $name {
            /// The table with its rows, in their order.
            pub(crate) fn tables(&self) -> Vec<$crate::tastes::table::Rows> {
                vec![("", self.rows())]
            }
        }
    };

    ($(#[$meta:meta])* $name:ident of $rows:ident, $tables:literal [$($(#[doc = $of:literal])* $table:ident)*] {
        $($(#[doc = $doc:literal])* $field:ident = [$($value:literal)*],)*
    }) => {
        $crate::tastes::table::table! { @rows
            /// The rows that these tables have in common.
            $rows { $($(#[doc = $doc])* $field,)* }
        }

        impl $rows {
            fn of_table(table: usize) -> Self {
                $rows { $($field: [$($value),*][table],)* }
            }
        }

        impl Default for $rows {
            fn default() -> Self {
                $rows::of_table(0)
            }
        }

        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct $name {
            $($(#[doc = $of])* pub $table: $rows,)*
        }

        impl Default for $name {
            fn default() -> Self {
                let mut tables = (0..$tables).map($rows::of_table);
                let mut next = || tables.next().unwrap_or_default();
                $name { $($table: next(),)* }
            }
        }

        impl $name {
            /// The tables with their rows, in their order.
            pub(crate) fn tables(&self) -> Vec<$crate::tastes::table::Rows> {
                vec![$((stringify!($table), self.$table.rows()),)*]
            }

            /// Every weight, in the order of the tables.
            pub(crate) fn values_mut(&mut self) -> Vec<&mut u32> {
                [$(self.$table.values_mut(),)*].into_iter().flatten().collect()
            }
        }
    };

    (@rows $(#[$meta:meta])* $name:ident { $($(#[doc = $doc:literal])* $field:ident,)* }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct $name {
            $($(#[doc = $doc])* pub $field: u32,)*
        }

        impl $name {
            /// Every weight with its name and what it is for, in the order of the table.
            pub(crate) fn rows(&self) -> Vec<$crate::tastes::table::Row> {
                vec![$((stringify!($field), self.$field, concat!($($doc,)*)),)*]
            }

            /// Every weight, in the order of the table.
            pub(crate) fn values_mut(&mut self) -> Vec<&mut u32> {
                vec![$(&mut self.$field,)*]
            }
        }
    };
}

pub(crate) use table;
