//! A take: a line that somebody played, from the bytes of its file to notes over the chart.
//!
//! The stages, one module each: [`mod@file`] and [`track`] read the bytes (or `recording` takes what was heard in a sound), [`voice`] chooses the line among
//! the tracks, [`melody`] clears it, [`pulse`] finds its beats, [`grid`] chooses what they are read against,
//! [`slots`] quantises, [`align`] lays it over the chart, and [`timing`] draws its figures.

pub mod align;
pub mod file;
pub mod grid;
mod laid;
pub mod melody;
pub mod pulse;
#[cfg(feature = "sound")]
mod recording;
pub mod slots;
pub mod tempo_map;
pub mod timing;
pub mod track;
pub mod voice;

use endpin_theory::{Chorus, Ticks};
use endpin_walker::Heard;
use file::{FileProblem, TakeFile};
pub use grid::GridSource;
use grid::{Grid, Ruler};
use laid::Laid;
use timing::Timing;
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

impl From<&TakeNote> for Heard {
    fn from(note: &TakeNote) -> Heard {
        Heard {
            chorus: note.chorus,
            start: note.start,
            length: note.length,
            key: note.key,
        }
    }
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

impl Take {
    /// Reads the line in the bytes of a MIDI file over a chart.
    ///
    /// # Errors
    /// A damaged file, a track that is not there, or notes that are no bass line.
    pub fn read(bytes: &[u8], chorus: &Chorus, reading: Reading<'_>) -> Result<Take, TakeProblem> {
        Take::of_file(&TakeFile::read(bytes)?, chorus, reading)
    }

    /// Reads the line in a file that has been read, or in a recording that has been heard.
    ///
    /// # Errors
    /// A track that is not there, or notes that are no bass line.
    pub fn of_file(
        file: &TakeFile,
        chorus: &Chorus,
        reading: Reading<'_>,
    ) -> Result<Take, TakeProblem> {
        let choice = voice::choose(file, reading.track)?;
        let melody = melody::extract(choice.bass, &file.tempo_map);
        let keys: Vec<u8> = melody.notes.iter().map(|note| note.key).collect();
        let octaves = octaves_into(&keys, reading.range)?;
        let keys: Vec<u8> = keys
            .iter()
            .map(|&key| moved(key, octaves).unwrap_or(key))
            .collect();

        let ruler = Ruler::new(&file.tempo_map, chorus);
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
            let chord_note = |note: &track::RawNote| TakeChordNote {
                from: file.tempo_map.seconds(note.start),
                to: file.tempo_map.seconds(note.end),
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
