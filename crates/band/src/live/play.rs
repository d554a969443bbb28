//! Play in earnest: the threads, what they tell each other, and how they end.

use std::io;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use rtrb::{Consumer, Producer, RingBuffer};
use thread_priority::ThreadPriority;

use super::beat_writer::Routing;
use super::clock::{Clock, Monotonic, Nanos};
use super::conductor::{Conductor, ConductorLinks, Programme};
use super::control::Control;
use super::follow::{Follower, Lead};
use super::lateness::Lateness;
use super::message::Message;
use super::passage_supply::{MadeOnThread, PassageSource};
use super::play_status::SharedPlayStatus;
use super::queue::{ROOM, Shared};
use super::repertoire::Repertoire;
use super::scheduler::{Lines, News, PlayEnd, Scheduler, Steer};
use super::sink::{Outlet, Sink, SinkIndex, Sinks};
use super::timebase::{PlayTick, Quarter};
use super::trade::exchange::Exchange;
use super::trade::trader::{TradeAct, TradeOptions, Trader};

/// What the conductor's thread is told.
#[derive(Debug)]
enum Order {
    Control(Control),
    Locate(PlayTick, u32),
    /// Keep the place; the epoch is that of a cut already made.
    Suspend(u32),
    /// Go on after that.
    Wake,
    Trade(TradeAct),
}

/// How the sinks are used.
pub struct PlaySetup {
    /// Where the music goes.
    pub sinks: Vec<Box<dyn Sink>>,
    /// Which of them get what.
    pub routing: Routing,
    /// Whether play goes on without a lost sink until it is replaced.
    pub wait: bool,
    /// Whether another clock leads.
    pub follow: bool,
    /// Whether active sensing is sent.
    pub sensing: bool,
    /// Set from outside, by a signal say, it stops play at once.
    pub stop: Arc<AtomicBool>,
}

/// A play that goes on.
pub struct Play {
    clock: Monotonic,
    shared: Arc<Shared>,
    orders: Sender<Order>,
    /// What happens.
    pub news: Consumer<News>,
    spares: Option<Producer<(SinkIndex, Box<dyn Sink>)>>,
    steering: Option<Producer<Steer>>,
    /// `None` once joined.
    scheduler: Option<JoinHandle<(PlayEnd, Lateness, bool)>>,
    conductor: Option<JoinHandle<()>>,
}

/// How a play went.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Why it ended.
    pub ending: PlayEnd,
    /// How late messages left.
    pub lateness: Lateness,
    /// Whether the system granted the thread that sends a raised priority.
    pub raised: bool,
}

/// Stops everybody when the thread that holds it panics.
struct StopOnPanic(Arc<Shared>);

impl Drop for StopOnPanic {
    fn drop(&mut self) {
        if thread::panicking() {
            self.0.stop();
        }
    }
}

/// How often the conductor looks.
const LOOK: Duration = Duration::from_millis(1);

