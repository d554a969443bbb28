//! A take: a line that somebody played, from the bytes of its file to notes over the chart.
//!
//! The stages, one module each: [`mod@file`] reads the bytes, [`voice`] chooses the line among the tracks,
//! [`melody`] clears it, [`pulse`] finds its beats, [`slots`] quantises, [`align`] lays it over the chart,
//! and [`timing`] draws its figures.

pub mod align;
pub mod clock;
pub mod file;
pub mod melody;
pub mod pulse;
pub mod slots;
pub mod timing;
pub mod voice;

use align::Alignment;
use clock::Clock;
use endpin_theory::{Chorus, Ticks, meter::TICKS_PER_QUARTER};
use file::{FileProblem, TakeFile};
use melody::Played;
use pulse::{Fit, Pulse};
use slots::{IN_A_BEAT, Slot};
use timing::{Placed, Timing};
use voice::{ChoiceProblem, ChosenBy};

/// A line over a chart, as it was played.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// The notes in order of time.
    pub notes: Vec<TakeNote>,
    /// Choruses that were begun.
    pub choruses: u32,
    /// Beats from the beginning of the file to beat 1 of the first chorus.
    pub offset_beats: f64,
    /// Quarter notes a minute.
    pub tempo: f64,
    /// Where the grid comes from.
    pub grid: GridSource,
    /// How well the notes spell the chart where they were laid over it: 0 by chance, 1 all.
    pub fit: f64,
    /// Octaves by which all notes were moved into the range of the instrument.
    pub octaves: i8,
    /// The figures of its time.
    pub timing: Timing,
    /// Long to short of its eighth notes, if there are enough to tell.
    pub swing_ratio: Option<f64>,
    /// Name of the track that was read; empty if it has none.
    pub track_name: String,
    /// The track that was read, counted from 1.
    pub track: usize,
    /// How it was chosen.
    pub chosen_by: ChosenBy,
    /// What was cleared away: notes struck twice, false notes, other notes of double stops.
    pub cleared: (usize, usize, usize),
    /// What the player of chords struck at the same time, if the file has one.
    pub chords: Vec<TakeChordNote>,
}

/// A note over the chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TakeNote {
    /// Its chorus, from 1; notes before the first belong to it.
    pub chorus: u32,
    /// Where it was meant, from the beginning of its chorus; negative before the first.
    pub start: Ticks,
    /// How long it was meant to be.
    pub length: Ticks,
    /// MIDI key in the range of the instrument.
    pub key: u8,
    /// MIDI velocity.
    pub velocity: u8,
    /// When it was struck, in seconds from the beginning of the file.
    pub at: f64,
    /// How long it sounded, in seconds.
    pub sounds: f64,
    /// How late it was struck, in milliseconds; early is negative.
    pub offset: f64,
}

/// A note of the chords beside the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TakeChordNote {
    /// When it sounds, in seconds from the beginning of the file.
    pub from: f64,
    /// When it ends.
    pub to: f64,
    /// MIDI key.
    pub key: u8,
}

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

/// How a take is to be read.
#[derive(Clone, Copy, Debug)]
pub struct Reading<'a> {
    /// Number or name of the track with the line, if the user says so.
    pub track: Option<&'a str>,
    /// Lowest and highest MIDI key of the instrument.
    pub range: (u8, u8),
}

/// A file that cannot be taken for a line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TakeProblem {
    /// It is damaged or no MIDI file.
    #[error(transparent)]
    File(#[from] FileProblem),
    /// It has no such track.
    #[error(transparent)]
    Choice(#[from] ChoiceProblem),
    /// Its notes are far from any instrument's range that was asked for.
    #[error(
        "only {inside} of {all} notes lie in the range of the instrument, whatever the octave; name the line's track with --track, or widen --lowest and --highest"
    )]
    Range {
        /// Notes inside, moved by the octaves that bring most of them in.
        inside: usize,
        /// All notes.
        all: usize,
    },
}

/// The most that a player who keeps to the file's grid drifts from it, in beats, over a whole take.
const KEEPS_THE_GRID: f64 = 0.6;
/// The most that a whole take is off the file's grid without being recorded beside it, in beats.
const LATE: f64 = 0.25;
/// The most that a steady player wanders from an even tempo, in beats.
const STEADY: f64 = 0.3;
/// Attacks at the beginning that tell where the player stands against the grid.
const OPENING: usize = 16;
/// Beats that an articulated note may end before the next and still be meant to last until then.
const ARTICULATION: f64 = 0.25;

