//! The music as it is written down: bars of values with their signs, ties, chords and marks.
//!
//! Everything that is put on paper or on the page is made from a [`Music`]; it decides what a reader
//! sees, and the writers of files only how it is drawn or encoded.

use super::{
    accidental::{Accidentals, Sign},
    written_values::{self, SoundingSpan, Value, WrittenPiece},
};
use crate::outputs::marks::{self, Mark};
use endpin_theory::{
    Chord, Interval, Key, Meter, Pitch, Ticks,
    chart::{Chorus, Feel, Place},
};
use endpin_walker::{ChorusLine, Hand, LineNote, Tablature};

/// A whole piece, unrolled: all choruses and the ending.
#[derive(Clone, Debug)]
pub struct Music {
    /// What the tune is called.
    pub title: String,
    /// Who wrote it, if that is to be said.
    pub by: Option<String>,
    /// Whether eighths are swung.
    pub swing: bool,
    /// The bars in playing order.
    pub measures: Vec<Measure>,
    /// The notes that the bars refer to.
    pub notes: Vec<LineNote>,
    /// The mark of each note.
    pub marks: Vec<Mark>,
    /// How far above their sound the notes are written, besides the octave of the bass.
    pub transposed: Interval,
    /// Where the notes lie on the neck, if the instrument reaches them all.
    pub tablature: Option<Tablature>,
}

/// One bar.
#[derive(Clone, Debug)]
pub struct Measure {
    /// Its chorus, from 1; 0 is the intro.
    pub chorus: u32,
    /// Its number in the chorus, from 1; those of a tag come after those of the form.
    pub number: u32,
    /// The key of its chorus, whose signature is written.
    pub key: Key,
    /// Its meter.
    pub meter: Meter,
    /// Its feel.
    pub feel: Feel,
    /// Quarter notes a minute.
    pub tempo: f64,
    /// What stands over the section that opens here, if one does: its name, or Intro, Tag.
    pub section: Option<String>,
    /// Whether a chorus opens here.
    pub opens_chorus: bool,
    /// Whether it is the ending, the bar after the last chorus.
    pub is_ending: bool,
    /// What stands at its end.
    pub barline: Barline,
    /// Chord symbols where they enter.
    pub chords: Vec<ChordMark>,
    /// Notes and rests, filling the bar.
    pub events: Vec<WrittenEvent>,
}

/// What stands at the end of a bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Barline {
    /// A thin line.
    Plain,
    /// Two: a section or a chorus ends.
    Section,
    /// Thin and thick: all ends.
    Final,
}

/// A chord symbol where it enters.
#[derive(Clone, Debug)]
pub struct ChordMark {
    /// Where, from the start of the bar.
    pub at: Ticks,
    /// The symbol as written, or `N.C.`.
    pub symbol: String,
    /// The chord; none is `N.C.`.
    pub chord: Option<Chord>,
}

/// A written note or rest.
#[derive(Clone, Debug)]
pub struct WrittenEvent {
    /// Where it starts, from the start of the bar.
    pub start: Ticks,
    /// How it is written.
    pub value: Value,
    /// The note; none is a rest.
    pub note: Option<Head>,
}

/// The head of a written note.
#[derive(Clone, Debug)]
pub struct Head {
    /// Which of [`Music::notes`] it is or belongs to.
    pub index: usize,
    /// The pitch as it sounds; it is written an octave higher.
    pub pitch: Pitch,
    /// The sign in front of it.
    pub sign: Option<Sign>,
    /// Whether it is tied from the head before.
    pub tied_back: bool,
    /// Whether it is tied to the head that follows.
    pub tied_on: bool,
    /// Whether it is a ghost note.
    pub ghost: bool,
    /// Whether it is left out for a student to write.
    pub blank: bool,
}

impl Measure {
    /// The events as pieces, for beaming.
    pub fn pieces(&self) -> Vec<WrittenPiece> {
        let piece = |event: &WrittenEvent| WrittenPiece {
            start: event.start,
            value: event.value,
            note: event.note.as_ref().map(|head| head.index),
            tied: event.note.as_ref().is_some_and(|head| head.tied_on),
        };
        self.events.iter().map(piece).collect()
    }

    /// Whether the bar is silent.
    pub fn is_empty(&self) -> bool {
        self.events.iter().all(|event| event.note.is_none())
    }
}

/// A chorus as played: the form, unrolled, and the line over it.
pub type PlayedChorus<'a> = (&'a Chorus, &'a ChorusLine);

impl Music {
    /// Writes down choruses of a line, and the ending if there is one, and places them on the neck.
    pub fn new(
        played: &[PlayedChorus],
        ending: Option<&LineNote>,
        swing: bool,
        hand: &Hand,
    ) -> Music {
        let mut signs = Accidentals::new(0);
        let mut measures = Vec::new();
        let mut notes: Vec<LineNote> = Vec::new();
        for (chorus, line) in played {
            signs.start(chorus.key.signature());
            let first = notes.len();
            notes.extend(line.notes.iter().cloned());
            let of_chorus = first..notes.len();
            for index in 0..chorus.bars.len() {
                let of_chorus = of_chorus.clone();
                measures.push(bar(
                    chorus,
                    index,
                    line.chorus,
                    &notes,
                    of_chorus,
                    &mut signs,
                ));
            }
        }
        let last = played.last().map(|(chorus, _)| *chorus);
        if let (Some(chorus), Some(note)) = (last, ending) {
            notes.push(note.clone());
            measures.push(ending_bar(chorus, &notes, notes.len() - 1, &mut signs));
        }
        close_bars(&mut measures);
        Music {
            title: last.map_or_else(String::new, |chorus| chorus.title.clone()),
            by: None,
            swing,
            transposed: Interval::new(0, 0),
            measures,
            tablature: Tablature::of(hand, played.iter().map(|(_, line)| &line.notes[..]), ending),
            marks: marks::of(&notes),
            notes,
        }
    }
}

