//! What a teacher fixes in a line before the rest is drawn: notes pinned, beats rested, notes avoided,
//! bars kept as they were.

use crate::{
    line::{
        ChorusLine,
        layout::{Layout, Slot},
        walker::WalkError,
    },
    rules::{Keys, Sound},
};
use endpin_theory::{NoteName, Pitch, Ticks};
use std::{fmt, ops::RangeInclusive, str::FromStr};

/// Text that is no place, pin, hold, avoidance or range of bars.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is not a {wanted}")]
pub struct PinError {
    found: String,
    wanted: &'static str,
}

fn wrong(found: &str, wanted: &'static str) -> PinError {
    PinError {
        found: found.to_owned(),
        wanted,
    }
}

/// A number counted from 1.
fn number(text: &str) -> Option<u32> {
    text.trim().parse().ok().filter(|&number| number > 0)
}

/// A beat of the form, in every chorus or in one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BarBeat {
    /// The chorus, from 1; none is every chorus.
    pub chorus: Option<u32>,
    /// The bar, from 1.
    pub bar: u32,
    /// The beat, from 1.
    pub beat: u32,
}

impl FromStr for BarBeat {
    type Err = PinError;

    /// `3.1` is beat 1 of bar 3 in every chorus, `2:3.1` in chorus 2.
    fn from_str(text: &str) -> Result<BarBeat, PinError> {
        let read = || {
            let (chorus, place) = match text.split_once(':') {
                Some((chorus, place)) => (Some(number(chorus)?), place),
                None => (None, text),
            };
            let (bar, beat) = place.split_once('.')?;
            Some(BarBeat {
                chorus,
                bar: number(bar)?,
                beat: number(beat)?,
            })
        };
        read().ok_or_else(|| {
            wrong(
                text,
                "place; write bar.beat such as 3.1, or chorus:bar.beat such as 2:3.1",
            )
        })
    }
}

impl fmt::Display for BarBeat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(chorus) = self.chorus {
            write!(f, "{chorus}:")?;
        }
        write!(f, "{}.{}", self.bar, self.beat)
    }
}

/// A note that the line must play on a beat.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pin {
    /// Where.
    pub place: BarBeat,
    /// What.
    pub pitch: Pitch,
}

impl FromStr for Pin {
    type Err = PinError;

    /// `3.1=Ab2`.
    fn from_str(text: &str) -> Result<Pin, PinError> {
        let (place, pitch) = text
            .split_once('=')
            .ok_or_else(|| wrong(text, "pin; write bar.beat=note, such as 3.1=Ab2"))?;
        Ok(Pin {
            place: place.trim().parse()?,
            pitch: pitch
                .trim()
                .parse()
                .map_err(|_| wrong(pitch, "note with its octave, such as Ab2"))?,
        })
    }
}

/// A range of bars, counted from 1.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bars(pub RangeInclusive<u32>);

impl FromStr for Bars {
    type Err = PinError;

    /// `11-12`, or `11` alone.
    fn from_str(text: &str) -> Result<Bars, PinError> {
        let (first, last) = text.split_once('-').unwrap_or((text, text));
        match (number(first), number(last)) {
            (Some(first), Some(last)) if first <= last => Ok(Bars(first..=last)),
            _ => Err(wrong(
                text,
                "range of bars; write it such as 11-12, or one bar such as 3",
            )),
        }
    }
}

/// Bars that stay as they were in another chorus.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hold {
    /// The bars.
    pub bars: Bars,
    /// The chorus that they are taken from, from 1.
    pub chorus: u32,
}

impl FromStr for Hold {
    type Err = PinError;

    /// `2-4=chorus 1`.
    fn from_str(text: &str) -> Result<Hold, PinError> {
        let read = || {
            let (bars, source) = text.split_once('=')?;
            let chorus = source.trim().strip_prefix("chorus")?;
            Some((bars.trim(), number(chorus)?))
        };
        let (bars, chorus) = read()
            .ok_or_else(|| wrong(text, "hold; write bars=chorus, such as \"2-4=chorus 1\""))?;
        Ok(Hold {
            bars: bars.parse()?,
            chorus,
        })
    }
}

/// A note that the line must not play.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Avoid {
    /// In any octave.
    Name(NoteName),
    /// In this octave.
    Pitch(Pitch),
    /// On this beat.
    On(Pin),
}

impl Avoid {
    /// Whether a MIDI key is to be avoided wherever the line goes.
    pub fn forbids(&self, key: u8) -> bool {
        match self {
            Avoid::Name(name) => key % 12 == name.chroma(),
            Avoid::Pitch(pitch) => i16::from(key) == pitch.midi(),
            Avoid::On(_) => false,
        }
    }
}

