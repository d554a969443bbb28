//! One line out of what was recorded: double stops, notes struck twice, overlaps and the short false notes
//! of pitch-to-MIDI converters are cleared away, and counted.

use super::{tempo_map::TempoMap, track::Voice, voice::TOGETHER};

/// A note of the line, in seconds from the beginning of the file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MelodyNote {
    /// When it was struck.
    pub at: f64,
    /// When it was let go, at the latest when the next was struck.
    pub end: f64,
    /// The same attack in quarter notes of the file, if it counts in them.
    pub quarters: Option<f64>,
    /// MIDI key.
    pub key: u8,
    /// MIDI velocity.
    pub velocity: u8,
}

/// A line and what was cleared away to get it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Melody {
    /// In order of time; no two overlap.
    pub notes: Vec<MelodyNote>,
    /// The same pitch struck twice for one note.
    pub doubled: usize,
    /// Short false notes.
    pub ghosts: usize,
    /// Other notes of double stops, of which the line has the lowest.
    pub double_stops: usize,
}

/// The same pitch struck again sooner than this, in seconds, is one note: an eighth note at 300 quarters a
/// minute lasts 100 ms.
const STRUCK_TWICE: f64 = 0.085;

/// Shorter than this, in seconds, a note under or in front of a longer one is false. Deliberate dead notes
/// stand by themselves and are kept.
const FALSE_NOTE: f64 = 0.07;

/// Shorter than this, in seconds, nothing is a note of a bass: two periods of its lowest E last 49 ms.
const SHORTEST: f64 = 0.02;

/// The line that a voice plays.
pub fn extract(voice: &Voice, tempo_map: &TempoMap) -> Melody {
    let all: Vec<MelodyNote> = voice
        .notes
        .iter()
        .map(|note| MelodyNote {
            at: tempo_map.seconds(note.start),
            end: tempo_map.seconds(note.end),
            quarters: tempo_map.quarters(note.start),
            key: note.key,
            velocity: note.velocity,
        })
        .collect();
    let mut melody = Melody::default();
    let real = without_false_notes(&all, &mut melody.ghosts);
    for note in real {
        let Some(last) = melody.notes.last_mut() else {
            melody.notes.push(note);
            continue;
        };
        let after = note.at - last.at;
        if note.key == last.key && after < STRUCK_TWICE {
            last.end = last.end.max(note.end);
            melody.doubled += 1;
        } else if after <= TOGETHER {
            melody.double_stops += 1;
            if note.key < last.key {
                let at = last.at;
                *last = MelodyNote {
                    at,
                    quarters: last.quarters,
                    ..note
                };
            }
        } else {
            last.end = last.end.min(note.at);
            melody.notes.push(note);
        }
    }
    melody
}

/// A short note is false if a longer one sounds under it or begins right at its end.
fn without_false_notes(notes: &[MelodyNote], ghosts: &mut usize) -> Vec<MelodyNote> {
    let length = |note: &MelodyNote| note.end - note.at;
    let mut sounding: Option<MelodyNote> = None;
    let mut real = Vec::with_capacity(notes.len());
    for (index, note) in notes.iter().enumerate() {
        let longer = |other: &MelodyNote| length(other) > 2.0 * length(note);
        let under = sounding.is_some_and(|held| held.end > note.at && longer(&held));
        let soon = notes[index + 1..]
            .iter()
            .take_while(|next| next.at <= note.end + TOGETHER)
            .any(|next| next.at - note.at < FALSE_NOTE && longer(next));
        if length(note) < SHORTEST || (length(note) < FALSE_NOTE && (under || soon)) {
            *ghosts += 1;
            continue;
        }
        if sounding.is_none_or(|held| held.end < note.end) {
            sounding = Some(*note);
        }
        real.push(*note);
    }
    real
}

#[cfg(test)]
mod tests {
    use super::super::track::RawNote;
    use super::*;
    use midly::Timing;

    /// Milliseconds as ticks: 500 a quarter at the unstated tempo of 120.
    fn line(notes: &[(u64, u64, u8)]) -> Melody {
        let tempo_map = TempoMap::new(Timing::Metrical(500.into()), vec![]).unwrap();
        let notes = notes
            .iter()
            .map(|&(start, length, key)| RawNote {
                start,
                end: start + length,
                key,
                velocity: 80,
            })
            .collect();
        let voice = Voice {
            track: 1,
            channel: 1,
            name: String::new(),
            notes,
        };
        extract(&voice, &tempo_map)
    }

    fn keys(melody: &Melody) -> Vec<u8> {
        melody.notes.iter().map(|note| note.key).collect()
    }

    #[test]
    fn overlaps_end_where_the_next_note_begins() {
        let found = line(&[(0, 600, 41), (500, 600, 43)]);
        assert_eq!(keys(&found), [41, 43]);
        assert!((found.notes[0].end - 0.5).abs() < 1e-9);
    }

    #[test]
    fn doubled_notes_double_stops_and_false_notes_are_cleared() {
        let found = line(&[(0, 400, 41), (60, 380, 41), (500, 400, 43), (1000, 400, 45)]);
        assert_eq!((keys(&found), found.doubled), (vec![41, 43, 45], 1));
        let found = line(&[(0, 400, 53), (10, 400, 41), (500, 400, 43)]);
        assert_eq!((keys(&found), found.double_stops), (vec![41, 43], 1));
        // An overtone within a note, a slip in front of one, a speck between two.
        let found = line(&[
            (0, 450, 41),
            (100, 40, 53),
            (470, 30, 44),
            (500, 400, 43),
            (950, 10, 60),
        ]);
        assert_eq!((keys(&found), found.ghosts), (vec![41, 43], 3));
    }

    #[test]
    fn a_dead_note_by_itself_is_a_note() {
        let found = line(&[(0, 300, 41), (333, 60, 41), (500, 400, 43)]);
        assert_eq!((keys(&found), found.ghosts), (vec![41, 41, 43], 0));
    }
}
