//! What is asked for while the band plays, and when it comes.

use super::fake_play::{BAR, FakePlay, HALF_SECOND, LEAD, bass_keys_by_bar, ons, sounding, toy};
use endpin::live::clock::Nanos;
use endpin::live::control::Control;
use endpin::live::message::Message;
use endpin::live::passage_supply::PassageRequest;
use endpin::live::scheduler::PlayEnd;
use endpin::performance::score::PartName;
use std::sync::Mutex;

#[test]
fn the_tempo_changes_at_a_beat_and_the_sum_of_lengths_stays_exact() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    play.ask_at(HALF_SECOND / 2, Control::Faster);
    play.play_until(Nanos(LEAD + 8 * BAR));
    let taken = play.recording.take();
    let bass = ons(&taken, PartName::Bass);
    // Asked during beat 1, when beat 2 was queued already: 124 holds from beat 3 on.
    let faster = (60e9f64 / 124.0).round() as i64;
    for (beat, (at, _, _)) in bass.iter().enumerate() {
        let beat = beat as i64;
        let wanted = beat.min(2) * HALF_SECOND as i64 + (beat - 2).max(0) * faster;
        assert_eq!(*at, wanted, "beat {beat}");
    }
    // MIDI 1.0: 24 clocks to the quarter note, whatever the tempo.
    for pair in bass.windows(2) {
        let between = |at: i64| (pair[0].0..pair[1].0).contains(&(at - LEAD as i64));
        let pulses = taken
            .iter()
            .filter(|(at, m)| *m == Message::CLOCK && between(at.0 as i64));
        assert_eq!(pulses.count(), 24);
    }
}

#[test]
fn a_mute_lands_at_the_next_bar() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    play.ask_at(BAR + HALF_SECOND, Control::Mute(PartName::Bass));
    play.ask_at(3 * BAR + HALF_SECOND, Control::Mute(PartName::Bass));
    play.play_until(Nanos(LEAD + 5 * BAR));
    let taken = play.recording.take();
    let keys = bass_keys_by_bar(&taken);
    let counts: Vec<usize> = keys.iter().map(Vec::len).collect();
    assert_eq!(counts[..5], [4, 4, 0, 0, 4]);
    assert!(ons(&taken, PartName::Comp).len() >= 5, "the others play on");
}

#[test]
fn sections_are_reached_at_the_next_bar_line() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    play.ask_at(HALF_SECOND, Control::NextSection);
    // Bars: A | B B | A, and from within that A back to its own start.
    play.ask_at(3 * BAR + HALF_SECOND, Control::PreviousSection);
    play.play_until(Nanos(LEAD + 8 * BAR));
    let taken = play.recording.take();
    let firsts: Vec<u8> = bass_keys_by_bar(&taken).iter().map(|bar| bar[0]).collect();
    assert_eq!(firsts[..8], [40, 41, 41, 40, 40, 40, 41, 41]);
    let at = |bar: usize| ons(&taken, PartName::Bass)[bar * 4].0 as u64;
    assert_eq!(at(7), 7 * BAR, "jumps take no time");
}

#[test]
fn a_section_goes_round_with_fresh_lines_until_released() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    play.ask_at(HALF_SECOND, Control::LoopSection);
    play.ask_at(6 * BAR + HALF_SECOND, Control::LoopSection);
    play.play_until(Nanos(LEAD + 14 * BAR));
    let taken = play.recording.take();
    let bass = ons(&taken, PartName::Bass);
    let bars: Vec<(u8, u8)> = bass.chunks(4).map(|bar| (bar[0].1, bar[0].2)).collect();
    let wanted = [
        (40, 1),
        (40, 1), // A of the first chorus
        (40, 2),
        (40, 2),
        (40, 3),
        (40, 3), // round and round, another line each time
        (40, 4),
        (40, 4), // released in here
        (41, 5),
        (41, 5), // the form goes on with B
        (40, 6),
        (40, 6),
        (41, 6),
        (41, 6),
    ];
    assert_eq!(bars[..14], wanted);
}

