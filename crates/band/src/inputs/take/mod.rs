//! A take: a line that somebody played, from the bytes of its file to notes over the chart.
//!
//! The stages, one module each: [`mod@file`] and [`track`] read the bytes (or `recording` takes what was heard in a sound), [`voice`] chooses the line among
//! the tracks, [`melody`] clears it, [`count_in`] tells what only counts, [`pulse`] finds its beats, [`grid`] chooses what they are read against,
//! [`slots`] quantises, [`align`] lays it over the chart, and [`timing`] draws its figures.

pub mod align;
pub mod count_in;
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

use align::{Alignment, Around};
use endpin_theory::{Chorus, Ticks};
use endpin_walker::Heard;
use file::{FileProblem, TakeFile};
pub use grid::GridSource;
use grid::{Grid, Ruler};
use laid::Laid;
use slots::{Slot, Slots};
use timing::Timing;
pub use timing::{BarTempo, Start};
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
    /// What is known of the beats that were played to.
    pub start: Start,
    /// Notes of a count-in before the line.
    pub counted_in: usize,
    /// Notes of an intro before the first chorus, and of a tag after the last with its last chord: they are
    /// heard, but not among the notes over the form.
    pub around: (usize, usize),
    /// Which of the last choruses of the reading was played.
    pub tag: Option<usize>,
    /// How well the notes spell the chart where they were laid over it: 0 by chance, 1 all.
    pub fit: f64,
    /// By how many semitones the chart would have to be moved for the notes to spell it much better, -5 to 6.
    pub fits_moved_by: Option<i8>,
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
    /// How a recording is tuned: the frequency of A above middle C, in hertz; none for a MIDI file.
    pub tuning_hz: Option<f64>,
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
    /// Whether its key is certain: in a recording it may not be.
    pub certain: bool,
}

impl TakeNote {
    /// The note as a judge hears it.
    pub fn heard(&self) -> Heard {
        Heard {
            chorus: self.chorus,
            start: self.start,
            length: self.length,
            key: self.key,
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
    /// What the chart plays around its choruses.
    pub around: Around<'a>,
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
        let mut melody = melody::extract(choice.bass, &file.tempo_map);
        let keys: Vec<u8> = melody.notes.iter().map(|note| note.key).collect();
        let octaves = octaves_into(&keys, reading.range)?;
        let keys: Vec<u8> = keys
            .iter()
            .map(|&key| moved(key, octaves).unwrap_or(key))
            .collect();

        let ruler = Ruler::new(&file.tempo_map, chorus);
        let times: Vec<f64> = melody.notes.iter().map(|note| ruler.beats(note)).collect();
        let count_in = count_in::find(chorus, &times, &keys);
        let counted_in = count_in.map_or(0, |count_in| count_in.notes);
        let keys = &keys[counted_in..];
        melody.notes.drain(..counted_in);
        let clicks = choice
            .clicks
            .map(|voice| melody::extract(voice, &file.tempo_map).notes);
        let grid = Grid::new(&ruler, &melody.notes, &clicks.unwrap_or_default());
        let OnGrid {
            mut grid,
            slots,
            alignment,
        } = OnGrid::best(chorus, reading.around, grid, keys);
        let elsewhere = fits_moved_by(chorus, reading.around, &slots.slots, keys, alignment.fit);
        let alignment = elsewhere.map_or(alignment, |(_, there)| there);
        let zero = alignment.zero as f64 / slots::IN_A_BEAT as f64;
        let is_counted_in =
            count_in.is_some_and(|count_in| grid.move_downbeat(zero, count_in.downbeat));
        let start = match grid.source {
            GridSource::File => Start::File,
            GridSource::Click => Start::Click,
            _ if is_counted_in => Start::CountIn,
            _ => Start::Fit,
        };
        let laid = Laid {
            chorus,
            ruler: &ruler,
            grid: &grid,
            slots: &slots.slots,
            swing: slots.swing,
            alignment,
            played: &melody.notes,
        };
        let mut notes = laid.notes(keys);
        let uncertain = file.sound.iter().flat_map(|sound| &sound.uncertain);
        for at in uncertain.map(|&tick| file.tempo_map.seconds(tick)) {
            let first = notes.partition_point(|note| note.at < at - 1e-6);
            if let Some(note) = notes.get_mut(first).filter(|note| note.at < at + 1e-6) {
                note.certain = false;
            }
        }
        let tempo_is_fitted = !matches!(grid.source, GridSource::File | GridSource::Click);
        let timing = Timing {
            curve: laid.curve(),
            ..timing::figures(&laid.placed(&notes), start, tempo_is_fitted)
        };
        let mut leave_out = |is_played: bool, is_there: &dyn Fn(&TakeNote) -> bool| {
            let all = notes.len();
            notes.retain(|note| !is_played || !is_there(note));
            all - notes.len()
        };
        let around = (
            leave_out(alignment.has_intro, &|note| note.start < Ticks::ZERO),
            leave_out(alignment.tag.is_some(), &|note| {
                note.start >= chorus.length()
            }),
        );
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
            start,
            counted_in,
            around,
            tag: alignment.tag,
            fit: alignment.fit,
            fits_moved_by: elsewhere.map(|(moved, _)| moved),
            octaves,
            timing,
            swing_ratio: slots.swing.map(timing::ratio),
            track_name: choice.bass.name.clone(),
            track: choice.bass.track,
            chosen_by: choice.by,
            tuning_hz: file.sound.as_ref().map(|sound| sound.tuning_hz),
            cleared: (melody.doubled, melody.ghosts, melody.double_stops),
            chords,
        })
    }
}

