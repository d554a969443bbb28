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
    /// A click or drums in the file, which keep a tempo of their own.
    Click,
    /// A steady tempo fitted to the playing, with how clear its pulse is, 0 to 1.
    Steady(f64),
    /// A tempo that follows the playing, with how clear its pulse is, 0 to 1.
    Following(f64),
}

/// The most that a player who keeps to a grid that is given drifts from it, in beats, over a whole take.
const KEEPS_THE_GRID: f64 = 0.6;
/// The most that a steady player wanders from an even tempo, in beats.
const STEADY: f64 = 0.3;
/// Attacks at the beginning that tell where the player stands against the grid.
const OPENING: usize = 16;
/// The fewest attacks of a click or drums that make a grid.
const FEWEST_CLICKS: usize = 8;

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

    /// When a note was struck, in nominal beats.
    pub fn beats(&self, note: &MelodyNote) -> f64 {
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
    /// The same by the player's own pulse.
    pub own: Vec<Fit>,
}

impl Grid {
    /// The grid of a line, beside clicks or drums at these times in seconds.
    pub fn new(ruler: &Ruler<'_>, played: &[MelodyNote], clicks: &[MelodyNote]) -> Grid {
        let times: Vec<f64> = played.iter().map(|note| ruler.beats(note)).collect();
        let nominal = Fit {
            zero: 0.0,
            period: 1.0,
        };
        let Some(pulse) = pulse::find(&times) else {
            return Grid {
                source: GridSource::File,
                lines: vec![nominal; times.len()],
                own: vec![nominal; times.len()],
                places: times,
            };
        };
        let places: Vec<f64> = times
            .iter()
            .zip(&pulse.lines)
            .map(|(&time, line)| line.place(time))
            .collect();
        let clicks: Vec<f64> = clicks.iter().map(|note| ruler.beats(note)).collect();
        let (source, lines) = Grid::by_file(ruler, &times, &places)
            .or_else(|| Grid::by_clicks(&clicks, &times, &places))
            .unwrap_or_else(|| Grid::by_playing(&pulse, &times, &places));
        Grid {
            source,
            places,
            lines,
            own: pulse.lines,
        }
    }

    /// The file's grid, if the playing keeps to it: its beats are those nearest to the first notes.
    fn by_file(ruler: &Ruler<'_>, times: &[f64], places: &[f64]) -> Option<(GridSource, Vec<Fit>)> {
        let off: Vec<f64> = times.iter().zip(places).map(|(t, p)| t - p).collect();
        let kept = ruler.is_of_file() && width(&off) < KEEPS_THE_GRID;
        let zero = median(&off[..off.len().min(OPENING)]).round();
        let line = Fit { zero, period: 1.0 };
        kept.then(|| (GridSource::File, vec![line; times.len()]))
    }

    /// The grid of clicks or drums, if the playing keeps to them.
    fn by_clicks(clicks: &[f64], times: &[f64], places: &[f64]) -> Option<(GridSource, Vec<Fit>)> {
        let pulse = pulse::find(clicks).filter(|_| clicks.len() >= FEWEST_CLICKS)?;
        let nearest = |time: f64| {
            let after = clicks.partition_point(|&click| click < time);
            pulse.lines[after.min(clicks.len() - 1)]
        };
        let lines: Vec<Fit> = times.iter().map(|&time| nearest(time)).collect();
        let by_click = lines
            .iter()
            .zip(times)
            .map(|(line, &time)| line.place(time));
        let off: Vec<f64> = by_click.zip(places).map(|(c, p)| c - p).collect();
        // The numbers of its beats are other ones.
        let moved = median(&off[..off.len().min(OPENING)]).round();
        let renumbered = lines.iter().map(|line| Fit {
            zero: line.time(moved),
            period: line.period,
        });
        (width(&off) < KEEPS_THE_GRID).then(|| (GridSource::Click, renumbered.collect()))
    }

    /// A steady tempo if the playing keeps one, else one for each attack.
    fn by_playing(pulse: &Pulse, times: &[f64], places: &[f64]) -> (GridSource, Vec<Fit>) {
        let steady = pulse.steady;
        let wandering: Vec<f64> = times
            .iter()
            .zip(places)
            .map(|(&time, place)| steady.place(time) - place)
            .collect();
        match width(&wandering) < STEADY {
            true => (GridSource::Steady(pulse.clarity), vec![steady; times.len()]),
            false => (GridSource::Following(pulse.clarity), pulse.lines.clone()),
        }
    }

    /// The same grid with beats of which `speed` go into one of it.
    pub fn at_speed(&self, speed: f64) -> Grid {
        // The first attack stands on a beat of either.
        let first = self.places.first().map_or(0.0, |place| place.round());
        let scaled = |lines: &[Fit]| {
            let line = |line: &Fit| Fit {
                zero: line.time(first),
                period: line.period / speed,
            };
            lines.iter().map(line).collect()
        };
        Grid {
            source: self.source,
            places: self
                .places
                .iter()
                .map(|place| (place - first) * speed)
                .collect(),
            lines: scaled(&self.lines),
            own: scaled(&self.own),
        }
    }

    /// A steady grid moved so that this place comes at this nominal time; no other grid is moved.
    pub fn move_downbeat(&mut self, place: f64, time: f64) -> bool {
        let is_steady = matches!(self.source, GridSource::Steady(_));
        for line in self.lines.iter_mut().filter(|_| is_steady) {
            line.zero = time - place * line.period;
        }
        is_steady
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
