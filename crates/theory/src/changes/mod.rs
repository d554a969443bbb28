//! A chart made richer or plainer, a named step at a time.
//!
//! Each substitution is a row of a table: its name, its condition in terms of function, its reason. What is
//! possible in a chart is counted, and the caller says which possibility is taken, by a number below the
//! count: nothing here is random. Steps keep the form: no bar is added, none taken away, and no chord gets
//! shorter than a beat. A change in a section is a change in every play of it, so it is possible only where it
//! is possible in all of them.
//!
//! A ladder goes up by rows: of the rows with something to offer, one that was taken least often comes next,
//! and of those the plainest; what brings chords of a single beat waits until nothing else is left. Going down,
//! the richest thing is taken off first.
//!
//! Substitutions, conditions and reasons are common practice, no source.
//!
//! ```
//! use endpin_theory::{Chart, changes::{Ladder, Toward}};
//! let mut chart = Chart::from_bars("Cmaj7 | % | G7 | Cmaj7", "4/4".parse().unwrap()).unwrap();
//! chart.key = "C".parse().unwrap();
//! let mut ladder = Ladder::new(chart.clone(), Toward::Richer, &[]);
//! let step = ladder.step(|count| count - 1).unwrap();
//! assert_eq!(step.substitution.name, "a ii before a V");
//! assert_eq!(step.substitution.is.join(" "), "Dm7 G7");
//! assert_eq!(step.undone(), chart);
//! ```

mod chains;
mod plainer;
mod richer;
mod song;
mod substitution;

use crate::chart::{Chart, WrittenAt, WrittenBar};
use song::{Edit, Song};
pub use substitution::Substitution;

/// Which way a ladder goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Toward {
    /// From plain changes to rich ones.
    Richer,
    /// Back to the plain frame.
    Plainer,
}

impl Toward {
    fn rows(self) -> &'static [Row] {
        match self {
            Toward::Richer => richer::ROWS,
            Toward::Plainer => plainer::ROWS,
        }
    }

    /// The substitutions of this way: name and condition of each, in the order of the ladder.
    pub fn table(self) -> impl Iterator<Item = (&'static str, &'static str)> {
        self.rows().iter().map(|row| (row.name, row.when))
    }
}

/// A substitution.
struct Row {
    name: &'static str,
    /// Where it may be made, in terms of function.
    when: &'static str,
    /// Two sentences; `{was}`, `{is}` and `{next}` stand for chords.
    why: &'static str,
    /// What it does at a chord, if it may be made there.
    find: fn(&Song, usize) -> Option<Edit>,
}

/// A beat of the chorus, both counted from 1: what the melody does there is not to be harmonised anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct KeptBeat {
    /// Bar of the chorus, from 1.
    pub bar: u32,
    /// Beat in the bar, from 1.
    pub beat: u32,
}

/// Text that is no beat of a chorus.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a beat; write bar and beat, each counted from 1, such as \"3.1\"")]
pub struct KeptBeatError(String);

impl std::str::FromStr for KeptBeat {
    type Err = KeptBeatError;

    fn from_str(text: &str) -> Result<KeptBeat, KeptBeatError> {
        let read = || {
            let (bar, beat) = text.trim().split_once('.')?;
            let (bar, beat) = (bar.parse().ok()?, beat.parse().ok()?);
            (bar > 0 && beat > 0).then_some(KeptBeat { bar, beat })
        };
        read().ok_or_else(|| KeptBeatError(text.trim().to_owned()))
    }
}

/// A step of a ladder.
#[derive(Clone, Debug, PartialEq)]
pub struct Rung {
    /// From 1.
    pub number: usize,
    /// What was changed.
    pub substitution: Substitution,
    /// How many changes the ladder offered for this step.
    pub offered: usize,
    /// How many were possible in all.
    pub possible: usize,
    /// The whole chart after it.
    pub chart: Chart,
    /// The bars as they stood.
    before: Vec<(WrittenAt, WrittenBar)>,
}

