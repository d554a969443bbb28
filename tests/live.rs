//! Live play under a fake clock: hours of it in moments, with every message looked at.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use endpin::live::board::{Board, SharedBoard, Standing};
use endpin::live::clock::{Clock, FakeClock, Nanos};
use endpin::live::conductor::{Conductor, Programme, Ties};
use endpin::live::control::Control;
use endpin::live::copyist::Routing;
use endpin::live::follow::{Follower, Lead};
use endpin::live::message::{Message, Note};
use endpin::live::passage::{Bar, Beat, Cue, Passage, Section};
use endpin::live::queue::{ROOM, Shared};
use endpin::live::scheduler::{EARLY, Ending, Lines, News, Scheduler, Steer};
use endpin::live::sink::{Outlet, Recording, Sink, SinkError, SinkIndex, Sinks};
use endpin::live::supply::{AtOnce, Piece, Request};
use endpin::live::timebase::Quarter;
use endpin::score::PartName;
use endpin_theory::Ticks;
use rtrb::{Consumer, Producer, RingBuffer};

const QUARTER: i64 = Ticks::QUARTER.0;
/// Nanoseconds of a quarter note at the toy's 120.
const HALF_SECOND: u64 = 500_000_000;
const BAR: u64 = 4 * HALF_SECOND;

/// Two sections of two bars of 4/4 at 120. The bass plays quarters on a key that tells chorus and
/// section apart, the comp one chord a bar on the last off-beat, ringing over the bar line.
fn toy(request: &Request) -> Passage {
    let bars: &[(usize, u32)] = match request.piece {
        Piece::CountIn | Piece::Ending => &[(0, 1)],
        Piece::Chorus => &[(0, 1), (0, 2), (1, 3), (1, 4)],
        Piece::Section(0) => &[(0, 1), (0, 2)],
        Piece::Section(_) => &[(1, 3), (1, 4)],
    };
    let mut passage = Passage {
        key: "C".into(),
        end: Ticks(bars.len() as i64 * 4 * QUARTER),
        ..Passage::default()
    };
    for (index, (section, number)) in bars.iter().enumerate() {
        if passage.sections.is_empty() || passage.bars[index - 1].section + 1 == *section {
            passage.sections.push(Section {
                name: ["A", "B"][*section].into(),
                first_bar: index,
            });
        }
        passage.bars.push(Bar {
            number: *number,
            section: passage.sections.len() - 1,
            first_beat: index * 4,
            tempo: 120.0,
            chords: "C".into(),
        });
        for beat in 0..4 {
            let start = Ticks((index as i64 * 4 + beat) * QUARTER);
            passage.beats.push(Beat {
                start,
                bar: index,
                ..Beat::default()
            });
            let key = match request.piece {
                Piece::CountIn => 20,
                Piece::Ending => 30,
                _ => 40 + *section as u8,
            };
            passage
                .notes
                .push(cue(PartName::Bass, start, QUARTER - 10, key, request));
        }
        let last = Ticks((index as i64 * 4 + 3) * QUARTER + QUARTER / 2);
        passage
            .notes
            .push(cue(PartName::Comp, last, QUARTER, 60, request));
    }
    passage.notes.sort_by_key(|note| note.start);
    passage
}

fn cue(part: PartName, start: Ticks, length: i64, key: u8, request: &Request) -> Cue {
    Cue {
        start,
        length: Ticks(length),
        key: key.saturating_add_signed(request.transpose),
        // The velocity tells the chorus, so that tests can see which one sounds.
        velocity: 1 + ((request.chorus - 1) % 100) as u8,
        channel: part.channel(),
        part,
    }
}

fn request(piece: Piece, chorus: u32) -> Request {
    Request {
        piece,
        chorus,
        seed: 1,
        level: 4,
        transpose: 0,
    }
}

type Toy = fn(&Request) -> Result<Passage, String>;

