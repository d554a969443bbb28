//! The performed music: every note of every part at the tick at which it sounds, and the marks between.
//!
//! A [`Score`] is what the arranger hands to the file writer and to the live player alike. Its ticks are
//! performed time (after swing, placement and articulation), 960 to the quarter note, from the first sound
//! of the count-in or of the music.

use crate::outputs::origin;
use endpin_theory::{Key, Meter, Mode, Pitch, Ticks};
use std::fmt;

/// The three players.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PartName {
    /// The walking line.
    Bass,
    /// The chords above it.
    Comp,
    /// Ride and hi-hat, click and count-in.
    Time,
}

impl PartName {
    /// All parts in the order of their tracks.
    pub const ALL: [PartName; 3] = [PartName::Bass, PartName::Comp, PartName::Time];

    /// Its MIDI channel, counted from 0: bass and comp have the first two, and the time-keeper has percussion's
    /// (10, counted from 1, in General MIDI level 1; from memory).
    pub fn channel(self) -> u8 {
        match self {
            PartName::Bass => 0,
            PartName::Comp => 1,
            PartName::Time => 9,
        }
    }

    /// What it sounds with, unless it is told otherwise: acoustic bass, acoustic grand piano, and the standard kit.
    pub fn sound(self) -> Sound {
        let program = match self {
            PartName::Bass => 32,
            PartName::Comp | PartName::Time => 0,
        };
        Sound {
            bank: None,
            program,
        }
    }
}

/// What a part sounds with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sound {
    /// The bank, most and least significant, where it is not left alone.
    pub bank: Option<(u8, u8)>,
    /// Program of General MIDI level 1, counted from 0.
    pub program: u8,
}

impl fmt::Display for PartName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            PartName::Bass => "Bass",
            PartName::Comp => "Comp",
            PartName::Time => "Time",
        })
    }
}

/// One sounding note.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ScoreNote {
    /// When it starts.
    pub start: Ticks,
    /// How long it sounds; always positive.
    pub length: Ticks,
    /// MIDI key, 0 to 127; 60 is middle C.
    pub key: u8,
    /// MIDI velocity, 1 to 127.
    pub velocity: u8,
}

impl ScoreNote {
    /// The tick at which it is released.
    pub fn end(&self) -> Ticks {
        self.start + self.length
    }
}

/// All that one player plays.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Who plays.
    pub name: PartName,
    /// MIDI channel, counted from 0.
    pub channel: u8,
    /// What it sounds with.
    pub sound: Sound,
    /// In order of start, then key; no two notes of one key overlap.
    pub notes: Vec<ScoreNote>,
}

impl Part {
    /// A part with these notes, put in order; a key struck again before it was released is released first.
    pub fn new(name: PartName, mut notes: Vec<ScoreNote>) -> Part {
        let order = |note: &ScoreNote| (note.start, note.key, note.length);
        notes.sort_by_key(order);
        // A note struck twice at one moment is one note: the longer, which sorts last.
        let mut kept: Vec<ScoreNote> = Vec::with_capacity(notes.len());
        let mut last_of_key = [None::<usize>; 128];
        for note in notes {
            let slot = &mut last_of_key[usize::from(note.key & 127)];
            if let Some(before) = *slot {
                let before: &mut ScoreNote = &mut kept[before];
                if before.start == note.start {
                    *before = note;
                    continue;
                }
                before.length = before.length.min(note.start - before.start);
            }
            *slot = Some(kept.len());
            kept.push(note);
        }
        Part {
            name,
            channel: name.channel(),
            sound: name.sound(),
            notes: kept,
        }
    }
}

/// A key signature as MIDI states it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeySignature {
    /// Sharps if positive, flats if negative; -7 to 7.
    pub sharps: i8,
    /// Whether the key is minor.
    pub minor: bool,
}

impl From<Key> for KeySignature {
    fn from(key: Key) -> KeySignature {
        KeySignature {
            sharps: key.signature(),
            minor: key.mode == Mode::Minor,
        }
    }
}

/// The MIDI key of a pitch, the nearest there is.
pub fn midi_key(pitch: Pitch) -> u8 {
    pitch.midi().clamp(0, 127) as u8
}

/// Something that is not a note.
#[derive(Clone, Debug, PartialEq)]
pub enum Mark {
    /// Quarter notes a minute from here on.
    Tempo(f64),
    /// The time signature from here on.
    Meter(Meter),
    /// The key signature from here on.
    Key(KeySignature),
    /// A chorus, a section, the ending.
    Marker(String),
    /// A chord symbol as written.
    Chord(String),
    /// By what the file is known to be ours. Not a text event, which are the chords'.
    Origin(String),
}

/// Everything that sounds, in performed time.
#[derive(Clone, Debug, PartialEq)]
pub struct Score {
    /// Name of the whole.
    pub title: String,
    /// The players, in the order of [`PartName::ALL`]; muted ones are left out.
    pub parts: Vec<Part>,
    /// Marks in order of time.
    pub conductor: Vec<(Ticks, Mark)>,
    /// The bar line at which everything has ended.
    pub end: Ticks,
}

impl Score {
    /// The part of that name, unless muted.
    pub fn part(&self, name: PartName) -> Option<&Part> {
        self.parts.iter().find(|part| part.name == name)
    }

    /// The same with the mark by which a file of it is known to be ours.
    #[must_use]
    pub fn signed(mut self) -> Score {
        let origin = Mark::Origin(origin::midi_mark(&self.title));
        self.conductor.insert(0, (Ticks::ZERO, origin));
        self
    }

    /// The same score with one part only, with all its marks.
    pub fn only(&self, name: PartName) -> Score {
        Score {
            parts: self
                .parts
                .iter()
                .filter(|part| part.name == name)
                .cloned()
                .collect(),
            ..self.clone()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_struck_again_is_released_first() {
        let note = |start, length, key| ScoreNote {
            start: Ticks(start),
            length: Ticks(length),
            key,
            velocity: 60,
        };
        let part = Part::new(
            PartName::Comp,
            vec![
                note(480, 480, 60),
                note(0, 960, 60),
                note(0, 100, 64),
                note(0, 200, 64),
            ],
        );
        assert_eq!(
            part.notes,
            [note(0, 480, 60), note(0, 200, 64), note(480, 480, 60)]
        );
    }
}