impl Rung {
    /// The chart before the step.
    pub fn undone(&self) -> Chart {
        let mut chart = self.chart.clone();
        for (at, bar) in &self.before {
            chart.write_bar(*at, bar);
        }
        chart
    }
}

/// Every change of one way that is possible in a chart, in the order of the table, then of the bars.
pub fn possible(chart: &Chart, way: Toward, kept: &[KeptBeat]) -> Vec<Substitution> {
    let song = Song::of(chart);
    let written = chart.written();
    let mut found: Vec<(Substitution, usize)> = Vec::new();
    for (row, table) in way.rows().iter().enumerate() {
        for index in 0..song.places.len() {
            let edit = (table.find)(&song, index);
            let Some(change) = edit.and_then(|edit| {
                let next = song.next(index).map_or("", |next| &next.symbol);
                let asked = substitution::Asked {
                    chart,
                    song: &song,
                    written: &written,
                    kept,
                };
                asked.change(row, table, &edit, next)
            }) else {
                continue;
            };
            // The same change at another play of the section is the same change.
            match found.iter_mut().find(|(other, _)| other.is_as(&change)) {
                Some((_, plays)) => *plays += 1,
                None => found.push((change, 1)),
            }
        }
    }
    // It has to be possible at every play of the bars that it touches.
    found.retain(|(change, found)| {
        let plays = |at: &WrittenAt| written.iter().filter(|other| *other == at).count();
        change.bars.iter().all(|(at, _)| plays(at) == *found)
    });
    found.into_iter().map(|(change, _)| change).collect()
}

/// A walk from one chart to richer or plainer ones.
#[derive(Clone, Debug)]
pub struct Ladder {
    chart: Chart,
    way: Toward,
    kept: Vec<KeptBeat>,
    /// How often each row was taken.
    taken: Vec<usize>,
    steps: usize,
    /// Charts that were met: no step leads back to one.
    met: Vec<Chart>,
}

impl Ladder {
    /// A ladder that begins at a chart; the chords that sound on `kept` beats stay as they are.
    pub fn new(chart: Chart, way: Toward, kept: &[KeptBeat]) -> Ladder {
        Ladder {
            met: vec![chart.clone()],
            chart,
            way,
            kept: kept.to_vec(),
            taken: vec![0; way.rows().len()],
            steps: 0,
        }
    }

    /// The chart as it stands.
    pub fn chart(&self) -> &Chart {
        &self.chart
    }

    /// The next step. `choose` is told how many changes are offered and answers with the number of one of
    /// them, from 0 (a larger number is taken modulo the count). None if nothing more is possible.
    pub fn step(&mut self, choose: impl FnOnce(usize) -> usize) -> Option<Rung> {
        let mut all = possible(&self.chart, self.way, &self.kept);
        all.retain(|change| !self.met.contains(&change.applied(&self.chart)));
        let rank = |change: &Substitution| match self.way {
            Toward::Richer => (change.crowded, self.taken[change.row], change.row),
            Toward::Plainer => (false, 0, change.row),
        };
        let first = all.iter().map(rank).min()?;
        let possible = all.len();
        let mut offered: Vec<Substitution> = all
            .into_iter()
            .filter(|change| rank(change) == first)
            .collect();
        let count = offered.len();
        let change = offered.swap_remove(choose(count) % count);
        self.taken[change.row] += 1;
        self.steps += 1;
        let bars = change.bars.iter();
        let before = bars
            .map(|(at, _)| (*at, self.chart.bar_at(*at).clone()))
            .collect();
        self.chart = change.applied(&self.chart);
        self.met.push(self.chart.clone());
        Some(Rung {
            number: self.steps,
            substitution: change,
            offered: count,
            possible,
            chart: self.chart.clone(),
            before,
        })
    }
}

#[cfg(test)]
mod tests;