impl Music {
    /// The same music with some of its notes, by their index, left out for a student to write; those under a
    /// beam stay.
    pub fn blanked(&self, left_out: impl Fn(usize) -> bool) -> Music {
        let mut music = self.clone();
        let mut signs = Accidentals::new(0);
        for measure in &mut music.measures {
            signs.start(measure.key.signature());
            signs.next_bar();
            for event in &mut measure.events {
                let is_plain = event.value.flags() == 0;
                let Some(head) = &mut event.note else {
                    continue;
                };
                head.blank = is_plain && left_out(head.index);
                // What is left out tells nothing by its sign, and leaves the signs of others as they need to be.
                head.sign = match head.blank || head.tied_back {
                    true => None,
                    false => signs.next(head.pitch),
                };
            }
        }
        music
    }
}

/// Sets the bar lines: double before a new section and before the ending, final at the end.
fn close_bars(measures: &mut [Measure]) {
    for index in 0..measures.len() {
        measures[index].barline = match measures.get(index + 1) {
            None => Barline::Final,
            Some(next) if next.section.is_some() || next.is_ending => Barline::Section,
            Some(_) => Barline::Plain,
        };
    }
}

fn bar(
    chorus: &Chorus,
    index: usize,
    number: u32,
    notes: &[LineNote],
    of_chorus: std::ops::Range<usize>,
    signs: &mut Accidentals,
) -> Measure {
    let bar = &chorus.bars[index];
    let (start, end) = (bar.start, bar.start + bar.meter.bar_ticks());
    let sounding: Vec<SoundingSpan> = of_chorus
        .filter(|&note| notes[note].start < end && notes[note].start + notes[note].length > start)
        .map(|note| {
            let (from, to) = (notes[note].start, notes[note].start + notes[note].length);
            (
                Ticks((from.0 - start.0).max(0)),
                Ticks((to.0 - start.0).min(end.0 - start.0)),
                note,
            )
        })
        .collect();
    let pieces = written_values::notate(&bar.meter, &sounding);
    let chords = chorus
        .spans
        .iter()
        .filter(|span| span.bar == bar.number)
        .map(|span| ChordMark {
            at: bar.meter.beat_ticks() * i64::from(span.beat - 1),
            symbol: span.symbol.clone(),
            chord: span.chord.clone(),
        });
    signs.next_bar();
    Measure {
        chorus: number,
        number: bar.number,
        key: chorus.key,
        meter: bar.meter.clone(),
        feel: bar.feel,
        tempo: bar.tempo,
        section: bar.opens_section.then(|| bar.heading().to_owned()),
        opens_chorus: index == 0 && bar.place == Place::Form,
        is_ending: false,
        barline: Barline::Plain,
        chords: chords.collect(),
        events: events(&pieces, notes, start, end, signs),
    }
}

/// Pieces as events: pitches, ties into and out of the bar, signs where needed.
fn events(
    pieces: &[WrittenPiece],
    notes: &[LineNote],
    start: Ticks,
    end: Ticks,
    signs: &mut Accidentals,
) -> Vec<WrittenEvent> {
    let mut events: Vec<WrittenEvent> = Vec::with_capacity(pieces.len());
    for piece in pieces {
        let head = piece.note.map(|index| {
            let note = &notes[index];
            let before = events.last().and_then(|event| event.note.as_ref());
            let from_before = note.start < start && piece.start == Ticks(0);
            let tied_back = from_before || before.is_some_and(|head| head.index == index);
            let reaches_end = start + piece.start + piece.value.ticks() == end;
            Head {
                index,
                pitch: note.pitch,
                // A note tied over the bar line keeps its sign unwritten.
                sign: if tied_back {
                    None
                } else {
                    signs.next(note.pitch)
                },
                tied_back,
                tied_on: piece.tied || (reaches_end && note.start + note.length > end),
                ghost: note.ghost,
                blank: false,
            }
        });
        events.push(WrittenEvent {
            start: piece.start,
            value: piece.value,
            note: head,
        });
    }
    events
}

/// The ending bar: one note under the home chord, in the meter of the last bar.
fn ending_bar(
    chorus: &Chorus,
    notes: &[LineNote],
    index: usize,
    signs: &mut Accidentals,
) -> Measure {
    let note = &notes[index];
    let last = &chorus.bars[chorus.bars.len() - 1];
    let length = last.meter.bar_ticks();
    let pieces = written_values::notate(&last.meter, &[(Ticks(0), note.length.min(length), index)]);
    signs.next_bar();
    Measure {
        chorus: note.chorus,
        number: last.number + 1,
        key: chorus.key,
        meter: last.meter.clone(),
        feel: last.feel,
        tempo: last.tempo,
        section: None,
        opens_chorus: false,
        is_ending: true,
        barline: Barline::Plain,
        chords: vec![ChordMark {
            at: Ticks(0),
            symbol: note.chord.clone(),
            chord: note.chord.parse().ok(),
        }],
        events: events(&pieces, notes, note.start, note.start + length, signs),
    }
}
