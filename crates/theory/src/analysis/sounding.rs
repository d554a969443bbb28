//! The chords of a chorus without its silences, each with its neighbours in time.

use crate::{
    chart::Span,
    chord::{Chord, Family},
    interval::Degree,
};
use std::borrow::Cow;

/// What of a chord a neighbour hears.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Sound {
    pub(super) root: u8,
    pub(super) bass: u8,
    pub(super) family: Family,
}

/// A chord with its neighbours. The form goes round: after its last chord comes its first.
#[derive(Clone, Debug)]
pub(super) struct Heard<'a> {
    /// The chord as it sounds: `Bb/C` is a suspended chord on C.
    pub(super) chord: Cow<'a, Chord>,
    /// As written.
    pub(super) written: &'a Chord,
    pub(super) beats: usize,
    /// Bar and beat of its arrival, each from 1.
    pub(super) at: (u32, u32),
    pub(super) sound: Sound,
    pub(super) major_seventh: bool,
    pub(super) before: Option<Sound>,
    pub(super) after: Option<Sound>,
    /// Number of the next chord that is more than this one in another dress.
    pub(super) next: Option<usize>,
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

    /// A fifth below this root: where a dominant on it leads.
    pub(super) fn fifth_below(self) -> u8 {
        (self.root + 5) % 12
    }

    pub(super) fn is_dominant(self) -> bool {
        matches!(self.family, Family::Dominant | Family::Suspended)
    }
}

impl Heard<'_> {
    /// Whether the chord before is the ii of this one taken as a dominant: a fourth below.
    pub(super) fn follows_its_two(&self) -> bool {
        self.before.is_some_and(|before| {
            before.fifth_below() == self.sound.root
                && matches!(before.family, Family::Minor | Family::HalfDiminished)
        })
    }
}

/// The chords that sound, in order.
pub(super) fn hear(spans: &[Span]) -> Vec<Heard<'_>> {
    let mut heard: Vec<Heard<'_>> = spans
        .iter()
        .filter_map(|span| {
            let written = span.chord.as_ref()?;
            let made = written.as_suspended();
            let chord = made.map_or(Cow::Borrowed(written), Cow::Owned);
            Some(Heard {
                sound: Sound::of(&chord),
                major_seventh: chord.has(Degree::new(7, 0)),
                chord,
                written,
                beats: span.beats,
                at: (span.bar, span.beat),
                before: None,
                after: None,
                next: None,
            })
        })
        .collect();
    let sounds: Vec<Sound> = heard.iter().map(|heard| heard.sound).collect();
    let count = sounds.len();
    // Twice round, so that the last chord finds its successor at the top.
    for place in (0..2 * count).rev() {
        let (here, next) = (place % count, (place + 1) % count);
        heard[here].next = if sounds[here].differs(sounds[next]) {
            Some(next)
        } else {
            heard[next].next
        };
        heard[here].after = heard[here].next.map(|next| sounds[next]);
    }
    // What a chord comes from is within the form: a turnaround at its end leaves its beginning as it was.
    for here in 1..count {
        heard[here].before = if sounds[here].differs(sounds[here - 1]) {
            Some(sounds[here - 1])
        } else {
            heard[here - 1].before
        };
    }
    heard
}
