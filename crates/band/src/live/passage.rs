//! A passage: one chorus, section or ending as the conductor plays it and the screen shows it.

use endpin_theory::Ticks;

use super::beat_writer::ByPart;
use crate::performance::score::{PartName, Score, Sound};

/// Music between two bar lines, performed and labelled.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Passage {
    /// Key, as shown.
    pub key: String,
    /// Sections in playing order.
    pub sections: Vec<PassageSection>,
    /// Bars in playing order.
    pub bars: Vec<PassageBar>,
    /// Beats in playing order; the first starts at tick 0.
    pub beats: Vec<PassageBeat>,
    /// Notes in order of start. They may start before tick 0 (an anticipation) and end after `end`.
    pub notes: Vec<Cue>,
    /// The closing bar line.
    pub end: Ticks,
    /// What each part sounds with, where it is not the usual.
    pub sounds: ByPart<Option<Sound>>,
}

/// A section as played; a chart's section played twice is two of these.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PassageSection {
    /// Its name in the chart.
    pub name: String,
    /// Its first bar, as an index into [`Passage::bars`].
    pub first_bar: usize,
}

/// A bar.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PassageBar {
    /// Its number in the chorus, from 1.
    pub number: u32,
    /// Its section, as an index into [`Passage::sections`].
    pub section: usize,
    /// Its first beat, as an index into [`Passage::beats`].
    pub first_beat: usize,
    /// Quarter notes a minute, as written.
    pub tempo: f64,
    /// Its chords as written, for the grid.
    pub chords: String,
}

/// A beat.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PassageBeat {
    /// Notated start from the start of the passage.
    pub start: Ticks,
    /// Its bar, as an index into [`Passage::bars`].
    pub bar: usize,
    /// The chord that sounds, as written.
    pub chord: String,
    /// The note the bass plays, and its role, e.g. `A2` and `third`.
    pub bass: Option<(String, String)>,
}

/// A note to play.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cue {
    /// Performed start from the start of the passage.
    pub start: Ticks,
    /// Performed length.
    pub length: Ticks,
    /// MIDI key.
    pub key: u8,
    /// MIDI velocity.
    pub velocity: u8,
    /// MIDI channel, from 0.
    pub channel: u8,
    /// Who plays it.
    pub part: PartName,
}

impl Passage {
    /// Takes its notes and sounds from `score`, whose tick `origin` is the passage's tick 0.
    pub fn take(&mut self, score: &Score, origin: Ticks) {
        self.notes = Passage::cues(score, origin);
        for part in &score.parts {
            self.sounds[part.name as usize] = Some(part.sound);
        }
    }

    /// The notes of `score`, whose tick `origin` is the passage's tick 0, in order of start.
    pub fn cues(score: &Score, origin: Ticks) -> Vec<Cue> {
        let mut cues: Vec<Cue> = score
            .parts
            .iter()
            .flat_map(|part| {
                part.notes.iter().map(|note| Cue {
                    start: note.start - origin,
                    length: note.length,
                    key: note.key,
                    velocity: note.velocity,
                    channel: part.channel,
                    part: part.name,
                })
            })
            .collect();
        cues.sort_by_key(|cue| (cue.start, cue.part, cue.key));
        cues
    }

    /// Puts another passage behind this one, without its notes.
    pub fn append(&mut self, next: Passage) {
        let (sections, bars, beats) = (self.sections.len(), self.bars.len(), self.beats.len());
        if bars == 0 {
            self.key = next.key;
        }
        let end = self.end;
        self.sections
            .extend(next.sections.into_iter().map(|section| PassageSection {
                first_bar: section.first_bar + bars,
                ..section
            }));
        self.bars
            .extend(next.bars.into_iter().map(|bar| PassageBar {
                section: bar.section + sections,
                first_beat: bar.first_beat + beats,
                ..bar
            }));
        self.beats
            .extend(next.beats.into_iter().map(|beat| PassageBeat {
                start: end + beat.start,
                bar: beat.bar + bars,
                ..beat
            }));
        self.end = end + next.end;
    }

    /// What follows the bars before `bar`, an index at which a section begins; without its notes.
    pub fn from_bar(self, bar: usize) -> Passage {
        let (first_beat, start) = (self.bars[bar].first_beat, self.bar_start(bar));
        let first_section = self.bars[bar].section;
        let sections = self.sections.into_iter().skip(first_section);
        let bars = self.bars.into_iter().skip(bar);
        let beats = self.beats.into_iter().skip(first_beat);
        Passage {
            key: self.key,
            sounds: self.sounds,
            sections: sections
                .map(|section| PassageSection {
                    first_bar: section.first_bar - bar,
                    ..section
                })
                .collect(),
            bars: bars
                .map(|bar| PassageBar {
                    section: bar.section - first_section,
                    first_beat: bar.first_beat - first_beat,
                    ..bar
                })
                .collect(),
            beats: beats
                .map(|beat| PassageBeat {
                    start: beat.start - start,
                    bar: beat.bar - bar,
                    ..beat
                })
                .collect(),
            notes: Vec::new(),
            end: self.end - start,
        }
    }

    /// Whether this beat opens its bar.
    pub fn opens_bar(&self, beat: usize) -> bool {
        self.bars[self.beats[beat].bar].first_beat == beat
    }

    /// Where a bar starts.
    pub fn bar_start(&self, bar: usize) -> Ticks {
        self.beats[self.bars[bar].first_beat].start
    }

    /// The first beat of a section, as an index into [`Passage::beats`].
    pub fn section_start(&self, section: usize) -> usize {
        self.bars[self.sections[section].first_bar].first_beat
    }

    /// The notated end of a beat: the start of the next, or the closing bar line.
    pub fn beat_end(&self, beat: usize) -> Ticks {
        self.beats.get(beat + 1).map_or(self.end, |next| next.start)
    }
}
