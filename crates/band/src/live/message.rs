//! MIDI messages as they go down the wire (MIDI 1.0 Detailed Specification, tables I to V).

use crate::performance::score::Sound;
use std::fmt;

/// One short MIDI message: a status byte and up to two data bytes. It is `Copy` and holds no heap
/// memory, so it can be queued and sent without allocating.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Message {
    bytes: [u8; 3],
    length: u8,
}

impl Message {
    /// Timing clock, 24 to the quarter note.
    pub const CLOCK: Message = Message::real_time(0xF8);
    /// Start from the beginning of the song.
    pub const START: Message = Message::real_time(0xFA);
    /// Go on from the present song position.
    pub const CONTINUE: Message = Message::real_time(0xFB);
    /// Stop.
    pub const STOP: Message = Message::real_time(0xFC);
    /// Active sensing: the sender is still there. A receiver that has heard one and then hears nothing for
    /// 300 milliseconds turns off what sounds (MIDI 1.0 Detailed Specification, "Active Sensing").
    pub const SENSING: Message = Message::real_time(0xFE);

    const fn real_time(status: u8) -> Message {
        Message {
            bytes: [status, 0, 0],
            length: 1,
        }
    }

    const fn channel_voice(status: u8, channel: u8, first: u8, second: u8) -> Message {
        Message {
            bytes: [status | (channel & 0x0F), first & 0x7F, second & 0x7F],
            length: 3,
        }
    }

    /// Note on; `channel` from 0, `key` and `velocity` from 0 to 127.
    pub const fn note_on(channel: u8, key: u8, velocity: u8) -> Message {
        Message::channel_voice(0x90, channel, key, velocity)
    }

    /// Note off, with the release velocity that the specification names as the neutral one (64).
    pub const fn note_off(channel: u8, key: u8) -> Message {
        Message::channel_voice(0x80, channel, key, 64)
    }

    /// Control change.
    pub const fn control(channel: u8, controller: u8, value: u8) -> Message {
        Message::channel_voice(0xB0, channel, controller, value)
    }

    /// Program change; `program` from 0.
    pub const fn program(channel: u8, program: u8) -> Message {
        Message {
            bytes: [0xC0 | (channel & 0x0F), program & 0x7F, 0],
            length: 2,
        }
    }

    /// What chooses a sound: its bank, if it has one, then its program.
    pub fn sound(channel: u8, sound: Sound) -> impl Iterator<Item = Message> {
        let bank = sound.bank.into_iter();
        let bank = bank.flat_map(|(most, least)| [(0, most), (32, least)]);
        bank.map(move |(controller, value)| Message::control(channel, controller, value))
            .chain(std::iter::once(Message::program(channel, sound.program)))
    }

    /// Song position pointer, in sixteenth notes from the start of the song; `None` beyond the
    /// 16,384 that its 14 bits can name.
    pub fn song_position(sixteenths: u64) -> Option<Message> {
        let value = u16::try_from(sixteenths).ok().filter(|v| *v < 1 << 14)?;
        let (low, high) = ((value & 0x7F) as u8, (value >> 7) as u8);
        Some(Message {
            bytes: [0xF2, low, high],
            length: 3,
        })
    }

    /// The message at the start of `bytes`; `None` where it is none of the lengths that MIDI
    /// gives its status (system exclusive has no fixed length and is not read here).
    pub fn read(bytes: &[u8]) -> Option<Message> {
        let length = length_of(*bytes.first()?)?;
        let data = bytes.get(1..length)?;
        if data.iter().any(|byte| *byte >= 0x80) {
            return None;
        }
        let mut held = [0; 3];
        held[..length].copy_from_slice(&bytes[..length]);
        Some(Message {
            bytes: held,
            length: length as u8,
        })
    }

    /// The bytes to send.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes[..usize::from(self.length)]
    }

    /// What the message means for the notes of its channel, if anything.
    pub fn note(&self) -> Option<Note> {
        let channel = self.bytes[0] & 0x0F;
        let key = self.bytes[1];
        match (self.bytes[0] & 0xF0, self.bytes[2]) {
            (0x90, 1..) => Some(Note::On {
                channel,
                key,
                velocity: self.bytes[2],
            }),
            (0x80, _) | (0x90, 0) => Some(Note::Off { channel, key }),
            _ => None,
        }
    }

    /// The channel, from 0, of a channel message.
    pub fn channel(&self) -> Option<u8> {
        (self.bytes[0] < 0xF0).then_some(self.bytes[0] & 0x0F)
    }
}

/// A note that starts or ends. A note-on of velocity 0 is a note-off, as MIDI has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Note {
    /// The key goes down.
    On {
        /// Channel from 0.
        channel: u8,
        /// Key number, middle C is 60.
        key: u8,
        /// 1 to 127.
        velocity: u8,
    },
    /// The key comes up.
    Off {
        /// Channel from 0.
        channel: u8,
        /// Key number, middle C is 60.
        key: u8,
    },
}

/// How many bytes a message of this status has; `None` for data bytes, system exclusive and the
/// statuses that MIDI 1.0 leaves undefined.
pub fn length_of(status: u8) -> Option<usize> {
    match status {
        0x80..=0xBF | 0xE0..=0xEF | 0xF2 => Some(3),
        0xC0..=0xDF | 0xF1 | 0xF3 => Some(2),
        0xF6 | 0xF8 | 0xFA..=0xFC | 0xFE | 0xFF => Some(1),
        _ => None,
    }
}

impl fmt::Debug for Message {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, byte) in self.bytes().iter().enumerate() {
            if place > 0 {
                f.write_str(" ")?;
            }
            write!(f, "{byte:02X}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_are_those_of_the_specification() {
        // MIDI 1.0 Detailed Specification: status bytes, and the song position's low byte first.
        for (message, wanted) in [
            (Message::note_on(0, 41, 90), "90 29 5A"),
            (Message::note_off(9, 51), "89 33 40"),
            (Message::control(1, 123, 0), "B1 7B 00"),
            (Message::program(0, 32), "C0 20"),
            (Message::CLOCK, "F8"),
            (Message::START, "FA"),
            (Message::CONTINUE, "FB"),
            (Message::STOP, "FC"),
            (Message::SENSING, "FE"),
        ] {
            assert_eq!(format!("{message:?}"), wanted);
            assert_eq!(Message::read(message.bytes()), Some(message));
        }
        assert_eq!(
            format!("{:?}", Message::song_position(0x81).unwrap()),
            "F2 01 01"
        );
        assert_eq!(
            Message::song_position(16_383).unwrap().bytes()[1..],
            [127; 2]
        );
        assert_eq!(Message::song_position(16_384), None);
    }

    #[test]
    fn a_note_on_of_velocity_nought_is_an_off() {
        let off = Message::note_on(2, 60, 0).note();
        assert_eq!(
            off,
            Some(Note::Off {
                channel: 2,
                key: 60
            })
        );
    }

    #[test]
    fn broken_bytes_are_no_message() {
        for bytes in [
            &[][..],
            &[0x40],
            &[0x90, 0x40],
            &[0x90, 0x90, 1],
            &[0xF0, 1],
        ] {
            assert_eq!(Message::read(bytes), None, "{bytes:02X?}");
        }
    }
}
