//! Reading a Standard MIDI File of any writer, damaged ones included, in bounded memory.
//!
//! Chunks are walked here, so that a damaged file is told from a sound one and the place of the damage can
//! be named; what is inside a track is read by [`super::track`].

use super::{
    tempo_map::TempoMap,
    track::{MOST_NOTES, RawNote, Tracks, Voice},
    voice::PERCUSSION,
};
use midly::{Format, Timing};

/// The longest music, in seconds.
pub const LONGEST: f64 = 12.0 * 3600.0;

/// All that is used of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct TakeFile {
    /// Every voice with a note in it, in order of track and channel.
    pub voices: Vec<Voice>,
    /// What its ticks last.
    pub tempo_map: TempoMap,
    /// How it was heard, if it is a recording.
    pub sound: Option<Sound>,
}

/// How a recording was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Sound {
    /// The frequency of A above middle C, in hertz.
    pub tuning_hz: f64,
    /// Ticks of the notes whose key is uncertain, in order.
    pub uncertain: Vec<u64>,
}

/// What is wrong with a file, for the person who chose it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FileProblem {
    /// Something else than a MIDI file.
    #[error(
        "this is not a Standard MIDI File: it begins with {0}, not with \"MThd\"; export the take as .mid"
    )]
    NotMidi(String),
    /// The header is cut or says what cannot be.
    #[error("the header of this MIDI file is damaged: {0}; export the take again")]
    Header(String),
    /// Independent patterns.
    #[error(
        "a MIDI file of format 2 holds independent patterns, not one take; export format 0 or 1"
    )]
    Patterns,
    /// A chunk is longer than the file.
    #[error(
        "this MIDI file is cut short: at byte {at} a part of {wanted} bytes begins, but only {left} are left; \
         export or copy it again"
    )]
    CutShort {
        /// Where the chunk's data begins.
        at: usize,
        /// The length that it states.
        wanted: u32,
        /// What there is.
        left: usize,
    },
    /// Fewer tracks than the header states.
    #[error(
        "this MIDI file is cut short: its header promises {promised} tracks, but {found} are there; export or copy it again"
    )]
    TracksMissing {
        /// As the header states.
        promised: u16,
        /// As found.
        found: usize,
    },
    /// An event that cannot be read.
    #[error(
        "track {track} of this MIDI file is damaged at byte {at}: no MIDI event can be read there; export it again"
    )]
    Event {
        /// Counted from 1.
        track: usize,
        /// Place in the file.
        at: usize,
    },
    /// Nothing was played.
    #[error("there is no note in this MIDI file; choose the file with the played line")]
    Empty,
    /// A recording in which nothing was heard.
    #[error("no note of a bass was heard in this recording; choose the one with the played line")]
    Silent,
    /// More notes than anybody plays.
    #[error("this MIDI file has more than {MOST_NOTES} notes; give one take alone")]
    TooMany,
    /// Longer than anybody plays.
    #[error("this MIDI file lasts more than 12 hours; give one take alone")]
    TooLong,
}

impl TakeFile {
    /// Reads a file of format 0 or 1, with any time division.
    ///
    /// # Errors
    /// The first [`FileProblem`]; a file that is read is whole.
    pub fn read(bytes: &[u8]) -> Result<TakeFile, FileProblem> {
        let (promised, timing) = header(bytes)?;
        let mut tracks = Tracks::default();
        let mut chunks = Chunks { bytes, at: 0 };
        while let Some(chunk) = chunks.next(tracks.read, promised)? {
            if chunk.id == *b"MTrk" {
                tracks.add(chunk.at, chunk.data)?;
            }
        }
        if tracks.read < usize::from(promised) {
            return Err(FileProblem::TracksMissing {
                promised,
                found: tracks.read,
            });
        }
        let tempo_map = TempoMap::new(timing, tracks.tempo)
            .ok_or_else(|| FileProblem::Header("its time division is zero".into()))?;
        if tracks.voices.is_empty() {
            return Err(FileProblem::Empty);
        }
        if tempo_map.seconds(tracks.end) > LONGEST {
            return Err(FileProblem::TooLong);
        }
        Ok(TakeFile {
            voices: tracks.voices,
            tempo_map,
            sound: None,
        })
    }
}

