//! Live play under a fake clock: hours of it in moments, with every message looked at.

mod controls;
mod fake_play;
mod following;
mod stalls;
mod trading;

use endpin::live::clock::{FakeClock, Nanos};
use endpin::live::message::{Message, Note};
use endpin::live::scheduler::PlayEnd;
use endpin::live::sink::{Recording, Sink, SinkError};
use endpin::performance::score::PartName;
use fake_play::{BAR, FakePlay, HALF_SECOND, LEAD, Source, ons, sounding, toy};
use std::time::{Duration, Instant};

#[test]
fn every_note_leaves_at_its_exact_moment() {
    let mut play = FakePlay::set(Some(2));
    play.conductor.begin();
    assert_eq!(play.play(), Some(PlayEnd::Finished));
    let taken = play.recording.take();
    let bass = ons(&taken, PartName::Bass);
    assert_eq!(bass.len(), 2 * 16 + 4);
    for (beat, (at, _, _)) in bass.iter().enumerate() {
        assert_eq!(*at, beat as i64 * HALF_SECOND as i64, "beat {beat}");
    }
    for (bar, (at, _, _)) in ons(&taken, PartName::Comp).iter().enumerate() {
        let wanted = bar as u64 * BAR + 7 * HALF_SECOND / 2;
        assert_eq!(*at, wanted as i64, "comp of bar {bar}");
    }
    assert_eq!(sounding(&taken), []);
    assert_eq!(
        play.scheduler.lateness().max(),
        Duration::from_nanos(1),
        "a fake clock is never late"
    );
}

#[test]
fn at_one_instant_the_clock_comes_first_and_offs_before_ons() {
    let mut play = FakePlay::with_source(Some(1), |request| Ok(toy(request)));
    play.conductor.begin();
    play.play();
    let taken = play.recording.take();
    let order = |message: &Message| match message.note() {
        None if message.channel().is_none() => 0,
        Some(Note::Off { .. }) => 1,
        None => 2,
        Some(Note::On { .. }) => 3,
    };
    let mut busy = 0;
    for pair in taken.windows(2) {
        assert!(pair[0].0 <= pair[1].0);
        // The silence at the end has an order of its own.
        if pair[0].0 == pair[1].0
            && pair[0].1 != Message::START
            && pair[1].1.bytes()[0] & 0xF0 != 0xB0
        {
            let last = taken.last().map(|(at, _)| *at);
            if Some(pair[0].0) != last {
                assert!(order(&pair[0].1) <= order(&pair[1].1), "{pair:?}");
                busy += 1;
            }
        }
    }
    assert!(busy > 20, "{busy} instants with company");
}

#[test]
fn a_thousand_choruses_do_not_drift() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    let wall = Instant::now();
    let choruses = 1_000;
    play.play_until(Nanos(LEAD + choruses * 4 * BAR - 1_000));
    let mut taken = play.recording.take();
    taken.retain(|(at, _)| at.0 < LEAD + choruses * 4 * BAR);
    let bass = ons(&taken, PartName::Bass);
    assert_eq!(bass.len() as u64, choruses * 16);
    let (at, _, velocity) = bass[bass.len() - 16];
    assert_eq!(
        at as u64,
        (choruses - 1) * 4 * BAR,
        "start of the thousandth"
    );
    assert_eq!(
        velocity, 100,
        "the thousandth line, not a repeat of another"
    );
    let pulses = taken
        .iter()
        .filter(|(_, message)| *message == Message::CLOCK)
        .count() as u64;
    assert_eq!(pulses, choruses * 16 * 24);
    assert!(
        wall.elapsed() < Duration::from_secs(60),
        "{:?}",
        wall.elapsed()
    );
}

#[test]
fn any_stop_leaves_silence() {
    // 200 stops spread over a chorus by a step that shares no factor with the beat.
    for stop in 0..200u64 {
        let mut play = FakePlay::set(None);
        play.conductor.begin();
        play.play_until(Nanos(LEAD + stop * 39_916_801));
        play.shared.stop();
        assert_eq!(play.play(), Some(PlayEnd::Stopped));
        let taken = play.recording.take();
        assert_eq!(sounding(&taken), [], "stopped at {stop}");
        let tail: Vec<String> = taken.iter().map(|(_, m)| format!("{m:?}")).collect();
        // MIDI 1.0, channel mode messages: 123 all notes off, 120 all sound off.
        let silence = [
            "FC", "B0 7B 00", "B0 78 00", "B1 7B 00", "B1 78 00", "B9 7B 00", "B9 78 00",
        ];
        assert_eq!(tail[tail.len() - 7..], silence);
    }
}

#[test]
fn dropping_everything_midway_leaves_silence() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    play.play_until(Nanos(LEAD + 7 * HALF_SECOND / 2 + 1));
    let recording = play.recording.clone();
    drop(play);
    let taken = recording.take();
    assert!(ons(&taken, PartName::Comp).len() == 1);
    assert_eq!(sounding(&taken), []);
}

/// Takes so many messages, then is gone.
struct Failing(u32, Recording<FakeClock>);

impl Sink for Failing {
    fn send(&mut self, message: Message) -> Result<(), SinkError> {
        self.0 = self.0.checked_sub(1).ok_or(SinkError::Gone)?;
        self.1.send(message)
    }
}

#[test]
fn a_lost_port_ends_play_unless_it_is_waited_for() {
    for wait in [false, true] {
        let clock = FakeClock::default();
        let recording = Recording::new(clock.clone());
        let failing = Failing(100, recording.clone());
        let source = Source::Toy(|request| Ok(toy(request)));
        let mut play = FakePlay::new(
            None,
            source,
            clock,
            recording,
            vec![Box::new(failing)],
            wait,
        );
        play.conductor.begin();
        let ending = play.play_until(Nanos(LEAD + 2 * BAR));
        assert_eq!(play.recording.take().len(), 100);
        let Some(spares) = &mut play.spares else {
            assert_eq!(ending, Some(PlayEnd::Lost(0, SinkError::Gone)));
            continue;
        };
        assert_eq!(ending, None);
        let plugged_in = Box::new(play.recording.clone());
        assert!(spares.push((0, plugged_in as Box<dyn Sink>)).is_ok());
        play.play_until(Nanos(LEAD + 4 * BAR));
        let bass = ons(&play.recording.take(), PartName::Bass);
        assert_eq!(bass.len(), 8, "two bars more");
        assert_eq!(
            bass[0].0 as u64,
            2 * BAR,
            "in time as if nothing had happened"
        );
    }
}

#[test]
fn an_interruption_is_not_hurried_after() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    play.play_until(Nanos(LEAD + BAR));
    play.recording.take();
    play.clock.advance(Duration::from_secs(30));
    play.play_until(Nanos(LEAD + 2 * BAR + 30_000_000_000));
    let bass = ons(&play.recording.take(), PartName::Bass);
    assert!(
        (4..=5).contains(&bass.len()),
        "{} notes in a bar",
        bass.len()
    );
    for pair in bass.windows(2) {
        assert_eq!(pair[1].0 - pair[0].0, HALF_SECOND as i64);
    }
}
