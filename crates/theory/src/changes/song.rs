//! A chart unrolled, with what its chords do: what the conditions of substitutions are asked about.

use crate::{
    analysis::{Duty, Reading, duties},
    chart::{Chart, Chorus, Symbol},
    chord::{Chord, Family},
    interval::Interval,
};

/// The chords of a chorus in playing order.
pub(super) struct Song {
    pub(super) places: Vec<SongChord>,
    pub(super) chorus: Chorus,
}

/// A chord, what it does, and the beats that it lasts.
#[derive(Clone, Debug)]
pub(super) struct SongChord {
    pub(super) symbol: String,
    pub(super) chord: Chord,
    pub(super) duty: Duty,
    /// Beats of the chorus before it.
    pub(super) start: usize,
    pub(super) beats: usize,
}

/// Chords to be put in the place of what sounds from a beat on.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Edit {
    pub(super) start: usize,
    pub(super) chords: Vec<(Symbol, usize)>,
}

impl Edit {
    pub(super) fn beats(&self) -> usize {
        self.chords.iter().map(|(_, beats)| beats).sum()
    }
}

impl Song {
    /// Silences are left out: nothing leads across them, since their beats are missing between neighbours.
    pub(super) fn of(chart: &Chart) -> Song {
        let chorus = chart.chorus();
        let duties = duties(&chorus.spans, chart.key);
        let places = chorus.spans.iter().zip(duties).filter_map(|(span, duty)| {
            Some(SongChord {
                symbol: span.symbol.clone(),
                chord: span.chord.clone()?,
                duty: duty?,
                start: span.start,
                beats: span.beats,
            })
        });
        Song {
            places: places.collect(),
            chorus,
        }
    }

    pub(super) fn at(&self, place: usize) -> &SongChord {
        &self.places[place]
    }

    /// The chord that follows without a silence; after the last, the first.
    pub(super) fn next(&self, place: usize) -> Option<&SongChord> {
        let here = &self.places[place];
        let next = &self.places[(place + 1) % self.places.len()];
        let joins = next.start == (here.start + here.beats) % self.chorus.beats();
        (joins && self.places.len() > 1).then_some(next)
    }

    /// The one after that.
    pub(super) fn second_next(&self, place: usize) -> Option<&SongChord> {
        self.next(place)?;
        self.next((place + 1) % self.places.len())
    }

    /// The chord before within the form.
    pub(super) fn before(&self, place: usize) -> Option<&SongChord> {
        let before = self.places.get(place.checked_sub(1)?)?;
        (before.start + before.beats == self.places[place].start).then_some(before)
    }

    /// The chord that sounds at a beat.
    pub(super) fn sounding(&self, beat: usize) -> Option<&SongChord> {
        self.places
            .iter()
            .find(|place| (place.start..place.start + place.beats).contains(&beat))
    }

    /// Beats of the bar in which a beat stands, and whether it is the first of it.
    pub(super) fn bar(&self, beat: usize) -> (usize, bool) {
        let bar = self.chorus.bar_at(beat);
        (usize::from(bar.meter.beats()), bar.first_beat == beat)
    }
}

impl SongChord {
    pub(super) fn end(&self) -> usize {
        self.start + self.beats
    }

    pub(super) fn is(&self, degree: u8, families: &[Family]) -> bool {
        self.duty.degree == degree && families.contains(&self.chord.family())
    }

    /// Semitones from this root up to the other's.
    pub(super) fn up_to(&self, other: &SongChord) -> u8 {
        (other.chord.root().chroma() + 12 - self.chord.root().chroma()) % 12
    }

    /// A dominant that falls a fifth into `next`.
    pub(super) fn falls_into(&self, next: &SongChord) -> bool {
        self.chord.family() == Family::Dominant && self.up_to(next) == 5
    }

    /// A minor or half-diminished chord, the ii of `next` taken as a dominant.
    pub(super) fn is_two_of(&self, next: &SongChord) -> bool {
        self.is_minor() && self.up_to(next) == 5
    }

    pub(super) fn is_minor(&self) -> bool {
        matches!(self.chord.family(), Family::Minor | Family::HalfDiminished)
    }

    /// I, whatever its colour; not as V of IV after its own ii.
    pub(super) fn is_tonic(&self) -> bool {
        let families: &[Family] = match self.duty.major {
            true => &[Family::Major, Family::Dominant],
            false => &[Family::Minor],
        };
        self.is(0, families)
    }

    /// IV as a major or dominant chord.
    pub(super) fn is_four(&self) -> bool {
        self.is(5, &[Family::Major, Family::Dominant])
    }

    /// V of the local key, or of one of its chords.
    pub(super) fn is_five(&self) -> bool {
        let own = self.duty.reading == Reading::Own && self.duty.degree == 7;
        let family = self.chord.family() == Family::Dominant;
        family && (own || matches!(self.duty.reading, Reading::Secondary(_)))
    }

    /// A chord so many steps and semitones above this root.
    pub(super) fn chord_at(&self, steps: i16, semitones: i16, suffix: &str) -> Option<Symbol> {
        let root = self.chord.root() + Interval::new(steps, semitones);
        Symbol::read(&format!("{root}{suffix}")).ok()
    }

    /// This chord as it is written.
    pub(super) fn itself(&self) -> Option<Symbol> {
        Symbol::read(&self.symbol).ok()
    }

    /// The same root with another quality.
    pub(super) fn with(&self, suffix: &str) -> Option<Symbol> {
        self.chord_at(0, 0, suffix)
    }

    /// Puts chords in the place of the last `beats` of this one.
    pub(super) fn at_end(&self, beats: usize, chords: Vec<(Symbol, usize)>) -> Option<Edit> {
        (beats <= self.beats).then(|| Edit {
            start: self.end() - beats,
            chords,
        })
    }

    /// Puts chords in the place of this one.
    pub(super) fn replaced(&self, chords: Vec<(Symbol, usize)>) -> Option<Edit> {
        self.at_end(self.beats, chords)
    }
}
