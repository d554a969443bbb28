//! A place in time where the line may sound, and all that rules and tastes may know about it.
//!
//! Places speak of pitches only by MIDI key and by key of the octave, never of names, so that a rule reads
//! one note against another and nothing else. [`crate::layout`] makes them from a chart; whoever wants to
//! state another problem can make them by hand.

use endpin_theory::Ticks;
use std::fmt;

/// A set of keys of the octave, 0 (C) to 11 (B).
#[derive(Clone, Copy, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Chromas(u16);

impl Chromas {
    /// All twelve.
    pub const ALL: Chromas = Chromas(0xfff);

    /// Whether a MIDI key is one of these.
    pub fn contains(self, key: u8) -> bool {
        self.0 >> (key % 12) & 1 == 1
    }

    /// These and those.
    pub fn union(self, other: Chromas) -> Chromas {
        Chromas(self.0 | other.0)
    }
}

impl FromIterator<u8> for Chromas {
    fn from_iter<I: IntoIterator<Item = u8>>(keys: I) -> Chromas {
        Chromas(keys.into_iter().fold(0, |set, key| set | 1 << (key % 12)))
    }
}

impl fmt::Debug for Chromas {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let keys = (0..12).filter(|&key| self.contains(key));
        f.debug_set().entries(keys).finish()
    }
}

/// A set of MIDI keys, 0 to 127.
#[derive(Clone, Copy, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Keys(u128);

impl Keys {
    /// The keys from `lowest` to `highest`, both included.
    pub fn between(lowest: u8, highest: u8) -> Keys {
        (lowest..=highest).collect()
    }

    /// Whether the key is one of these.
    pub fn contains(self, key: u8) -> bool {
        key < 128 && self.0 >> key & 1 == 1
    }

    /// Those of these that `wanted` accepts.
    pub fn retain(self, wanted: impl Fn(u8) -> bool) -> Keys {
        self.iter().filter(|&key| wanted(key)).collect()
    }

    /// The keys in rising order.
    pub fn iter(self) -> impl Iterator<Item = u8> {
        let mut left = self.0;
        std::iter::from_fn(move || {
            let key = (left != 0).then_some(left.trailing_zeros() as u8)?;
            left &= left - 1;
            Some(key)
        })
    }

    /// How many there are.
    pub fn len(self) -> usize {
        self.0.count_ones() as usize
    }

    /// Whether there are none.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }
}

impl FromIterator<u8> for Keys {
    fn from_iter<I: IntoIterator<Item = u8>>(keys: I) -> Keys {
        Keys(keys.into_iter().fold(0, |set, key| set | 1 << (key & 127)))
    }
}

impl fmt::Debug for Keys {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(self.iter()).finish()
    }
}

/// Whether a note starts at a place.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Sound {
    /// A note starts.
    #[default]
    Note,
    /// A note may start; else the one before is held.
    Option,
    /// No note starts; the one before is held.
    Held,
    /// Nothing sounds.
    Rest,
}

/// Where a place stands against its beat.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Within {
    /// On the beat.
    #[default]
    Beat,
    /// Half way through it: a swung eighth.
    Eighth,
    /// On its second triplet.
    SecondTriplet,
    /// On its third triplet.
    ThirdTriplet,
}

/// Into what the last beat of a span leads.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Leads {
    /// It does not: not the last beat, or exempt from the approach.
    #[default]
    Nowhere,
    /// Into the next chord of the chorus.
    IntoChange,
    /// Into the first chord of the next chorus.
    IntoChorus,
}

/// A place where the line may sound.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Place {
    /// Whether a note starts here.
    pub sound: Sound,
    /// The keys to choose from: the instrument's range, narrowed by level, pins and notes to avoid.
    pub keys: Keys,
    /// Chord tones.
    pub tones: Chromas,
    /// Notes of the chord's scale, chord tones included.
    pub scale: Chromas,
    /// Key of the octave of the chord's root.
    pub root: u8,
    /// Key of the octave of the fifth, or of the root where the chord has none.
    pub fifth: u8,
    /// Key of the octave of the note to arrive on: the root, or the written slash bass.
    pub bass: u8,
    /// Semitones from the root to the seam.
    pub seventh: u8,
    /// Whether a chord (or silence of harmony) enters here.
    pub arrival: bool,
    /// Whether the place is strong, medium or an arrival.
    pub stressed: bool,
    /// Where it stands against the beat.
    pub within: Within,
    /// Whether it is (in) the last beat before an arrival that must be approached.
    pub leads: Leads,
    /// Whether a pitch may not stand three times running here (in `four`).
    pub no_triple: bool,
    /// Whether a bar line stands before it.
    pub opens_bar: bool,
    /// Whether the arrival here may be another chord tone than the root.
    pub loose: bool,
    /// The key around which the line should move here.
    pub centre: u8,
    /// How much life the rhythm should have here, 0 to 6.
    pub busy: u8,
    /// Time since the place before; zero where no rule asks.
    pub since: Ticks,
}
