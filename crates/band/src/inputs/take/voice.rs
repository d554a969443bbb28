//! Which voice of a file is the bass line, and which the chords.

use super::{file::TakeFile, tempo_map::TempoMap, track::Voice};

/// The percussion channel of General MIDI level 1, counted from 1 (from memory).
pub(super) const PERCUSSION: u8 = 10;

/// Attacks nearer to one another than this, in seconds, sound as one: asynchrony below about 30 to 40 ms
/// goes unnoticed (common practice, no source).
pub const TOGETHER: f64 = 0.035;

/// The most notes of a line: ten hours of quarter notes at 160 a minute.
pub const LONGEST_LINE: usize = 100_000;

/// Words in a track's name that tell the bass.
const BASS_WORDS: [&str; 4] = ["bass", "walking", "upright", "contrabass"];
/// Words in a track's name that tell the chords.
const CHORD_WORDS: [&str; 7] = [
    "comp", "piano", "keys", "chord", "guitar", "rhodes", "organ",
];

/// The voices that are judged, and why these.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChosenVoices<'a> {
    /// The line.
    pub bass: &'a Voice,
    /// The chords beside it, if somebody plays some.
    pub chords: Option<&'a Voice>,
    /// A click or drums, if there are any.
    pub clicks: Option<&'a Voice>,
    /// How the line was told.
    pub by: ChosenBy,
}

/// How the line was told from the other voices.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChosenBy {
    /// The user named its track.
    Asked,
    /// There is no other.
    Only,
    /// The name of its track.
    Name,
    /// It is the lowest of the voices that play one note at a time.
    Register,
}

/// A line that the file has not, or that nobody plays.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ChoiceProblem {
    /// None of that name or number.
    #[error("no track \"{wanted}\" with notes is in this file; it has {}", .there.join(", "))]
    NoSuchTrack {
        /// As the user wrote it.
        wanted: String,
        /// What could be asked for.
        there: Vec<String>,
    },
    /// Drums alone.
    #[error(
        "there are only drums (channel 10) in this file; choose a file with the bass, or name its track with --track"
    )]
    OnlyDrums,
    /// More notes than anybody plays.
    #[error(
        "track {track} has {notes} notes, and a line has {LONGEST_LINE} at most; give one take alone"
    )]
    TooLong {
        /// Counted from 1.
        track: usize,
        /// How many it has.
        notes: usize,
    },
}

/// Chooses the line: the track that is `wanted` (a number counted from 1, or a part of its name), else the
/// only voice, else one called bass, else the lowest that plays one note at a time.
///
/// # Errors
/// A wanted track that is not there, drums alone, or a line longer than [`LONGEST_LINE`].
pub fn choose<'a>(
    file: &'a TakeFile,
    wanted: Option<&str>,
) -> Result<ChosenVoices<'a>, ChoiceProblem> {
    let tuned: Vec<&Voice> = file
        .voices
        .iter()
        .filter(|voice| voice.channel != PERCUSSION)
        .collect();
    let (bass, by) = match wanted {
        Some(wanted) => (asked_for(file, wanted)?, ChosenBy::Asked),
        None => unasked(&tuned, &file.tempo_map).ok_or(ChoiceProblem::OnlyDrums)?,
    };
    if bass.notes.len() > LONGEST_LINE {
        return Err(ChoiceProblem::TooLong {
            track: bass.track,
            notes: bass.notes.len(),
        });
    }
    let chords = tuned
        .into_iter()
        .filter(|voice| !std::ptr::eq(*voice, bass) && !is_called(voice, &BASS_WORDS))
        .filter(|voice| {
            let thickness = notes_an_attack(voice, &file.tempo_map);
            thickness >= 2.0 || (thickness > 1.3 && is_called(voice, &CHORD_WORDS))
        })
        .max_by_key(|voice| voice.notes.len());
    let percussion = file
        .voices
        .iter()
        .filter(|voice| voice.channel == PERCUSSION);
    let clicks = percussion
        .filter(|voice| !std::ptr::eq(*voice, bass) && voice.notes.len() <= LONGEST_LINE)
        .max_by_key(|voice| voice.notes.len());
    Ok(ChosenVoices {
        bass,
        chords,
        clicks,
        by,
    })
}

fn asked_for<'a>(file: &'a TakeFile, wanted: &str) -> Result<&'a Voice, ChoiceProblem> {
    let number: Option<usize> = wanted.trim().parse().ok();
    let low = wanted.trim().to_lowercase();
    file.voices
        .iter()
        .filter(|voice| match number {
            Some(number) => voice.track == number,
            None => !low.is_empty() && voice.name.to_lowercase().contains(&low),
        })
        .max_by_key(|voice| voice.notes.len())
        .ok_or_else(|| {
            let mut there: Vec<String> = file
                .voices
                .iter()
                .map(|voice| match &voice.name[..] {
                    "" => format!("track {}", voice.track),
                    name => format!("track {} \"{name}\"", voice.track),
                })
                .collect();
            there.dedup();
            there.truncate(20);
            ChoiceProblem::NoSuchTrack {
                wanted: wanted.to_owned(),
                there,
            }
        })
}

