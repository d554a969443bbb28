//! The beat writer: makes the beats that the conductor decides on into events, in order, and
//! keeps account of the notes that are held meanwhile.

use std::collections::VecDeque;
use std::sync::Arc;

use endpin_theory::Ticks;
use rtrb::Producer;

use super::message::Message;
use super::passage::Passage;
use super::passage_supply::PassageRequest;
use super::queue::{Act, Event};
use super::scheduler::EARLY;
use super::sink::Sinks;
use super::timebase::{PlayTick, Quarter};
use crate::performance::score::{PartName, Sound};

/// Ticks between two timing clocks (MIDI 1.0: 24 to the quarter note).
const PULSE: i64 = Ticks::QUARTER.0 / 24;

/// One flag or value for each part, in the order of [`PartName::ALL`].
pub type ByPart<T> = [T; PartName::ALL.len()];

/// Which sinks get what.
#[derive(Clone, Copy, Debug)]
pub struct Routing {
    /// The notes of each part.
    pub parts: ByPart<Sinks>,
    /// The timing clock.
    pub clock: Sinks,
}

/// A passage at its place in play, with the beat that is next.
#[derive(Clone, Debug)]
pub struct Leg {
    /// The passage.
    pub passage: Arc<Passage>,
    /// What it was asked for as.
    pub request: PassageRequest,
    /// The position in play of the passage's start.
    pub origin: PlayTick,
    /// The next beat, as an index; past the last one at the end.
    pub beat: usize,
}

impl Leg {
    fn start(&self) -> Ticks {
        let beat = self.passage.beats.get(self.beat);
        beat.map_or(self.passage.end, |beat| beat.start)
    }

    fn at(&self, ticks: Ticks) -> PlayTick {
        PlayTick(self.origin.0 + ticks.0)
    }

    /// The position in play that the leg has come to.
    pub fn here(&self) -> PlayTick {
        self.at(self.start())
    }

    /// Enters a passage at one of its beats, where this leg has come to.
    pub fn turn_to(&self, passage: Arc<Passage>, request: PassageRequest, beat: usize) -> Leg {
        let entry = passage.beats[beat].start;
        Leg {
            origin: PlayTick(self.here().0 - entry.0),
            passage,
            request,
            beat,
        }
    }

    /// The beat that is next, or the last one at the end.
    pub fn near_beat(&self) -> usize {
        self.beat.min(self.passage.beats.len() - 1)
    }
}

/// A note whose off has not been written.
#[derive(Clone, Copy, Debug)]
struct Held {
    until: PlayTick,
    channel: u8,
    key: u8,
    to: Sinks,
}

/// The beat writer; see the module.
pub struct BeatWriter {
    ring: Producer<Event>,
    /// Written, but not in the ring yet.
    outgoing: VecDeque<Event>,
    routing: Routing,
    held: Vec<Held>,
    /// How loud each part is, 1 for as usual.
    pub gain: ByPart<f64>,
    /// The tempo last written since play began or went on.
    quarter: Option<Quarter>,
    /// What the parts sound with since then.
    sounds: ByPart<Option<Sound>>,
    epoch: u32,
}

impl BeatWriter {
    /// A writer that writes to `ring`.
    pub fn new(ring: Producer<Event>, routing: Routing, epoch: u32) -> BeatWriter {
        BeatWriter {
            ring,
            outgoing: VecDeque::new(),
            routing,
            held: Vec::new(),
            gain: [1.0; PartName::ALL.len()],
            quarter: None,
            sounds: ByPart::default(),
            epoch,
        }
    }

    /// Forgets what was written; what comes belongs to this epoch.
    pub fn clear(&mut self, epoch: u32) {
        self.outgoing.clear();
        self.held.clear();
        self.epoch = epoch;
    }

    /// Moves what is written into the ring, as far as there is room; whether all of it went.
    pub fn hand_over(&mut self) -> bool {
        while let Some(event) = self.outgoing.front() {
            if self.ring.push(*event).is_err() {
                return false;
            }
            self.outgoing.pop_front();
        }
        true
    }

    /// Whether all that was written is in the ring.
    pub fn is_done(&self) -> bool {
        self.outgoing.is_empty()
    }

    /// Play begins, or goes on, here. The sounds are chosen with its first beat.
    pub fn begin(&mut self, from: PlayTick) {
        self.quarter = None;
        self.write(from, Act::Begin);
        self.sounds = ByPart::default();
    }

