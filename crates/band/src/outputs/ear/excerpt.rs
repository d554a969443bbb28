//! An excerpt of a walking line, one note a beat, with the chords under it.
//!
//! Questions are asked of excerpts: so many whole bars and the note on which the next bar arrives. That
//! every beat has one note is what makes all excerpts of a length alike in everything but their pitches.

use endpin_theory::{Chord, Chorus, Meter, NoteName, Part, Pitch, Scale, Strength};
use endpin_walker::LineNote;
use std::ops::Range;

/// A chord of an excerpt.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedChord {
    /// Its first beat, from 0.
    pub start: usize,
    /// As the chart writes it.
    pub symbol: String,
    /// As understood.
    pub chord: Chord,
    /// The scale it takes.
    pub scale: Scale,
}

/// Some bars of a line and its arrival in the next.
#[derive(Clone, Debug, PartialEq)]
pub struct Excerpt {
    /// One meter throughout.
    pub meter: Meter,
    /// Whole bars, the arrival's not counted.
    pub bars: usize,
    /// The chords in order; the first starts at beat 0.
    pub chords: Vec<PlacedChord>,
    /// A note for each beat, and one more: the arrival.
    pub notes: Vec<Pitch>,
    /// Bar of the chart in which it starts, from 1.
    pub chart_bar: u32,
}

impl Excerpt {
    /// `bars` bars of a line from bar `first` (from 1) on; `scales` has one for each span of the chorus. None
    /// unless they and the next bar are of one meter, with one plain note and a chord of three tones or more
    /// on every beat.
    pub fn cut(
        chorus: &Chorus,
        scales: &[Scale],
        line: &[LineNote],
        first: usize,
        bars: usize,
    ) -> Option<Excerpt> {
        let window = chorus.bars.get(first - 1..first + bars)?;
        let meter = &window[0].meter;
        let start = window[0].first_beat;
        let beats = start..start + bars * usize::from(meter.beats()) + 1;
        if window.iter().any(|bar| bar.meter != *meter) {
            return None;
        }
        let chords = chords_of(chorus, scales, beats.clone())?;
        let from = line.partition_point(|note| (note.bar as usize) < first);
        let notes = line.get(from..from + beats.len())?;
        let plain = notes.iter().zip(beats.clone()).all(|(note, beat)| {
            note.start == chorus.ticks_at(beat) && note.length == note.beat_length && !note.ghost
        });
        plain.then(|| Excerpt {
            meter: meter.clone(),
            bars,
            chords,
            notes: notes.iter().map(|note| note.pitch).collect(),
            chart_bar: window[0].number,
        })
    }

    /// Beats in a bar.
    pub fn bar_beats(&self) -> usize {
        usize::from(self.meter.beats())
    }

    /// The beat of the arrival, which is the last.
    pub fn goal(&self) -> usize {
        self.notes.len() - 1
    }

    /// The chord that sounds at a beat.
    pub fn chord_at(&self, beat: usize) -> &PlacedChord {
        let next = self.chords.partition_point(|placed| placed.start <= beat);
        &self.chords[next - 1]
    }

    /// Whether a chord enters at that beat.
    pub fn is_arrival(&self, beat: usize) -> bool {
        self.chord_at(beat).start == beat
    }

    /// Whether that beat must spell the chord: strong, medium or an arrival.
    pub fn is_stressed(&self, beat: usize) -> bool {
        self.is_arrival(beat) || self.meter.strength(beat % self.bar_beats()) != Strength::Weak
    }

    /// Whether `pitch` is a chord tone at a beat.
    pub fn spells(&self, beat: usize, pitch: Pitch) -> bool {
        let chord = &self.chord_at(beat).chord;
        let chroma = pitch.name().chroma();
        chord
            .chord_tones()
            .iter()
            .any(|tone| tone.name.chroma() == chroma)
            || (self.is_arrival(beat) && chord.bass().chroma() == chroma)
    }

    /// Whether every bar, the arrival's too, opens with a chord of its own and holds no other.
    pub fn is_one_chord_a_bar(&self) -> bool {
        self.chords.len() == self.bars + 1
            && self
                .chords
                .iter()
                .all(|placed| placed.start % self.bar_beats() == 0)
    }

    /// Bar and beat, both from 1, of a beat counted from 0.
    pub fn place(&self, beat: usize) -> (usize, usize) {
        (beat / self.bar_beats() + 1, beat % self.bar_beats() + 1)
    }

    /// The same excerpt with other notes from beat `start` on.
    pub fn with(&self, start: usize, notes: &[Pitch]) -> Excerpt {
        let mut changed = self.clone();
        changed.notes[start..start + notes.len()].copy_from_slice(notes);
        changed
    }

    /// Whether the line keeps to the range and to the rules on leaps, repeated notes and the seam that a
    /// change of single notes could break (`playable` and `root-to-seventh` of the walker).
    pub fn is_playable(&self, range: &Range<i16>) -> bool {
        let keys: Vec<i16> = self.notes.iter().map(|note| note.midi()).collect();
        let moves: Vec<i16> = keys.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let turns_back = |pair: &[i16]| match pair[0] {
            8..=11 => pair[1] < 0,
            -11..=-8 => pair[1] > 0,
            0 => pair[1] != 0,
            _ => true,
        };
        keys.iter().all(|key| range.contains(key))
            && moves.iter().all(|distance| distance.abs() <= 12)
            && moves.windows(2).all(turns_back)
            && (0..self.chords.len()).all(|at| self.keeps_below_seam(at, &keys))
    }

    fn keeps_below_seam(&self, at: usize, keys: &[i16]) -> bool {
        let placed = &self.chords[at];
        let end = self
            .chords
            .get(at + 1)
            .map_or(keys.len(), |next| next.start);
        let span = &keys[placed.start..end];
        let root = i16::from(placed.chord.root().chroma());
        let top_root = span.iter().filter(|&&key| key.rem_euclid(12) == root).max();
        let Some(base) = top_root.or(span.first()) else {
            return true;
        };
        span.iter()
            .all(|&key| key <= base + i16::from(placed.chord.seventh()))
    }
}

/// The chords under some beats, the first of them moved to the first beat. None where there is silence of
/// harmony or a chord of fewer than three tones.
fn chords_of(chorus: &Chorus, scales: &[Scale], beats: Range<usize>) -> Option<Vec<PlacedChord>> {
    let mut chords: Vec<PlacedChord> = Vec::new();
    for (at, beat) in beats.clone().enumerate() {
        let index = chorus.span_at(beat);
        let span = &chorus.spans[index];
        if at > 0 && span.start != beat {
            continue;
        }
        let chord = span.chord.clone()?;
        if chord.chord_tones().len() < 3 {
            return None;
        }
        chords.push(PlacedChord {
            start: at,
            symbol: span.symbol.clone(),
            chord,
            scale: *scales.get(index)?,
        });
    }
    Some(chords)
}

/// The chord's tone of that part, as a name.
pub fn tone(chord: &Chord, part: Part) -> Option<NoteName> {
    let tones = chord.chord_tones();
    tones
        .iter()
        .find(|tone| tone.part == part)
        .map(|tone| tone.name)
}
