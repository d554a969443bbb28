//! Notation: the line on paper and on the phone.
//!
//! [`measure::Music`] is the music as written down. From it come MusicXML for notation programs
//! ([`musicxml`]), and by way of [`engrave`] pictures for paper ([`mod@print`], [`pdf`], [`svg`]) and for the
//! practice [`page`]; [`lesson`] puts a whole lesson on paper.

pub mod accidental;
pub mod analysed;
pub mod breaks;
pub mod comp;
pub mod engrave;
pub mod harmony;
pub mod lesson;
pub mod measure;
pub mod musicxml;
pub mod mxl;
pub mod page;
pub mod pdf;
pub mod print;
pub mod spoken;
pub mod staves;
pub mod svg;
pub mod system;
pub mod written_for;
pub mod written_values;
pub mod xml;
