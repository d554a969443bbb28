//! How a question sounds: the tonic, a count-in, the passage, and a bell at the place asked about.
//!
//! All notes of a part have one velocity and, by beats, one length; the comp's rhythm follows the chords and
//! never the bass. Two questions of one kind, length and meter differ in their keys only.

use super::{
    kind::Kind,
    passage::{Passage, Placed, tone},
    vary::{Colour, Variant},
};
use crate::{
    score::{KeySignature, Mark, Part, PartName, Score, ScoreNote},
    time::sound,
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
/// Bars before the passage: the tonic and the count-in.
pub const BARS_BEFORE: usize = 2;

const BASS: u8 = 92;
const COMP: u8 = 58;
const CLICK: u8 = 84;
const TIME: u8 = 52;
const RING: u8 = 112;

/// The performance of a question, as the learner gets it, or with what it leaves out (`whole`).
pub fn score(kind: Kind, variant: &Variant, playing: &Playing, whole: bool) -> Score {
    let passage = &variant.passage;
    let meter = &passage.meter;
    let (beat, bar) = (meter.beat_ticks(), meter.bar_ticks());
    let at = |beats: usize| bar * BARS_BEFORE as i64 + beat * beats as i64;
    let again = passage.goal() + passage.bar_beats();
    let times: Vec<(usize, &[Pitch])> = std::iter::once((0, &passage.notes[..]))
        .chain(variant.second.as_ref().map(|notes| (again, &notes[..])))
        .collect();

    let silent_goal = kind == Kind::NextRoot && !whole;
    let mut bass = vec![note(Ticks::ZERO, bar, tonic(playing.key), BASS)];
    let mut comp =
        chord_of(playing).map(|keys| keys.map(|key| note(Ticks::ZERO, bar, key, COMP)).to_vec());
    let mut time: Vec<ScoreNote> = (0..passage.bar_beats())
        .map(|count| {
            let click = if count == 0 {
                sound::CLICK_HIGH
            } else {
                sound::CLICK_LOW
            };
            note(bar + beat * count as i64, beat, click, CLICK)
        })
        .collect();
    for &(from, notes) in &times {
        let sounding = notes.len() - usize::from(silent_goal);
        bass.extend(
            notes[..sounding]
                .iter()
                .enumerate()
                .map(|(index, pitch)| note(at(from + index), beat, key_of(*pitch), BASS)),
        );
        if let Some(comp) = &mut comp {
            comp.extend(
                chords(passage, variant.colour, playing.highest)
                    .into_iter()
                    .flat_map(|(start, length, keys)| {
                        keys.into_iter()
                            .map(move |key| note(at(from + start), beat * length as i64, key, COMP))
                    }),
            );
        }
        if playing.with.time {
            time.extend((0..passage.goal()).flat_map(|index| {
                let weak = meter.strength(index % passage.bar_beats()) == Strength::Weak;
                let ride = std::iter::once(sound::RIDE).chain(weak.then_some(sound::PEDAL_HAT));
                ride.map(move |key| note(at(from + index), beat, key, TIME))
            }));
        }
    }
    let rings = matches!(
        kind,
        Kind::Approach | Kind::ChordTone | Kind::Dictation | Kind::NextRoot
    );
    if let (Some(place), true) = (variant.beat, rings) {
        time.push(note(at(place), beat, BELL, RING));
    }

    let parts = [
        (PartName::Bass, Some(bass)),
        (PartName::Comp, comp),
        (PartName::Time, Some(time)),
    ];
    Score {
        title: "Question".to_owned(),
        parts: parts
            .into_iter()
            .filter_map(|(name, notes)| Some(Part::new(name, notes?)))
            .collect(),
        conductor: marks(passage, playing, &times, at),
        end: at(times.len() * again),
    }
}

fn marks(
    passage: &Passage,
    playing: &Playing,
    times: &[(usize, &[Pitch])],
    at: impl Fn(usize) -> Ticks,
) -> Vec<(Ticks, Mark)> {
    let marker = |ticks, text: &str| (ticks, Mark::Marker(text.to_owned()));
    let signature = KeySignature {
        sharps: playing.key.signature(),
        minor: playing.key.mode == Mode::Minor,
    };
    let mut marks = vec![
        (Ticks::ZERO, Mark::Tempo(f64::from(playing.tempo))),
        (Ticks::ZERO, Mark::Meter(passage.meter.clone())),
        (Ticks::ZERO, Mark::Key(signature)),
        marker(Ticks::ZERO, "Tonic"),
        marker(passage.meter.bar_ticks(), "Count-in"),
    ];
    marks.extend(
        times
            .iter()
            .zip(["Bar 1", "Again"])
            .map(|((from, _), text)| marker(at(*from), text)),
    );
    marks
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

fn key_of(pitch: Pitch) -> u8 {
    pitch.midi().clamp(0, 127) as u8
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
fn chords(passage: &Passage, colour: Colour, highest: i16) -> Vec<(usize, usize, Vec<u8>)> {
    let beats = passage.bar_beats();
    let attacks: Vec<usize> = (0..=passage.goal())
        .filter(|&beat| beat % beats == 0 || passage.is_arrival(beat))
        .collect();
    let ends = attacks.iter().skip(1).copied().chain([passage.goal() + 1]);
    attacks
        .iter()
        .zip(ends)
        .map(|(&start, end)| {
            let keys = voicing(passage.chord_at(start), colour, highest);
            (start, end - start, keys)
        })
        .collect()
}

/// A voicing at or above the highest seam that the chord can have under a bass that ends at `highest`, so
/// that it does not depend on what the bass plays.
fn voicing(placed: &Placed, colour: Colour, highest: i16) -> Vec<u8> {
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
fn colours(placed: &Placed, colour: Colour) -> Option<(NoteName, NoteName)> {
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
