//! Proof that comp and bass keep out of each other's way.
//!
//! A collision is a comp note a minor ninth, its octaves or a semitone above a sounding bass note, save a
//! dominant's own flat ninth above its root (common practice, no source). Every moment at which a bass note and a comp
//! note sound together is rated, in notated time; what is performed keeps the same order.

use crate::players::comp::ChorusComp;
use endpin_theory::{Chord, Strength, Ticks, chart::Chorus};
use endpin_walker::{ChorusLine, LineNote};
use std::fmt;

/// Whether a comp note on `key` collides with a bass note on `bass` while the comp sounds `chord`.
pub fn collides(bass: i16, key: i16, chord: &Chord) -> bool {
    let own_flat_ninth =
        chord.is_dominant() && bass.rem_euclid(12) == i16::from(chord.root().chroma());
    key > bass && (key - bass) % 12 == 1 && !own_flat_ninth
}

/// The keys that collide with any of these bass notes while the comp sounds `chord`, a bit for each MIDI key.
pub fn forbidden<'a>(bass: impl IntoIterator<Item = &'a LineNote>, chord: &Chord) -> u128 {
    let bass = bass.into_iter().map(|note| note.pitch.midi());
    bass.flat_map(|bass| (bass + 1..128).step_by(12).map(move |key| (bass, key)))
        .filter(|&(bass, key)| collides(bass, key, chord))
        .fold(0, |keys, (_, key)| keys | 1 << key)
}

/// Whether a bass note falls on a strong beat in the sense of the rules: strong, medium or an arrival.
pub fn is_strong(note: &LineNote) -> bool {
    note.strength != Strength::Weak
}

/// A bass note and a comp note that collide.
#[derive(Clone, Debug, PartialEq)]
pub struct Clash {
    /// Chorus, from 1.
    pub chorus: u32,
    /// Bar of the bass note, from 1.
    pub bar: u32,
    /// Beat of the bass note, from 1.
    pub beat: f64,
    /// The chord that the comp sounds.
    pub chord: String,
    /// MIDI key of the bass note.
    pub bass: i16,
    /// MIDI key of the comp note.
    pub comp: i16,
    /// Strength of the bass note's beat; an arrival is strong.
    pub strength: Strength,
}

/// What was rated and what was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Collisions {
    /// Pairs of a bass note and a comp note that sound together.
    pub rated: usize,
    /// Bass notes on strong beats.
    pub strong_beats: usize,
    /// Bass notes on weak beats and off the beat.
    pub weak_beats: usize,
    /// Bass notes on weak beats that a comp note brushes.
    pub brushed: usize,
    /// Every collision: none on a strong beat, ever.
    pub clashes: Vec<Clash>,
}

impl Collisions {
    /// Collisions on strong beats.
    pub fn strong(&self) -> usize {
        let strong = |clash: &&Clash| clash.strength != Strength::Weak;
        self.clashes.iter().filter(strong).count()
    }

    /// These and those of another chorus.
    pub fn and(mut self, other: Collisions) -> Collisions {
        self.rated += other.rated;
        self.strong_beats += other.strong_beats;
        self.weak_beats += other.weak_beats;
        self.brushed += other.brushed;
        self.clashes.extend(other.clashes);
        self
    }
}

/// The notes of a line, in order of time, that sound somewhere in a stretch of time.
pub fn sounding(line: &ChorusLine, start: Ticks, end: Ticks) -> impl Iterator<Item = &LineNote> {
    // No two notes of a line overlap, so ends are in order as starts are.
    let first = line
        .notes
        .partition_point(|note| note.start + note.length <= start);
    line.notes[first..]
        .iter()
        .take_while(move |note| note.start < end)
}

/// Rates every moment of a chorus at which bass and comp sound together.
pub fn rate(chorus: &Chorus, line: &ChorusLine, comp: &ChorusComp) -> Collisions {
    let strong_beats = line.notes.iter().filter(|note| is_strong(note)).count();
    let mut found = Collisions {
        strong_beats,
        weak_beats: line.notes.len() - strong_beats,
        ..Collisions::default()
    };
    let mut last_brushed = None;
    for attack in &comp.attacks {
        let Some(chord) = chorus.spans[attack.span].chord.as_ref() else {
            continue;
        };
        for note in sounding(line, attack.start, attack.start + attack.length) {
            for &key in &attack.voicing.keys {
                found.rated += 1;
                let (bass, key) = (note.pitch.midi(), i16::from(key));
                if !collides(bass, key, chord) {
                    continue;
                }
                if !is_strong(note) && last_brushed != Some(note.start) {
                    found.brushed += 1;
                    last_brushed = Some(note.start);
                }
                found.clashes.push(Clash {
                    chorus: line.chorus,
                    bar: note.bar,
                    beat: note.beat(),
                    chord: chorus.spans[attack.span].symbol.clone(),
                    bass,
                    comp: key,
                    strength: note.strength,
                });
            }
        }
    }
    found
}

/// `96 pairs of notes sound together; of 24 strong beats 0 collide, of 24 weak beats 0 are brushed`.
impl fmt::Display for Collisions {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} pairs of notes sound together; of {} strong beats {} collide, of {} weak beats {} are brushed",
            self.rated,
            self.strong_beats,
            self.strong(),
            self.weak_beats,
            self.brushed
        )
    }
}
