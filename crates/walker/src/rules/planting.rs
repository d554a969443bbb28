//! Where a fault can be planted in a good line, so that whoever judges lines can be held to finding it there
//! and nowhere else. How each rule is broken stands with the rule ([`super::Rule::plant`]), without its automaton.

use super::Onset;

/// A note of a good line, on the beat among notes on the beat.
#[derive(Clone, Copy, Debug)]
pub struct Spot<'a> {
    /// Its onset.
    pub onset: &'a Onset,
    /// The onset of the note that follows.
    pub next: &'a Onset,
    /// MIDI keys: of the two notes before, of the note itself, of the two after.
    pub keys: [u8; 5],
    /// The highest key that the bass may play over its chord.
    pub seam: u8,
    /// Whether a note before it leads into this one as it is.
    pub is_led_into: bool,
    /// Lowest and highest key of the instrument.
    pub range: (u8, u8),
}

impl Spot<'_> {
    /// Semitones from the note before to a key.
    pub(super) fn move_in(&self, key: u8) -> i16 {
        i16::from(key) - i16::from(self.keys[1])
    }

    /// Semitones from a key to the note that follows.
    pub(super) fn move_out(&self, key: u8) -> i16 {
        i16::from(self.keys[3]) - i16::from(key)
    }

    /// Whether the two notes before move little, so that no leap is open.
    pub(super) fn is_quiet(&self) -> bool {
        self.keys[0].abs_diff(self.keys[1]) <= 7
    }

    /// Whether the note is the root, which gives the span its seam.
    pub(super) fn is_root(&self) -> bool {
        self.keys[2] % 12 == self.onset.root
    }

    /// Whether what stands here matters to other rules: the root, an arrival, a note that leads or is led into.
    pub(super) fn is_fixed(&self) -> bool {
        self.onset.arrival || self.leads() || self.is_led_into || self.is_root()
    }

    /// Whether it has to lead into what follows.
    pub(super) fn leads(&self) -> bool {
        self.onset.coming.is_some()
    }

    /// Whether another key, nearby, is played as smoothly as this one, in range and below the seam.
    pub(super) fn is_smooth(&self, key: u8) -> bool {
        let near = |distance: i16| (1..=7).contains(&distance.abs());
        key != self.keys[2]
            && key.abs_diff(self.keys[2]) <= 5
            && near(self.move_in(key))
            && near(self.move_out(key))
            && self.is_quiet()
            && (self.range.0..=self.seam).contains(&key)
    }

    /// Whether a key leads into the note that follows: by step or as its dominant.
    pub(super) fn approaches(&self, key: u8) -> bool {
        matches!(self.move_out(key), -2 | -1 | 1 | 2 | 5 | -7)
    }
}