impl Play {
    /// Starts to play. Unless another clock leads, the first beat comes at once.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start<S: PassageSource + 'static>(
        programme: Programme,
        source: S,
        status: SharedPlayStatus,
        setup: PlaySetup,
    ) -> io::Result<Play> {
        let clock = Monotonic::start();
        let shared = Arc::new(Shared::stopped_by(setup.stop));
        let (events, taken) = RingBuffer::new(ROOM);
        let (told, news) = RingBuffer::new(1_024);
        let (spares, spare) = RingBuffer::new(Sinks::MOST);
        let (steering, steered) = RingBuffer::new(256);
        let (orders, ordered) = channel();

        let lines = Lines {
            events: taken,
            news: told,
            spares: setup.wait.then_some(spare),
        };
        let outlet = Outlet::new(setup.sinks);
        let transport = setup.routing.clock;
        let mut scheduler = Scheduler::new(clock, outlet, lines, shared.clone(), transport);
        if setup.follow {
            scheduler.follow(steered);
        }
        if setup.sensing {
            scheduler.sense();
        }
        let ties = ConductorLinks {
            events,
            shared: shared.clone(),
            status,
            routing: setup.routing,
        };
        let conductor = Conductor::new(programme, MadeOnThread::new(source)?, ties);

        let guard = StopOnPanic(shared.clone());
        let scheduler = thread::Builder::new()
            .name("scheduler".into())
            .spawn(move || {
                let _guard = guard;
                let raised = raise_priority();
                let (ending, lateness) = scheduler.run();
                (ending, lateness, raised)
            })?;
        let guard = StopOnPanic(shared.clone());
        let follow = setup.follow;
        let conductor = thread::Builder::new()
            .name("conductor".into())
            .spawn(move || {
                let shared = guard.0.clone();
                let _guard = guard;
                conduct(conductor, &ordered, &shared, &clock, follow);
            })?;
        Ok(Play {
            clock,
            shared,
            orders,
            news,
            spares: setup.wait.then_some(spares),
            steering: setup.follow.then_some(steering),
            scheduler: Some(scheduler),
            conductor: Some(conductor),
        })
    }

    /// The clock that play keeps time by.
    pub fn clock(&self) -> Monotonic {
        self.clock
    }

    /// Stops at once.
    pub fn stop(&self) {
        self.shared.stop();
    }

    /// How many beats have begun.
    pub fn reached(&self) -> u64 {
        self.shared.reached()
    }

    /// A way to ask for changes from any thread.
    pub fn remote(&self) -> Remote {
        Remote {
            orders: self.orders.clone(),
            shared: self.shared.clone(),
        }
    }

    /// A way to lead, for the thread on which the leading clock's messages come; once.
    pub fn leader(&mut self, quarter: Quarter) -> Option<Leader> {
        Some(Leader {
            follower: Follower::new(quarter),
            clock: self.clock,
            steering: self.steering.take()?,
            shared: self.shared.clone(),
            orders: self.orders.clone(),
        })
    }

    /// Trades with the player whose messages come here, on a thread of its own, until play is over.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn trade(
        &self,
        repertoire: Repertoire,
        options: TradeOptions,
        status: SharedPlayStatus,
        heard: Receiver<(Nanos, Message)>,
    ) -> io::Result<JoinHandle<Exchange>> {
        let (clock, shared, orders) = (self.clock, self.shared.clone(), self.orders.clone());
        let mut trader = Trader::new(repertoire, options, shared.clone(), status);
        thread::Builder::new().name("trader".into()).spawn(move || {
            while !shared.is_stopping() {
                let follows = heard
                    .try_iter()
                    .filter_map(|(at, message)| trader.hear(at, message));
                let mut acts: Vec<TradeAct> = follows.collect();
                acts.extend(trader.look(clock.now()));
                for act in acts {
                    let _ = orders.send(Order::Trade(act));
                }
                thread::sleep(LOOK);
            }
            for (at, message) in heard.try_iter() {
                trader.hear(at, message);
            }
            trader.into_exchange()
        })
    }

    /// Whether play goes on without a lost sink.
    pub fn waits(&self) -> bool {
        self.spares.is_some()
    }

    /// Puts a sink in the place of a lost one; only if play waits for that.
    pub fn replace(&mut self, index: SinkIndex, sink: Box<dyn Sink>) {
        if let Some(spares) = &mut self.spares {
            // A full ring holds a replacement for every sink there can be.
            let _ = spares.push((index, sink));
        }
    }

    /// Whether the end has come.
    pub fn is_over(&self) -> bool {
        self.scheduler.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Ends play if it goes on, waits for the silence, and tells how it went.
    ///
    /// # Errors
    /// The name of a thread that panicked.
    pub fn finish(mut self) -> Result<Outcome, &'static str> {
        self.shared.stop();
        let played = self.scheduler.take().map(JoinHandle::join);
        let conducted = self.conductor.take().map(JoinHandle::join);
        let Some(Ok((ending, lateness, raised))) = played else {
            return Err("scheduler");
        };
        let Some(Ok(())) = conducted else {
            return Err("conductor");
        };
        Ok(Outcome {
            ending,
            lateness,
            raised,
        })
    }
}

/// The end of the process must not overtake the silence.
impl Drop for Play {
    fn drop(&mut self) {
        self.shared.stop();
        if let Some(scheduler) = self.scheduler.take() {
            let _ = scheduler.join();
        }
    }
}

