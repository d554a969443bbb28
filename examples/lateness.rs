//! How late messages leave: with somebody listened to and without, and beside a bare loop that only sleeps and
//! spins, in the same run:
//! `cargo run --release --example lateness`. A measurement, not a test: the machine decides.

use std::sync::Arc;
use std::time::Duration;

use endpin::live::beat_writer::Routing;
use endpin::live::clock::{Clock, Monotonic};
use endpin::live::conductor::Programme;
use endpin::live::lateness::Lateness;
use endpin::live::message::Message;
use endpin::live::play::{Play, PlaySetup};
use endpin::live::play_status::{PlaySettings, PlayStatus, SharedPlayStatus};
use endpin::live::queue::{Act, Event, ROOM, Shared};
use endpin::live::repertoire::Repertoire;
use endpin::live::scheduler::{Lines, Scheduler};
use endpin::live::sink::{Outlet, Sink, SinkError, Sinks};
use endpin::live::timebase::{PlayTick, Quarter};
use endpin::live::trade::trader::{TradeMode, TradeOptions};
use endpin::performance::session::Wishes;
use endpin_theory::Chart;
use endpin_walker::Options;
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

/// A chart to play at the fastest, with and without somebody who is listened to and answered.
const CHART: &str = "title = \"Ladder Street\"\nkey = \"F\"\ntempo = 300\nform = \"A\"\n[section.A]\nbars = \"\"\"\n\
    | F7 | Bb7 | F7 | F7 | Bb7 | Bb7 | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7 |\"\"\"\n";

/// A play in earnest: two choruses, traded in fours with a player who plays a note on each beat, or alone.
fn played(listening: bool) -> Lateness {
    let mut wishes = Wishes::plain(1, 2, Options::default());
    wishes.arrange.trade = Some(4);
    let repertoire = || Repertoire::new(Chart::parse(CHART).expect("a chart"), wishes.clone());
    let mut band = repertoire();
    let first = band.first_request();
    let programme = Programme {
        opening: (first, band.make(&first).expect("a chorus")),
        then: None,
        choruses: Some(2),
        ending: true,
    };
    let settings = PlaySettings::at_first(first.level, first.seed, [false; 3]);
    let status = SharedPlayStatus::new(PlayStatus::new(settings));
    let setup = PlaySetup {
        sinks: vec![Box::new(Nowhere)],
        routing: Routing {
            parts: [Sinks::ALL; 3],
            clock: Sinks::ALL,
        },
        wait: false,
        follow: false,
        sensing: false,
        stop: Arc::default(),
    };
    let play = Play::start(programme, band, status.clone(), setup).expect("threads");
    let (sender, heard) = std::sync::mpsc::channel();
    let trading = listening.then(|| {
        let options = TradeOptions {
            bars: Some(4),
            mode: TradeMode::Answer,
            follow: Some(2.0),
        };
        let trading = play.trade(repertoire(), options, status, heard);
        trading.expect("a thread")
    });
    let clock = play.clock();
    for beat in 0u8.. {
        if play.is_over() {
            break;
        }
        let key = 36 + beat % 12;
        for message in [Message::note_on(0, key, 80), Message::note_off(0, key)] {
            std::thread::sleep(Duration::from_millis(100));
            let _ = sender.send((clock.now(), message));
        }
    }
    let lateness = play.finish().expect("no thread panics").lateness;
    if let Some(trading) = trading {
        let exchange = trading.join().expect("no thread panics");
        for told in exchange.turns {
            println!("  {} (chosen in {:?})", told.words, told.decided_in);
        }
    }
    lateness
}

fn main() {
    let p99 = |lateness: &Lateness| lateness.quantile(0.99).as_secs_f64();
    let mut ratios = Vec::new();
    for _ in 0..5 {
        let (alone, listening) = (played(false), played(true));
        println!("played alone          {alone}");
        println!("with listening        {listening}");
        ratios.push(p99(&listening) / p99(&alone));
    }
    ratios.sort_by(f64::total_cmp);
    println!(
        "p99 with listening is {:.2} times that without (median of five pairs)",
        ratios[2]
    );
    let (bare, scheduled) = (bare(), scheduled());
    println!("sleep and spin alone  {bare}");
    println!("scheduler             {scheduled}");
    let ratio = scheduled.quantile(0.99).as_secs_f64() / bare.quantile(0.99).as_secs_f64();
    println!("p99 of the scheduler is {ratio:.2} times that of the bare loop");
}