impl Take {
    /// Reads the line in the bytes of a MIDI file over a chart.
    ///
    /// # Errors
    /// A damaged file, a track that is not there, or notes that are no bass line.
    pub fn read(bytes: &[u8], chorus: &Chorus, reading: Reading<'_>) -> Result<Take, TakeProblem> {
        let file = TakeFile::read(bytes)?;
        let choice = voice::choose(&file, reading.track)?;
        let melody = melody::extract(choice.bass, &file.clock);
        let keys: Vec<u8> = melody.notes.iter().map(|note| note.key).collect();
        let octaves = octaves_into(&keys, reading.range)?;
        let keys: Vec<u8> = keys
            .iter()
            .map(|&key| moved(key, octaves).unwrap_or(key))
            .collect();

        let ruler = Ruler::new(&file.clock, chorus);
        let grid = Grid::new(&ruler, &melody.notes);
        let slots = slots::quantise(&grid.places);
        let alignment = align::align(chorus, &slots.slots, &keys, |slot| grid.beat_of_file(slot));
        let laid = Laid {
            chorus,
            ruler: &ruler,
            grid: &grid,
            slots: &slots.slots,
            swing: slots.swing,
            alignment,
            played: &melody.notes,
        };
        let notes = laid.notes(&keys);
        let timing = timing::figures(&laid.placed(&notes));
        let zero = laid.seconds_of(0, alignment.zero);
        let tempo = laid.tempo();
        let chords = choice.chords.map_or_else(Vec::new, |voice| {
            let chord_note = |note: &file::RawNote| TakeChordNote {
                from: file.clock.seconds(note.start),
                to: file.clock.seconds(note.end),
                key: note.key,
            };
            voice.notes.iter().map(chord_note).collect()
        });
        Ok(Take {
            notes,
            choruses: alignment.choruses,
            offset_beats: match grid.beat_of_file(alignment.zero) {
                Some(beat) => beat,
                None => zero * tempo / 60.0 / ruler.quarters_a_beat,
            },
            tempo,
            grid: grid.source,
            fit: alignment.fit,
            octaves,
            timing,
            swing_ratio: slots.swing.map(timing::ratio),
            track_name: choice.bass.name.clone(),
            track: choice.bass.track,
            chosen_by: choice.by,
            cleared: (melody.doubled, melody.ghosts, melody.double_stops),
            chords,
        })
    }
}

fn moved(key: u8, octaves: i8) -> Option<u8> {
    u8::try_from(i16::from(key) + 12 * i16::from(octaves)).ok()
}

/// Octaves that bring the notes into the range; none if most of them are there already.
fn octaves_into(keys: &[u8], (lowest, highest): (u8, u8)) -> Result<i8, TakeProblem> {
    let inside = |octaves: i8| {
        let inside =
            |key: &&u8| moved(**key, octaves).is_some_and(|key| (lowest..=highest).contains(&key));
        keys.iter().filter(inside).count()
    };
    if inside(0) * 10 >= keys.len() * 7 {
        return Ok(0);
    }
    // The fewest octaves among those that bring in most.
    let best = [0, -1, 1, -2, 2, -3, 3]
        .into_iter()
        .fold(0, |best, octaves| {
            if inside(octaves) > inside(best) {
                octaves
            } else {
                best
            }
        });
    match inside(best) {
        most if most * 2 < keys.len() => Err(TakeProblem::Range {
            inside: most,
            all: keys.len(),
        }),
        _ => Ok(best),
    }
}

/// Nominal beats: by the file's tempo where it counts in quarter notes, else by the chart's.
struct Ruler<'a> {
    clock: &'a Clock,
    quarters_a_beat: f64,
    chart_tempo: f64,
}

impl<'a> Ruler<'a> {
    fn new(clock: &'a Clock, chorus: &Chorus) -> Ruler<'a> {
        Ruler {
            clock,
            quarters_a_beat: chorus.bars[0].meter.beat_ticks().quarters(),
            chart_tempo: chorus.bars[0].tempo,
        }
    }

    fn beats(&self, note: &Played) -> f64 {
        let by_chart = || note.at * self.chart_tempo / 60.0;
        note.quarters.unwrap_or_else(by_chart) / self.quarters_a_beat
    }

    fn seconds(&self, beats: f64) -> f64 {
        let quarters = beats * self.quarters_a_beat;
        let by_chart = || quarters * 60.0 / self.chart_tempo;
        self.clock
            .seconds_at_quarters(quarters)
            .unwrap_or_else(by_chart)
    }

    fn is_of_file(&self) -> bool {
        matches!(self.clock, Clock::Quarters { .. })
    }
}

/// The grid against which a take is read.
struct Grid {
    source: GridSource,
    /// Place of each attack on the smooth pulse of the playing, in beats.
    places: Vec<f64>,
    /// For each attack the line that gives the nominal time of a place.
    lines: Vec<Fit>,
}

impl Grid {
    fn new(ruler: &Ruler<'_>, played: &[Played]) -> Grid {
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
    fn beat_of_file(&self, slot: Slot) -> Option<f64> {
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

/// A line laid over its chart.
struct Laid<'a> {
    chorus: &'a Chorus,
    ruler: &'a Ruler<'a>,
    grid: &'a Grid,
    slots: &'a [Slot],
    swing: Option<f64>,
    alignment: Alignment,
    played: &'a [Played],
}

impl Laid<'_> {
    /// When a slot comes, by the grid around the note of this number.
    fn seconds_of(&self, number: usize, slot: Slot) -> f64 {
        let place = slots::place(slot, self.swing);
        self.grid
            .lines
            .get(number)
            .map_or(0.0, |line| self.ruler.seconds(line.time(place)))
    }

    fn notes(&self, keys: &[u8]) -> Vec<TakeNote> {
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

    fn placed(&self, notes: &[TakeNote]) -> Vec<Placed> {
        let length = self.chorus.length().0 as f64;
        let place = |(number, note): (usize, &TakeNote)| {
            let gap = self
                .slots
                .get(number + 1)
                .map(|next| next - self.slots[number]);
            let next = self.played.get(number + 1).map(|next| next.at);
            Placed {
                chorus: f64::from(note.chorus) - 1.0 + note.start.0 as f64 / length,
                offset: note.offset,
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
    fn tempo(&self) -> f64 {
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