#[test]
fn level_key_and_seed_wait_for_the_next_chorus() {
    static ASKED: Mutex<Vec<PassageRequest>> = Mutex::new(Vec::new());
    let mut play = FakePlay::with_source(None, |request| {
        ASKED.lock().unwrap().push(*request);
        Ok(toy(request))
    });
    play.conductor.begin();
    play.ask_at(BAR, Control::LevelUp);
    play.ask_at(BAR + 1, Control::TransposeDown);
    play.ask_at(BAR + 2, Control::NewSeed);
    play.play_until(Nanos(LEAD + 6 * BAR));
    let taken = play.recording.take();
    let firsts: Vec<u8> = bass_keys_by_bar(&taken).iter().map(|bar| bar[0]).collect();
    assert_eq!(firsts[..6], [40, 40, 41, 41, 39, 39]);
    let asked = ASKED.lock().unwrap();
    let second = asked
        .iter()
        .rev()
        .find(|request| request.chorus == 2)
        .unwrap();
    assert_eq!((second.level, second.transpose, second.seed), (5, -1, 2));
}

#[test]
fn end_comes_after_the_present_chorus_and_its_ending_bar() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    play.ask_at(5 * BAR, Control::EndAfter);
    assert_eq!(play.play(), Some(PlayEnd::Finished));
    let taken = play.recording.take();
    let keys = bass_keys_by_bar(&taken);
    assert_eq!(keys.len(), 9);
    assert_eq!(keys[8], [30; 4], "the ending");
    let pulses = taken
        .iter()
        .filter(|(_, message)| *message == Message::CLOCK);
    assert_eq!(pulses.count(), 9 * 4 * 24, "to the last one");
    let end = taken.last().unwrap().0.0 - LEAD;
    assert_eq!(end, 9 * BAR, "to the bar line");
    assert_eq!(sounding(&taken), []);
}

#[test]
fn a_pause_is_at_once_and_goes_on_from_the_start_of_its_bar() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    play.ask_at(BAR + 5 * HALF_SECOND / 2, Control::Pause);
    play.play_until(Nanos(LEAD + 3 * BAR));
    let before = play.recording.take();
    assert_eq!(sounding(&before), []);
    let stop = before
        .iter()
        .rposition(|(_, m)| *m == Message::STOP)
        .unwrap();
    assert_eq!(stop, before.len() - 1, "nothing after stop");
    assert!(before[stop].0.0 - LEAD < BAR + 5 * HALF_SECOND / 2 + 5_000_000);
    assert!(play.status.look().settings.paused);

    play.ask_at(3 * BAR, Control::Pause);
    play.play_until(Nanos(LEAD + 6 * BAR));
    let after = play.recording.take();
    let texts: Vec<String> = after
        .iter()
        .take(2)
        .map(|(_, m)| format!("{m:?}"))
        .collect();
    // MIDI 1.0: song position in sixteenths (bar 2 starts at the sixteenth), then continue.
    assert_eq!(texts, ["F2 10 00", "FB"]);
    let bass = ons(&after, PartName::Bass);
    let starts: Vec<i64> = bass.iter().map(|(at, _, _)| at - bass[0].0).collect();
    let wanted: Vec<i64> = (0..starts.len() as i64)
        .map(|beat| beat * HALF_SECOND as i64)
        .collect();
    assert_eq!(starts, wanted);
    let keys: Vec<u8> = bass.iter().map(|(_, key, _)| *key).collect();
    assert_eq!(
        keys[..8],
        [40, 40, 40, 40, 41, 41, 41, 41],
        "bar 2 again, then B"
    );
}

#[test]
fn taps_set_the_tempo() {
    let mut play = FakePlay::set(None);
    play.conductor.begin();
    for tap in 0..4 {
        play.ask_at(HALF_SECOND + tap * 600_000_000, Control::Tap);
    }
    play.play_until(Nanos(LEAD + 4 * BAR));
    let bass = ons(&play.recording.take(), PartName::Bass);
    let last = bass.windows(2).last().unwrap();
    assert!(
        (last[1].0 - last[0].0 - 600_000_000).abs() < 2_000_000,
        "100 beats a minute"
    );
}

#[test]
fn a_supply_that_fails_is_reported_and_play_goes_on() {
    let mut play = FakePlay::with_source(None, |request| match request.level {
        4 => Ok(toy(request)),
        level => Err(format!("no line at level {level}")),
    });
    play.conductor.begin();
    play.ask_at(BAR, Control::LevelUp);
    play.play_until(Nanos(LEAD + 9 * BAR));
    let taken = play.recording.take();
    let bass = ons(&taken, PartName::Bass);
    assert!(bass.len() >= 36);
    for (beat, (at, _, _)) in bass.iter().enumerate() {
        assert_eq!(*at, beat as i64 * HALF_SECOND as i64);
    }
    let settings = play.status.look().settings.clone();
    assert_eq!(settings.notice.as_deref(), Some("no line at level 5"));
    assert_eq!(settings.level, 4);
}