impl TakeFile {
    /// Adds what only the player heard: a click at these times, in milliseconds of a recording.
    pub fn add_click(&mut self, times: &[u32]) {
        let TempoMap::Seconds { rate } = self.tempo_map else {
            return;
        };
        let tick = |time: u32| (f64::from(time) / 1000.0 * rate).round() as u64;
        let stroke = |&time: &u32| RawNote {
            start: tick(time),
            end: tick(time.saturating_add(CLICK)),
            key: SIDE_STICK,
            velocity: 90,
        };
        self.voices.push(Voice {
            track: self.voices.len() + 1,
            channel: PERCUSSION,
            name: "Click".to_owned(),
            notes: times.iter().take(MOST_NOTES).map(stroke).collect(),
        });
    }
}

/// How long a stroke of a click lasts, in milliseconds, and its key in General MIDI.
const CLICK: u32 = 30;
const SIDE_STICK: u8 = 37;

/// The number of tracks and the time division.
fn header(bytes: &[u8]) -> Result<(u16, Timing), FileProblem> {
    let begin = &bytes[..bytes.len().min(4)];
    if begin != b"MThd" {
        return Err(FileProblem::NotMidi(match begin {
            [] => "nothing".into(),
            _ => format!("\"{}\"", begin.escape_ascii()),
        }));
    }
    let &[_, _, _, _, a, b, c, d, _, format, t, u, division, _, ..] = bytes else {
        return Err(FileProblem::Header("it is cut short".into()));
    };
    if u32::from_be_bytes([a, b, c, d]) < 6 {
        return Err(FileProblem::Header("it is shorter than six bytes".into()));
    }
    let unknown =
        || FileProblem::Header(format!("format {format} or its time division is unknown"));
    // Frames a second are stated as a negative byte, and midly 0.5.3 cannot turn the least of them around.
    if division == 0x80 {
        return Err(unknown());
    }
    let (read, _) = midly::parse(bytes).map_err(|_| unknown())?;
    if read.format == Format::Sequential {
        return Err(FileProblem::Patterns);
    }
    match u16::from_be_bytes([t, u]) {
        0 => Err(FileProblem::Header("it promises no track".into())),
        promised => Ok((promised, read.timing)),
    }
}

struct Chunks<'a> {
    bytes: &'a [u8],
    at: usize,
}

struct Chunk<'a> {
    id: [u8; 4],
    at: usize,
    data: &'a [u8],
}

