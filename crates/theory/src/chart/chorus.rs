//! Once through the form: bars in playing order and the spans of their chords.

use super::{Chart, Feel, Harmony, Palette, Place, Section, WrittenBar};
use crate::{Chord, Interval, Key, Meter, NoteName, Strength, Ticks};
use std::collections::{BTreeMap, HashMap};

/// Once through the form of a chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Chorus {
    /// What the tune is called.
    pub title: String,
    /// The home key.
    pub key: Key,
    /// Bars in playing order; never empty.
    pub bars: Vec<Bar>,
    /// Chords in playing order, filling all the beats; never empty.
    pub spans: Vec<Span>,
}

/// A bar of the unrolled form.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// Counted from 1.
    pub number: u32,
    /// Name of its section.
    pub section: String,
    /// Whether a play of its section begins here.
    pub opens_section: bool,
    /// Its meter.
    pub meter: Meter,
    /// Its feel.
    pub feel: Feel,
    /// The note to hold in the feel `pedal`: the one that its section writes, else the first bass after a
    /// slash in its section, else the dominant of the key.
    pub pedal: NoteName,
    /// Quarter notes a minute.
    pub tempo: f64,
    /// Palette that the chart asks for here.
    pub palette: Option<Palette>,
    /// What it belongs to.
    pub place: Place,
    /// Whether the band plays on its first beat alone.
    pub stop_time: bool,
    /// Beats of the chorus before it.
    pub first_beat: usize,
    /// Where it begins, from the start of the chorus.
    pub start: Ticks,
}

impl Bar {
    /// What a reader meets over the first bar of its section: its name, or what it is for.
    pub fn heading(&self) -> &str {
        match self.place {
            Place::Form => &self.section,
            Place::Intro => "Intro",
            Place::Tag => "Tag",
            Place::Ending => "Three times",
        }
    }
}

/// The stretch of beats that one chord lasts.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// The chord symbol as written, or `N.C.`.
    pub symbol: String,
    /// The chord; none is `N.C.`.
    pub chord: Option<Chord>,
    /// Beats of the chorus before its arrival.
    pub start: usize,
    /// Beats it lasts.
    pub beats: usize,
    /// Bar of its arrival, from 1.
    pub bar: u32,
    /// Beat of its arrival in that bar, from 1.
    pub beat: u32,
}

impl Chorus {
    /// Beats in the chorus.
    pub fn beats(&self) -> usize {
        let last = &self.bars[self.bars.len() - 1];
        last.first_beat + usize::from(last.meter.beats())
    }

    /// How many of its bars are of the form: all but those of a tag and of an ending; none of an intro.
    pub fn form_bars(&self) -> usize {
        let of_form = |bar: &&Bar| bar.place == Place::Form;
        self.bars.iter().filter(of_form).count()
    }

    /// Length of the chorus.
    pub fn length(&self) -> Ticks {
        self.bars.iter().map(|bar| bar.meter.bar_ticks()).sum()
    }

    /// The bar in which a beat of the chorus (from 0) stands.
    ///
    /// # Panics
    /// Never for a beat of the chorus; beyond its end the last bar is given.
    pub fn bar_at(&self, beat: usize) -> &Bar {
        let after = self.bars.partition_point(|bar| bar.first_beat <= beat);
        &self.bars[after.max(1) - 1]
    }

    /// Number in `spans` of the chord that sounds at a beat of the chorus (from 0).
    pub fn span_at(&self, beat: usize) -> usize {
        let after = self.spans.partition_point(|span| span.start <= beat);
        after.max(1) - 1
    }

    /// Whether a chord (or `N.C.`) enters at this beat of the chorus.
    pub fn is_arrival(&self, beat: usize) -> bool {
        self.spans[self.span_at(beat)].start == beat
    }

    /// Strength of a beat; an arrival counts as strong wherever it falls.
    pub fn strength(&self, beat: usize) -> Strength {
        if self.is_arrival(beat) {
            return Strength::Strong;
        }
        let bar = self.bar_at(beat);
        bar.meter.strength(beat - bar.first_beat)
    }

    /// Where a beat begins, from the start of the chorus; the beat after the last gives the length.
    pub fn ticks_at(&self, beat: usize) -> Ticks {
        let bar = self.bar_at(beat);
        bar.start + bar.meter.beat_ticks() * (beat - bar.first_beat) as i64
    }

    /// The chord to come home to: the first chord if its root is the tonic.
    pub fn home_chord(&self) -> Option<&Chord> {
        self.spans[0]
            .chord
            .as_ref()
            .filter(|chord| chord.root().chroma() == self.key.tonic.chroma())
    }
}

/// Bars of the sections in playing order, endings in turn.
pub(super) fn bars_in_order(chart: &Chart) -> impl Iterator<Item = (&Section, bool, &WrittenBar)> {
    let mut plays: HashMap<&str, usize> = HashMap::new();
    chart.form.iter().flat_map(move |name| {
        let section = chart.sections.iter().find(|section| section.name == *name);
        section.into_iter().flat_map({
            let play = plays.entry(name).or_insert(0);
            let ending = *play;
            *play += 1;
            move |section: &Section| {
                let ending = match section.endings.len() {
                    0 => &[][..],
                    count => &section.endings[ending % count][..],
                };
                let bars = section.bars.iter().chain(ending).enumerate();
                bars.map(move |(index, bar)| (section, index == 0, bar))
            }
        })
    })
}

/// Where a bar is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct WrittenAt {
    /// Number of its section.
    section: usize,
    /// Number of its ending, if it stands in one.
    ending: Option<usize>,
    /// Number of the bar in there.
    bar: usize,
}

