//! A recording that was heard, as a file of one voice.

use super::{
    file::{FileProblem, Sound, TakeFile},
    tempo_map::TempoMap,
    track::{RawNote, Voice},
};
use crate::inputs::sound::Hearing;

/// Ticks of a second.
const RATE: f64 = 1000.0;
/// Below this certainty nothing is held against a note: of those at .5 some 85 % are right, as measured by
/// `tests/outside/hear_measure.py`.
const CERTAIN: f64 = 0.5;
/// The velocity that a heard note counts with: nothing is left out for being soft, since what was too soft to
/// be told was not heard.
const VELOCITY: u8 = 90;

impl TakeFile {
    /// The notes that were heard, in time without beats: a recording states no tempo.
    ///
    /// # Errors
    /// [`FileProblem::Silent`] if there are none.
    pub fn of_hearing(heard: &Hearing) -> Result<TakeFile, FileProblem> {
        let tick = |seconds: f64| (seconds * RATE).round() as u64;
        let notes: Vec<RawNote> = heard
            .notes
            .iter()
            .map(|note| RawNote {
                start: tick(note.onset),
                end: tick(note.onset + note.length),
                key: note.key,
                velocity: VELOCITY,
            })
            .collect();
        if notes.is_empty() {
            return Err(FileProblem::Silent);
        }
        let uncertain = heard.notes.iter().filter(|note| note.certainty < CERTAIN);
        let uncertain = uncertain.map(|note| tick(note.onset)).collect();
        let voice = Voice {
            track: 1,
            channel: 1,
            name: String::new(),
            notes,
        };
        Ok(TakeFile {
            voices: vec![voice],
            tempo_map: TempoMap::Seconds { rate: RATE },
            sound: Some(Sound {
                tuning_hz: heard.tuning_hz,
                uncertain,
            }),
        })
    }
}
