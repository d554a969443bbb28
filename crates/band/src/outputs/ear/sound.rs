//! How a question sounds: the tonic, a count-in, the excerpt, and a bell at the place asked about.
//!
//! All notes of a part have one velocity and, by beats, one length; the comp's rhythm follows the chords and
//! never the bass. Two questions of one kind, length and meter differ in their keys only.

use super::{
    excerpt::{Excerpt, PlacedChord, tone},
    kind::QuestionKind,
    vary::{Colour, Variant},
};
use crate::{
    performance::score::{Mark, Part, PartName, Score, ScoreNote, midi_key},
    players::drums::percussion,
};
use endpin_theory::{Interval, Key, Mode, NoteName, Part as Tone, Pitch, Strength, Ticks};

/// Which parts play besides the bass. The count-in and the bell always sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct With {
    /// Whether there are chords above the line.
    pub comp: bool,
    /// Whether a drummer keeps time.
    pub time: bool,
}

/// How a question is played, whatever its answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Playing {
    /// The home key, whose tonic is sounded first.
    pub key: Key,
    /// Quarter notes a minute.
    pub tempo: u16,
    /// Who plays.
    pub with: With,
    /// The highest key that the bass might use, above whose roots the comp stays.
    pub highest: i16,
}

/// A bell on the beat asked about (open triangle of General MIDI level 1; from memory).
pub const BELL: u8 = 81;
/// Bars before the excerpt: the tonic and the count-in.
pub const BARS_BEFORE: usize = 2;

const BASS: u8 = 92;
const COMP: u8 = 58;
const CLICK: u8 = 84;
const TIME: u8 = 52;
const RING: u8 = 112;

/// The performance of a question, as the learner gets it, or with what it leaves out (`whole`).
pub fn score(kind: QuestionKind, variant: &Variant, playing: &Playing, whole: bool) -> Score {
    let (excerpt, second) = (&variant.excerpt, &variant.second);
    let again = excerpt.goal() + excerpt.bar_beats();
    let lines: Vec<(usize, &[Pitch])> = std::iter::once((0, &excerpt.notes[..]))
        .chain(second.as_ref().map(|notes| (again, &notes[..])))
        .collect();
    let score = QuestionScore {
        variant,
        playing,
        lines,
    };
    let (hides_goal, rings) = (kind == QuestionKind::NextRoot && !whole, rings(kind));
    let parts = [
        (PartName::Bass, Some(score.bass(hides_goal))),
        (PartName::Comp, score.comp()),
        (PartName::Time, Some(score.time(rings))),
    ];
    Score {
        title: "Question".to_owned(),
        parts: parts
            .into_iter()
            .filter_map(|(name, notes)| Some(Part::new(name, notes?)))
            .collect(),
        conductor: score.marks(),
        end: score.at(score.lines.len() * again),
    }
}

/// Whether a question of the kind has a bell at the place asked about.
fn rings(kind: QuestionKind) -> bool {
    matches!(
        kind,
        QuestionKind::Approach
            | QuestionKind::ChordTone
            | QuestionKind::Dictation
            | QuestionKind::NextRoot
    )
}

/// A question as it is put together.
struct QuestionScore<'a> {
    variant: &'a Variant,
    playing: &'a Playing,
    /// What the bass plays, once or twice, and the beat of the performance on which it starts.
    lines: Vec<(usize, &'a [Pitch])>,
}

impl QuestionScore<'_> {
    fn beat(&self) -> Ticks {
        self.variant.excerpt.meter.beat_ticks()
    }

    fn bar(&self) -> Ticks {
        self.variant.excerpt.meter.bar_ticks()
    }

    /// Where a beat of the performance starts, counted from behind the count-in.
    fn at(&self, beats: usize) -> Ticks {
        self.bar() * BARS_BEFORE as i64 + self.beat() * beats as i64
    }

    /// The tonic, then the line, without its last note if that is what is asked for.
    fn bass(&self, hides_goal: bool) -> Vec<ScoreNote> {
        let tonic = note(Ticks::ZERO, self.bar(), tonic(self.playing.key), BASS);
        let lines = self.lines.iter().flat_map(|&(from, notes)| {
            let sounding = notes.len() - usize::from(hides_goal);
            let notes = notes[..sounding].iter().enumerate();
            notes.map(move |(index, pitch)| {
                note(self.at(from + index), self.beat(), midi_key(*pitch), BASS)
            })
        });
        std::iter::once(tonic).chain(lines).collect()
    }

    /// The tonic triad, then the chords of the excerpt.
    fn comp(&self) -> Option<Vec<ScoreNote>> {
        let triad = chord_of(self.playing)?.map(|key| note(Ticks::ZERO, self.bar(), key, COMP));
        let mut comp = triad.to_vec();
        for (from, _) in &self.lines {
            let (excerpt, colour) = (&self.variant.excerpt, self.variant.colour);
            for (start, length, keys) in chords(excerpt, colour, self.playing.highest) {
                let (at, length) = (self.at(from + start), self.beat() * length as i64);
                comp.extend(keys.into_iter().map(|key| note(at, length, key, COMP)));
            }
        }
        Some(comp)
    }

    /// The count-in, the drummer if there is one, and the bell.
    fn time(&self, rings: bool) -> Vec<ScoreNote> {
        let (excerpt, beat) = (&self.variant.excerpt, self.beat());
        let click = |count: usize| {
            let key = match count {
                0 => percussion::CLICK_HIGH,
                _ => percussion::CLICK_LOW,
            };
            note(self.bar() + beat * count as i64, beat, key, CLICK)
        };
        let mut time: Vec<ScoreNote> = (0..excerpt.bar_beats()).map(click).collect();
        for (from, _) in self.lines.iter().filter(|_| self.playing.with.time) {
            for index in 0..excerpt.goal() {
                let in_bar = index % excerpt.bar_beats();
                let is_weak = excerpt.meter.strength(in_bar) == Strength::Weak;
                let ride = std::iter::once(percussion::RIDE)
                    .chain(is_weak.then_some(percussion::PEDAL_HAT));
                time.extend(ride.map(|key| note(self.at(from + index), beat, key, TIME)));
            }
        }
        let bell = self.variant.beat.filter(|_| rings);
        time.extend(bell.map(|place| note(self.at(place), beat, BELL, RING)));
        time
    }

    fn marks(&self) -> Vec<(Ticks, Mark)> {
        let (playing, meter) = (self.playing, &self.variant.excerpt.meter);
        let marker = |ticks, text: &str| (ticks, Mark::Marker(text.to_owned()));
        let mut marks = vec![
            (Ticks::ZERO, Mark::Tempo(f64::from(playing.tempo))),
            (Ticks::ZERO, Mark::Meter(meter.clone())),
            (Ticks::ZERO, Mark::Key(playing.key.into())),
            marker(Ticks::ZERO, "Tonic"),
            marker(meter.bar_ticks(), "Count-in"),
        ];
        let lines = self.lines.iter().zip(["Bar 1", "Again"]);
        marks.extend(lines.map(|((from, _), text)| marker(self.at(*from), text)));
        marks
    }
}