impl Chart {
    /// Where each bar of the unrolled form is written.
    pub(crate) fn written(&self) -> Vec<WrittenAt> {
        let mut plays = vec![0usize; self.sections.len()];
        let mut places = Vec::new();
        for name in &self.form {
            let Some(number) = self.sections.iter().position(|other| other.name == *name) else {
                continue;
            };
            let section = &self.sections[number];
            let mut add = |ending, bars: &[WrittenBar]| {
                places.extend((0..bars.len()).map(|bar| WrittenAt {
                    section: number,
                    ending,
                    bar,
                }));
            };
            add(None, &section.bars);
            if let Some(ending) = plays[number].checked_rem(section.endings.len()) {
                add(Some(ending), &section.endings[ending]);
            }
            plays[number] += 1;
        }
        places
    }

    /// The bar that is written there.
    pub(crate) fn bar_at(&self, at: WrittenAt) -> &WrittenBar {
        let section = &self.sections[at.section];
        match at.ending {
            Some(ending) => &section.endings[ending][at.bar],
            None => &section.bars[at.bar],
        }
    }

    /// Writes another bar there, of as many beats.
    pub(crate) fn write_bar(&mut self, at: WrittenAt, bar: &WrittenBar) {
        let section = &mut self.sections[at.section];
        let bars = match at.ending {
            Some(ending) => &mut section.endings[ending],
            None => &mut section.bars,
        };
        bars[at.bar].clone_from(bar);
    }
}

impl Section {
    /// The note that the bass holds in it where it holds a pedal.
    fn pedal_in(&self, key: Key) -> NoteName {
        let bars = self.bars.iter().chain(self.endings.iter().flatten());
        let slash = bars.flatten().find_map(|(harmony, _)| match harmony {
            Harmony::Chord(symbol) => symbol.chord().slash(),
            Harmony::Silence => None,
        });
        let dominant = key.tonic + Interval::new(4, 7);
        self.pedal.or(slash).unwrap_or(dominant)
    }
}

pub(super) fn unroll(chart: &Chart, chorus: u32) -> Chorus {
    let mut unrolling = Unrolling::of(chart, chorus);
    unrolling.add_form();
    unrolling.chorus()
}

/// Bars and spans as they are put together.
pub(super) struct Unrolling<'a> {
    chart: &'a Chart,
    /// In whose feels, counted from 1.
    number: u32,
    bars: Vec<Bar>,
    spans: Vec<Span>,
    beat: usize,
    start: Ticks,
    pedals: BTreeMap<&'a str, NoteName>,
}

impl<'a> Unrolling<'a> {
    pub(super) fn of(chart: &'a Chart, number: u32) -> Unrolling<'a> {
        let sections = chart.sections.iter();
        Unrolling {
            chart,
            number,
            bars: Vec::new(),
            spans: Vec::new(),
            beat: 0,
            start: Ticks::ZERO,
            pedals: sections
                .map(|section| (&*section.name, section.pedal_in(chart.key)))
                .collect(),
        }
    }

    /// The form, endings in turn.
    pub(super) fn add_form(&mut self) {
        for (section, opens_section, written) in bars_in_order(self.chart) {
            self.add(section, opens_section, Place::Form, written);
        }
    }

    /// A section once, with the first of its endings; its first chord is a new one whatever stands before it.
    pub(super) fn add_section(&mut self, section: &Section, place: Place) {
        let ending = section.endings.first().into_iter().flatten();
        for (index, written) in section.bars.iter().chain(ending).enumerate() {
            self.add(section, index == 0, place, written);
        }
    }

    fn add(&mut self, section: &Section, opens_section: bool, place: Place, written: &WrittenBar) {
        let chart = self.chart;
        let number = self.bars.len() as u32 + 1;
        let bar = Bar {
            number,
            section: section.name.clone(),
            opens_section,
            meter: section.meter.clone().unwrap_or_else(|| chart.meter.clone()),
            feel: match (&section.feel, section.pedal) {
                (Some(feel), _) => feel.of_chorus(self.number),
                (None, Some(_)) => Feel::Pedal,
                (None, None) => chart.feel.of_chorus(self.number),
            },
            pedal: self
                .pedals
                .get(&*section.name)
                .copied()
                .unwrap_or(chart.key.tonic),
            tempo: section.tempo.unwrap_or(chart.tempo),
            palette: section.palette.or(chart.palette),
            place,
            stop_time: section.stop_time,
            first_beat: self.beat,
            start: self.start,
        };
        self.start += bar.meter.bar_ticks();
        // What comes after the form is led into, even if its chord is the same.
        let mut joins = !opens_section || place == Place::Form;
        for (harmony, beats) in written {
            let symbol = harmony.to_string();
            match self.spans.last_mut() {
                Some(span) if joins && span.symbol == symbol => span.beats += beats,
                _ => self.spans.push(Span {
                    symbol,
                    chord: match harmony {
                        Harmony::Chord(symbol) => Some(symbol.chord().clone()),
                        Harmony::Silence => None,
                    },
                    start: self.beat,
                    beats: *beats,
                    bar: number,
                    beat: (self.beat - bar.first_beat) as u32 + 1,
                }),
            }
            joins = true;
            self.beat += beats;
        }
        self.bars.push(bar);
    }

    /// The last bar so far.
    pub(super) fn last(&self) -> Option<&Bar> {
        self.bars.last()
    }

    pub(super) fn chorus(self) -> Chorus {
        Chorus {
            title: self.chart.title.clone(),
            key: self.chart.key,
            bars: self.bars,
            spans: self.spans,
        }
    }
}
