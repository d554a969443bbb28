//! Where messages go, and the promise that nothing is left sounding there.

use std::sync::{Arc, Mutex, PoisonError};

use super::clock::{Clock, Nanos};
use super::message::{Message, Note};

/// Something that takes MIDI messages: a port, a pipe, a recording.
pub trait Sink: Send {
    /// Sends one message. An error means that the sink is lost; nothing more is sent to it.
    fn send(&mut self, message: Message) -> Result<(), SinkError>;

    /// Sends what could not leave at its own moment; asked for often between two messages. Never waits.
    fn push_on(&mut self) -> Result<(), SinkError> {
        Ok(())
    }

    /// Waits until what was sent has left, so that the last offs are not lost when the sink is
    /// closed after them.
    fn settle(&mut self) {}
}

/// A sink that takes nothing any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SinkError {
    /// The reader or the device has gone.
    #[error("it is gone")]
    Gone,
    /// The reader does not keep up and its buffer is full.
    #[error("its reader does not keep up")]
    Full,
}

/// A number for one of the sinks of an [`Outlet`], from 0.
pub type SinkIndex = usize;

/// A set of sinks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sinks(u8);

impl Sinks {
    /// The most sinks that one play can have.
    pub const MOST: usize = 8;
    /// Every sink there is.
    pub const ALL: Sinks = Sinks(u8::MAX);

    /// The set with `index` added.
    pub const fn with(self, index: SinkIndex) -> Sinks {
        Sinks(self.0 | 1 << index)
    }

    fn contains(self, index: SinkIndex) -> bool {
        self.0 & 1 << index != 0
    }
}

/// The notes that sound at one sink, and the channels that were used there.
#[derive(Clone, Debug, Default)]
struct SoundingNotes {
    keys: [u128; 16],
    used: u16,
}

impl SoundingNotes {
    fn follow(&mut self, message: Message) {
        if let Some(channel) = message.channel() {
            self.used |= 1 << channel;
        }
        match message.note() {
            Some(Note::On { channel, key, .. }) => self.keys[usize::from(channel)] |= 1 << key,
            Some(Note::Off { channel, key }) => self.keys[usize::from(channel)] &= !(1 << key),
            None => {}
        }
    }

    fn offs(&self) -> impl Iterator<Item = Message> + '_ {
        (0..16u8).flat_map(move |channel| {
            (0..128u8)
                .filter(move |key| self.keys[usize::from(channel)] & 1 << key != 0)
                .map(move |key| Message::note_off(channel, key))
        })
    }

    fn used(&self) -> impl Iterator<Item = u8> + '_ {
        (0..16u8).filter(|channel| self.used & 1 << channel != 0)
    }
}

/// Controller 123, all notes off (MIDI 1.0 Detailed Specification, channel mode messages).
const ALL_NOTES_OFF: u8 = 123;
/// Controller 120, all sound off.
const ALL_SOUND_OFF: u8 = 120;

struct SinkPlace {
    /// `None` once lost.
    sink: Option<Box<dyn Sink>>,
    sounding: SoundingNotes,
}

impl SinkPlace {
    /// Ends what sounds here; while the sink is lost, that waits for the next.
    fn release(&mut self) {
        let Some(sink) = self.sink.as_mut() else {
            return;
        };
        if self.sounding.offs().any(|off| sink.send(off).is_err()) {
            self.sink = None;
        }
        self.sounding.keys = [0; 16];
    }
}

/// The sinks of a play, with what sounds at each. Dropping it, a panic included, silences them.
#[derive(Default)]
pub struct Outlet {
    places: Vec<SinkPlace>,
}

impl Outlet {
    /// An outlet to `sinks`, of which the first [`Sinks::MOST`] are used.
    pub fn new(sinks: Vec<Box<dyn Sink>>) -> Outlet {
        let place = |sink| SinkPlace {
            sink: Some(sink),
            sounding: SoundingNotes::default(),
        };
        Outlet {
            places: sinks.into_iter().take(Sinks::MOST).map(place).collect(),
        }
    }

    /// Sends a message to each of `to` that is not lost, and tells which were lost by it. Neither
    /// allocates nor locks beyond what the sinks do.
    pub fn send(&mut self, message: Message, to: Sinks) -> Result<(), (SinkIndex, SinkError)> {
        let mut outcome = Ok(());
        for (index, place) in self.places.iter_mut().enumerate() {
            let Some(sink) = place.sink.as_mut().filter(|_| to.contains(index)) else {
                continue;
            };
            // Noted before it is sent: what may have gone out must be taken back.
            place.sounding.follow(message);
            if let Err(error) = sink.send(message) {
                place.sink = None;
                outcome = Err((index, error));
            }
        }
        outcome
    }

    /// Sends what could not leave at its own moment, and tells which sink was lost by it.
    pub fn push_on(&mut self) -> Result<(), (SinkIndex, SinkError)> {
        let mut outcome = Ok(());
        for (index, place) in self.places.iter_mut().enumerate() {
            if let Some(Err(error)) = place.sink.as_mut().map(|sink| sink.push_on()) {
                place.sink = None;
                outcome = Err((index, error));
            }
        }
        outcome
    }

    /// Puts a sink in the place of one that was lost. What sounded there may sound still, where the way to it
    /// was lost and not the instrument: it is ended first.
    pub fn replace(&mut self, index: SinkIndex, sink: Box<dyn Sink>) {
        if let Some(place) = self.places.get_mut(index) {
            place.sink = Some(sink);
            place.release();
        }
    }