    /// Chooses what the parts sound with, where that is not chosen yet.
    fn choose_sounds(&mut self, passage: &Passage, at: PlayTick) {
        for part in PartName::ALL {
            let sound = passage.sounds[part as usize].unwrap_or(part.sound());
            if self.sounds[part as usize].replace(sound) == Some(sound) {
                continue;
            }
            let to = self.routing.parts[part as usize];
            for message in Message::sound(part.channel(), sound) {
                self.write(at, Act::Send { message, to });
            }
        }
    }

    /// One beat of a leg, announced under `number`: its tempo, clocks and notes, and the offs that
    /// fall in it. A beat reaches from [`EARLY`] before its place to as much before the next.
    pub fn beat(&mut self, leg: &Leg, number: u64, pace: f64, muted: ByPart<bool>) {
        let passage = &leg.passage;
        let from = leg.here();
        let opens = PlayTick(from.0 - EARLY);
        let closes = PlayTick(leg.at(passage.beat_end(leg.beat)).0 - EARLY);
        self.choose_sounds(passage, opens);
        let first = self.outgoing.len();

        let written = passage.bars[passage.beats[leg.beat].bar].tempo;
        let quarter = Quarter::from_tempo(written * pace);
        let before = self.quarter.replace(quarter);
        if before != Some(quarter) {
            self.write(from, Act::Tempo(quarter));
        }
        self.write(from, Act::Beat(number));
        // Where play begins, it begins with the clock of its first beat.
        let pulses_from = if before.is_some() { opens.0 } else { from.0 };
        self.clocks(pulses_from, closes.0);
        self.notes(leg, opens, closes, muted);
        self.release(closes);

        let mut batch: Vec<Event> = self.outgoing.drain(first..).collect();
        batch.sort_by_key(|event| (event.tick, event.act.rank()));
        self.outgoing.extend(batch);
    }

    /// The clocks that fall between two positions, the first of them included.
    fn clocks(&mut self, from: i64, until: i64) {
        let first = from + (-from).rem_euclid(PULSE);
        for pulse in (first..until).step_by(PULSE as usize) {
            let (message, to) = (Message::CLOCK, self.routing.clock);
            self.write(PlayTick(pulse), Act::Send { message, to });
        }
    }

    /// The end, at which nothing is held any more.
    pub fn end(&mut self, at: PlayTick) {
        self.clocks(at.0 - EARLY, at.0);
        self.let_go(at);
        self.release(PlayTick(at.0 + 1));
        self.write(at, Act::End);
    }

    /// Notes held here end before what comes next: play jumps away from them.
    pub fn jump(&mut self, from: PlayTick) {
        self.let_go(PlayTick(from.0 - EARLY));
    }

    fn let_go(&mut self, at: PlayTick) {
        for held in &mut self.held {
            held.until = held.until.min(at);
        }
    }

    fn write(&mut self, tick: PlayTick, act: Act) {
        let epoch = self.epoch;
        self.outgoing.push_back(Event { tick, epoch, act });
    }

    /// The notes that start from `opens` on and before `closes`.
    fn notes(&mut self, leg: &Leg, opens: PlayTick, closes: PlayTick, muted: ByPart<bool>) {
        let notes = &leg.passage.notes;
        let first = notes.partition_point(|note| leg.at(note.start) < opens);
        let due = notes[first..]
            .iter()
            .take_while(|note| leg.at(note.start) < closes);
        for note in due.filter(|note| !muted[note.part as usize]) {
            let start = leg.at(note.start);
            let (channel, key) = (note.channel, note.key);
            // A key struck again is let go first.
            for held in &mut self.held {
                if (held.channel, held.key) == (channel, key) {
                    held.until = held.until.min(start);
                }
            }
            let to = self.routing.parts[note.part as usize];
            let loud = f64::from(note.velocity) * self.gain[note.part as usize];
            let message = Message::note_on(channel, key, loud.round().clamp(1.0, 127.0) as u8);
            self.write(start, Act::Send { message, to });
            self.held.push(Held {
                until: PlayTick(start.0 + note.length.0.max(1)),
                channel,
                key,
                to,
            });
        }
    }

    /// The offs of the notes that end before `closes`.
    fn release(&mut self, closes: PlayTick) {
        let ended = self.held.extract_if(.., |held| held.until < closes);
        let mut ended: Vec<Held> = ended.collect();
        ended.sort_by_key(|held| (held.until, held.channel, held.key));
        for Held {
            until,
            channel,
            key,
            to,
        } in ended
        {
            let message = Message::note_off(channel, key);
            self.write(until, Act::Send { message, to });
        }
    }
}