/// Everything of a live play, on one thread and a fake clock.
struct Stage {
    clock: FakeClock,
    recording: Recording<FakeClock>,
    conductor: Conductor<AtOnce<Toy>>,
    scheduler: Scheduler<FakeClock>,
    shared: Arc<Shared>,
    board: SharedBoard,
    news: Consumer<News>,
    spares: Option<Producer<(SinkIndex, Box<dyn Sink>)>>,
}

impl Stage {
    fn set(choruses: Option<u32>) -> Stage {
        Stage::with_source(choruses, |request| Ok(toy(request)))
    }

    fn with_source(choruses: Option<u32>, source: Toy) -> Stage {
        let clock = FakeClock::default();
        let recording = Recording::new(clock.clone());
        let sink = Box::new(recording.clone());
        Stage::new(choruses, source, clock, recording, vec![sink], false)
    }

    fn new(
        choruses: Option<u32>,
        source: Toy,
        clock: FakeClock,
        recording: Recording<FakeClock>,
        sinks: Vec<Box<dyn Sink>>,
        wait: bool,
    ) -> Stage {
        let shared = Arc::new(Shared::default());
        let (events, taken) = RingBuffer::new(ROOM);
        let (told, news) = RingBuffer::new(64);
        let (spares, spare) = RingBuffer::new(4);
        let board = SharedBoard::new(Board::new(Standing {
            pace: 1.0,
            level: 4,
            seed: 1,
            transpose: 0,
            muted: [false; 3],
            looping: false,
            ending: false,
            paused: false,
            notice: None,
        }));
        let first = request(Piece::Chorus, 1);
        let programme = Programme {
            opening: (first, toy(&first)),
            then: None,
            choruses,
            ending: true,
        };
        let ties = Ties {
            events,
            shared: shared.clone(),
            board: board.clone(),
            routing: Routing {
                parts: [Sinks::ALL; 3],
                clock: Sinks::ALL,
            },
        };
        let lines = Lines {
            events: taken,
            news: told,
            spares: wait.then_some(spare),
        };
        let outlet = Outlet::new(sinks);
        let scheduler = Scheduler::new(clock.clone(), outlet, lines, shared.clone(), Sinks::ALL);
        Stage {
            conductor: Conductor::new(programme, AtOnce::new(source), ties),
            scheduler,
            clock,
            recording,
            shared,
            board,
            news,
            spares: wait.then_some(spares),
        }
    }

    /// Plays under a leading clock that sends these messages at these moments, to the last of them.
    fn play_under(&mut self, leader: &[(u64, Message)]) {
        let (mut steering, steered) = RingBuffer::new(64);
        self.scheduler.follow(steered);
        let mut follower = Follower::new(Quarter::from_tempo(120.0));
        for (at, message) in leader {
            // The messages of others come between two looks of ours.
            assert_eq!(self.play_until(Nanos(*at)), None);
            match follower.hear(*message, Nanos(*at)) {
                Some(Lead::Locate(tick)) => {
                    let epoch = self.shared.cut();
                    self.conductor.locate(tick, epoch);
                    self.conductor.begin();
                }
                Some(Lead::Line(line)) => steering.push(Steer::Line(line)).unwrap(),
                Some(Lead::Halt) => steering.push(Steer::Halt).unwrap(),
                None => {}
            }
        }
    }

    /// Plays until the clock says `until` or play ends.
    fn play_until(&mut self, until: Nanos) -> Option<Ending> {
        while self.clock.now() < until {
            self.conductor.advance();
            if let Some(ending) = self.scheduler.step() {
                return Some(ending);
            }
            while self.news.pop().is_ok() {}
        }
        None
    }

    fn play(&mut self) -> Option<Ending> {
        self.play_until(Nanos(u64::MAX))
    }

