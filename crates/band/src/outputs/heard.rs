//! What was heard in a recording: as text, as JSON, as a MIDI file.

use super::{origin::midi_mark, report::rounded, table::Table};
use crate::inputs::sound::{Hearing, SoundNote};
use midly::{
    Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind,
    num::{u4, u7, u15, u28},
};
use serde::Serialize;

/// Certainties below are said to be uncertain: of such notes by a phone or with backing, four in ten were wrong.
pub const UNCERTAIN: f64 = 0.5;
/// Ticks of a quarter note in the MIDI file: at 120 a minute, half a millisecond each.
const DIVISION: u16 = 1000;
/// The velocity of a loud note.
const LOUD: f32 = 100.0;

/// `endpin-hear/1`.
#[derive(Debug, Serialize)]
pub struct HearReport {
    format: &'static str,
    seconds: f64,
    tuning_hz: f64,
    notes: Vec<NoteRow>,
}

#[derive(Debug, Serialize)]
struct NoteRow {
    onset_s: f64,
    length_s: f64,
    midi: u8,
    velocity: u8,
    certainty: f64,
}

impl HearReport {
    /// The report of what was heard.
    pub fn new(heard: &Hearing) -> HearReport {
        let loud = loud(&heard.notes);
        HearReport {
            format: "endpin-hear/1",
            seconds: rounded(heard.seconds, 3),
            tuning_hz: rounded(heard.tuning_hz, 1),
            notes: heard
                .notes
                .iter()
                .map(|note| NoteRow {
                    onset_s: rounded(note.onset, 3),
                    length_s: rounded(note.length, 3),
                    midi: note.key,
                    velocity: velocity(note, loud),
                    certainty: rounded(note.certainty, 2),
                })
                .collect(),
        }
    }
}

/// The level that the louder notes reach: nine in ten are softer.
fn loud(notes: &[SoundNote]) -> f32 {
    let mut levels: Vec<f32> = notes.iter().map(|note| note.level).collect();
    levels.sort_by(f32::total_cmp);
    levels.get(levels.len() * 9 / 10).copied().unwrap_or(0.0)
}

/// Forty decibels for tenfold the velocity (MIDI Manufacturers Association, *Downloadable Sounds Level 1*,
/// from memory).
fn velocity(note: &SoundNote, loud: f32) -> u8 {
    (LOUD * 10f32.powf((note.level - loud) / 40.0))
        .round()
        .clamp(1.0, 127.0) as u8
}

/// The name of a key where no harmony says how to spell it: with flats.
fn key_name(key: u8) -> String {
    let names = [
        "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
    ];
    format!(
        "{}{}",
        names[usize::from(key % 12)],
        i16::from(key / 12) - 1
    )
}

/// The table of the notes, for a person.
pub fn text(name: &str, heard: &Hearing) -> String {
    let uncertain: Vec<&SoundNote> = heard
        .notes
        .iter()
        .filter(|note| note.certainty < UNCERTAIN)
        .collect();
    let count = heard.notes.len();
    let notes = if count == 1 { "note" } else { "notes" };
    let mut text = format!(
        "{name}: {count} {notes} in {:.1} seconds, A at {:.1} Hz\n",
        heard.seconds, heard.tuning_hz
    );
    if count == 0 {
        text.push_str("\nNo note of a bass was heard. Is the recording very soft, or of another instrument?\n");
        return text;
    }
    let mut table = Table::new(&["seconds", "note", "length", "certainty"]);
    for note in &heard.notes {
        let doubt = if note.certainty < UNCERTAIN {
            "  uncertain"
        } else {
            ""
        };
        table.row([
            format!("{:9.3}", note.onset),
            key_name(note.key),
            format!("{:.3}", note.length),
            format!("{:.2}{doubt}", note.certainty),
        ]);
    }
    text.push_str(&format!("\n{table}\n"));
    text.push_str(&match uncertain.len() {
        0 => "All notes are clear.\n".to_owned(),
        1 => "1 note is uncertain.\n".to_owned(),
        many => format!("{many} notes are uncertain.\n"),
    });
    text
}

/// A MIDI file of the notes: format 0, 120 quarter notes a minute whatever the tempo played, so that every
/// note stands at its time in the recording, to half a millisecond. `recording` is its name, by which the file is
/// known to be made from it.
///
/// # Errors
/// None that is known: the library's, should it have one.
pub fn midi(heard: &Hearing, recording: &str) -> std::io::Result<Vec<u8>> {
    let loud = loud(&heard.notes);
    let ticks = |seconds: f64| (seconds * f64::from(DIVISION) * 2.0).round() as u64;
    // A release comes before an attack at the same tick.
    let mut events: Vec<(u64, bool, u8, u8)> = Vec::new();
    for note in &heard.notes {
        let (from, to) = (ticks(note.onset), ticks(note.onset + note.length));
        events.push((from, true, note.key, velocity(note, loud)));
        events.push((to.max(from + 1), false, note.key, 64));
    }
    events.sort();
    let origin = midi_mark(recording);
    let mut track = vec![
        event(0, TrackEventKind::Meta(MetaMessage::TrackName(b"Bass"))),
        event(
            0,
            TrackEventKind::Meta(MetaMessage::SequencerSpecific(origin.as_bytes())),
        ),
        event(0, TrackEventKind::Meta(MetaMessage::Tempo(500_000.into()))),
    ];
    let mut last = 0;
    for (at, on, key, velocity) in events {
        let (key, vel) = (u7::new(key), u7::new(velocity));
        let message = if on {
            MidiMessage::NoteOn { key, vel }
        } else {
            MidiMessage::NoteOff { key, vel }
        };
        track.push(event(
            at - last,
            TrackEventKind::Midi {
                channel: u4::new(0),
                message,
            },
        ));
        last = at;
    }
    track.push(event(0, TrackEventKind::Meta(MetaMessage::EndOfTrack)));
    let header = Header::new(Format::SingleTrack, Timing::Metrical(u15::new(DIVISION)));
    let mut bytes = Vec::new();
    Smf {
        header,
        tracks: vec![track],
    }
    .write_std(&mut bytes)?;
    Ok(bytes)
}

fn event(after: u64, kind: TrackEventKind<'_>) -> TrackEvent<'_> {
    TrackEvent {
        delta: u28::new(after.min(u64::from(u28::max_value().as_int())) as u32),
        kind,
    }
}
