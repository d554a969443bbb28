//! The grid against which a take is read: the file's own, or one found in the playing.

use super::{
    melody::MelodyNote,
    pulse::{self, Fit, Pulse},
    slots::{self, Slot},
    tempo_map::TempoMap,
};
use endpin_theory::Chorus;

/// Where the grid comes from against which a take is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum GridSource {
    /// The file's own tempo: it was played to that click.
    File,
    /// A steady tempo fitted to the playing, with how clear its pulse is, 0 to 1.
    Steady(f64),
    /// A tempo that follows the playing, with how clear its pulse is, 0 to 1.
    Following(f64),
}

/// The most that a player who keeps to the file's grid drifts from it, in beats, over a whole take.
const KEEPS_THE_GRID: f64 = 0.6;
/// The most that a whole take is off the file's grid without being recorded beside it, in beats.
const LATE: f64 = 0.25;
/// The most that a steady player wanders from an even tempo, in beats.
const STEADY: f64 = 0.3;
/// Attacks at the beginning that tell where the player stands against the grid.
const OPENING: usize = 16;

/// Nominal beats: by the file's tempo where it counts in quarter notes, else by the chart's.
pub(super) struct Ruler<'a> {
    tempo_map: &'a TempoMap,
    pub quarters_a_beat: f64,
    pub chart_tempo: f64,
}

impl<'a> Ruler<'a> {
    pub fn new(tempo_map: &'a TempoMap, chorus: &Chorus) -> Ruler<'a> {
        Ruler {
            tempo_map,
            quarters_a_beat: chorus.bars[0].meter.beat_ticks().quarters(),
            chart_tempo: chorus.bars[0].tempo,
        }
    }

    fn beats(&self, note: &MelodyNote) -> f64 {
        let by_chart = || note.at * self.chart_tempo / 60.0;
        note.quarters.unwrap_or_else(by_chart) / self.quarters_a_beat
    }

    pub fn seconds(&self, beats: f64) -> f64 {
        let quarters = beats * self.quarters_a_beat;
        let by_chart = || quarters * 60.0 / self.chart_tempo;
        self.tempo_map
            .seconds_at_quarters(quarters)
            .unwrap_or_else(by_chart)
    }

    fn is_of_file(&self) -> bool {
        matches!(self.tempo_map, TempoMap::Quarters { .. })
    }
}

/// The grid of a take.
pub(super) struct Grid {
    pub source: GridSource,
    /// Place of each attack on the smooth pulse of the playing, in beats.
    pub places: Vec<f64>,
    /// For each attack the line that gives the nominal time of a place.
    pub lines: Vec<Fit>,
}

impl Grid {
    pub fn new(ruler: &Ruler<'_>, played: &[MelodyNote]) -> Grid {
        let times: Vec<f64> = played.iter().map(|note| ruler.beats(note)).collect();
        let nominal = Fit {
            zero: 0.0,
            period: 1.0,
        };
        let Some(pulse) = pulse::find(&times) else {
            return Grid {
                source: GridSource::File,
                lines: vec![nominal; times.len()],
                places: times,
            };
        };
        let places: Vec<f64> = times
            .iter()
            .zip(&pulse.lines)
            .map(|(&time, line)| line.place(time))
            .collect();
        let (source, line) = Grid::choose(ruler, &pulse, &times, &places);
        Grid {
            source,
            places,
            lines: line.map_or(pulse.lines, |line| vec![line; times.len()]),
        }
    }

    /// The file's grid if the playing keeps to it, else a steady tempo if it keeps one, else none for all.
    fn choose(
        ruler: &Ruler<'_>,
        pulse: &Pulse,
        times: &[f64],
        places: &[f64],
    ) -> (GridSource, Option<Fit>) {
        let off_file: Vec<f64> = times
            .iter()
            .zip(places)
            .map(|(time, place)| time - place)
            .collect();
        if ruler.is_of_file() && width(&off_file) < KEEPS_THE_GRID {
            let opening = median(&off_file[..off_file.len().min(OPENING)]);
            let late = opening - opening.round();
            let zero = if late.abs() <= LATE {
                opening.round()
            } else {
                opening
            };
            return (GridSource::File, Some(Fit { zero, period: 1.0 }));
        }
        let steady = pulse.steady;
        let wandering: Vec<f64> = times
            .iter()
            .zip(places)
            .map(|(&time, place)| steady.place(time) - place)
            .collect();
        match width(&wandering) < STEADY {
            true => (GridSource::Steady(pulse.clarity), Some(steady)),
            false => (GridSource::Following(pulse.clarity), None),
        }
    }

    /// The beat of the file at which a slot stands, if the file's grid was kept.
    pub fn beat_of_file(&self, slot: Slot) -> Option<f64> {
        let on_grid = |line: &Fit| line.time(slots::place(slot, None));
        match self.source {
            GridSource::File => self.lines.first().map(on_grid),
            _ => None,
        }
    }
}

fn width(values: &[f64]) -> f64 {
    let most = values.iter().copied().fold(f64::MIN, f64::max);
    let least = values.iter().copied().fold(f64::MAX, f64::min);
    most - least
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
}
