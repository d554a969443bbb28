//! The chords of a chorus without its silences, each with its neighbours in time.

use crate::{
    chart::Span,
    chord::{Chord, Family},
    interval::Degree,
};

/// What of a chord a neighbour hears.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Sound {
    pub(super) root: u8,
    pub(super) bass: u8,
    pub(super) family: Family,
}

/// A chord with its neighbours, the form going round.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heard<'a> {
    pub(super) chord: &'a Chord,
    pub(super) beats: usize,
    pub(super) sound: Sound,
    pub(super) major_seventh: bool,
    pub(super) before: Option<Sound>,
    pub(super) after: Option<Sound>,
    pub(super) next: Option<&'a Chord>,
}

impl Sound {
    fn of(chord: &Chord) -> Sound {
        Sound {
            root: chord.root().chroma(),
            bass: chord.bass().chroma(),
            family: chord.family(),
        }
    }

    /// Whether this is more than the other in another dress: a suspended dominant and its resolution, or two
    /// colours of one chord, are one thing to their neighbours.
    fn differs(self, other: Sound) -> bool {
        let dressed = |sound: Sound| match sound.family {
            Family::Suspended => Family::Dominant,
            family => family,
        };
        (self.root, dressed(self)) != (other.root, dressed(other))
    }
}

/// The chords that sound, in order.
pub(super) fn hear(spans: &[Span]) -> Vec<Heard<'_>> {
    let chords: Vec<(&Chord, usize)> = spans
        .iter()
        .filter_map(|span| Some((span.chord.as_ref()?, span.beats)))
        .collect();
    let sounds: Vec<Sound> = chords.iter().map(|(chord, _)| Sound::of(chord)).collect();
    let count = chords.len();
    // Twice round, so that the last chord finds its successor at the top.
    let mut after = vec![None; count];
    for place in (0..2 * count).rev() {
        let (here, next) = (place % count, (place + 1) % count);
        after[here] = if sounds[here].differs(sounds[next]) {
            Some(next)
        } else {
            after[next]
        };
    }
    let mut before = vec![None; count];
    for place in 0..2 * count {
        let (here, previous) = ((place + 1) % count, place % count);
        before[here] = if sounds[here].differs(sounds[previous]) {
            Some(previous)
        } else {
            before[previous]
        };
    }
    let major_seventh = Degree::new(7, 0);
    chords
        .iter()
        .enumerate()
        .map(|(place, &(chord, beats))| Heard {
            chord,
            beats,
            sound: sounds[place],
            major_seventh: chord.has(major_seventh),
            before: before[place].map(|other: usize| sounds[other]),
            after: after[place].map(|other: usize| sounds[other]),
            next: after[place].map(|other: usize| chords[other].0),
        })
        .collect()
}
