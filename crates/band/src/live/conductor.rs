//! The conductor: turns passages into events, one beat ahead of the scheduler, and decides at
//! every beat, bar, section and chorus what has been asked for in the meantime.

mod leading;

use std::sync::Arc;

use rtrb::Producer;

use super::beat_writer::{BeatWriter, ByPart, Leg, Routing};
use super::clock::Nanos;
use super::control::{Control, Taps};
use super::passage::Passage;
use super::passage_supply::{Bend, PassageKind, PassageRequest, PassageSupply};
use super::play_status::{QueuedBeat, SharedPlayStatus};
use super::queue::{Event, Shared};
use super::timebase::{PlayTick, Quarter};

/// How far one press moves the tempo, in quarter notes a minute.
const TEMPO_STEP: f64 = 4.0;

/// What to play.
#[derive(Clone, Debug)]
pub struct Programme {
    /// What comes first, a count-in or the first chorus. It has at least one beat.
    pub opening: (PassageRequest, Passage),
    /// What follows it, if that has been made already.
    pub then: Option<(PassageRequest, Passage)>,
    /// So many choruses; `None`: until asked to end.
    pub choruses: Option<u32>,
    /// Whether an ending bar follows.
    pub ending: bool,
}

impl Programme {
    /// The first chorus, as asked for and as made.
    pub fn first_chorus(&self) -> &(PassageRequest, Passage) {
        self.then.as_ref().unwrap_or(&self.opening)
    }

    /// Where it begins: after what is played before it.
    pub fn origin(&self) -> PlayTick {
        match self.then {
            Some(_) => PlayTick(self.opening.1.end.0),
            None => PlayTick(0),
        }
    }
}

/// What the conductor shares with the other threads.
pub struct ConductorLinks {
    /// Where events go.
    pub events: Producer<Event>,
    /// The numbers shared with the scheduler.
    pub shared: Arc<Shared>,
    /// What the screen reads.
    pub status: SharedPlayStatus,
    /// Which sinks get what.
    pub routing: Routing,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// Not begun, paused or halted.
    Waiting,
    Rolling,
    Over,
}

/// The conductor; see the module.
pub struct Conductor<S> {
    supply: S,
    writer: BeatWriter,
    shared: Arc<Shared>,
    status: SharedPlayStatus,
    choruses: Option<u32>,
    ending: bool,
    /// How many sections the form has.
    form: usize,
    /// Whole choruses begun.
    whole: u32,
    leg: Leg,
    ahead: Option<(PassageRequest, Arc<Passage>)>,
    asked: Option<PassageRequest>,
    refused: Option<PassageRequest>,
    looped: Option<usize>,
    jump: Option<usize>,
    /// The bar that was asked for anew so that it leads where play goes, and whether that has been answered.
    bend: Option<(Bend, bool)>,
    /// Whether the jump asked for has waited for one bar line already.
    postponed: bool,
    muted: ByPart<bool>,
    taps: Taps,
    number: u64,
    state: State,
    /// Whether play rolled when the process was suspended.
    suspended: bool,
    /// A beat that is not queued before it is released, or before this moment.
    hold: Option<(u64, Nanos)>,
    /// The tempo is multiplied by this, to follow a player.
    bent: f64,
}

impl<S: PassageSupply> Conductor<S> {
    /// A conductor of `programme`, which goes on with what `supply` makes.
    pub fn new(programme: Programme, supply: S, ties: ConductorLinks) -> Conductor<S> {
        let share = |(request, passage)| (request, Arc::new(passage));
        let (request, passage) = share(programme.opening);
        let muted = ties.status.look().settings.muted;
        Conductor {
            supply,
            writer: BeatWriter::new(ties.events, ties.routing, ties.shared.epoch()),
            shared: ties.shared,
            status: ties.status,
            choruses: programme.choruses,
            ending: programme.ending,
            form: passage.sections.len(),
            whole: u32::from(request.kind == PassageKind::Chorus),
            leg: Leg {
                passage,
                request,
                origin: PlayTick(0),
                beat: 0,
            },
            ahead: programme.then.map(share),
            asked: None,
            refused: None,
            looped: None,
            jump: None,
            bend: None,
            postponed: false,
            muted,
            taps: Taps::default(),
            number: 0,
            state: State::Waiting,
            suspended: false,
            hold: None,
            bent: 1.0,
        }
    }

