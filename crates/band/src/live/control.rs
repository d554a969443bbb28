//! What can be asked of play while it goes on, and the keys and MIDI messages that ask it.

use std::collections::BTreeMap;
use std::fmt;

use endpin_theory::{did_you_mean, did_you_mean_key};
use serde::Deserialize;

use super::message::{Message, Note};
use crate::{inputs::source::line_and_column, performance::score::PartName};

/// A change asked for while playing. Each takes effect at its musical place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Control {
    /// Stop at once and keep the place; or go on, from the start of the bar that was interrupted.
    Pause,
    /// At the next bar line go to the next section.
    NextSection,
    /// At the next bar line go to the section before.
    PreviousSection,
    /// Play the present section again and again, or no longer.
    LoopSection,
    /// Four quarter notes a minute more, from the next beat.
    Faster,
    /// Four quarter notes a minute less, from the next beat.
    Slower,
    /// A tap: the tempo of the last taps, from the next beat.
    Tap,
    /// One level up, from the next chorus.
    LevelUp,
    /// One level down, from the next chorus.
    LevelDown,
    /// Silence a part, or let it play again, from the next bar.
    Mute(PartName),
    /// A semitone up, from the next chorus.
    TransposeUp,
    /// A semitone down, from the next chorus.
    TransposeDown,
    /// Another seed, from the next chorus.
    NewSeed,
    /// End after this chorus; or, asked again, do not.
    EndAfter,
    /// End at once.
    Quit,
}

/// Every control with its name in the map file and its key.
const TABLE: &[(&str, char, Control)] = &[
    ("pause", ' ', Control::Pause),
    ("next", 'n', Control::NextSection),
    ("previous", 'p', Control::PreviousSection),
    ("loop", 'l', Control::LoopSection),
    ("faster", '+', Control::Faster),
    ("slower", '-', Control::Slower),
    ("tap", 't', Control::Tap),
    ("level-up", ']', Control::LevelUp),
    ("level-down", '[', Control::LevelDown),
    ("mute-bass", '1', Control::Mute(PartName::Bass)),
    ("mute-comp", '2', Control::Mute(PartName::Comp)),
    ("mute-time", '3', Control::Mute(PartName::Time)),
    ("transpose-up", '>', Control::TransposeUp),
    ("transpose-down", '<', Control::TransposeDown),
    ("new-seed", 's', Control::NewSeed),
    ("end", 'e', Control::EndAfter),
    ("quit", 'q', Control::Quit),
];

/// The keys, with the words that say what they do.
pub const HELP: &[(&str, &str)] = &[
    ("space", "pause"),
    ("n", "next"),
    ("p", "previous"),
    ("l", "loop section"),
    ("+ -", "tempo"),
    ("t", "tap"),
    ("[ ]", "level"),
    ("1 2 3", "mute bass, comp, time"),
    ("< >", "key"),
    ("s", "seed"),
    ("e", "end"),
    ("q", "quit"),
];

impl Control {
    /// The control on this key.
    pub fn on_key(key: char) -> Option<Control> {
        let key = if key == '=' { '+' } else { key };
        let row = TABLE.iter().find(|row| row.1 == key)?;
        Some(row.2)
    }

    /// The control of this name.
    pub fn named(name: &str) -> Option<Control> {
        let row = TABLE.iter().find(|row| row.0 == name)?;
        Some(row.2)
    }
}

/// What a foot switch, a pad or a knob sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Trigger {
    /// A key pressed.
    Note(u8),
    /// A controller at 64 or above (MIDI 1.0: 64 and above is "on" for a switch).
    Controller(u8),
    /// A program chosen.
    Program(u8),
}

