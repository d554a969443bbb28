//! The scheduler: takes events off the ring and does each at its moment.
//!
//! One thread runs it. Every deadline is absolute, computed from the musical position through
//! the [`Timebase`], so that being late once delays nothing after it. Between deadlines it naps in short
//! slices, to notice a stop or a new tempo; before a deadline it sleeps and then spins. It
//! allocates nothing and takes no lock (what a sink does inside is the sink's).

use std::sync::Arc;
use std::time::Duration;

use rtrb::{Consumer, Producer};

use super::clock::{Clock, Nanos};
use super::lateness::Lateness;
use super::message::{Message, Note};
use super::queue::{Act, Event, Shared};
use super::sink::{Outlet, Sink, SinkError, SinkIndex, Sinks};
use super::timebase::{PlayTick, Quarter, Timebase};

/// The longest the scheduler goes without looking whether it should stop.
pub const SLICE: Duration = Duration::from_millis(2);

/// Ticks before its beat at which a note may sound early. [`Act::Begin`] leaves this much time.
pub const EARLY: i64 = endpin_theory::Ticks::QUARTER.0 / 12;

/// Being later than this is no lateness but a stall (the process was stopped, say). What sounds is ended,
/// the notes that were missed are left out, and play comes in again on a beat. A swung off-beat at 250 a
/// minute is about as long, so that no two notes of a line come together before it counts as one.
pub const STALL: Duration = Duration::from_millis(120);

/// After a stall as long as this nobody has kept counting: play goes on from where it was. After a
/// shorter one it comes in where it would be by now.
const FORGOTTEN: Duration = Duration::from_secs(2);

/// How often active sensing is sent; receivers wait for 300 milliseconds (MIDI 1.0).
const SENSING: Duration = Duration::from_millis(250);

/// How long play goes on at the last tempo when the clock that leads falls silent.
const FREEWHEEL: Duration = Duration::from_secs(2);

/// What a leading clock tells the scheduler.
#[derive(Clone, Copy, Debug)]
pub enum Steer {
    /// Positions fall on this line from now on.
    Line(Timebase),
    /// The leader has stopped.
    Halt,
}

/// What the scheduler tells those who look after it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum News {
    /// A beat began.
    Beat {
        /// The number it was queued under.
        number: u64,
        /// Its position.
        tick: PlayTick,
        /// When it was due.
        at: Nanos,
    },
    /// A sink was lost.
    Lost(SinkIndex, SinkError),
    /// Play was interrupted for this long; it comes in again on a beat.
    Interrupted(Duration),
}

/// Why play ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlayEnd {
    /// The music was over.
    Finished,
    /// It was asked to stop.
    Stopped,
    /// This sink was lost.
    Lost(SinkIndex, SinkError),
}

/// The scheduler's ends of the rings.
pub struct Lines {
    /// Events to do.
    pub events: Consumer<Event>,
    /// What happened.
    pub news: Producer<News>,
    /// Sinks that replace lost ones. `None`: a lost sink ends play.
    pub spares: Option<Consumer<(SinkIndex, Box<dyn Sink>)>>,
}

/// The scheduler; see the module.
pub struct Scheduler<C> {
    clock: C,
    outlet: Outlet,
    lines: Lines,
    /// The leading clock. `None`: play keeps its own time.
    steering: Option<Consumer<Steer>>,
    shared: Arc<Shared>,
    /// Where start, stop and the song position go.
    transport: Sinks,
    time: Option<Timebase>,
    quarter: Quarter,
    steered_at: Nanos,
    begun: bool,
    /// Whether notes are left out until a beat comes in time.
    stalled: bool,
    /// When active sensing is due, where it is wanted.
    sensing: Option<Nanos>,
    epoch: u32,
    next: Option<Event>,
    lateness: Lateness,
}

impl<C: Clock> Scheduler<C> {
    /// A scheduler that sends to `outlet`, and start, stop and song position to `transport` of it.
    pub fn new(
        clock: C,
        outlet: Outlet,
        lines: Lines,
        shared: Arc<Shared>,
        transport: Sinks,
    ) -> Scheduler<C> {
        Scheduler {
            epoch: shared.epoch(),
            clock,
            outlet,
            lines,
            steering: None,
            shared,
            transport,
            time: None,
            quarter: Quarter::from_tempo(120.0),
            steered_at: Nanos::default(),
            begun: false,
            stalled: false,
            sensing: None,
            next: None,
            lateness: Lateness::default(),
        }
    }

    /// Lets another clock lead.
    pub fn follow(&mut self, steering: Consumer<Steer>) {
        self.steering = Some(steering);
    }

    /// Tells every sink, again and again, that we are still there, so that receivers which know active sensing
    /// fall silent by themselves when the process is killed.
    pub fn sense(&mut self) {
        self.sensing = Some(self.clock.now());
    }

    /// Plays until the end, then leaves silence and returns the lateness measured on the way.
    pub fn run(mut self) -> (PlayEnd, Lateness) {
        loop {
            if let Some(ending) = self.step() {
                return (ending, self.lateness);
            }
        }
    }

    /// One look: does the event that is due, or waits a slice. The end, if it has come, leaves
    /// silence.
    pub fn step(&mut self) -> Option<PlayEnd> {
        let ending = if self.shared.is_stopping() {
            Some(PlayEnd::Stopped)
        } else {
            self.attend().or_else(|| self.work())
        };
        if ending.is_some() {
            self.halt();
            self.outlet.silence();
        }
        ending
    }

    /// The lateness measured so far.
    pub fn lateness(&self) -> &Lateness {
        &self.lateness
    }

