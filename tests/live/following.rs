//! Play under a leading clock.

use super::fake_play::{FakePlay, LEAD, ons, sounding};
use endpin::live::clock::{Clock, Nanos};
use endpin::live::message::Message;
use endpin::performance::score::PartName;

/// 24 pulses to each of `beats` quarters, the first at `start`, `quarter` nanoseconds each.
fn pulses(start: u64, quarter: u64, beats: u64) -> Vec<(u64, Message)> {
    let at = |pulse: u64| (start + pulse * quarter / 24, Message::CLOCK);
    (0..beats * 24).map(at).collect()
}

const SECOND: u64 = 1_000_000_000;
/// A quarter at 100, where the chart says 120.
const SLOWER: u64 = 600_000_000;

#[test]
fn a_leading_clock_is_followed_through_jitter_and_dropouts() {
    let mut play = FakePlay::set(None);
    let mut leader = vec![(SECOND - 5_000_000, Message::START)];
    leader.extend(pulses(SECOND, SLOWER, 48));
    // Every pulse up to 2 ms early or late, by a step that shares no factor with the beat; and two
    // dropouts, of one pulse and of half a beat.
    for (index, (at, message)) in leader.iter_mut().enumerate() {
        if *message == Message::CLOCK {
            *at = *at + (index as u64 * 1_299_709) % 4_000_000 - 2_000_000;
        }
    }
    leader.drain(700..712);
    leader.remove(400);
    play.play_under(&leader);
    let bass = ons(&play.recording.take(), PartName::Bass);
    assert!((47..=49).contains(&bass.len()), "{} beats", bass.len());
    for (beat, (at, _, _)) in bass.iter().enumerate() {
        let wanted = SECOND + beat as u64 * SLOWER;
        let off = *at + LEAD as i64 - wanted as i64;
        assert!(off.abs() < 8_000_000, "beat {beat} is {off} ns off");
    }
}

#[test]
fn a_leading_clock_stops_relocates_and_goes_on() {
    let mut play = FakePlay::set(None);
    let mut leader = vec![(SECOND - 5_000_000, Message::START)];
    leader.extend(pulses(SECOND, SLOWER, 6));
    let stop = SECOND + 6 * SLOWER - 10_000_000;
    // To bar 3, where section B starts: 32 sixteenths.
    leader.push((stop, Message::STOP));
    leader.push((stop + SECOND, Message::song_position(32).unwrap()));
    leader.push((stop + SECOND + 1, Message::CONTINUE));
    let again = stop + 2 * SECOND;
    leader.extend(pulses(again, SLOWER, 8));
    play.play_under(&leader);
    let taken = play.recording.take();
    let (before, after): (Vec<_>, Vec<_>) = taken
        .into_iter()
        .partition(|(at, _)| at.0 < again - 1_000_000);
    assert_eq!(ons(&before, PartName::Bass).len(), 6);
    assert_eq!(
        sounding(&before),
        [],
        "silent while the leader stands still"
    );
    let bass = ons(&after, PartName::Bass);
    assert_eq!(bass[0].1, 41, "section B");
    assert!(
        (bass[0].0 + LEAD as i64 - again as i64).abs() < 8_000_000,
        "at once"
    );
}

#[test]
fn when_the_leader_falls_silent_play_goes_on_a_little_and_then_waits() {
    let mut play = FakePlay::set(None);
    let mut leader = vec![(SECOND - 5_000_000, Message::START)];
    leader.extend(pulses(SECOND, SLOWER, 8));
    play.play_under(&leader);
    let gone = play.clock.now().0;
    play.play_until(Nanos(gone + 10 * SECOND));
    let taken = play.recording.take();
    let last = ons(&taken, PartName::Bass).last().unwrap().0 + LEAD as i64;
    let on = last as u64 - gone;
    assert!((SECOND..3 * SECOND).contains(&on), "it went on for {on} ns");
    assert_eq!(sounding(&taken), []);
}
