//! The conductor's marks: signs where they change, names of choruses and sections, chord symbols.

use crate::performance::score::Mark;
use endpin_theory::{Key, Meter, Ticks};

#[derive(Default)]
pub struct Marks {
    marks: Vec<(Ticks, Mark)>,
    meter: Option<Meter>,
    tempo: Option<f64>,
    key: Option<Key>,
}

impl Marks {
    pub fn put(&mut self, at: Ticks, mark: Mark) {
        self.marks.push((at, mark));
    }

    /// Tempo, meter and key where they change.
    pub fn signs(&mut self, at: Ticks, meter: &Meter, tempo: f64, key: Key) {
        if self.tempo != Some(tempo) {
            self.tempo = Some(tempo);
            self.put(at, Mark::Tempo(tempo));
        }
        if self.meter.as_ref() != Some(meter) {
            self.meter = Some(meter.clone());
            self.put(at, Mark::Meter(meter.clone()));
        }
        if self.key != Some(key) {
            self.key = Some(key);
            self.put(at, Mark::Key(key.into()));
        }
    }

    /// The tempo at hand.
    pub fn tempo(&self) -> Option<f64> {
        self.tempo
    }

    /// In order of time; at one time as put, that is signs before names before chords.
    pub fn in_order(mut self) -> Vec<(Ticks, Mark)> {
        self.marks.sort_by_key(|(at, _)| *at);
        self.marks
    }
}