/// A line on its grid, and where its form begins there.
struct OnGrid {
    grid: Grid,
    slots: Slots,
    alignment: Alignment,
}

/// Another speed or key counts only if the notes spell the chart so much better there.
const BETTER: f64 = 0.2;
/// Another speed counts only if the notes spell the chart so well there: a few notes fit by chance at some speed.
const FITS: f64 = 0.6;
/// From here on the notes spell the chart well enough for no other to be looked for.
const GOOD_FIT: f64 = 0.7;

impl OnGrid {
    fn new(chorus: &Chorus, around: Around<'_>, grid: Grid, keys: &[u8]) -> OnGrid {
        let slots = slots::quantise(&grid.places);
        let of_file = |slot| grid.beat_of_file(slot);
        let alignment = align::align(chorus, around, &slots.slots, keys, of_file);
        OnGrid {
            grid,
            slots,
            alignment,
        }
    }

    /// As its pulse says; or at half, twice or a third of that speed, or at two against three as dotted quarters
    /// mislead, if the notes spell the chart much better so.
    fn best(chorus: &Chorus, around: Around<'_>, grid: Grid, keys: &[u8]) -> OnGrid {
        let plain = OnGrid::new(chorus, around, grid, keys);
        let others = [0.5, 2.0, 1.0 / 3.0, 2.0 / 3.0, 1.5].into_iter();
        let others = others.filter(|_| plain.alignment.fit < GOOD_FIT);
        let others: Vec<OnGrid> = others
            .map(|speed| OnGrid::new(chorus, around, plain.grid.at_speed(speed), keys))
            .filter(|other| {
                let fit = other.alignment.fit;
                fit > plain.alignment.fit + BETTER && fit > FITS
            })
            .collect();
        others.into_iter().fold(plain, |best, other| {
            match other.alignment.fit > best.alignment.fit {
                true => other,
                false => best,
            }
        })
    }
}

/// The semitones by which the chart would have to be moved for the notes to spell it much better, and where it would
/// begin.
fn fits_moved_by(
    chorus: &Chorus,
    around: Around<'_>,
    slots: &[Slot],
    keys: &[u8],
    fit: f64,
) -> Option<(i8, Alignment)> {
    let others = (-5..=6).filter(|&moved| moved != 0 && fit < GOOD_FIT);
    let there = others.map(|moved| {
        let back = |key: &u8| key.saturating_add_signed(-moved);
        let keys: Vec<u8> = keys.iter().map(back).collect();
        (moved, align::align(chorus, around, slots, &keys, |_| None))
    });
    there
        .filter(|(_, there)| there.fit > fit + BETTER)
        .max_by(|a, b| a.1.fit.total_cmp(&b.1.fit))
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
