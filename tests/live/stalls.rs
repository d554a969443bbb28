//! What is heard when the process stands still for a while, by a signal or without one.

use super::fake_play::{BAR, FakePlay, HALF_SECOND, LEAD, ons, sounding};
use endpin::live::clock::{Clock, Nanos};
use endpin::live::control::Control;
use endpin::live::message::Message;
use endpin::performance::score::PartName;
use std::time::Duration;

const MS: u64 = 1_000_000;

#[test]
fn after_a_stall_it_comes_in_on_a_beat_and_never_in_a_burst() {
    for stall in [150, 200, 300, 333, 370, 410, 450, 800, 1_600, 2_700, 30_000] {
        for into in [1, 60, 210, 251, 333, 480] {
            let mut play = FakePlay::set(None);
            play.conductor.begin();
            play.play_until(Nanos(LEAD + BAR + into * MS));
            let before = play.recording.take();
            play.clock.advance(Duration::from_millis(stall));
            let woken = play.clock.now();
            play.play_until(woken.after(Duration::from_millis(10)));
            let mut taken = play.recording.take();
            let first_off = taken.iter().position(|(_, m)| m.note().is_some());
            let whole: Vec<_> = before.iter().chain(&taken).copied().collect();
            let held_before = !sounding(&before).is_empty();
            assert!(!held_before || first_off.is_some());
            assert!(ons(&whole, PartName::Bass).len() <= ons(&before, PartName::Bass).len() + 1);
            play.play_until(woken.after(Duration::from_secs(4)));
            taken.extend(play.recording.take());
            let bass: Vec<i64> = ons(&taken, PartName::Bass).iter().map(|on| on.0).collect();
            let what = format!("stalled for {stall} ms, {into} ms into a beat");
            assert!(bass.len() >= 7, "{what}: {bass:?}");
            // The first may be as late as what is hardly heard.
            assert!((470 * MS as i64..=HALF_SECOND as i64).contains(&(bass[1] - bass[0])));
            for pair in bass[1..].windows(2) {
                assert_eq!(pair[1] - pair[0], HALF_SECOND as i64, "{what}");
            }
            // Nobody who kept counting through a short stall is put out.
            let off_the_beat = bass[0].rem_euclid(HALF_SECOND as i64);
            let late = stall + into > HALF_SECOND / MS;
            if late && stall < 2_000 {
                assert!(off_the_beat <= 30 * MS as i64, "{what}: {off_the_beat}");
            }
            let comp = ons(&taken, PartName::Comp);
            for pair in comp.windows(2) {
                assert!(
                    pair[1].0 - pair[0].0 >= BAR as i64 - 60 * MS as i64,
                    "{what}"
                );
            }
        }
    }
}

#[test]
fn a_suspension_ends_what_sounds_first_and_goes_on_from_the_start_of_the_bar() {
    for into in (50..BAR / MS).step_by(97) {
        let mut play = FakePlay::set(None);
        play.conductor.begin();
        play.play_until(Nanos(LEAD + BAR + into * MS));
        let epoch = play.shared.cut();
        assert!(!play.shared.has_let_go(epoch));
        let asked = play.clock.now();
        while !play.shared.has_let_go(epoch) {
            play.scheduler.step();
        }
        assert!(play.clock.now().since(asked) <= Duration::from_millis(2));
        play.conductor.suspend(epoch);
        assert_eq!(
            sounding(&play.recording.take()),
            [],
            "{into} ms into the bar"
        );
        play.clock.advance(Duration::from_secs(7));
        let woken = play.clock.now().0;
        play.conductor.wake();
        play.play_until(Nanos(woken + 2 * BAR));
        let bass = ons(&play.recording.take(), PartName::Bass);
        assert!((7..=8).contains(&bass.len()), "{} notes", bass.len());
        assert_eq!((bass[0].1, bass[4].1), (40, 41), "bar 2 and bar 3");
        for pair in bass.windows(2) {
            assert_eq!(pair[1].0 - pair[0].0, HALF_SECOND as i64);
        }
    }
}

#[test]
fn a_suspension_leaves_a_pause_a_pause_and_an_end_an_end() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    play.play_until(Nanos(LEAD + BAR));
    play.conductor.control(Control::Pause, 0.0);
    play.play_until(Nanos(LEAD + 2 * BAR));
    let epoch = play.shared.cut();
    play.conductor.suspend(epoch);
    play.conductor.wake();
    play.recording.take();
    play.play_until(Nanos(LEAD + 4 * BAR));
    assert_eq!(ons(&play.recording.take(), PartName::Bass), []);
    play.conductor.control(Control::Pause, 0.0);
    play.play_until(Nanos(LEAD + 6 * BAR));
    assert!(ons(&play.recording.take(), PartName::Bass).len() >= 7);

    // While the last bar sounds the end has been queued; a suspension makes that void, and it comes all the same.
    let mut play = FakePlay::set(Some(1));
    play.conductor.begin();
    play.play_until(Nanos(LEAD + 5 * BAR - HALF_SECOND / 2));
    let epoch = play.shared.cut();
    play.conductor.suspend(epoch);
    play.conductor.wake();
    assert!(play.play().is_some());
}

#[test]
fn active_sensing_never_leaves_a_receiver_waiting_for_300_ms() {
    let mut play = FakePlay::set(Some(1));
    play.scheduler.sense();
    play.play_until(Nanos(LEAD + BAR));
    play.conductor.begin();
    assert!(play.play().is_some());
    let taken = play.recording.take();
    let sensed: Vec<Nanos> = taken
        .iter()
        .filter(|(_, message)| *message == Message::SENSING)
        .map(|(at, _)| *at)
        .collect();
    assert!(sensed.len() > 40);
    for pair in sensed.windows(2) {
        // MIDI 1.0 Detailed Specification, "Active Sensing": 300 ms at most.
        assert!(pair[1].since(pair[0]) < Duration::from_millis(300));
    }
}
