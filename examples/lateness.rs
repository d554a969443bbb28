//! How late messages leave, beside a bare loop that only sleeps and spins, in the same run:
//! `cargo run --release --example lateness`. A measurement, not a test: the machine decides.

use std::sync::Arc;
use std::time::Duration;

use endpin::live::clock::{Clock, Monotonic};
use endpin::live::lateness::Lateness;
use endpin::live::message::Message;
use endpin::live::queue::{Act, Event, ROOM, Shared};
use endpin::live::scheduler::{Lines, Scheduler};
use endpin::live::sink::{Outlet, Sink, SinkError, Sinks};
use endpin::live::timebase::{PlayTick, Quarter};
use rtrb::RingBuffer;

/// One message each 10 ms for half a minute.
const MESSAGES: i64 = 3_000;
const APART: Duration = Duration::from_millis(10);

/// Takes messages and forgets them.
struct Nowhere;

impl Sink for Nowhere {
    fn send(&mut self, _: Message) -> Result<(), SinkError> {
        Ok(())
    }
}

fn bare() -> Lateness {
    let clock = Monotonic::start();
    let mut lateness = Lateness::default();
    let mut deadline = clock.now();
    for _ in 0..MESSAGES {
        deadline = deadline.after(APART);
        clock.wait_until(deadline);
        lateness.record(clock.now().since(deadline));
    }
    lateness
}

fn scheduled() -> Lateness {
    let (mut events, taken) = RingBuffer::new(ROOM);
    let (told, _) = RingBuffer::new(1);
    let mut queue = |tick, act| {
        let event = Event {
            tick: PlayTick(tick),
            epoch: 0,
            act,
        };
        assert!(events.push(event).is_ok(), "the ring has room for all");
    };
    queue(0, Act::Begin);
    // 20 ticks of a quarter of 480 ms are 10 ms.
    queue(0, Act::Tempo(Quarter::from_nanos(480_000_000)));
    for number in 1..=MESSAGES {
        let (message, to) = (Message::CLOCK, Sinks::ALL);
        queue(number * 20, Act::Send { message, to });
    }
    queue(MESSAGES * 20, Act::End);
    let lines = Lines {
        events: taken,
        news: told,
        spares: None,
    };
    let outlet = Outlet::new(vec![Box::new(Nowhere)]);
    let shared = Arc::new(Shared::default());
    let (_, lateness) =
        Scheduler::new(Monotonic::start(), outlet, lines, shared, Sinks::default()).run();
    lateness
}

fn main() {
    let (bare, scheduled) = (bare(), scheduled());
    println!("sleep and spin alone  {bare}");
    println!("scheduler             {scheduled}");
    let ratio = scheduled.quantile(0.99).as_secs_f64() / bare.quantile(0.99).as_secs_f64();
    println!("p99 of the scheduler is {ratio:.2} times that of the bare loop");
}
