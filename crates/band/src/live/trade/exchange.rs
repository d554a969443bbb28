//! The exchange: all that both played, and what each answer took up, for the file and the words at the end.

use std::fmt::Write;
use std::time::Duration;

use endpin_theory::Meter;
use endpin_walker::LineNote;
use midly::{MetaMessage, Smf, TrackEventKind};

use crate::live::clock::Nanos;
use crate::live::message::Message;
use crate::live::played_notes::{self, Beats};
use crate::live::timebase::PlayTick;
use crate::outputs::midi_file::{self, TrackLayout};

/// Name of the player's track.
pub const PLAYER: &str = "Player";

/// One answer, as it is told afterwards.
#[derive(Clone, Debug)]
pub struct Told {
    /// The player's first and last bar, each as chorus and bar, from 1.
    pub heard_in: ((u32, u32), (u32, u32)),
    /// What was taken up, or how the player did.
    pub words: String,
    /// How much of the phrase is in the answer, 0 to 1.
    pub likeness: Option<f64>,
    /// The answer's notes, each with its reason; none for an echo.
    pub notes: Vec<LineNote>,
    /// How long the choice took.
    pub decided_in: Duration,
}

/// The exchange; see the module.
#[derive(Clone, Debug, Default)]
pub struct Exchange {
    /// The bass as endpin played it.
    pub band: Vec<(Nanos, Message)>,
    /// What the player played.
    pub heard: Vec<(Nanos, Message)>,
    /// The answers in order.
    pub turns: Vec<Told>,
}

impl Exchange {
    /// A MIDI file with a track each, whose tick 0 is the play position `origin`; `None` if the player played
    /// nothing.
    pub fn midi_file(
        &self,
        title: &str,
        meter: &Meter,
        beats: &Beats,
        origin: PlayTick,
    ) -> Option<Vec<u8>> {
        let score = |notes: &[(Nanos, Message)]| {
            let mut notes = notes.to_vec();
            // An off comes before an on of the same moment.
            notes.sort_by_key(|(at, message)| (*at, message.bytes()[0] & 0xF0 == 0x90));
            played_notes::score(title, meter, &notes, beats, origin)
        };
        let player = midi_file::bytes(&score(&self.heard)?, TrackLayout::Tracks);
        let Some(band) = score(&self.band) else {
            return renamed(&player);
        };
        let band = midi_file::bytes(&band, TrackLayout::Tracks);
        let (mut both, player) = (Smf::parse(&band).ok()?, Smf::parse(&player).ok()?);
        for mut track in player.tracks.into_iter().skip(1) {
            rename(&mut track);
            both.tracks.push(track);
        }
        let mut bytes = Vec::new();
        both.write_std(&mut bytes).ok()?;
        Some(bytes)
    }

    /// Every answer, what it took up and why each note is there.
    pub fn explained(&self) -> String {
        let mut text = String::new();
        for told in &self.turns {
            let ((chorus, first), (last_chorus, last)) = told.heard_in;
            let to = match chorus == last_chorus {
                true => format!("{last}"),
                false => format!("{last} of chorus {last_chorus}"),
            };
            let _ = writeln!(
                text,
                "you, chorus {chorus}, bars {first} to {to}; endpin: {}",
                told.words
            );
            for note in &told.notes {
                let beat = note.beat();
                let _ = writeln!(
                    text,
                    "  {}.{beat} {:4} {}",
                    note.bar,
                    note.pitch.to_string(),
                    note.why
                );
            }
        }
        text
    }
}

fn renamed(file: &[u8]) -> Option<Vec<u8>> {
    let mut file = Smf::parse(file).ok()?;
    file.tracks.iter_mut().skip(1).for_each(rename);
    let mut bytes = Vec::new();
    file.write_std(&mut bytes).ok()?;
    Some(bytes)
}

fn rename(track: &mut midly::Track<'_>) {
    for event in track {
        match &mut event.kind {
            TrackEventKind::Meta(MetaMessage::TrackName(name)) => *name = PLAYER.as_bytes(),
            // Channel 3, so that both can be heard at once.
            TrackEventKind::Midi { channel, .. } => *channel = 2.into(),
            _ => {}
        }
    }
}