impl<'a> Chunks<'a> {
    /// The next chunk; none once all promised tracks are read, whatever follows them.
    fn next(&mut self, tracks: usize, promised: u16) -> Result<Option<Chunk<'a>>, FileProblem> {
        let rest = &self.bytes[self.at..];
        if rest.is_empty() || tracks >= usize::from(promised) {
            return Ok(None);
        }
        let &[a, b, c, d, e, f, g, h, ref data @ ..] = rest else {
            return Err(FileProblem::CutShort {
                at: self.at,
                wanted: 8,
                left: rest.len(),
            });
        };
        let length = u32::from_be_bytes([e, f, g, h]);
        let at = self.at + 8;
        let data = usize::try_from(length)
            .ok()
            .and_then(|length| data.get(..length))
            .ok_or(FileProblem::CutShort {
                at,
                wanted: length,
                left: data.len(),
            })?;
        self.at = at + data.len();
        Ok(Some(Chunk {
            id: [a, b, c, d],
            at,
            data,
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Format 1, 96 ticks a quarter: a tempo track, and a track with running status, a note-on of velocity 0
    /// as release and a note that is never released.
    fn small() -> Vec<u8> {
        let mut bytes = b"MThd\0\0\0\x06\0\x01\0\x02\0\x60".to_vec();
        bytes.extend(b"MTrk\0\0\0\x0b\0\xff\x51\x03\x07\xa1\x20\0\xff\x2f\0");
        let track = b"\0\xff\x03\x04Bass\0\x90\x29\x50\x60\x29\0\0\x2b\x50\x60\xff\x2f\0";
        bytes.extend(b"MTrk\0\0\0");
        bytes.push(track.len() as u8);
        bytes.extend(track);
        bytes
    }

    #[test]
    fn running_status_silent_attacks_and_hanging_notes_are_read() {
        let file = TakeFile::read(&small()).unwrap();
        assert_eq!(file.voices.len(), 1);
        let voice = &file.voices[0];
        assert_eq!(
            (voice.track, voice.channel, &voice.name[..]),
            (2, 1, "Bass")
        );
        let notes: Vec<_> = voice
            .notes
            .iter()
            .map(|n| (n.key, n.start, n.end))
            .collect();
        assert_eq!(notes, [(41, 0, 96), (43, 96, 192)]);
        assert_eq!(file.tempo_map.seconds(96), 0.5);
    }

    #[test]
    fn seconds_based_division_is_read() {
        let mut bytes = small();
        // 25 frames of 40 ticks: a tick is a millisecond, whatever the tempo.
        bytes[12] = 0xe7;
        bytes[13] = 40;
        let file = TakeFile::read(&bytes).unwrap();
        assert_eq!(file.tempo_map.seconds(96), 0.096);
    }

    /// Found by fuzzing: midly 0.5.3 overflows on it.
    #[test]
    fn the_least_number_of_frames_is_refused() {
        let mut bytes = small();
        bytes[12] = 0x80;
        let found = TakeFile::read(&bytes);
        assert!(matches!(found, Err(FileProblem::Header(_))), "{found:?}");
    }

    #[test]
    fn a_file_cut_at_any_byte_is_refused() {
        let whole = small();
        for length in 0..whole.len() {
            let found = TakeFile::read(&whole[..length]);
            assert!(found.is_err(), "{length} bytes: {found:?}");
        }
    }

    #[test]
    fn each_kind_of_damage_has_its_message() {
        let whole = small();
        let damaged = |at: usize, with: &[u8]| {
            let mut bytes = whole.clone();
            bytes[at..at + with.len()].copy_from_slice(with);
            TakeFile::read(&bytes).unwrap_err().to_string()
        };
        let starts = |message: String, with: &str| assert!(message.starts_with(with), "{message}");
        starts(
            damaged(0, b"RIFF"),
            "this is not a Standard MIDI File: it begins with \"RIFF\"",
        );
        starts(damaged(9, &[2]), "a MIDI file of format 2");
        starts(damaged(9, &[9]), "the header of this MIDI file is damaged");
        starts(
            damaged(10, &[0, 0]),
            "the header of this MIDI file is damaged: it promises no track",
        );
        starts(
            damaged(10, &[0xff, 0xff]),
            "this MIDI file is cut short: its header promises 65535",
        );
        starts(
            damaged(12, &[0, 0]),
            "the header of this MIDI file is damaged: its time division is zero",
        );
        starts(
            damaged(18, &[0xff; 4]),
            "this MIDI file is cut short: at byte 22 a part of 4294967295",
        );
        starts(
            damaged(49, &[0xf5]),
            "track 2 of this MIDI file is damaged at byte",
        );
        starts(
            TakeFile::read(b"MThd\0\0\0\x06\0\x01\0\x01\0\x60MTrk\0\0\0\x04\0\xff\x2f\0")
                .unwrap_err()
                .to_string(),
            "there is no note",
        );
        starts(
            TakeFile::read(b"").unwrap_err().to_string(),
            "this is not a Standard MIDI File: it begins with nothing",
        );
    }

    #[test]
    fn very_many_tracks_and_notes_stay_small() {
        let mut bytes = b"MThd\0\0\0\x06\0\x01\xff\xff\0\x60".to_vec();
        for _ in 0..65_535 {
            bytes.extend(b"MTrk\0\0\0\x04\0\xff\x2f\0");
        }
        assert_eq!(TakeFile::read(&bytes), Err(FileProblem::Empty));
        let mut bytes = b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk\0\x10\0\0\0\x90\x29\x50".to_vec();
        // A note is three bytes.
        bytes[19] = 0x40;
        bytes.resize(22 + 0x40_0000, 0x29);
        assert_eq!(TakeFile::read(&bytes), Err(FileProblem::TooMany));
    }

    proptest! {
        #[test]
        fn no_bytes_panic(mut bytes in proptest::collection::vec(any::<u8>(), 0..400), sound: bool) {
            if sound {
                bytes.splice(0..0, small());
                bytes[10..12].copy_from_slice(&[0, 3]);
            }
            let _ = TakeFile::read(&bytes);
        }

        #[test]
        fn one_changed_byte_never_panics(at in 0usize..66, value: u8) {
            let mut bytes = small();
            let at = at % bytes.len();
            bytes[at] = value;
            let _ = TakeFile::read(&bytes);
        }
    }
}