    /// Asks for something at a moment after the first beat.
    fn ask_at(&mut self, nanos: u64, control: Control) {
        let ended = self.play_until(Nanos(LEAD + nanos));
        assert_eq!(ended, None, "still playing when {control:?} is asked");
        let seconds = self.clock.now().0 as f64 / 1e9;
        self.conductor.control(control, seconds);
    }
}

/// How long after `begin` the first beat sounds: the time left for early notes, at 120.
const LEAD: u64 = HALF_SECOND * EARLY as u64 / QUARTER as u64;

/// The note-ons of a part: nanoseconds after the first beat, key, velocity.
fn ons(taken: &[(Nanos, Message)], part: PartName) -> Vec<(i64, u8, u8)> {
    let mut ons = Vec::new();
    for (at, message) in taken {
        if let Some(Note::On {
            channel,
            key,
            velocity,
        }) = message.note()
            && channel == part.channel()
        {
            ons.push((at.0 as i64 - LEAD as i64, key, velocity));
        }
    }
    ons
}

/// The keys that are down after all of it.
fn sounding(taken: &[(Nanos, Message)]) -> Vec<(u8, u8)> {
    let mut down = Vec::new();
    for (_, message) in taken {
        match message.note() {
            Some(Note::On { channel, key, .. }) => down.push((channel, key)),
            Some(Note::Off { channel, key }) => down.retain(|held| *held != (channel, key)),
            None => {}
        }
    }
    down
}

fn bass_keys_by_bar(taken: &[(Nanos, Message)]) -> Vec<Vec<u8>> {
    let mut bars: Vec<Vec<u8>> = Vec::new();
    for (at, key, _) in ons(taken, PartName::Bass) {
        let bar = (at as u64 / BAR) as usize;
        bars.resize(bars.len().max(bar + 1), Vec::new());
        bars[bar].push(key);
    }
    bars
}

#[test]
fn every_note_leaves_at_its_exact_moment() {
    let mut stage = Stage::set(Some(2));
    stage.conductor.begin();
    assert_eq!(stage.play(), Some(Ending::Finished));
    let taken = stage.recording.take();
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
        stage.scheduler.lateness().max(),
        Duration::from_nanos(1),
        "a fake clock is never late"
    );
}

