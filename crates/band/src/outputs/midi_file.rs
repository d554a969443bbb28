//! Standard MIDI Files, written.
//!
//! Format 1 has a conductor track and a track for each part, format 0 all in one; both hold the same events
//! at the same ticks. The meta events are those of Standard MIDI File 1.0 (text 01, track name 03, marker
//! 06, end of track 2F, tempo 51, time signature 58, key signature 59; from memory and secondary copies).
//! Every track ends at the score's last bar line, so that a file loops in whole bars.

use crate::performance::score::{Mark, Part, PartName, Score};
use endpin_theory::{Ticks, meter::TICKS_PER_QUARTER};
use midly::{
    Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind,
    num::{u4, u7, u15, u24, u28},
};

/// How the tracks are laid out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TrackLayout {
    /// Format 1: a conductor track, then a named track for each part.
    #[default]
    Tracks,
    /// Format 0: everything in one track.
    Single,
}

/// The bytes of a Standard MIDI File of this score.
#[expect(
    clippy::expect_used,
    reason = "midly errs only on the writer and on tracks over 4 GiB"
)]
pub fn bytes(score: &Score, layout: TrackLayout) -> Vec<u8> {
    let conductor = conductor_events(score);
    let parts = score.parts.iter().map(part_events);
    let (format, tracks) = match layout {
        TrackLayout::Tracks => {
            let mut tracks = vec![conductor];
            tracks.extend(parts);
            (Format::Parallel, tracks)
        }
        TrackLayout::Single => {
            let is_name = |event: &Timed| {
                matches!(event.kind, TrackEventKind::Meta(MetaMessage::TrackName(_)))
            };
            let mut all = conductor;
            // One track bears one name, the title's.
            all.extend(parts.flatten().filter(|event| !is_name(event)));
            (Format::SingleTrack, vec![all])
        }
    };
    let mut smf = Smf::new(Header::new(
        format,
        Timing::Metrical(u15::new(TICKS_PER_QUARTER as u16)),
    ));
    smf.tracks = tracks
        .into_iter()
        .map(|events| in_order(events, score.end))
        .collect();
    let mut bytes = Vec::new();
    smf.write_std(&mut bytes)
        .expect("memory takes every byte of tracks under 4 GiB");
    bytes
}

/// A file for each part, each with the conductor's marks, so that every one opens at the right tempo.
pub fn split(score: &Score, layout: TrackLayout) -> Vec<(PartName, Vec<u8>)> {
    score
        .parts
        .iter()
        .map(|part| (part.name, bytes(&score.only(part.name), layout)))
        .collect()
}

/// An event at its tick; at one tick, lower ranks come first.
struct Timed<'a> {
    at: Ticks,
    rank: u8,
    kind: TrackEventKind<'a>,
}

/// Names and settings, then releases, then marks, then attacks: so a repeated note is let go before it is
/// struck again, and a sequencer that starts at a mark finds it before the notes.
mod rank {
    pub const SETTING: u8 = 0;
    pub const RELEASE: u8 = 1;
    pub const MARK: u8 = 2;
    pub const ATTACK: u8 = 3;
}

fn conductor_events(score: &Score) -> Vec<Timed<'_>> {
    let mut events = vec![Timed {
        at: Ticks::ZERO,
        rank: rank::SETTING,
        kind: TrackEventKind::Meta(MetaMessage::TrackName(score.title.as_bytes())),
    }];
    events.extend(score.conductor.iter().map(|(at, mark)| Timed {
        at: *at,
        rank: rank::MARK,
        kind: TrackEventKind::Meta(meta(mark)),
    }));
    events
}

fn meta(mark: &Mark) -> MetaMessage<'_> {
    match mark {
        Mark::Tempo(quarters_a_minute) => MetaMessage::Tempo(microseconds(*quarters_a_minute)),
        Mark::Meter(meter) => {
            // The denominator is written as a power of two; 24 MIDI clocks are a quarter note, and the
            // metronome clicks once a beat.
            let power = meter.unit().trailing_zeros() as u8;
            let clocks_a_click = (meter.beat_ticks().0 / 40) as u8;
            MetaMessage::TimeSignature(meter.upper(), power, clocks_a_click, 8)
        }
        Mark::Key(key) => MetaMessage::KeySignature(key.sharps.clamp(-7, 7), key.minor),
        Mark::Marker(text) => MetaMessage::Marker(text.as_bytes()),
        Mark::Chord(text) => MetaMessage::Text(text.as_bytes()),
        Mark::Origin(text) => MetaMessage::SequencerSpecific(text.as_bytes()),
    }
}

/// Microseconds a quarter note, the unit of the tempo event: 120 a minute is 500,000 (07 A1 20).
pub fn microseconds(quarters_a_minute: f64) -> u24 {
    // The largest is 16.7 million, 3.6 quarters a minute; slower than a chart can be.
    u24::new(
        (60_000_000.0 / quarters_a_minute)
            .round()
            .clamp(1.0, 16_777_215.0) as u32,
    )
}

