//! Lines: laid out over a chart, drawn, kept apart, varied, named and explained.

pub(crate) mod annotate;
mod apart;
pub(crate) mod choruses;
pub(crate) mod diagnose;
pub(crate) mod feels;
pub mod fingering;
pub mod layout;
pub(crate) mod parts;
pub mod spelling;
mod vary;
pub mod walker;

pub use feels::feel_of;

use crate::{phrases::Restated, role::Role, rules::Liberty};
use endpin_theory::{Degree, Pitch, Strength, Ticks};
use std::fmt;

/// One note of a bass line, at its notated place (before swing and articulation).
#[derive(Clone, Debug, PartialEq)]
pub struct LineNote {
    /// Its chorus, from 1; 0 is the intro.
    pub chorus: u32,
    /// Its bar within the chorus, from 1; those of a tag come after those of the form, and the last chord is one
    /// bar after the last.
    pub bar: u32,
    /// Where it starts, from the start of its chorus.
    pub start: Ticks,
    /// Where it starts, from the start of its bar.
    pub in_bar: Ticks,
    /// Length of one beat of its bar.
    pub beat_length: Ticks,
    /// How long it lasts.
    pub length: Ticks,
    /// The note, spelled for the reader.
    pub pitch: Pitch,
    /// Which of the chorus's spans it sounds in; none for the ending.
    pub span: Option<usize>,
    /// The chord symbol of that span, as written.
    pub chord: String,
    /// Where it stands above the chord's root.
    pub degree: Degree,
    /// The part it plays.
    pub role: Role,
    /// The approach it makes besides, if it also spells the chord.
    pub approach: Option<Role>,
    /// Strength of the beat on which it starts; off the beat it is weak.
    pub strength: Strength,
    /// Whether it is a ghost note, felt rather than heard.
    pub ghost: bool,
    /// The liberty that it takes against the plain rules.
    pub liberty: Option<Liberty>,
    /// Why it is there, for a student.
    pub why: String,
}

impl LineNote {
    /// The beat on which it starts, from 1, in beats of its own meter (2.5 is half way through beat 2).
    pub fn beat(&self) -> f64 {
        self.in_bar.0 as f64 / self.beat_length.0 as f64 + 1.0
    }

    /// Its notated length in beats of its own meter.
    pub fn beats(&self) -> f64 {
        self.length.0 as f64 / self.beat_length.0 as f64
    }
}

/// `3.2 Ab2 chromatic-above (Bb7)`: place, note, part, chord.
impl fmt::Display for LineNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}.{} {} {}",
            self.bar,
            self.beat(),
            self.pitch,
            self.role
        )?;
        if let Some(approach) = self.approach {
            write!(f, "+{approach}")?;
        }
        write!(f, " ({})", self.chord)
    }
}

/// One chorus of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct ChorusLine {
    /// Which chorus it is, from 1; 0 is the intro.
    pub chorus: u32,
    /// Its notes in time.
    pub notes: Vec<LineNote>,
    /// Bars that take up others, in the order of the bars.
    pub phrases: Vec<Restated>,
}

impl ChorusLine {
    /// Gives the chorus another number; what its bars took up is then no longer said, since that may lie elsewhere.
    pub fn renumber(&mut self, chorus: u32) {
        self.chorus = chorus;
        self.notes.iter_mut().for_each(|note| note.chorus = chorus);
        self.phrases.clear();
    }
}

/// One bar a line, each note as its name.
impl fmt::Display for ChorusLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut bar = 0;
        for note in &self.notes {
            if note.bar != bar {
                let newline = if bar == 0 { "" } else { "\n" };
                write!(f, "{newline}{:>3}:", note.bar)?;
                bar = note.bar;
            }
            write!(f, " {}", note.pitch)?;
        }
        Ok(())
    }
}