fn unasked<'a>(tuned: &[&'a Voice], tempo_map: &TempoMap) -> Option<(&'a Voice, ChosenBy)> {
    if let [only] = tuned {
        return Some((only, ChosenBy::Only));
    }
    let named = tuned
        .iter()
        .filter(|voice| is_called(voice, &BASS_WORDS))
        .max_by_key(|voice| voice.notes.len());
    if let Some(named) = named {
        return Some((named, ChosenBy::Name));
    }
    // Few notes tell little: a voice counts if it has a tenth of the notes of the busiest.
    let busiest = tuned.iter().map(|voice| voice.notes.len()).max()?;
    tuned
        .iter()
        .filter(|voice| voice.notes.len() * 10 >= busiest)
        .min_by_key(|voice| {
            let alone = notes_an_attack(voice, tempo_map) < 1.3;
            (!alone, median_key(voice))
        })
        .map(|lowest| (*lowest, ChosenBy::Register))
}

fn is_called(voice: &Voice, words: &[&str]) -> bool {
    let name = voice.name.to_lowercase();
    words.iter().any(|word| name.contains(word))
}

fn median_key(voice: &Voice) -> u8 {
    let mut keys: Vec<u8> = voice.notes.iter().map(|note| note.key).collect();
    keys.sort_unstable();
    keys[keys.len() / 2]
}

/// Notes that are struck together, on average.
fn notes_an_attack(voice: &Voice, tempo_map: &TempoMap) -> f64 {
    let mut attacks = 0;
    let mut last = f64::NEG_INFINITY;
    for note in &voice.notes {
        let at = tempo_map.seconds(note.start);
        if at - last > TOGETHER {
            attacks += 1;
            last = at;
        }
    }
    voice.notes.len() as f64 / f64::from(attacks.max(1))
}

#[cfg(test)]
mod tests {
    use super::super::track::RawNote;
    use super::*;
    use midly::Timing;

    fn voice(track: usize, channel: u8, name: &str, keys: &[&[u8]]) -> Voice {
        let notes = (0..)
            .zip(keys)
            .flat_map(|(beat, keys)| {
                keys.iter().map(move |&key| RawNote {
                    start: beat * 480,
                    end: beat * 480 + 400,
                    key,
                    velocity: 80,
                })
            })
            .collect();
        Voice {
            track,
            channel,
            name: name.into(),
            notes,
        }
    }

    fn file(voices: Vec<Voice>) -> TakeFile {
        TakeFile {
            voices,
            tempo_map: TempoMap::new(Timing::Metrical(480.into()), vec![]).unwrap(),
            sound: None,
        }
    }

    #[test]
    fn the_line_is_told_by_name_and_by_register() {
        let band = file(vec![
            voice(1, 1, "Melody", &[&[72], &[74], &[76]]),
            voice(2, 2, "Left hand", &[&[41], &[43], &[45]]),
            voice(3, 3, "Comp", &[&[52, 57, 60], &[52, 57, 60]]),
            voice(4, 10, "Kit", &[&[36], &[36], &[36]]),
        ]);
        let choice = choose(&band, None).unwrap();
        assert_eq!((choice.bass.track, choice.by), (2, ChosenBy::Register));
        assert_eq!(choice.chords.unwrap().track, 3);

        let mut named = band.clone();
        named.voices[0].name = "E-Bass".into();
        let choice = choose(&named, None).unwrap();
        assert_eq!((choice.bass.track, choice.by), (1, ChosenBy::Name));

        assert_eq!(choose(&band, Some("4")).unwrap().bass.track, 4);
        assert_eq!(choose(&band, Some("melo")).unwrap().bass.track, 1);
        assert_eq!(
            choose(&band, Some("tuba")).unwrap_err().to_string(),
            "no track \"tuba\" with notes is in this file; it has track 1 \"Melody\", track 2 \"Left hand\", \
             track 3 \"Comp\", track 4 \"Kit\""
        );
        let drums = file(vec![voice(1, 10, "", &[&[36]])]);
        assert_eq!(choose(&drums, None), Err(ChoiceProblem::OnlyDrums));
    }

    #[test]
    fn a_long_line_is_bounded_and_not_its_band() {
        let beats = |count: usize, keys: &'static [u8]| vec![keys; count];
        let with_line = |notes: usize| {
            let line = voice(1, 1, "Bass", &beats(notes, &[41]));
            file(vec![line, voice(2, 10, "Kit", &beats(60_000, &[36, 51]))])
        };
        let most = with_line(LONGEST_LINE);
        assert_eq!(choose(&most, None).unwrap().bass.track, 1);
        assert_eq!(
            choose(&with_line(LONGEST_LINE + 1), None)
                .unwrap_err()
                .to_string(),
            "track 1 has 100001 notes, and a line has 100000 at most; give one take alone"
        );
    }

    #[test]
    fn channels_of_one_track_are_voices_of_their_own() {
        let single = file(vec![
            voice(1, 1, "Take", &[&[41], &[43], &[45]]),
            voice(1, 2, "Take", &[&[52, 57, 60], &[53, 57, 60]]),
        ]);
        let choice = choose(&single, None).unwrap();
        assert_eq!(choice.bass.channel, 1);
        assert_eq!(choice.chords.unwrap().channel, 2);
    }
}