impl FromStr for Avoid {
    type Err = PinError;

    /// `Eb` in any octave, `Eb2` in one, `3.2=Eb2` on one beat.
    fn from_str(text: &str) -> Result<Avoid, PinError> {
        if text.contains('=') {
            return text.parse().map(Avoid::On);
        }
        let name = text.parse().map(Avoid::Name).ok();
        name.or_else(|| text.parse().map(Avoid::Pitch).ok())
            .ok_or_else(|| {
                wrong(
                    text,
                    "note to avoid; write a name such as Eb, a pitch such as Eb2, or one on a beat such as 3.2=Eb2",
                )
            })
    }
}

impl fmt::Display for Avoid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Avoid::Name(name) => name.fmt(f),
            Avoid::Pitch(pitch) => pitch.fmt(f),
            Avoid::On(Pin { place, pitch }) => write!(f, "{place}={pitch}"),
        }
    }
}

/// What is fixed in a chorus.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fixed {
    /// A note on a beat.
    Note {
        /// Bar, from 1.
        bar: u32,
        /// Beat, from 1.
        beat: u32,
        /// What starts there.
        pitch: Pitch,
    },
    /// A note that does not start on a beat.
    Not {
        /// Bar, from 1.
        bar: u32,
        /// Beat, from 1.
        beat: u32,
        /// What does not start there.
        pitch: Pitch,
    },
    /// A beat on which the bass rests.
    Rest {
        /// Bar, from 1.
        bar: u32,
        /// Beat, from 1.
        beat: u32,
    },
    /// A whole bar: these notes at these positions in it, and nothing else.
    Bar {
        /// Bar, from 1.
        bar: u32,
        /// Position in the bar and pitch of each note.
        notes: Vec<(Ticks, Pitch)>,
    },
}

impl Fixed {
    /// The bars of a line, as it plays them, for which `wanted` holds.
    pub fn bars_of(line: &ChorusLine, bars: u32, wanted: impl Fn(u32) -> bool) -> Vec<Fixed> {
        (1..=bars)
            .filter(|&bar| wanted(bar))
            .map(|bar| {
                let inside = line.notes.iter().filter(|note| note.bar == bar);
                Fixed::Bar {
                    bar,
                    notes: inside.map(|note| (note.in_bar, note.pitch)).collect(),
                }
            })
            .collect()
    }

    /// The bar in which it lies.
    pub fn bar(&self) -> u32 {
        match self {
            Fixed::Note { bar, .. }
            | Fixed::Not { bar, .. }
            | Fixed::Rest { bar, .. }
            | Fixed::Bar { bar, .. } => *bar,
        }
    }

    /// Narrows the places of a chorus to what is fixed.
    ///
    /// # Errors
    /// A place that the chorus does not have, or a note that is out of range or to be avoided.
    pub(crate) fn apply(&self, layout: &mut Layout) -> Result<(), WalkError> {
        match self {
            Fixed::Note { bar, beat, pitch } => {
                let slot = layout.slots.iter_mut().find(|slot| slot.is_on(*bar, *beat));
                let slot = slot.ok_or(WalkError::NoPlace {
                    bar: *bar,
                    beat: *beat,
                })?;
                fix_note(slot, *pitch)
            }
            Fixed::Not { bar, beat, pitch } => {
                let slot = layout.slots.iter_mut().find(|slot| slot.is_on(*bar, *beat));
                let slot = slot.ok_or(WalkError::NoPlace {
                    bar: *bar,
                    beat: *beat,
                })?;
                let keys = slot.onset.keys;
                slot.onset.keys = keys.retain(|key| i16::from(key) != pitch.midi());
                Ok(())
            }
            Fixed::Rest { bar, beat } => layout.rest_on(*bar, *beat),
            Fixed::Bar { bar, notes } => {
                let mut notes = notes.iter();
                let mut next = notes.next();
                for slot in layout.slots.iter_mut().filter(|slot| slot.bar == *bar) {
                    match next {
                        Some((at, pitch)) if *at == slot.in_bar => {
                            fix_note(slot, *pitch)?;
                            next = notes.next();
                        }
                        _ if slot.onset.sound != Sound::Rest => slot.onset.sound = Sound::Held,
                        _ => {}
                    }
                }
                match next {
                    None => Ok(()),
                    Some((at, _)) => Err(WalkError::NoPlace {
                        bar: *bar,
                        beat: layout.beat_in_bar(*bar, *at),
                    }),
                }
            }
        }
    }
}

