//! A play for the tests: a toy of a band, and everything of a live play on one thread and a fake clock.

use std::sync::Arc;

use endpin::live::beat_writer::Routing;
use endpin::live::clock::{Clock, FakeClock, Nanos};
use endpin::live::conductor::{Conductor, ConductorLinks, Programme};
use endpin::live::control::Control;
use endpin::live::follow::{Follower, Lead};
use endpin::live::message::{Message, Note};
use endpin::live::passage::{Cue, Passage, PassageBar, PassageBeat, PassageSection};
use endpin::live::passage_supply::{Bend, MadeAtOnce, PassageKind, PassageRequest, PassageSource};
use endpin::live::play_status::{PlaySettings, PlayStatus, SharedPlayStatus};
use endpin::live::queue::{ROOM, Shared};
use endpin::live::redraw::Amendment;
use endpin::live::repertoire::Repertoire;
use endpin::live::scheduler::{EARLY, Lines, News, PlayEnd, Scheduler, Steer};
use endpin::live::sink::{Outlet, Recording, Sink, SinkIndex, Sinks};
use endpin::live::timebase::Quarter;
use endpin::performance::score::PartName;
use endpin_theory::Ticks;
use rtrb::{Consumer, Producer, RingBuffer};

pub const QUARTER: i64 = Ticks::QUARTER.0;
/// Nanoseconds of a quarter note at the toy's 120.
pub const HALF_SECOND: u64 = 500_000_000;
pub const BAR: u64 = 4 * HALF_SECOND;