    /// Ends every sounding note with its own off. A sink that fails here is lost anyway.
    pub fn release(&mut self) {
        self.places.iter_mut().for_each(SinkPlace::release);
    }

    /// Silence for good: the offs, then controllers 123 and 120 on every channel that was used,
    /// then waits until they have left.
    pub fn silence(&mut self) {
        self.release();
        for place in &mut self.places {
            let Some(sink) = place.sink.as_mut() else {
                continue;
            };
            for channel in place.sounding.used() {
                for controller in [ALL_NOTES_OFF, ALL_SOUND_OFF] {
                    // A sink that has just gone makes no sound that could still be stopped.
                    let _ = sink.send(Message::control(channel, controller, 0));
                }
            }
            place.sounding.used = 0;
        }
        let sinks = self
            .places
            .iter_mut()
            .filter_map(|place| place.sink.as_mut());
        sinks.for_each(|sink| sink.settle());
    }
}

impl Drop for Outlet {
    fn drop(&mut self) {
        self.silence();
    }
}

/// A sink that keeps what it was sent, with the moment; copies share one record.
#[derive(Clone, Debug)]
pub struct Recording<C> {
    clock: C,
    taken: Arc<Mutex<Vec<(Nanos, Message)>>>,
}

impl<C: Clock> Recording<C> {
    /// An empty recording that reads `clock` at each message.
    pub fn new(clock: C) -> Recording<C> {
        Recording {
            clock,
            taken: Arc::default(),
        }
    }

    /// Takes all that was recorded so far.
    pub fn take(&self) -> Vec<(Nanos, Message)> {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        std::mem::take(&mut *taken)
    }
}

impl<C: Clock + Send> Sink for Recording<C> {
    fn send(&mut self, message: Message) -> Result<(), SinkError> {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        taken.push((self.clock.now(), message));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::clock::FakeClock;

    struct Broken(u32);

    impl Sink for Broken {
        fn send(&mut self, _: Message) -> Result<(), SinkError> {
            self.0 = self.0.checked_sub(1).ok_or(SinkError::Gone)?;
            Ok(())
        }
    }

    fn texts(recording: &Recording<FakeClock>) -> Vec<String> {
        let taken = recording.take();
        taken.iter().map(|(_, m)| format!("{m:?}")).collect()
    }

    #[test]
    fn dropping_sends_the_offs_and_then_both_controllers() {
        let recording = Recording::new(FakeClock::default());
        let mut outlet = Outlet::new(vec![Box::new(recording.clone())]);
        for key in [40, 43] {
            outlet
                .send(Message::note_on(0, key, 90), Sinks::ALL)
                .unwrap();
        }
        outlet.send(Message::note_off(0, 40), Sinks::ALL).unwrap();
        outlet
            .send(Message::note_on(9, 51, 70), Sinks::ALL)
            .unwrap();
        recording.take();
        drop(outlet);
        assert_eq!(
            texts(&recording),
            [
                "80 2B 40", "89 33 40", "B0 7B 00", "B0 78 00", "B9 7B 00", "B9 78 00"
            ]
        );
    }

    #[test]
    fn a_panic_leaves_silence_too() {
        let recording = Recording::new(FakeClock::default());
        let watched = recording.clone();
        let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(move || {
            let mut outlet = Outlet::new(vec![Box::new(recording)]);
            outlet
                .send(Message::note_on(1, 60, 80), Sinks::ALL)
                .unwrap();
            std::panic::resume_unwind(Box::new("on purpose"));
        }));
        assert!(result.is_err());
        assert_eq!(texts(&watched)[1..], ["81 3C 40", "B1 7B 00", "B1 78 00"]);
    }

    #[test]
    fn each_sink_gets_its_own_offs_only() {
        let clock = FakeClock::default();
        let (one, two) = (Recording::new(clock.clone()), Recording::new(clock));
        let mut outlet = Outlet::new(vec![Box::new(one.clone()), Box::new(two.clone())]);
        outlet
            .send(Message::note_on(0, 40, 90), Sinks::default().with(0))
            .unwrap();
        outlet
            .send(Message::note_on(1, 60, 90), Sinks::default().with(1))
            .unwrap();
        outlet.release();
        assert_eq!(texts(&one), ["90 28 5A", "80 28 40"]);
        assert_eq!(texts(&two), ["91 3C 5A", "81 3C 40"]);
    }

    #[test]
    fn a_lost_sink_is_told_once_and_can_be_replaced() {
        let recording = Recording::new(FakeClock::default());
        let mut outlet = Outlet::new(vec![Box::new(Broken(1))]);
        assert_eq!(outlet.send(Message::CLOCK, Sinks::ALL), Ok(()));
        assert_eq!(
            outlet.send(Message::note_on(0, 40, 90), Sinks::ALL),
            Err((0, SinkError::Gone))
        );
        assert!(outlet.places[0].sink.is_none());
        assert_eq!(outlet.send(Message::CLOCK, Sinks::ALL), Ok(()));
        outlet.replace(0, Box::new(recording.clone()));
        outlet.send(Message::CLOCK, Sinks::ALL).unwrap();
        outlet.release();
        assert_eq!(
            texts(&recording),
            ["80 28 40", "F8"],
            "what the lost sink had is ended at its successor"
        );
    }
}