    /// Begins, or goes on after a pause, at the beat where play stands.
    pub fn begin(&mut self) {
        self.state = State::Rolling;
        self.status.look().settings.paused = false;
        self.shared.reach(self.number);
        self.writer.begin(self.leg.here());
    }

    /// Does what is due now: takes what the supply has made, queues what the scheduler will need.
    pub fn advance(&mut self) {
        self.receive();
        self.lead_on();
        while self.writer.hand_over()
            && self.state == State::Rolling
            && self.number <= self.shared.reached()
            && self.hold.is_none_or(|(held, _)| held != self.number)
        {
            self.commit();
        }
    }

    /// Whether the end has been queued.
    pub fn is_over(&self) -> bool {
        self.state == State::Over && self.writer.is_done()
    }

    /// Takes a wish; `seconds` is when it was made, for taps.
    pub fn control(&mut self, control: Control, seconds: f64) {
        match control {
            Control::Pause if self.state == State::Rolling => self.pause(),
            Control::Pause if self.state == State::Waiting => self.begin(),
            Control::Pause => {}
            Control::NextSection => self.jump_by(1),
            Control::PreviousSection => self.jump_by(-1),
            Control::LoopSection => {
                self.looped = match (self.looped, self.leg.request.kind) {
                    (Some(_), _) => None,
                    (None, PassageKind::Section(section)) => Some(section),
                    (None, _) => Some(self.section()),
                };
            }
            Control::Faster => self.set_tempo(self.tempo() + TEMPO_STEP),
            Control::Slower => self.set_tempo(self.tempo() - TEMPO_STEP),
            Control::Tap => {
                if let Some(tempo) = self.taps.tap(seconds) {
                    self.set_tempo(tempo);
                }
            }
            Control::EndAfter => {
                let settings = &mut self.status.look().settings;
                settings.ending = !settings.ending;
            }
            Control::Quit => self.shared.stop(),
            _ => self.change_settings(control),
        }
        self.status.look().settings.looping = self.looped.is_some();
        self.ask();
    }

    fn change_settings(&mut self, control: Control) {
        let mut status = self.status.look();
        let settings = &mut status.settings;
        settings.notice = None;
        match control {
            Control::LevelUp => settings.level = (settings.level + 1).min(6),
            Control::LevelDown => settings.level = (settings.level - 1).max(1),
            Control::TransposeUp => settings.transpose = (settings.transpose + 1) % 12,
            Control::TransposeDown => settings.transpose = (settings.transpose - 1) % 12,
            Control::NewSeed => settings.seed = settings.seed.wrapping_add(1),
            Control::Mute(part) => {
                let muted = &mut settings.muted[part as usize];
                *muted = !*muted;
            }
            _ => {}
        }
    }

    /// The section that plays, as an index into the present passage.
    fn section(&self) -> usize {
        let beat = &self.leg.passage.beats[self.leg.near_beat()];
        self.leg.passage.bars[beat.bar].section
    }

    fn jump_by(&mut self, step: isize) {
        match (self.leg.request.kind, self.looped) {
            (PassageKind::Chorus, None) => {
                let from = self.jump.unwrap_or_else(|| self.section());
                self.jump = from.checked_add_signed(step).or(Some(0));
            }
            // In a loop it is the loop that moves on.
            (_, Some(section)) => {
                let moved = section.saturating_add_signed(step);
                self.looped = Some(moved.min(self.form.saturating_sub(1)));
            }
            _ => {}
        }
    }

    /// The tempo that plays, in quarter notes a minute.
    fn tempo(&self) -> f64 {
        self.written_tempo() * self.status.look().settings.pace
    }

    fn written_tempo(&self) -> f64 {
        let beat = &self.leg.passage.beats[self.leg.near_beat()];
        self.leg.passage.bars[beat.bar].tempo
    }

    fn set_tempo(&mut self, tempo: f64) {
        let (slowest, fastest) = Quarter::TEMPI;
        let pace = tempo.clamp(slowest, fastest) / self.written_tempo();
        self.status.look().settings.pace = pace;
    }