/// Leaves one note to a place.
fn fix_note(slot: &mut Slot, pitch: Pitch) -> Result<(), WalkError> {
    let asked = match slot.onset.sound {
        Sound::Rest => Some("a rest".to_owned()),
        _ => {
            let other = slot.pinned.filter(|other| other.midi() != pitch.midi());
            other.map(|other| other.to_string())
        }
    };
    if let Some(asked) = asked {
        return Err(slot.both(asked, pitch.to_string()));
    }
    let key = u8::try_from(pitch.midi())
        .ok()
        .filter(|&key| slot.onset.keys.contains(key));
    match key {
        Some(key) => {
            slot.onset.keys = Keys::between(key, key);
            slot.onset.sound = Sound::Note;
            slot.pinned = Some(pitch);
            Ok(())
        }
        None => Err(WalkError::Pin {
            bar: slot.bar,
            beat: slot.beat_in_bar(),
            pitch: pitch.to_string(),
            rule: "playable",
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_and_pins_read() {
        let place: BarBeat = "3.1".parse().unwrap();
        assert_eq!((place.chorus, place.bar, place.beat), (None, 3, 1));
        assert_eq!("2:3.4".parse::<BarBeat>().unwrap().to_string(), "2:3.4");
        let pin: Pin = "3.1=Ab2".parse().unwrap();
        assert_eq!(pin.pitch.midi(), 44);
        let hold: Hold = "2-4=chorus 1".parse().unwrap();
        assert_eq!((hold.bars, hold.chorus), (Bars(2..=4), 1));
        assert!("Eb".parse::<Avoid>().unwrap().forbids(51));
        assert!(!"Eb2".parse::<Avoid>().unwrap().forbids(51));
        let on: Avoid = "3.2=Eb2".parse().unwrap();
        assert!(!on.forbids(39) && on.to_string() == "3.2=Eb2");
    }

    #[test]
    fn a_beat_cannot_be_two_things() {
        let chart = endpin_theory::Chart::from_bars("F7 | Bb7", "4/4".parse().unwrap()).unwrap();
        let refused = |pins: &[&str], rests: &[&str]| {
            let options = crate::Options {
                pins: pins.iter().map(|pin| pin.parse().unwrap()).collect(),
                rests: rests.iter().map(|rest| rest.parse().unwrap()).collect(),
                ..crate::Options::default()
            };
            let plan = crate::Plan::of(chart.chorus(), &options);
            let walker = crate::Walker::new(plan, options);
            walker.err().map(|error| error.to_string())
        };
        let message = |text: &str| Some(format!("bar 1, beat 2 cannot be both {text}"));
        assert_eq!(refused(&["1.2=A2"], &["1.2"]), message("A2 and a rest"));
        assert_eq!(refused(&["1.2=A2", "1.2=C3"], &[]), message("A2 and C3"));
        assert_eq!(refused(&["1.2=G#2", "1.2=Ab2"], &["2.2"]), None);
    }

    #[test]
    fn a_note_refused_on_a_beat_takes_just_its_lines_away() {
        let chart = endpin_theory::Chart::from_bars("F7 | Bb7", "4/4".parse().unwrap()).unwrap();
        let count = |pins: &[&str], avoid: &[&str]| {
            let options = crate::Options {
                pins: pins.iter().map(|pin| pin.parse().unwrap()).collect(),
                avoid: avoid.iter().map(|avoid| avoid.parse().unwrap()).collect(),
                arc: Some(crate::Arc::Flat),
                ..crate::Options::default()
            };
            let plan = crate::Plan::of(chart.chorus(), &options);
            crate::Walker::new(plan, options).unwrap().count()
        };
        // Every line either plays the note on that beat or does not.
        let with = count(&["1.2=A2"], &[]);
        let without = count(&[], &["1.2=A2"]);
        assert!(with > 0u8.into() && without > 0u8.into());
        assert_eq!(with + without, count(&[], &[]));
    }

    #[test]
    fn mistakes_say_what_would_be_accepted() {
        let message = |error: PinError| error.to_string();
        assert_eq!(
            message("3=Ab2".parse::<Pin>().unwrap_err()),
            "\"3\" is not a place; write bar.beat such as 3.1, or chorus:bar.beat such as 2:3.1"
        );
        assert_eq!(
            message("3.1=H2".parse::<Pin>().unwrap_err()),
            "\"H2\" is not a note with its octave, such as Ab2"
        );
        for bad in ["0.1", "1", "1.x", "x:1.1", ""] {
            assert!(bad.parse::<BarBeat>().is_err(), "{bad}");
        }
        for bad in ["4-2", "0", "a-b"] {
            assert!(bad.parse::<Bars>().is_err(), "{bad}");
        }
        assert!("2-4=verse 1".parse::<Hold>().is_err());
    }
}