/// A map from MIDI messages to controls, read from TOML such as
///
/// ```toml
/// channel = 16              # from 1; left out: any
/// [map]
/// pause     = { cc = 64 }
/// next      = { note = 36 }
/// mute-bass = { program = 3 }   # from 1
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ControlMap {
    /// From 0.
    channel: Option<u8>,
    triggers: BTreeMap<Trigger, &'static str>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MapFile {
    channel: Option<toml::Spanned<u8>>,
    map: BTreeMap<toml::Spanned<String>, toml::Spanned<TriggerEntry>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TriggerEntry {
    note: Option<u8>,
    cc: Option<u8>,
    program: Option<u8>,
}

/// What is wrong with a control map, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, column {column}: {fault}")]
pub struct MapError {
    /// From 1.
    pub line: usize,
    /// From 1, in characters.
    pub column: usize,
    /// What was found and what would be accepted.
    pub fault: String,
}

impl MapError {
    fn at(text: &str, offset: usize, fault: String) -> MapError {
        let (line, column) = line_and_column(text, offset);
        MapError {
            line,
            column,
            fault,
        }
    }
}

impl ControlMap {
    /// Reads a map.
    pub fn parse(text: &str) -> Result<ControlMap, MapError> {
        let file: MapFile = toml::from_str(text).map_err(|error| {
            let offset = error.span().map_or(0, |span| span.start);
            let message = error.message();
            MapError::at(
                text,
                offset,
                format!("{message}{}", did_you_mean_key(message)),
            )
        })?;
        let mut map = ControlMap::default();
        if let Some(channel) = file.channel {
            let fault = || format!("channel {} is not between 1 and 16", channel.get_ref());
            if !(1..=16).contains(channel.get_ref()) {
                return Err(MapError::at(text, channel.span().start, fault()));
            }
            map.channel = Some(channel.get_ref() - 1);
        }
        for (name, entry) in file.map {
            let Some(row) = TABLE.iter().find(|row| row.0 == name.get_ref()) else {
                return Err(MapError::at(
                    text,
                    name.span().start,
                    unknown(name.get_ref()),
                ));
            };
            let trigger = entry.get_ref().trigger().map_err(|fault| {
                MapError::at(text, entry.span().start, format!("{}: {fault}", row.0))
            })?;
            if let Some(taken) = map.triggers.insert(trigger, row.0) {
                let fault = format!("{}: {trigger} is already mapped to {taken}", row.0);
                return Err(MapError::at(text, entry.span().start, fault));
            }
        }
        Ok(map)
    }

    /// The control that a message asks for.
    pub fn control(&self, message: Message) -> Option<Control> {
        let channel = message.channel()?;
        if self.channel.is_some_and(|wanted| wanted != channel) {
            return None;
        }
        let bytes = message.bytes();
        let trigger = match (bytes[0] & 0xF0, message.note()) {
            (_, Some(Note::On { key, .. })) => Trigger::Note(key),
            (0xB0, _) if bytes[2] >= 64 => Trigger::Controller(bytes[1]),
            (0xC0, _) => Trigger::Program(bytes[1]),
            _ => return None,
        };
        Control::named(self.triggers.get(&trigger)?)
    }
}

impl TriggerEntry {
    fn trigger(&self) -> Result<Trigger, String> {
        let (kind, number) = match (self.note, self.cc, self.program) {
            (Some(note), None, None) => (Trigger::Note as fn(u8) -> Trigger, note),
            (None, Some(cc), None) => (Trigger::Controller as fn(u8) -> Trigger, cc),
            // Programs are counted from 1 by people and from 0 on the wire.
            (None, None, Some(program)) => match program {
                1..=128 => return Ok(Trigger::Program(program - 1)),
                _ => return Err(format!("program {program} is not between 1 and 128")),
            },
            _ => return Err("one of note, cc and program is wanted".into()),
        };
        match number {
            0..=127 => Ok(kind(number)),
            _ => Err(format!("{number} is not between 0 and 127")),
        }
    }
}

fn unknown(name: &str) -> String {
    let names: Vec<&str> = TABLE.iter().map(|row| row.0).collect();
    let meant = did_you_mean(name, &names);
    format!(
        "\"{name}\" is not a control{meant}; there are {}",
        names.join(", ")
    )
}

impl fmt::Display for Trigger {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Trigger::Note(key) => write!(f, "note {key}"),
            Trigger::Controller(number) => write!(f, "cc {number}"),
            Trigger::Program(number) => write!(f, "program {}", number + 1),
        }
    }
}

/// Tempo from taps: the mean of the intervals of the last taps, up to four.
#[derive(Clone, Debug, Default)]
pub struct Taps {
    /// In seconds, latest last.
    moments: Vec<f64>,
}

