//! A part written for an instrument that sounds lower than it reads.

use super::{
    accidental::Accidentals,
    measure::{ChordMark, Music},
};
use endpin_theory::{Interval, Key, Letter, NoteName, Pitch, chart::Symbol, did_you_mean};
use std::{fmt, str::FromStr};

/// An instrument by the note that sounds when it reads C.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WrittenFor {
    /// It sounds a major second lower than it reads.
    BFlat,
    /// It sounds a major sixth lower than it reads.
    EFlat,
}

impl WrittenFor {
    /// All of them.
    pub const ALL: [WrittenFor; 2] = [WrittenFor::BFlat, WrittenFor::EFlat];

    /// The key that it reads where a key sounds: the one with fewer signs of those that sound alike.
    pub fn key(self, sounding: Key) -> Key {
        let up = match self {
            WrittenFor::BFlat => Interval::new(1, 2),
            WrittenFor::EFlat => Interval::new(5, 9),
        };
        Key {
            tonic: sounding.tonic + up,
            ..sounding
        }
        .simplest()
    }
}

/// A word that names none of them.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not an instrument that parts are written for{near}; write Bb or Eb", near = did_you_mean(.0, WrittenFor::ALL))]
pub struct WrittenForError(String);

impl FromStr for WrittenFor {
    type Err = WrittenForError;

    fn from_str(text: &str) -> Result<WrittenFor, WrittenForError> {
        let mut all = WrittenFor::ALL.into_iter();
        all.find(|part| part.to_string().eq_ignore_ascii_case(text))
            .ok_or_else(|| WrittenForError(text.to_owned()))
    }
}

impl fmt::Display for WrittenFor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            WrittenFor::BFlat => "Bb",
            WrittenFor::EFlat => "Eb",
        })
    }
}

impl Music {
    /// The same music as this instrument reads it: keys, notes and chord symbols higher; what sounds is the same.
    pub fn written_for(mut self, part: WrittenFor) -> Music {
        let mut signs = Accidentals::new(0);
        let mut moved = vec![false; self.notes.len()];
        for (number, measure) in self.measures.iter_mut().enumerate() {
            let key = part.key(measure.key);
            let up = Interval::up_between(measure.key.tonic, key.tonic);
            if number == 0 {
                self.transposed = up;
            }
            measure.key = key;
            signs.start(key.signature());
            signs.next_bar();
            for mark in &mut measure.chords {
                *mark = higher(mark, up, key);
            }
            for head in measure
                .events
                .iter_mut()
                .filter_map(|event| event.note.as_mut())
            {
                head.pitch = readable(head.pitch + up);
                head.sign = match head.tied_back {
                    true => None,
                    false => signs.next(head.pitch),
                };
                if !std::mem::replace(&mut moved[head.index], true) {
                    self.notes[head.index].pitch = head.pitch;
                }
            }
        }
        self
    }
}

fn higher(mark: &ChordMark, up: Interval, key: Key) -> ChordMark {
    let symbol = Symbol::read(&mark.symbol).ok();
    let symbol = symbol.map(|symbol| symbol.transposed(up).respelled(key));
    match symbol {
        Some(symbol) => ChordMark {
            symbol: symbol.text().to_owned(),
            chord: Some(symbol.chord().clone()),
            ..*mark
        },
        None => mark.clone(),
    }
}

/// The pitch without a double sign.
fn readable(pitch: Pitch) -> Pitch {
    if pitch.name().alteration().abs() < 2 {
        return pitch;
    }
    let octaves = pitch.octave() - 1..=pitch.octave() + 1;
    let naturals = octaves
        .flat_map(|octave| Letter::ALL.map(|letter| Pitch::new(NoteName::new(letter, 0), octave)));
    let mut same = naturals.filter(|other| other.midi() == pitch.midi());
    same.next().unwrap_or(pitch)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_those_that_players_read() {
        // Major second and major sixth up; of two that sound alike the one with fewer signs (common practice, no
        // source).
        let read = |part: WrittenFor| {
            [
                "C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G",
            ]
            .map(|key| part.key(key.parse().unwrap()).to_string())
            .join(" ")
        };
        assert_eq!(read(WrittenFor::BFlat), "D G C F Bb Eb Ab Db Gb B E A");
        assert_eq!(read(WrittenFor::EFlat), "A D G C F Bb Eb Ab Db Gb B E");
        let refused = "Ab".parse::<WrittenFor>().unwrap_err().to_string();
        assert!(refused.ends_with("write Bb or Eb"), "{refused}");
    }
}
