//! What the conductor hands to the scheduler, over a ring of fixed size, and the few numbers the
//! two share.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};

use super::clock::Nanos;
use super::message::Message;
use super::sink::Sinks;
use super::timebase::{PlayTick, Quarter};

/// Room in the ring: some hundred times what one beat needs.
pub const ROOM: usize = 8_192;

/// Something that happens at a position in play.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    /// When.
    pub tick: PlayTick,
    /// The [`Shared::epoch`] that the event was made for; later ones make it void.
    pub epoch: u32,
    /// What.
    pub act: Act,
}

/// What happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// Play starts, or goes on, from this position.
    Begin,
    /// A message leaves.
    Send {
        /// The message.
        message: Message,
        /// Where it goes.
        to: Sinks,
    },
    /// The tempo from here on.
    Tempo(Quarter),
    /// A beat begins; beats are numbered from 0 in the order in which they were queued.
    Beat(u64),
    /// Play is over.
    End,
}

impl Act {
    /// The order of what is due at one instant: the clock first, which others keep time by; then
    /// what ends, then what prepares, then what starts.
    pub fn rank(&self) -> u8 {
        match self {
            Act::Begin => 0,
            Act::Tempo(_) => 1,
            Act::Send { message, .. } if message.channel().is_none() => 2,
            Act::Beat(_) => 3,
            Act::Send { message, .. } => match message.bytes()[0] & 0xF0 {
                0x80 => 4,
                0x90 => 6,
                _ => 5,
            },
            Act::End => 7,
        }
    }
}

/// What the threads of a play share: a few numbers, no lock.
#[derive(Debug, Default)]
pub struct Shared {
    stop: Arc<AtomicBool>,
    epoch: AtomicU32,
    /// The latest epoch at whose start the scheduler has ended what sounded.
    let_go: AtomicU32,
    reached: AtomicU64,
    /// The beat that has begun last, counted from 1, and when it was due, in nanoseconds.
    begun: AtomicU64,
    begun_at: AtomicU64,
}

impl Shared {
    /// Numbers at their start, with a flag that stops everybody when set.
    pub fn stopped_by(stop: Arc<AtomicBool>) -> Shared {
        Shared {
            stop,
            ..Shared::default()
        }
    }

    /// Asks everybody to stop at once.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::SeqCst);
    }

    /// Whether everybody is to stop.
    pub fn is_stopping(&self) -> bool {
        self.stop.load(Ordering::SeqCst)
    }

    /// Makes all that is queued void: the scheduler ends what sounds and waits for the next
    /// [`Act::Begin`]. Returns the new epoch, for the events to come.
    pub fn cut(&self) -> u32 {
        self.epoch.fetch_add(1, Ordering::SeqCst).wrapping_add(1)
    }

    /// The epoch whose events count.
    pub fn epoch(&self) -> u32 {
        self.epoch.load(Ordering::SeqCst)
    }

    /// Says that nothing of an earlier epoch sounds any more.
    pub fn let_go(&self, epoch: u32) {
        self.let_go.store(epoch, Ordering::SeqCst);
    }

    /// Whether nothing of an earlier epoch sounds any more.
    pub fn has_let_go(&self, epoch: u32) -> bool {
        self.let_go.load(Ordering::SeqCst) == epoch
    }

    /// Says that a beat of this number begins, which was due at a moment. Only the scheduler does.
    pub fn begin_beat(&self, number: u64, at: Nanos) {
        self.begun.store(0, Ordering::SeqCst);
        self.begun_at.store(at.0, Ordering::SeqCst);
        self.begun.store(number + 1, Ordering::SeqCst);
    }

    /// The number of the beat that has begun last, and when it was due.
    pub fn beat_begun(&self) -> Option<(u64, Nanos)> {
        let begun = self.begun.load(Ordering::SeqCst);
        let at = self.begun_at.load(Ordering::SeqCst);
        // Between the two the next one may have begun; it will be seen at the next look.
        let whole = begun == self.begun.load(Ordering::SeqCst);
        let number = begun.checked_sub(1).filter(|_| whole)?;
        Some((number, Nanos(at)))
    }

    /// How many beats, of those numbered by [`Act::Beat`], have begun or been passed over.
    pub fn reached(&self) -> u64 {
        self.reached.load(Ordering::SeqCst)
    }

    /// Says that so many beats have begun; less than was said before changes nothing.
    pub fn reach(&self, beats: u64) {
        self.reached.fetch_max(beats, Ordering::SeqCst);
    }
}