impl Taps {
    /// A pause as long as this starts a new count.
    const FORGET: f64 = 2.0;

    /// A tap at `seconds`; the tempo in beats a minute once two taps are there.
    pub fn tap(&mut self, seconds: f64) -> Option<f64> {
        if self
            .moments
            .last()
            .is_some_and(|last| seconds - last > Self::FORGET)
        {
            self.moments.clear();
        }
        self.moments.push(seconds);
        let first = self.moments.len().saturating_sub(5);
        self.moments.drain(..first);
        let intervals = self.moments.len() - 1;
        let span = seconds - self.moments[0];
        (intervals > 0 && span > 0.0).then(|| 60.0 * intervals as f64 / span)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_control_has_a_key_and_a_name_of_its_own() {
        for row in TABLE {
            assert_eq!(Control::on_key(row.1), Some(row.2), "key {:?}", row.1);
            assert_eq!(Control::named(row.0), Some(row.2), "name {}", row.0);
        }
        let shown: String = HELP.iter().map(|row| row.0.replace("space", " ")).collect();
        assert!(TABLE.iter().all(|row| shown.contains(row.1)), "{shown}");
        assert_eq!(Control::on_key('='), Some(Control::Faster));
        assert_eq!(Control::on_key('x'), None);
    }

    #[test]
    fn a_map_reads_notes_controllers_and_programs() {
        let text = "channel = 16\n[map]\npause = { cc = 64 }\nnext = { note = 36 }\nend = { program = 3 }\n";
        let map = ControlMap::parse(text).unwrap();
        for (message, wanted) in [
            (Message::control(15, 64, 127), Some(Control::Pause)),
            (Message::control(15, 64, 0), None),
            (Message::control(0, 64, 127), None),
            (Message::note_on(15, 36, 1), Some(Control::NextSection)),
            (Message::note_on(15, 36, 0), None),
            (Message::program(15, 2), Some(Control::EndAfter)),
            (Message::CLOCK, None),
        ] {
            assert_eq!(map.control(message), wanted, "{message:?}");
        }
    }

    #[test]
    fn faults_in_a_map_say_where_and_what_would_do() {
        for (text, wanted) in [
            (
                "[map]\npause = { cc = 200 }\n",
                "line 2, column 9: pause: 200 is not between 0 and 127",
            ),
            (
                "[map]\npause = { cc = 2, note = 3 }\n",
                "line 2, column 9: pause: one of note, cc and program is wanted",
            ),
            (
                "channel = 17\n[map]\n",
                "line 1, column 11: channel 17 is not between 1 and 16",
            ),
            (
                "[map]\npause = { cc = 2 }\nquit = { cc = 2 }\n",
                "line 3, column 8: quit: cc 2 is already mapped to pause",
            ),
        ] {
            assert_eq!(ControlMap::parse(text).unwrap_err().to_string(), wanted);
        }
        for (text, meant) in [
            ("[map]\npuase = { cc = 2 }\n", "pause"),
            ("chanel = 2\n[map]\n", "channel"),
        ] {
            let fault = ControlMap::parse(text).unwrap_err().fault;
            assert!(
                fault.contains(&format!("(did you mean \"{meant}\"?)")),
                "{fault}"
            );
        }
        let unknown = ControlMap::parse("[map]\nhalt = { cc = 2 }\n").unwrap_err();
        assert_eq!((unknown.line, unknown.column), (2, 1));
        assert!(
            unknown
                .fault
                .starts_with("\"halt\" is not a control; there are pause, next")
        );
    }

    #[test]
    fn taps_average_the_last_four_intervals() {
        let mut taps = Taps::default();
        assert_eq!(taps.tap(10.0), None);
        assert_eq!(taps.tap(10.5), Some(120.0));
        assert_eq!(taps.tap(11.5), Some(80.0));
        for (at, wanted) in [(12.0, 90.0), (12.5, 96.0), (13.0, 96.0)] {
            assert!((taps.tap(at).unwrap() - wanted).abs() < 1e-9, "at {at}");
        }
        assert_eq!(taps.tap(20.0), None, "a pause starts a new count");
    }
}