fn conduct(
    mut conductor: Conductor<MadeOnThread>,
    orders: &Receiver<Order>,
    shared: &Shared,
    clock: &Monotonic,
    follow: bool,
) {
    if !follow {
        conductor.begin();
    }
    // The end may be queued and made void by a suspension, so this goes on until the end has come.
    while !shared.is_stopping() {
        conductor.tick(clock.now());
        conductor.advance();
        match orders.recv_timeout(LOOK) {
            Ok(order) => {
                obey(&mut conductor, order, clock);
                // What is decided together is done together.
                for order in orders.try_iter() {
                    obey(&mut conductor, order, clock);
                }
            }
            Err(RecvTimeoutError::Timeout) => {}
            // Whoever plays has gone; what sounds is the scheduler's to end.
            Err(RecvTimeoutError::Disconnected) => thread::sleep(LOOK),
        }
    }
}

fn obey(conductor: &mut Conductor<MadeOnThread>, order: Order, clock: &Monotonic) {
    match order {
        Order::Control(control) => conductor.control(control, clock.now().0 as f64 / 1e9),
        Order::Locate(tick, epoch) => {
            conductor.locate(tick, epoch);
            conductor.begin();
        }
        Order::Suspend(epoch) => conductor.suspend(epoch),
        Order::Wake => conductor.wake(),
        Order::Trade(act) => conductor.trade(act),
    }
}

/// A first-in-first-out place among the real-time threads, where the system grants one; below the
/// sound server's own, which commonly takes more than half of the range.
fn raise_priority() -> bool {
    #[cfg(unix)]
    {
        use thread_priority::{
            RealtimeThreadSchedulePolicy, ThreadPriorityValue, ThreadSchedulePolicy,
            set_thread_priority_and_policy, thread_native_id,
        };
        let fifo = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
        ThreadPriorityValue::try_from(40u8).is_ok_and(|value| {
            let priority = ThreadPriority::Crossplatform(value);
            set_thread_priority_and_policy(thread_native_id(), priority, fifo).is_ok()
        })
    }
    #[cfg(not(unix))]
    {
        ThreadPriority::Max.set_for_current().is_ok()
    }
}

/// Asks for changes; see [`Play::remote`].
#[derive(Clone, Debug)]
pub struct Remote {
    orders: Sender<Order>,
    shared: Arc<Shared>,
}

impl Remote {
    /// How long a message needs at most from us to whoever carries it on.
    const LEAVES: Duration = Duration::from_millis(20);

    /// Asks for a change. After the end nobody hears it.
    pub fn ask(&self, control: Control) {
        let _ = self.orders.send(Order::Control(control));
    }

    /// Ends at once what sounds, and keeps the place, since the process is about to stand still. Returns when
    /// that is done, or after `within` if it cannot be done.
    pub fn suspend(&self, within: Duration) {
        let epoch = self.shared.cut();
        let _ = self.orders.send(Order::Suspend(epoch));
        let asked = Instant::now();
        while !self.shared.has_let_go(epoch) && asked.elapsed() < within {
            thread::sleep(Duration::from_micros(500));
        }
        thread::sleep(Self::LEAVES);
    }

    /// Goes on after [`Remote::suspend`], unless play had been paused before it.
    pub fn wake(&self) {
        let _ = self.orders.send(Order::Wake);
    }

    /// Stops at once.
    pub fn stop(&self) {
        self.shared.stop();
    }
}

/// Turns the messages of a leading clock into where play is; see [`Play::leader`].
pub struct Leader {
    follower: Follower,
    clock: Monotonic,
    steering: Producer<Steer>,
    shared: Arc<Shared>,
    orders: Sender<Order>,
}

impl Leader {
    /// Takes a message that has just come.
    pub fn hear(&mut self, message: Message) {
        let steer = match self.follower.hear(message, self.clock.now()) {
            Some(Lead::Locate(tick)) => {
                let _ = self.orders.send(Order::Locate(tick, self.shared.cut()));
                return;
            }
            Some(Lead::Line(line)) => Steer::Line(line),
            Some(Lead::Halt) => Steer::Halt,
            None => return,
        };
        // The scheduler looks many times between two pulses; a full ring is an ended play.
        let _ = self.steering.push(steer);
    }
}
