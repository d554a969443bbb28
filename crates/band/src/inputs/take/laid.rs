//! A line laid over its chart: where its notes were meant, and when they came.

use super::{
    TakeNote,
    align::Alignment,
    grid::{Grid, Ruler},
    melody::MelodyNote,
    slots::{self, IN_A_BEAT, Slot},
    timing::{BarTempo, NoteOnGrid},
};
use endpin_theory::{Chorus, Ticks, meter::TICKS_PER_QUARTER};

/// Beats that an articulated note may end before the next and still be meant to last until then.
const ARTICULATION: f64 = 0.25;

/// A line laid over its chart.
pub struct Laid<'a> {
    pub chorus: &'a Chorus,
    pub ruler: &'a Ruler<'a>,
    pub grid: &'a Grid,
    pub slots: &'a [Slot],
    pub swing: Option<f64>,
    pub alignment: Alignment,
    pub played: &'a [MelodyNote],
}

impl Laid<'_> {
    /// When a slot comes, by the grid around the note of this number.
    pub fn seconds_of(&self, number: usize, slot: Slot) -> f64 {
        let place = slots::place(slot, self.swing);
        self.grid
            .lines
            .get(number)
            .map_or(0.0, |line| self.ruler.seconds(line.time(place)))
    }

    /// When a slot comes by the player's own pulse around the note of this number.
    fn own_seconds(&self, number: usize, slot: Slot) -> f64 {
        let place = slots::place(slot, self.swing);
        let line = self.grid.own.get(number);
        line.map_or(0.0, |line| self.ruler.seconds(line.time(place)))
    }

    /// The tempo of each bar with notes in it or close by.
    pub fn curve(&self) -> Vec<BarTempo> {
        let beat = (self.ruler.quarters_a_beat * TICKS_PER_QUARTER as f64).round() as i64;
        let slot = |ticks: Ticks| ticks.0 * IN_A_BEAT / beat;
        let mut curve = Vec::new();
        for chorus in 0..self.alignment.choruses {
            let begin = self.alignment.zero + slot(self.chorus.length()) * i64::from(chorus);
            for bar in &self.chorus.bars {
                let from = begin + slot(bar.start);
                let to = from + slot(bar.meter.bar_ticks());
                let first = self.slots.partition_point(|&slot| slot < from);
                let end = self.slots.partition_point(|&slot| slot < to);
                if first == end {
                    continue;
                }
                let line = self.grid.own[(first + end) / 2];
                let time = |slot: Slot| {
                    let place = slot as f64 / IN_A_BEAT as f64;
                    self.ruler.seconds(line.time(place))
                };
                let tempo = 60.0 * bar.meter.bar_ticks().quarters() / (time(to) - time(from));
                if tempo.is_finite() && tempo > 0.0 {
                    curve.push(BarTempo {
                        chorus: chorus + 1,
                        bar: bar.number,
                        tempo,
                    });
                }
            }
        }
        curve
    }

    /// The notes, moved to these keys.
    pub fn notes(&self, keys: &[u8]) -> Vec<TakeNote> {
        let length = self.chorus.length().0;
        let beat = (self.ruler.quarters_a_beat * TICKS_PER_QUARTER as f64).round() as i64;
        let ticks = |slots: i64| slots * beat / IN_A_BEAT;
        (0..self.played.len())
            .map(|number| {
                let played = &self.played[number];
                let slot = self.slots[number];
                let from_zero = ticks(slot - self.alignment.zero);
                // Before the first chorus and after the last belongs to that chorus.
                let chorus = from_zero
                    .div_euclid(length)
                    .clamp(0, i64::from(self.alignment.choruses) - 1);
                TakeNote {
                    chorus: chorus as u32 + 1,
                    start: Ticks(from_zero - chorus * length),
                    length: Ticks(ticks(self.meant_length(number))),
                    key: keys[number],
                    velocity: played.velocity,
                    at: played.at,
                    sounds: played.end - played.at,
                    certain: true,
                    offset: 1000.0 * (played.at - self.seconds_of(number, slot)),
                }
            })
            .collect()
    }

    /// How many slots a note was meant to last: to the next if it nearly reaches it, else whole beats.
    fn meant_length(&self, number: usize) -> i64 {
        let sounded = self.sounded(number);
        let beats = (sounded + ARTICULATION).round().max(1.0) as i64 * IN_A_BEAT;
        match self.slots.get(number + 1) {
            Some(next) => {
                let gap = (next - self.slots[number]).max(1);
                if gap <= IN_A_BEAT {
                    gap
                } else {
                    beats.min(gap)
                }
            }
            None => beats,
        }
    }

    /// Beats that a note sounded.
    fn sounded(&self, number: usize) -> f64 {
        let played = &self.played[number];
        let a_beat = self.seconds_of(number, IN_A_BEAT) - self.seconds_of(number, 0);
        (played.end - played.at) / a_beat
    }

    /// The notes against the grid, for the figures of their time.
    pub fn placed(&self, notes: &[TakeNote]) -> Vec<NoteOnGrid> {
        let length = self.chorus.length().0 as f64;
        let place = |(number, note): (usize, &TakeNote)| {
            let gap = self
                .slots
                .get(number + 1)
                .map(|next| next - self.slots[number]);
            let next = self.played.get(number + 1).map(|next| next.at);
            NoteOnGrid {
                chorus: f64::from(note.chorus) - 1.0 + note.start.0 as f64 / length,
                offset: note.offset,
                by_pulse: 1000.0 * (note.at - self.own_seconds(number, self.slots[number])),
                fullness: match (gap, next) {
                    (Some(gap), Some(next)) if gap <= 2 * IN_A_BEAT => {
                        let played = &self.played[number];
                        Some((played.end - played.at) / (next - played.at).max(1e-3))
                    }
                    _ => None,
                },
            }
        };
        notes.iter().enumerate().map(place).collect()
    }

    /// Quarter notes a minute on the grid, over the whole take.
    pub fn tempo(&self) -> f64 {
        let last = self.played.len().saturating_sub(1);
        let (Some(from), Some(to)) = (self.slots.first(), self.slots.last()) else {
            return self.ruler.chart_tempo;
        };
        let to = (*to).max(from + IN_A_BEAT);
        let straight = |number: usize, slot: Slot| {
            let line = self.grid.lines[number];
            self.ruler
                .seconds(line.time(slot as f64 / IN_A_BEAT as f64))
        };
        let seconds = straight(last, to) - straight(0, *from);
        let beats = (to - from) as f64 / IN_A_BEAT as f64;
        beats * self.ruler.quarters_a_beat / seconds * 60.0
    }
}
