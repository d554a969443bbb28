//! What is in the tracks of a file: notes by voice, names and tempo. The events are `midly`'s.

use super::{file::FileProblem, tempo_map::TempoChange};
use midly::{EventIter, MetaMessage, MidiMessage, TrackEventKind};

/// The most notes that are read of one file, all parts together: twelve hours of a whole band.
pub const MOST_NOTES: usize = 1_000_000;

/// The most tempo changes that are read of one file.
pub const MOST_TEMPO_CHANGES: usize = 100_000;

/// The part of one channel in one track.
#[derive(Clone, Debug, PartialEq)]
pub struct Voice {
    /// Its track, counted from 1 with the conductor's track.
    pub track: usize,
    /// Its MIDI channel, counted from 1; 10 is percussion in General MIDI level 1 (from memory).
    pub channel: u8,
    /// The name of its track; empty if it has none.
    pub name: String,
    /// Notes in order of start, then key; never empty.
    pub notes: Vec<RawNote>,
}

/// A note as the file has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RawNote {
    /// Tick of its attack.
    pub start: u64,
    /// Tick of its release.
    pub end: u64,
    /// MIDI key; 60 is middle C.
    pub key: u8,
    /// MIDI velocity, 1 to 127.
    pub velocity: u8,
}

/// What has been read of the tracks of a file.
#[derive(Default)]
pub(super) struct Tracks {
    /// How many there were.
    pub read: usize,
    /// Every voice with a note in it, in order of track and channel.
    pub voices: Vec<Voice>,
    /// Tempo changes, wherever they stood.
    pub tempo: Vec<TempoChange>,
    /// The tick at which the longest ends.
    pub end: u64,
    notes: usize,
}

impl Tracks {
    /// Reads the events of the next track, whose bytes begin at `at` in the file.
    pub fn add(&mut self, at: usize, data: &[u8]) -> Result<(), FileProblem> {
        self.read += 1;
        let damaged = |unread: usize| FileProblem::Event {
            track: self.read,
            at: at + data.len() - unread,
        };
        let mut name = String::new();
        let mut open = Open::default();
        let mut tick = 0u64;
        let mut events = EventIter::new(data);
        loop {
            let unread = events.unread().len();
            // midly ends a track at an event that it cannot read.
            let event = match events.next() {
                Some(Ok(event)) => event,
                None if unread == 0 => break,
                _ => return Err(damaged(unread)),
            };
            tick += u64::from(event.delta.as_int());
            match event.kind {
                TrackEventKind::Meta(MetaMessage::EndOfTrack) => break,
                TrackEventKind::Meta(MetaMessage::TrackName(text)) if name.is_empty() => {
                    name = readable(text);
                }
                TrackEventKind::Meta(MetaMessage::Tempo(microseconds))
                    if self.tempo.len() < MOST_TEMPO_CHANGES =>
                {
                    self.tempo.push(TempoChange {
                        tick,
                        microseconds: microseconds.as_int(),
                    });
                }
                TrackEventKind::Midi { channel, message } => match message {
                    MidiMessage::NoteOn { key, vel } if vel.as_int() > 0 => {
                        self.notes += 1;
                        if self.notes > MOST_NOTES {
                            return Err(FileProblem::TooMany);
                        }
                        open.attack(channel.as_int(), key.as_int(), vel.as_int(), tick);
                    }
                    MidiMessage::NoteOn { key, .. } | MidiMessage::NoteOff { key, .. } => {
                        open.release(channel.as_int(), key.as_int(), tick);
                    }
                    _ => {}
                },
                _ => {}
            }
        }
        self.end = self.end.max(tick);
        self.voices.extend(open.voices(self.read, &name, tick));
        Ok(())
    }
}

/// The notes of a track under way: per channel those that ended and, per key, the one that sounds.
#[derive(Default)]
struct Open {
    channels: [Vec<RawNote>; 16],
    sounding: std::collections::BTreeMap<(u8, u8), (u64, u8)>,
}

impl Open {
    fn attack(&mut self, channel: u8, key: u8, velocity: u8, tick: u64) {
        self.release(channel, key, tick);
        self.sounding.insert((channel, key), (tick, velocity));
    }

    fn release(&mut self, channel: u8, key: u8, tick: u64) {
        if let Some((start, velocity)) = self.sounding.remove(&(channel, key)) {
            self.channels[usize::from(channel & 15)].push(RawNote {
                start,
                end: tick,
                key,
                velocity,
            });
        }
    }

    fn voices(mut self, track: usize, name: &str, end: u64) -> Vec<Voice> {
        // What nobody released sounds until the track ends.
        for (channel, key) in self.sounding.keys().copied().collect::<Vec<_>>() {
            self.release(channel, key, end);
        }
        let mut voices = Vec::new();
        for (channel, mut notes) in (1..).zip(self.channels) {
            if !notes.is_empty() {
                notes.sort_by_key(|note| (note.start, note.key));
                voices.push(Voice {
                    track,
                    channel,
                    name: name.to_owned(),
                    notes,
                });
            }
        }
        voices
    }
}

/// A name of at most 60 characters; bytes that are no UTF-8 are taken as Latin-1.
fn readable(text: &[u8]) -> String {
    let decoded = match std::str::from_utf8(&text[..text.len().min(240)]) {
        Ok(utf8) => utf8.to_owned(),
        Err(_) => text.iter().take(60).map(|&byte| char::from(byte)).collect(),
    };
    decoded
        .chars()
        .filter(|c| !c.is_control())
        .take(60)
        .collect::<String>()
        .trim()
        .to_owned()
}