    /// Stops at once; the place kept is the start of the bar that sounded.
    pub fn pause(&mut self) {
        let epoch = self.shared.cut();
        self.keep_place(epoch);
        self.status.look().settings.paused = true;
    }

    /// The process is about to stand still: the place kept is the start of the bar that sounded. `epoch` is that
    /// of a [`Shared::cut`] already made for it.
    pub fn suspend(&mut self, epoch: u32) {
        self.suspended |= self.state != State::Waiting;
        match self.suspended {
            true => self.keep_place(epoch),
            false => self.writer.clear(epoch),
        }
    }

    /// The process goes on: play does, if it rolled before.
    pub fn wake(&mut self) {
        if std::mem::take(&mut self.suspended) {
            self.begin();
        }
    }

    fn keep_place(&mut self, epoch: u32) {
        self.writer.clear(epoch);
        self.state = State::Waiting;
        let sounded = self.number.min(self.shared.reached()).saturating_sub(1);
        let placed = self.status.look().beat(sounded).cloned();
        if let Some(placed) = placed {
            let back_to = Leg {
                beat: placed.bar().first_beat,
                origin: placed.origin,
                request: placed.request,
                passage: placed.passage,
            };
            let left = std::mem::replace(&mut self.leg, back_to);
            if left.request != self.leg.request {
                self.ahead = Some((left.request, left.passage));
            }
        }
    }

    /// Goes to the first beat at or after a song position, in the form that plays, and waits there
    /// to begin. `epoch` is that of a [`Shared::cut`] already made for it.
    pub fn locate(&mut self, tick: PlayTick, epoch: u32) {
        self.writer.clear(epoch);
        self.state = State::Waiting;
        let form = self.leg.passage.end.0;
        let into = tick.0.rem_euclid(form);
        let beats = &self.leg.passage.beats;
        let beat = beats.partition_point(|beat| beat.start.0 < into);
        let (beat, form_start) = match beats.get(beat) {
            Some(_) => (beat, tick.0 - into),
            None => (0, tick.0 - into + form),
        };
        self.leg.beat = beat;
        self.leg.origin = PlayTick(form_start);
    }

    /// Queues one beat, after deciding which.
    fn commit(&mut self) {
        let at_end = self.leg.beat == self.leg.passage.beats.len();
        if at_end {
            if !self.turn_over() {
                self.writer.end(self.leg.here());
                self.state = State::Over;
                return;
            }
        } else if self.leg.passage.opens_bar(self.leg.beat) {
            self.turn_at_bar();
        }
        if self.leg.passage.opens_bar(self.leg.beat) {
            self.muted = self.status.look().settings.muted;
        }
        let mut status = self.status.look();
        self.writer.beat(
            &self.leg,
            self.number,
            status.settings.pace * self.bent,
            self.muted,
        );
        status.place(QueuedBeat {
            number: self.number,
            passage: self.leg.passage.clone(),
            request: self.leg.request,
            beat: self.leg.beat,
            origin: self.leg.origin,
        });
        status.ahead = self.ahead.as_ref().map(|(request, _)| *request);
        drop(status);
        self.number += 1;
        self.leg.beat += 1;
        self.ask();
    }

    /// At a bar line within a passage: a section that is to go round is entered, a jump is made.
    fn turn_at_bar(&mut self) {
        let passage = &self.leg.passage;
        let section = self.section();
        let opens_section = passage.section_start(section) == self.leg.beat;
        if let Some(looped) = self.looped {
            let closes_looped = opens_section && section == looped + 1;
            if closes_looped && self.leg.request.kind == PassageKind::Chorus {
                self.enter_ahead(PassageKind::Section(looped), 0);
            }
        } else if let Some(target) = self.jump.filter(|_| !self.is_bent_too_late()) {
            self.jump = None;
            self.postponed = false;
            let passage = self.leg.passage.clone();
            if target < passage.sections.len() {
                let beat = passage.section_start(target);
                self.leg = self.leg.turn_to(passage.clone(), self.leg.request, beat);
                self.writer.jump(self.leg.here());
            } else if self.enter_ahead(PassageKind::Chorus, 0) {
                self.whole += 1;
                self.writer.jump(self.leg.here());
            }
        }
    }

