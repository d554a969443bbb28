//! Ear training: sets of questions about walking lines, with a key that only the ear can find.
//!
//! Whatever is not the sounding pitch in the place asked about is settled before the answer is: the tune, key,
//! tempo, length, parts and the rest of the line. The answer is then dealt out, equally often each, and
//! only the notes in place are written for it. So nothing else can tell it, neither a file's size nor its
//! name, place in the order, velocities or lengths.

pub mod approach;
pub mod audio;
pub mod balance;
pub mod drill;
pub mod excerpt;
pub mod export;
pub mod kind;
pub mod marking;
pub mod page;
pub mod phrase;
#[cfg(feature = "live")]
pub mod question_player;
pub mod record;
pub mod schedule;
pub mod set;
pub mod sound;
pub mod term;
pub mod tune;
pub mod vary;

pub use kind::{AnswerChoice, QuestionKind};
pub use set::{Ask, Maker, Question, SetError};
