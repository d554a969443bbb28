//! A point of time at which a note may start, and all that rules and tastes may know about it.
//!
//! Onsets speak of pitches only by MIDI key and by key of the octave, never of names, so that a rule reads one
//! note against another and nothing else. [`crate::line::layout`] makes them from a chart; whoever wants to
//! state another problem can make them by hand.

use super::Liberties;
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

    /// The same, `by` semitones lower, 0 to 11.
    pub fn lowered(self, by: u8) -> Chromas {
        Chromas((self.0 >> by | self.0 << (12 - by)) & 0xfff)
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

    /// Those from `lowest` to `highest`, both included.
    pub fn within(self, lowest: u8, highest: u8) -> Keys {
        let from = self.0.checked_shr(lowest.into()).unwrap_or(0);
        let above = u32::from(127u8.saturating_sub(highest));
        Keys((from << lowest.min(127)) << above >> above)
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

/// Whether a note starts at an onset.
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

/// Where an onset stands against its beat.
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

/// The part that a beat plays in its bar.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Beat {
    /// The first of a group of beats, or an arrival.
    #[default]
    Strong,
    /// A weak beat after which another beat comes before the next strong one.
    Second,
    /// Another stressed beat, such as the third in 4/4.
    Medium,
    /// The weak beat before a strong one, or before an arrival.
    Last,
}

/// What a beat is to a chord that lasts for bars.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Ground {
    /// Nothing: the chord changes sooner, or the beat lies between.
    #[default]
    Elsewhere,
    /// After the arrival, in the first bar.
    Opening,
    /// The first beat of every second bar after that.
    Home,
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

/// Which notes of the harmony the line may use between arrivals and approaches.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Vocabulary {
    /// The root (and the written slash bass).
    Roots,
    /// The root and the fifth.
    Fifths,
    /// Chord tones.
    ChordTones,
    /// Chord tones, and on weak beats whatever connects them.
    #[default]
    Scale,
}

/// A point of time at which a note may start.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Onset {
    /// Whether a note starts here.
    pub sound: Sound,
    /// The keys to choose from: the range of the instrument, narrowed by notes to avoid and pins.
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
    /// Key of the octave of the note on which the next chord arrives; none before silence.
    pub coming: Option<u8>,
    /// Semitones from the root to the seam.
    pub seventh: u8,
    /// Whether a chord (or silence of harmony) enters here.
    pub arrival: bool,
    /// Whether the onset is strong, medium or an arrival.
    pub stressed: bool,
    /// The part that its beat plays in the bar; no rule looks at it.
    pub beat: Beat,
    /// Where it stands against the beat.
    pub within: Within,
    /// Whether it is (in) the last beat before an arrival that must be approached.
    pub leads: Leads,
    /// What the level and the feel let the line use here.
    pub vocabulary: Vocabulary,
    /// Whether a pitch may not stand three times running here (in `four`).
    pub no_triple: bool,
    /// Whether a note here, between the beats, is played in full even if it repeats the one before.
    pub full: bool,
    /// Whether a bar line stands before it.
    pub opens_bar: bool,
    /// What the line may do here against the plain rules.
    pub loose: Liberties,
    /// Whether notes follow one another so fast that leaps are rare; no rule looks at it.
    pub quick: bool,
    /// The key around which the line should move here. It varies along the form, so no rule may look at it.
    pub centre: u8,
    /// How much life the rhythm should have here, 0 to 8. It varies along the form too.
    pub busy: u8,
    /// What it is to a chord that lasts for bars. It varies along the form too.
    pub ground: Ground,
    /// The third that a suspended chord leaves open: a key of the octave, or none.
    pub withheld: Chromas,
    /// Whether a triad over its bass makes a suspended chord, so that the written bass stands on strong beats.
    pub keeps_bass: bool,
    /// Time since the onset before; zero where no rule asks.
    pub since: Ticks,
}

impl Onset {
    /// Whether a key is the note to arrive on.
    pub fn is_bass(&self, key: u8) -> bool {
        key % 12 == self.bass
    }

    /// Whether a key spells the chord: one of its tones, or the written bass.
    pub fn spells(&self, key: u8) -> bool {
        self.tones.contains(key) || self.is_bass(key)
    }

    /// Semitones from the root up to a key, octaves left out.
    pub(crate) fn above_root(&self, key: u8) -> u8 {
        (key % 12 + 12 - self.root) % 12
    }

    /// Whether a key belongs to chord or scale, or is the written bass.
    pub fn connects(&self, key: u8) -> bool {
        self.spells(key) || self.scale.contains(key)
    }

    /// The same, with one note held whatever the chord: all that the line arrives on and measures its compass
    /// from.
    pub(crate) fn holding(&self, held: u8) -> Onset {
        Onset {
            tones: self.tones.union([held].into_iter().collect()),
            scale: self.scale.union([held].into_iter().collect()),
            root: held,
            fifth: held,
            bass: held,
            ..self.clone()
        }
    }

    /// The same without what varies along the form.
    pub(crate) fn without_form(&self) -> Onset {
        Onset {
            centre: 0,
            busy: 0,
            ground: Ground::default(),
            ..self.clone()
        }
    }

    /// What rules see of it, from the root of its chord and without what varies along the form: onsets that
    /// are equal so are read alike, whatever the key.
    pub(crate) fn seen_from_its_root(&self) -> Onset {
        let above = |chroma: u8| self.above_root(chroma);
        Onset {
            keys: Keys::default(),
            tones: self.tones.lowered(self.root),
            scale: self.scale.lowered(self.root),
            root: 0,
            withheld: self.withheld.lowered(self.root),
            fifth: above(self.fifth),
            bass: above(self.bass),
            coming: self.coming.map(above),
            beat: Beat::default(),
            quick: false,
            ..self.without_form()
        }
    }

    /// What tastes see of it when they weigh how the line moves: everything but the harmony.
    pub(crate) fn without_harmony(&self) -> Onset {
        Onset {
            sound: self.sound,
            arrival: self.arrival,
            stressed: self.stressed,
            beat: self.beat,
            within: self.within,
            leads: self.leads,
            no_triple: self.no_triple,
            quick: self.quick,
            opens_bar: self.opens_bar,
            ..Onset::default()
        }
    }
}