/// Two sections of two bars of 4/4 at 120. The bass plays quarters on a key that tells chorus and
/// section apart, the comp one chord a bar on the last off-beat, ringing over the bar line.
pub fn toy(request: &PassageRequest) -> Passage {
    let bars: &[(usize, u32)] = match request.kind {
        PassageKind::CountIn | PassageKind::Ending => &[(0, 1)],
        PassageKind::Chorus => &[(0, 1), (0, 2), (1, 3), (1, 4)],
        PassageKind::Section(0) => &[(0, 1), (0, 2)],
        PassageKind::Section(_) => &[(1, 3), (1, 4)],
    };
    let mut passage = Passage {
        key: "C".into(),
        end: Ticks(bars.len() as i64 * 4 * QUARTER),
        ..Passage::default()
    };
    for (index, (section, number)) in bars.iter().enumerate() {
        if passage.sections.is_empty() || passage.bars[index - 1].section + 1 == *section {
            passage.sections.push(PassageSection {
                name: ["A", "B"][*section].into(),
                first_bar: index,
            });
        }
        passage.bars.push(PassageBar {
            number: *number,
            section: passage.sections.len() - 1,
            first_beat: index * 4,
            tempo: 120.0,
            chords: "C".into(),
        });
        for beat in 0..4 {
            let start = Ticks((index as i64 * 4 + beat) * QUARTER);
            passage.beats.push(PassageBeat {
                start,
                bar: index,
                ..PassageBeat::default()
            });
            let key = match request.kind {
                PassageKind::CountIn => 20,
                PassageKind::Ending => 30,
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

pub fn cue(part: PartName, start: Ticks, length: i64, key: u8, request: &PassageRequest) -> Cue {
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

pub fn request(kind: PassageKind, chorus: u32) -> PassageRequest {
    PassageRequest {
        kind,
        chorus,
        seed: 1,
        level: 4,
        transpose: 0,
    }
}

pub type Toy = fn(&PassageRequest) -> Result<Passage, String>;

/// Where passages come from: a toy, or a band in earnest.
pub enum Source {
    Toy(Toy),
    Band(Box<Repertoire>),
}

impl PassageSource for Source {
    fn passage(&mut self, request: &PassageRequest) -> Result<Passage, String> {
        match self {
            Source::Toy(toy) => toy(request),
            Source::Band(band) => band.passage(request),
        }
    }

    fn bend(&mut self, bend: &Bend) -> Result<Amendment, String> {
        match self {
            Source::Toy(_) => Err("a toy bends nothing".into()),
            Source::Band(band) => PassageSource::bend(&mut **band, bend),
        }
    }
}

/// Everything of a live play, on one thread and a fake clock.
pub struct FakePlay {
    pub clock: FakeClock,
    pub recording: Recording<FakeClock>,
    pub conductor: Conductor<MadeAtOnce<Source>>,
    pub scheduler: Scheduler<FakeClock>,
    pub shared: Arc<Shared>,
    pub status: SharedPlayStatus,
    pub news: Consumer<News>,
    pub spares: Option<Producer<(SinkIndex, Box<dyn Sink>)>>,
}

impl FakePlay {
    pub fn set(choruses: Option<u32>) -> FakePlay {
        FakePlay::with_source(choruses, |request| Ok(toy(request)))
    }

    pub fn with_source(choruses: Option<u32>, source: Toy) -> FakePlay {
        let clock = FakeClock::default();
        let recording = Recording::new(clock.clone());
        let sink = Box::new(recording.clone());
        FakePlay::new(
            choruses,
            Source::Toy(source),
            clock,
            recording,
            vec![sink],
            false,
        )
    }

    /// A play of a band in earnest.
    pub fn with_band(choruses: Option<u32>, band: Repertoire) -> FakePlay {
        let clock = FakeClock::default();
        let recording = Recording::new(clock.clone());
        let sink = Box::new(recording.clone());
        FakePlay::new(
            choruses,
            Source::Band(Box::new(band)),
            clock,
            recording,
            vec![sink],
            false,
        )
    }

    pub fn new(
        choruses: Option<u32>,
        mut source: Source,
        clock: FakeClock,
        recording: Recording<FakeClock>,
        sinks: Vec<Box<dyn Sink>>,
        wait: bool,
    ) -> FakePlay {
        let shared = Arc::new(Shared::default());
        let (events, taken) = RingBuffer::new(ROOM);
        let (told, news) = RingBuffer::new(64);
        let (spares, spare) = RingBuffer::new(4);
        let first = match &source {
            Source::Toy(_) => request(PassageKind::Chorus, 1),
            Source::Band(band) => band.first_request(),
        };
        let settings = PlaySettings::at_first(first.level, first.seed, [false; 3]);
        let status = SharedPlayStatus::new(PlayStatus::new(settings));
        let programme = Programme {
            opening: (first, source.passage(&first).unwrap()),
            then: None,
            choruses,
            ending: true,
        };
        let ties = ConductorLinks {
            events,
            shared: shared.clone(),
            status: status.clone(),
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
        FakePlay {
            conductor: Conductor::new(programme, MadeAtOnce::new(source), ties),
            scheduler,
            clock,
            recording,
            shared,
            status,
            news,
            spares: wait.then_some(spares),
        }
    }

    /// Plays under a leading clock that sends these messages at these moments, to the last of them.
    pub fn play_under(&mut self, leader: &[(u64, Message)]) {
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
    pub fn play_until(&mut self, until: Nanos) -> Option<PlayEnd> {
        while self.clock.now() < until {
            self.conductor.advance();
            if let Some(ending) = self.scheduler.step() {
                return Some(ending);
            }
            while self.news.pop().is_ok() {}
        }
        None
    }

    pub fn play(&mut self) -> Option<PlayEnd> {
        self.play_until(Nanos(u64::MAX))
    }

    /// Asks for something at a moment after the first beat.
    pub fn ask_at(&mut self, nanos: u64, control: Control) {
        let ended = self.play_until(Nanos(LEAD + nanos));
        assert_eq!(ended, None, "still playing when {control:?} is asked");
        let seconds = self.clock.now().0 as f64 / 1e9;
        self.conductor.control(control, seconds);
    }
}

/// How long after `begin` the first beat sounds: the time left for early notes, at 120.
pub const LEAD: u64 = HALF_SECOND * EARLY as u64 / QUARTER as u64;

/// The note-ons of a part: nanoseconds after the first beat, key, velocity.
pub fn ons(taken: &[(Nanos, Message)], part: PartName) -> Vec<(i64, u8, u8)> {
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
pub fn sounding(taken: &[(Nanos, Message)]) -> Vec<(u8, u8)> {
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

pub fn bass_keys_by_bar(taken: &[(Nanos, Message)]) -> Vec<Vec<u8>> {
    let mut bars: Vec<Vec<u8>> = Vec::new();
    for (at, key, _) in ons(taken, PartName::Bass) {
        let bar = (at as u64 / BAR) as usize;
        bars.resize(bars.len().max(bar + 1), Vec::new());
        bars[bar].push(key);
    }
    bars
}