#[test]
fn at_one_instant_the_clock_comes_first_and_offs_before_ons() {
    let mut stage = Stage::with_source(Some(1), |request| Ok(toy(request)));
    stage.conductor.begin();
    stage.play();
    let taken = stage.recording.take();
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
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    let wall = Instant::now();
    let choruses = 1_000;
    stage.play_until(Nanos(LEAD + choruses * 4 * BAR - 1_000));
    let mut taken = stage.recording.take();
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
fn the_tempo_changes_at_a_beat_and_the_sum_of_lengths_stays_exact() {
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    stage.ask_at(HALF_SECOND / 2, Control::Faster);
    stage.play_until(Nanos(LEAD + 8 * BAR));
    let taken = stage.recording.take();
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
fn any_stop_leaves_silence() {
    // 200 stops spread over a chorus by a step that shares no factor with the beat.
    for stop in 0..200u64 {
        let mut stage = Stage::set(None);
        stage.conductor.begin();
        stage.play_until(Nanos(LEAD + stop * 39_916_801));
        stage.shared.stop();
        assert_eq!(stage.play(), Some(Ending::Stopped));
        let taken = stage.recording.take();
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
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    stage.play_until(Nanos(LEAD + 7 * HALF_SECOND / 2 + 1));
    let recording = stage.recording.clone();
    drop(stage);
    let taken = recording.take();
    assert!(ons(&taken, PartName::Comp).len() == 1);
    assert_eq!(sounding(&taken), []);
}

#[test]
fn a_mute_lands_at_the_next_bar() {
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    stage.ask_at(BAR + HALF_SECOND, Control::Mute(PartName::Bass));
    stage.ask_at(3 * BAR + HALF_SECOND, Control::Mute(PartName::Bass));
    stage.play_until(Nanos(LEAD + 5 * BAR));
    let taken = stage.recording.take();
    let keys = bass_keys_by_bar(&taken);
    let counts: Vec<usize> = keys.iter().map(Vec::len).collect();
    assert_eq!(counts[..5], [4, 4, 0, 0, 4]);
    assert!(ons(&taken, PartName::Comp).len() >= 5, "the others play on");
}

#[test]
fn sections_are_reached_at_the_next_bar_line() {
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    stage.ask_at(HALF_SECOND, Control::NextSection);
    // Bars: A | B B | A, and from within that A back to its own start.
    stage.ask_at(3 * BAR + HALF_SECOND, Control::PreviousSection);
    stage.play_until(Nanos(LEAD + 8 * BAR));
    let taken = stage.recording.take();
    let firsts: Vec<u8> = bass_keys_by_bar(&taken).iter().map(|bar| bar[0]).collect();
    assert_eq!(firsts[..8], [40, 41, 41, 40, 40, 40, 41, 41]);
    let at = |bar: usize| ons(&taken, PartName::Bass)[bar * 4].0 as u64;
    assert_eq!(at(7), 7 * BAR, "jumps take no time");
}

#[test]
fn a_section_goes_round_with_fresh_lines_until_released() {
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    stage.ask_at(HALF_SECOND, Control::LoopSection);
    stage.ask_at(6 * BAR + HALF_SECOND, Control::LoopSection);
    stage.play_until(Nanos(LEAD + 14 * BAR));
    let taken = stage.recording.take();
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
    static ASKED: Mutex<Vec<Request>> = Mutex::new(Vec::new());
    let mut stage = Stage::with_source(None, |request| {
        ASKED.lock().unwrap().push(*request);
        Ok(toy(request))
    });
    stage.conductor.begin();
    stage.ask_at(BAR, Control::LevelUp);
    stage.ask_at(BAR + 1, Control::TransposeDown);
    stage.ask_at(BAR + 2, Control::NewSeed);
    stage.play_until(Nanos(LEAD + 6 * BAR));
    let taken = stage.recording.take();
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
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    stage.ask_at(5 * BAR, Control::EndAfter);
    assert_eq!(stage.play(), Some(Ending::Finished));
    let taken = stage.recording.take();
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
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    stage.ask_at(BAR + 5 * HALF_SECOND / 2, Control::Pause);
    stage.play_until(Nanos(LEAD + 3 * BAR));
    let before = stage.recording.take();
    assert_eq!(sounding(&before), []);
    let stop = before
        .iter()
        .rposition(|(_, m)| *m == Message::STOP)
        .unwrap();
    assert_eq!(stop, before.len() - 1, "nothing after stop");
    assert!(before[stop].0.0 - LEAD < BAR + 5 * HALF_SECOND / 2 + 5_000_000);
    assert!(stage.board.look().standing.paused);

    stage.ask_at(3 * BAR, Control::Pause);
    stage.play_until(Nanos(LEAD + 6 * BAR));
    let after = stage.recording.take();
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
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    for tap in 0..4 {
        stage.ask_at(HALF_SECOND + tap * 600_000_000, Control::Tap);
    }
    stage.play_until(Nanos(LEAD + 4 * BAR));
    let bass = ons(&stage.recording.take(), PartName::Bass);
    let last = bass.windows(2).last().unwrap();
    assert!(
        (last[1].0 - last[0].0 - 600_000_000).abs() < 2_000_000,
        "100 beats a minute"
    );
}

#[test]
fn a_supply_that_fails_is_reported_and_play_goes_on() {
    let mut stage = Stage::with_source(None, |request| match request.level {
        4 => Ok(toy(request)),
        level => Err(format!("no line at level {level}")),
    });
    stage.conductor.begin();
    stage.ask_at(BAR, Control::LevelUp);
    stage.play_until(Nanos(LEAD + 9 * BAR));
    let taken = stage.recording.take();
    let bass = ons(&taken, PartName::Bass);
    assert!(bass.len() >= 36);
    for (beat, (at, _, _)) in bass.iter().enumerate() {
        assert_eq!(*at, beat as i64 * HALF_SECOND as i64);
    }
    let standing = stage.board.look().standing.clone();
    assert_eq!(standing.notice.as_deref(), Some("no line at level 5"));
    assert_eq!(standing.level, 4);
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
        let source: Toy = |request| Ok(toy(request));
        let mut stage = Stage::new(
            None,
            source,
            clock,
            recording,
            vec![Box::new(failing)],
            wait,
        );
        stage.conductor.begin();
        let ending = stage.play_until(Nanos(LEAD + 2 * BAR));
        assert_eq!(stage.recording.take().len(), 100);
        let Some(spares) = &mut stage.spares else {
            assert_eq!(ending, Some(Ending::Lost(0, SinkError::Gone)));
            continue;
        };
        assert_eq!(ending, None);
        let plugged_in = Box::new(stage.recording.clone());
        assert!(spares.push((0, plugged_in as Box<dyn Sink>)).is_ok());
        stage.play_until(Nanos(LEAD + 4 * BAR));
        let bass = ons(&stage.recording.take(), PartName::Bass);
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
    let mut stage = Stage::set(None);
    stage.conductor.begin();
    stage.play_until(Nanos(LEAD + BAR));
    stage.recording.take();
    stage.clock.advance(Duration::from_secs(30));
    stage.play_until(Nanos(LEAD + 2 * BAR + 30_000_000_000));
    let bass = ons(&stage.recording.take(), PartName::Bass);
    assert!(
        (4..=5).contains(&bass.len()),
        "{} notes in a bar",
        bass.len()
    );
    for pair in bass.windows(2) {
        assert_eq!(pair[1].0 - pair[0].0, HALF_SECOND as i64);
    }
}

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
    let mut stage = Stage::set(None);
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
    stage.play_under(&leader);
    let bass = ons(&stage.recording.take(), PartName::Bass);
    assert!((47..=49).contains(&bass.len()), "{} beats", bass.len());
    for (beat, (at, _, _)) in bass.iter().enumerate() {
        let wanted = SECOND + beat as u64 * SLOWER;
        let off = *at + LEAD as i64 - wanted as i64;
        assert!(off.abs() < 8_000_000, "beat {beat} is {off} ns off");
    }
}

#[test]
fn a_leading_clock_stops_relocates_and_goes_on() {
    let mut stage = Stage::set(None);
    let mut leader = vec![(SECOND - 5_000_000, Message::START)];
    leader.extend(pulses(SECOND, SLOWER, 6));
    let stop = SECOND + 6 * SLOWER - 10_000_000;
    // To bar 3, where section B starts: 32 sixteenths.
    leader.push((stop, Message::STOP));
    leader.push((stop + SECOND, Message::song_position(32).unwrap()));
    leader.push((stop + SECOND + 1, Message::CONTINUE));
    let again = stop + 2 * SECOND;
    leader.extend(pulses(again, SLOWER, 8));
    stage.play_under(&leader);
    let taken = stage.recording.take();
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
    let mut stage = Stage::set(None);
    let mut leader = vec![(SECOND - 5_000_000, Message::START)];
    leader.extend(pulses(SECOND, SLOWER, 8));
    stage.play_under(&leader);
    let gone = stage.clock.now().0;
    stage.play_until(Nanos(gone + 10 * SECOND));
    let taken = stage.recording.take();
    let last = ons(&taken, PartName::Bass).last().unwrap().0 + LEAD as i64;
    let on = last as u64 - gone;
    assert!((SECOND..3 * SECOND).contains(&on), "it went on for {on} ns");
    assert_eq!(sounding(&taken), []);
}
