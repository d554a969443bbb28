//! A chord symbol in a chart: the chord, and the text as it was written.

use crate::{Chord, Interval, Key, Letter, NoteName, spelling::is_awkward};
use std::fmt;

/// A chord with its spelling by the writer of the chart. Two symbols are the same if their texts are, but for
/// the shape of the sharps and flats of root and bass.
#[derive(Clone, Debug)]
pub struct Symbol {
    text: String,
    chord: Chord,
}

impl Symbol {
    /// Reads a symbol and keeps its text.
    ///
    /// # Errors
    /// Text that is no chord.
    pub fn read(text: &str) -> Result<Symbol, crate::chord::ChordError> {
        Ok(Symbol {
            chord: text.parse()?,
            text: text.to_owned(),
        })
    }

    /// The chord.
    pub fn chord(&self) -> &Chord {
        &self.chord
    }

    /// As written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The text between root and slash: the quality as the writer spells it.
    fn suffix(&self) -> &str {
        let after_root = NoteName::read(&self.text).map_or("", |(_, rest)| rest);
        match (self.chord.slash(), after_root.rfind('/')) {
            (Some(_), Some(slash)) => &after_root[..slash],
            _ => after_root,
        }
    }

    fn with_names(&self, root: NoteName, slash: Option<NoteName>) -> Symbol {
        let mut text = format!("{root}{}", self.suffix());
        if let Some(slash) = slash {
            text = format!("{text}/{slash}");
        }
        let chord = self.chord.with_names(root, slash);
        Symbol { text, chord }
    }

    /// Moved by an interval, spelling kept; the suffix stays as written.
    pub fn transposed(&self, interval: Interval) -> Symbol {
        let slash = self.chord.slash().map(|name| name + interval);
        self.with_names(self.chord.root() + interval, slash)
    }

    /// Spelled as readers expect in `key`: a root (or slash bass) that would need a double sign, or E#, B#,
    /// Cb or Fb where the key does not have them, takes its plainer name. A slash bass that is a chord tone
    /// keeps the chord's own spelling. (Common practice, no source.)
    pub fn respelled(&self, key: Key) -> Symbol {
        let root = plain_name(self.chord.root(), key);
        let slash = self.chord.slash().map(|name| {
            // The name that the chord itself gives to this bass, moved along with the root.
            let tone = root + Interval::up_between(self.chord.root(), name);
            if tone.alteration().abs() < 2 {
                tone
            } else {
                plain_name(tone, key)
            }
        });
        self.with_names(root, slash)
    }
}

/// The name to write for a root in a key.
pub(super) fn plain_name(name: NoteName, key: Key) -> NoteName {
    let signature = key.signature();
    let in_key = key.notes().contains(&name);
    if in_key || !is_awkward(name) {
        return name;
    }
    // Of the other names of this key of the octave, the one with fewest signs, on the key's own side.
    Letter::ALL
        .into_iter()
        .flat_map(|letter| (-1..=1).map(move |alteration| NoteName::new(letter, alteration)))
        .filter(|other| other.chroma() == name.chroma())
        .min_by_key(|other| {
            let against_key = (signature < 0) == (other.alteration() > 0);
            (
                other.alteration().abs(),
                against_key && other.alteration() != 0,
            )
        })
        .unwrap_or(name)
}

impl PartialEq for Symbol {
    fn eq(&self, other: &Symbol) -> bool {
        let parts = |symbol: &Symbol| (symbol.chord.root(), symbol.chord.slash());
        parts(self) == parts(other) && self.suffix() == other.suffix()
    }
}

impl Eq for Symbol {}

impl fmt::Display for Symbol {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.text)
    }
}