fn part_events(part: &Part) -> Vec<Timed<'_>> {
    let channel = u4::new(part.channel & 15);
    let midi = |message| TrackEventKind::Midi { channel, message };
    let setting = |kind| Timed {
        at: Ticks::ZERO,
        rank: rank::SETTING,
        kind,
    };
    let name: &'static [u8] = match part.name {
        PartName::Bass => b"Bass",
        PartName::Comp => b"Comp",
        PartName::Time => b"Time",
    };
    let mut events = vec![setting(TrackEventKind::Meta(MetaMessage::TrackName(name)))];
    // Bank select, most significant then least, comes before its program (MIDI 1.0 Detailed Specification).
    let bank = part.sound.bank.into_iter();
    let bank = bank.flat_map(|(most, least)| [(0, most), (32, least)]);
    events.extend(bank.map(|(controller, value)| {
        setting(midi(MidiMessage::Controller {
            controller: u7::new(controller),
            value: u7::new(value & 127),
        }))
    }));
    events.push(setting(midi(MidiMessage::ProgramChange {
        program: u7::new(part.sound.program & 127),
    })));
    for note in &part.notes {
        let key = u7::new(note.key & 127);
        events.push(Timed {
            at: note.start,
            rank: rank::ATTACK,
            kind: midi(MidiMessage::NoteOn {
                key,
                vel: u7::new(note.velocity.clamp(1, 127)),
            }),
        });
        events.push(Timed {
            at: note.end(),
            rank: rank::RELEASE,
            kind: midi(MidiMessage::NoteOff {
                key,
                vel: u7::new(64),
            }),
        });
    }
    events
}

/// Events as deltas, closed by an end of track at `end`.
fn in_order(mut events: Vec<Timed<'_>>, end: Ticks) -> Vec<TrackEvent<'_>> {
    events.sort_by_key(|event| (event.at, event.rank));
    let mut now = 0;
    let mut at = |tick: Ticks| {
        let delta = u28::new((tick.0 - now).max(0) as u32);
        now = now.max(tick.0);
        delta
    };
    let mut track: Vec<TrackEvent> = Vec::with_capacity(events.len() + 1);
    for event in events {
        track.push(TrackEvent {
            delta: at(event.at),
            kind: event.kind,
        });
    }
    track.push(TrackEvent {
        delta: at(end),
        kind: TrackEventKind::Meta(MetaMessage::EndOfTrack),
    });
    track
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::performance::score::{KeySignature, ScoreNote};

    fn two_notes() -> Score {
        let note = |start, key| ScoreNote {
            start: Ticks(start),
            length: Ticks(960),
            key,
            velocity: 80,
        };
        Score {
            title: "Two Notes".into(),
            parts: vec![
                Part::new(PartName::Bass, vec![note(0, 41), note(960, 41)]),
                Part::new(PartName::Time, vec![note(0, 51)]),
            ],
            conductor: vec![
                (Ticks(0), Mark::Tempo(120.0)),
                (Ticks(0), Mark::Meter("6/8".parse().unwrap())),
                (
                    Ticks(0),
                    Mark::Key(KeySignature {
                        sharps: -1,
                        minor: false,
                    }),
                ),
                (Ticks(0), Mark::Marker("chorus 1".into())),
                (Ticks(0), Mark::Chord("F7".into())),
            ],
            end: Ticks(2880),
        }
    }

    fn ticks_of(track: &[TrackEvent]) -> Vec<u32> {
        let mut now = 0;
        track
            .iter()
            .map(|event| {
                now += event.delta.as_int();
                now
            })
            .collect()
    }

    #[test]
    fn meta_events_have_the_bytes_of_the_standard() {
        let file = bytes(&two_notes(), TrackLayout::Tracks);
        // Standard MIDI File 1.0, from memory: 120 a minute is 07 A1 20; 6/8 is 06 03, with a
        // click every 36 clocks (24 hexadecimal), the dotted quarter; one flat is FF.
        for expected in [
            &b"\xff\x51\x03\x07\xa1\x20"[..],
            b"\xff\x58\x04\x06\x03\x24\x08",
            b"\xff\x59\x02\xff\x00",
            b"\xff\x06\x08chorus 1",
            b"\xff\x01\x02F7",
            b"\xff\x03\x04Bass",
            b"\xff\x2f\x00",
        ] {
            assert!(
                file.windows(expected.len()).any(|found| found == expected),
                "{expected:02x?}"
            );
        }
    }

    #[test]
    fn a_repeated_note_is_released_before_it_is_struck_again() {
        let file = bytes(&two_notes(), TrackLayout::Tracks);
        let smf = Smf::parse(&file).unwrap();
        let keys: Vec<_> = smf.tracks[1]
            .iter()
            .filter_map(|event| match event.kind {
                TrackEventKind::Midi {
                    message: MidiMessage::NoteOn { .. },
                    ..
                } => Some("on"),
                TrackEventKind::Midi {
                    message: MidiMessage::NoteOff { .. },
                    ..
                } => Some("off"),
                _ => None,
            })
            .collect();
        assert_eq!(keys, ["on", "off", "on", "off"]);
    }

    #[test]
    fn every_track_ends_on_the_last_bar_line() {
        for (layout, tracks) in [(TrackLayout::Tracks, 3), (TrackLayout::Single, 1)] {
            let file = bytes(&two_notes(), layout);
            let smf = Smf::parse(&file).unwrap();
            assert_eq!(smf.tracks.len(), tracks);
            for track in &smf.tracks {
                assert_eq!(ticks_of(track).last(), Some(&2880));
                let last = track.last().map(|event| event.kind);
                assert_eq!(last, Some(TrackEventKind::Meta(MetaMessage::EndOfTrack)));
            }
        }
    }

    #[test]
    fn split_files_each_carry_the_tempo() {
        let files = split(&two_notes(), TrackLayout::Tracks);
        let names: Vec<_> = files.iter().map(|(name, _)| *name).collect();
        assert_eq!(names, [PartName::Bass, PartName::Time]);
        for (_, file) in files {
            let smf = Smf::parse(&file).unwrap();
            assert_eq!(smf.tracks.len(), 2);
            assert!(file.windows(3).any(|found| found == b"\xff\x51\x03"));
        }
    }
}