    /// Everything that can change between two events.
    fn attend(&mut self) -> Option<PlayEnd> {
        if let Some(spares) = &mut self.lines.spares {
            while let Ok((index, sink)) = spares.pop() {
                self.outlet.replace(index, sink);
            }
        }
        let epoch = self.shared.epoch();
        if epoch != self.epoch {
            self.epoch = epoch;
            self.next = None;
            self.halt();
            self.shared.let_go(epoch);
        }
        if let Err((index, error)) = self.outlet.push_on() {
            return self.lose(index, error);
        }
        if let Some(due) = self.sensing
            && self.clock.now() >= due
        {
            self.sensing = Some(self.clock.now().after(SENSING));
            if let Some(lost) = self.send(Message::SENSING, Sinks::ALL) {
                return Some(lost);
            }
        }
        if let Some(steering) = &mut self.steering {
            let mut halted = false;
            while let Ok(steer) = steering.pop() {
                self.steered_at = self.clock.now();
                self.time = match steer {
                    Steer::Line(line) => Some(line),
                    Steer::Halt => None,
                };
                halted |= self.time.is_none();
            }
            if self.time.is_some() && self.clock.now().since(self.steered_at) > FREEWHEEL {
                self.time = None;
                halted = true;
            }
            if halted {
                self.outlet.release();
            }
        }
        None
    }

    fn work(&mut self) -> Option<PlayEnd> {
        let Some(event) = self.take_next() else {
            self.clock.nap(SLICE);
            return None;
        };
        if event.act == Act::Begin {
            self.next = None;
            return self.begin(event.tick);
        }
        let Some(time) = self.time.filter(|_| self.begun) else {
            // Nothing happens until play begins, or until the leader moves.
            self.clock.nap(SLICE);
            return None;
        };
        let mut deadline = time.at(event.tick);
        if deadline.since(self.clock.now()) > SLICE {
            self.clock.nap(SLICE);
            return None;
        }
        self.clock.wait_until(deadline);
        self.next = None;
        let mut late = self.clock.now().since(deadline);
        if late > STALL && !self.stalled {
            self.stalled = true;
            self.outlet.release();
            // When a leader jumps ahead, it is not we who were interrupted.
            if self.steering.is_none() {
                self.tell(News::Interrupted(late));
            }
        }
        if self.stalled && matches!(event.act, Act::Beat(_)) {
            if late > FORGOTTEN && self.steering.is_none() {
                let now = self.clock.now();
                self.time = Some(Timebase::new(event.tick, now, time.quarter()));
                (deadline, late) = (now, Duration::ZERO);
            }
            self.stalled = late > STALL / 4;
        }
        self.perform(event, deadline, late)
    }

    /// The event to do next, left in its place until it is done.
    fn take_next(&mut self) -> Option<Event> {
        while self.next.is_none() {
            let event = self.lines.events.pop().ok()?;
            self.next = Some(event).filter(|event| event.epoch == self.epoch);
        }
        self.next
    }

    fn begin(&mut self, tick: PlayTick) -> Option<PlayEnd> {
        self.begun = true;
        self.stalled = false;
        if self.steering.is_none() {
            let now = Timebase::new(PlayTick(tick.0 - EARLY), self.clock.now(), self.quarter);
            self.time = Some(now);
        }
        if tick.0 == 0 {
            return self.send(Message::START, self.transport);
        }
        // The song position counts sixteenths, a quarter of a quarter note.
        let sixteenths = tick.0 / (endpin_theory::Ticks::QUARTER.0 / 4);
        let position = u64::try_from(sixteenths)
            .ok()
            .and_then(Message::song_position);
        let lost = position.and_then(|message| self.send(message, self.transport));
        lost.or_else(|| self.send(Message::CONTINUE, self.transport))
    }

    fn perform(&mut self, event: Event, due: Nanos, late: Duration) -> Option<PlayEnd> {
        match event.act {
            Act::Begin => {}
            Act::Send { message, to } => {
                if !self.stalled {
                    self.lateness.record(late);
                } else if matches!(message.note(), Some(Note::On { .. })) {
                    // The clocks that were missed are sent: others find their place by counting them.
                    return None;
                }
                return self.send(message, to);
            }
            Act::Tempo(quarter) => {
                self.quarter = quarter;
                if self.steering.is_none()
                    && let Some(time) = &mut self.time
                {
                    time.change_tempo(event.tick, quarter);
                }
            }
            Act::Beat(number) => {
                self.shared.begin_beat(number, due);
                self.shared.reach(number + 1);
                self.tell(News::Beat {
                    number,
                    tick: event.tick,
                    at: due,
                });
            }
            Act::End => return Some(PlayEnd::Finished),
        }
        None
    }

    fn send(&mut self, message: Message, to: Sinks) -> Option<PlayEnd> {
        let (index, error) = self.outlet.send(message, to).err()?;
        self.lose(index, error)
    }

    fn lose(&mut self, index: SinkIndex, error: SinkError) -> Option<PlayEnd> {
        self.tell(News::Lost(index, error));
        self.lines
            .spares
            .is_none()
            .then_some(PlayEnd::Lost(index, error))
    }

    /// Ends what sounds and says so to whoever keeps time by us.
    fn halt(&mut self) {
        self.outlet.release();
        if std::mem::take(&mut self.begun) {
            // A sink lost here is found lost again at the next message.
            let _ = self.outlet.send(Message::STOP, self.transport);
        }
    }

    /// A full ring means that nobody listens.
    fn tell(&mut self, news: News) {
        let _ = self.lines.news.push(news);
    }
}
