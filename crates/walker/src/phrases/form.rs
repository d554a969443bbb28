//! A chorus as phrases see it: which bars may take up which, and where phrases begin.

use crate::{
    line::{
        feels::{FeelRow, Pulse},
        layout::{Layout, Slot},
    },
    options::Level,
    plan::Development,
    rules::{Sound, Within},
};
use endpin_theory::{Ticks, chart::Bar};
use std::ops::Range;

/// Bars of a phrase, unless its section leaves fewer (or one more) at its end: common practice, no source.
const PHRASE: usize = 4;

/// A bar of the form.
#[derive(Clone, Debug)]
pub(crate) struct FormBar {
    /// Its onsets.
    pub slots: Range<usize>,
    /// Whether phrases may take it up: it walks throughout, and a chord sounds throughout.
    pub walks: bool,
    /// Whether a chord sounds throughout and no rest is written.
    pub sounds: bool,
    /// Whether notes may stand between its beats.
    pub has_options: bool,
    /// Its length, its beats, and where its chords enter, from its start.
    skeleton: (Ticks, u8, Vec<Ticks>),
    /// The chord of each of these places: key of the octave of its root, and its tones above that.
    chords: Vec<(u8, Vec<u8>)>,
}

impl FormBar {
    fn of(layout: &Layout, bar: &Bar, slots: Range<usize>, development: Development) -> FormBar {
        let feel = FeelRow::of(bar, development);
        let of_bar = &layout.slots[slots.clone()];
        let mut enters: Vec<Ticks> = Vec::new();
        let mut chords = Vec::new();
        let mut span = None;
        for slot in of_bar {
            if span.replace(slot.span) != Some(slot.span) {
                let root = slot.onset.root;
                let tones = &layout.harmonies[slot.span].tones;
                let above = |key: u8| (key + 12 - root) % 12;
                let tones = tones.iter().map(|tone| above(tone.name.chroma()));
                enters.push(slot.in_bar);
                chords.push((root, tones.collect()));
            }
        }
        let strikes =
            |slot: &&Slot| slot.onset.within == Within::Beat && slot.onset.sound == Sound::Note;
        let sounds =
            !of_bar.is_empty() && of_bar.iter().all(|slot| slot.onset.sound != Sound::Rest);
        FormBar {
            walks: feel.pulse == Pulse::Beats
                && !feel.holds
                && sounds
                && of_bar.iter().filter(|slot| strikes(slot)).count()
                    == usize::from(bar.meter.beats()),
            sounds,
            has_options: of_bar.iter().any(|slot| slot.onset.sound == Sound::Option),
            skeleton: (bar.meter.bar_ticks(), bar.meter.beats(), enters),
            slots,
            chords,
        }
    }

    /// Whether its beats and the entries of its chords lie as those of another bar.
    pub fn lies_as(&self, other: &FormBar) -> bool {
        self.walks && other.walks && self.skeleton == other.skeleton
    }

    /// How its chords stand to those of another bar that lies as it does.
    pub fn relation(&self, other: &FormBar) -> Relation {
        let mut pairs = self.chords.iter().zip(&other.chords);
        if self.chords == other.chords {
            return Relation::Same;
        }
        let by = |one: u8, other: u8| (one + 12 - other) % 12;
        let moved = by(self.chords[0].0, other.chords[0].0);
        match pairs.all(|(one, other)| by(one.0, other.0) == moved && one.1 == other.1) {
            true => Relation::Moved,
            false => Relation::Other,
        }
    }

    /// Semitones by which the root of its first chord lies above that of another bar, 0 to 11.
    pub fn root_above(&self, other: &FormBar) -> i16 {
        (i16::from(self.chords[0].0) - i16::from(other.chords[0].0)).rem_euclid(12)
    }

    /// Key of the octave of the root of its first chord.
    pub fn root(&self) -> u8 {
        self.chords[0].0
    }
}

/// How the chords of one bar stand to those of another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Relation {
    /// The same chords.
    Same,
    /// The same on other roots.
    Moved,
    /// Other ones.
    Other,
}

/// A chorus of a plan as phrases see it.
#[derive(Clone, Debug)]
pub(crate) struct Form {
    /// Its bars.
    pub bars: Vec<FormBar>,
    /// Its phrases, as ranges of bars from 0.
    pub phrases: Vec<Range<usize>>,
    /// For each span the number (1 to 7) of each key of the octave over its chord, 0 for what is in neither chord
    /// nor scale.
    numbers: Vec<[u8; 12]>,
}

impl Form {
    pub fn of(layout: &Layout, development: Development) -> Form {
        let mut first = 0;
        let bars = layout.bars.iter().map(|bar| {
            let last = first
                + layout.slots[first..]
                    .iter()
                    .take_while(|slot| slot.bar == bar.number)
                    .count();
            let slots = first..last;
            first = last;
            FormBar::of(layout, bar, slots, development)
        });
        let numbers = layout.harmonies.iter().map(|harmony| {
            let number = |chroma: usize| {
                let name = harmony.own_name(chroma as u8);
                name.map_or(0, |name| harmony.degree(chroma as u8, name).number())
            };
            std::array::from_fn(number)
        });
        Form {
            bars: bars.collect(),
            phrases: phrases(&layout.bars),
            numbers: numbers.collect(),
        }
    }

    /// Whether lines of this level have phrases of themselves.
    pub fn has_phrases(level: Level) -> bool {
        level >= Level::DOMINANTS
    }

    /// The number of a key over the chord of a span, 1 to 7; 0 for what is in neither chord nor scale.
    pub fn number(&self, span: usize, key: u8) -> u8 {
        self.numbers[span][usize::from(key % 12)]
    }

    /// The key of the octave that has this number over the chord of a span: the chord's own, else the scale's.
    pub fn chroma(&self, span: usize, number: u8) -> Option<u8> {
        let found = self.numbers[span].iter().position(|&own| own == number);
        found.map(|chroma| chroma as u8)
    }
}

/// Phrases of four bars from the beginning of each section on; one bar that is left over belongs to the last.
fn phrases(bars: &[Bar]) -> Vec<Range<usize>> {
    let mut phrases: Vec<Range<usize>> = Vec::new();
    for (number, bar) in bars.iter().enumerate() {
        match phrases.last_mut() {
            Some(phrase) if !bar.opens_section && phrase.len() < PHRASE => phrase.end += 1,
            Some(phrase) if !bar.opens_section && is_last_of_section(bars, number) => {
                phrase.end += 1;
            }
            _ => phrases.push(number..number + 1),
        }
    }
    phrases
}

fn is_last_of_section(bars: &[Bar], number: usize) -> bool {
    bars.get(number + 1).is_none_or(|next| next.opens_section)
}