/// A note held for nine tenths of its time.
fn note(start: Ticks, length: Ticks, key: u8, velocity: u8) -> ScoreNote {
    ScoreNote {
        start,
        length: Ticks(length.0 * 9 / 10),
        key,
        velocity,
    }
}

/// The tonic between C2 and B2.
fn tonic(key: Key) -> u8 {
    36 + key.tonic.chroma()
}

/// The tonic triad above C4, if there is a comp.
fn chord_of(playing: &Playing) -> Option<[u8; 3]> {
    let third = match playing.key.mode {
        Mode::Major => 4,
        Mode::Minor => 3,
    };
    playing
        .with
        .comp
        .then(|| [0, third, 7].map(|above| 60 + playing.key.tonic.chroma() + above))
}

/// First beat, length in beats and keys of every attack: at each chord and each bar line, the arrival too.
fn chords(excerpt: &Excerpt, colour: Colour, highest: i16) -> Vec<(usize, usize, Vec<u8>)> {
    let beats = excerpt.bar_beats();
    let attacks: Vec<usize> = (0..=excerpt.goal())
        .filter(|&beat| beat % beats == 0 || excerpt.is_arrival(beat))
        .collect();
    let ends = attacks.iter().skip(1).copied().chain([excerpt.goal() + 1]);
    attacks
        .iter()
        .zip(ends)
        .map(|(&start, end)| {
            let keys = voicing(excerpt.chord_at(start), colour, highest);
            (start, end - start, keys)
        })
        .collect()
}

/// A voicing at or above the highest seam that the chord can have under a bass that ends at `highest`, so
/// that it does not depend on what the bass plays.
fn voicing(placed: &PlacedChord, colour: Colour, highest: i16) -> Vec<u8> {
    let chord = &placed.chord;
    let root = chord.root();
    let top_root = highest - (highest - i16::from(root.chroma())).rem_euclid(12);
    let floor = top_root + i16::from(chord.seventh());
    let first = |parts: &[Tone]| parts.iter().find_map(|&part| tone(chord, part));
    let third = first(&[Tone::Third, Tone::Fourth, Tone::Fifth]);
    let seventh = first(&[Tone::Seventh, Tone::Sixth, Tone::Fifth]);
    let (Some(third), Some(seventh)) = (third, seventh) else {
        return Vec::new();
    };
    let from = |name: NoteName, key: i16| key + (i16::from(name.chroma()) - key).rem_euclid(12);
    let colours = colours(placed, colour);
    // Two forms, with the third or the seventh lowest; the lower of the two.
    let stack = if from(third, floor) <= from(seventh, floor) {
        [
            Some(third),
            colours.map(|(_, other)| other),
            Some(seventh),
            colours.map(|(ninth, _)| ninth),
        ]
    } else {
        [
            Some(seventh),
            colours.map(|(ninth, _)| ninth),
            Some(third),
            colours.map(|(_, other)| other),
        ]
    };
    let mut key = floor;
    stack
        .into_iter()
        .flatten()
        .map(|name| {
            let at = from(name, key);
            key = at + 1;
            at.clamp(0, 127) as u8
        })
        .collect()
}

/// What a full voicing has besides third and seventh: a ninth (or what stands for it) and a thirteenth or
/// fifth.
fn colours(placed: &PlacedChord, colour: Colour) -> Option<(NoteName, NoteName)> {
    let chord = &placed.chord;
    let above = |steps, semitones| chord.root() + Interval::new(steps, semitones);
    let fifth = tone(chord, Tone::Fifth).unwrap_or(above(4, 7));
    match (colour, chord.is_dominant()) {
        (Colour::Shell, _) => None,
        (Colour::Plain, true) => Some((above(1, 2), above(5, 9))),
        (Colour::Altered, true) => Some((above(1, 1), above(5, 8))),
        // A ninth outside the scale gives way to the fourth.
        (_, false) if placed.scale.contains(above(1, 2).chroma()) => Some((above(1, 2), fifth)),
        (_, false) => Some((above(3, 5), fifth)),
    }
}