    /// At the end of a passage: enters the next. `false` when there is none.
    fn turn_over(&mut self) -> bool {
        self.jump = None;
        self.postponed = false;
        let Some(next) = self.next_kind() else {
            return false;
        };
        let entry = self.entry_of(next);
        if !self.enter_ahead(next, entry) {
            // It was not made in time: the present passage plays again, for time goes on.
            let present = self.leg.passage.clone();
            self.leg = self.leg.turn_to(present, self.leg.request, 0);
            return next != PassageKind::Ending;
        }
        self.whole += u32::from(next == PassageKind::Chorus && self.leg.beat == 0);
        true
    }

    /// The section at which the next passage is entered: out of a loop, the form goes on where the
    /// loop left it.
    fn entry_of(&self, next: PassageKind) -> usize {
        match (self.leg.request.kind, next) {
            (PassageKind::Section(section), PassageKind::Chorus) => section + 1,
            _ => 0,
        }
    }

    /// Enters the passage made ahead, if it is of such a kind, at a section.
    fn enter_ahead(&mut self, kind: PassageKind, section: usize) -> bool {
        let Some((request, passage)) = self.ahead.take_if(|(made, _)| made.kind == kind) else {
            return false;
        };
        let beat = match passage.sections.len() {
            sections if section < sections => passage.section_start(section),
            _ => 0,
        };
        if kind == PassageKind::Chorus {
            self.form = passage.sections.len();
        }
        self.leg = self.leg.turn_to(passage, request, beat);
        true
    }

    /// Whether play ends after the present passage.
    fn is_finishing(&self) -> bool {
        let counted_out = self.choruses.is_some_and(|choruses| self.whole >= choruses);
        self.status.look().settings.ending
            || (counted_out && self.leg.request.kind == PassageKind::Chorus)
    }

    fn next_kind(&self) -> Option<PassageKind> {
        match (self.leg.request.kind, self.looped) {
            (PassageKind::Ending, _) => None,
            (PassageKind::CountIn, _) => Some(PassageKind::Chorus),
            _ if self.is_finishing() => self.ending.then_some(PassageKind::Ending),
            (_, Some(section)) => Some(PassageKind::Section(section)),
            _ => Some(PassageKind::Chorus),
        }
    }

    /// What the next passage should be, as things stand.
    fn wanted(&self) -> Option<PassageRequest> {
        let kind = self.next_kind()?;
        let present = self.leg.request;
        if kind == PassageKind::Ending {
            // It belongs to the chorus that plays.
            return Some(PassageRequest { kind, ..present });
        }
        let status = self.status.look();
        Some(PassageRequest {
            kind,
            chorus: match present.kind {
                PassageKind::CountIn => present.chorus,
                _ => present.chorus.saturating_add(1),
            },
            seed: status.settings.seed,
            level: status.settings.level,
            transpose: status.settings.transpose,
        })
    }

    /// Asks for the next passage unless it is made, being made, or cannot be made.
    fn ask(&mut self) {
        let wanted = self.wanted();
        let made = self.ahead.as_ref().map(|(request, _)| *request);
        if let Some(request) = wanted
            && ![made, self.asked, self.refused].contains(&wanted)
        {
            self.asked = wanted;
            self.supply.ask(request);
        }
    }

    fn receive(&mut self) {
        while let Some((request, made)) = self.supply.poll() {
            if self.asked == Some(request) {
                self.asked = None;
            }
            match made {
                Ok(passage) if !passage.beats.is_empty() => {
                    let settled = self.is_led_to_ahead();
                    if self.ahead.is_none() || (self.wanted() == Some(request) && !settled) {
                        self.ahead = Some((request, Arc::new(passage)));
                    }
                }
                Ok(_) => self.refused = Some(request),
                Err(fault) => {
                    self.refused = Some(request);
                    let mut status = self.status.look();
                    status.settings.notice = Some(fault);
                    status.settings.level = self.leg.request.level;
                    status.settings.transpose = self.leg.request.transpose;
                }
            }
            self.ask();
        }
    }
}
