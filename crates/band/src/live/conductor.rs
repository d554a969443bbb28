//! The conductor: turns passages into events, one beat ahead of the scheduler, and decides at
//! every beat, bar, section and chorus what has been asked for in the meantime.

use std::collections::VecDeque;
use std::sync::Arc;

use endpin_theory::Ticks;
use rtrb::Producer;

use super::board::{Placed, SharedBoard};
use super::control::{Control, Taps};
use super::message::Message;
use super::passage::Passage;
use super::queue::{Act, Event, Shared};
use super::scheduler::EARLY;
use super::sink::Sinks;
use super::supply::{Piece, Request, Supply};
use super::timebase::{PlayTick, Quarter};
use crate::score::PartName;

/// Ticks between two timing clocks (MIDI 1.0: 24 to the quarter note).
const PULSE: i64 = Ticks::QUARTER.0 / 24;

/// How far one press moves the tempo, in quarter notes a minute.
const TEMPO_STEP: f64 = 4.0;

/// Which sinks get what.
#[derive(Clone, Copy, Debug)]
pub struct Routing {
    /// The notes of each part, in the order of [`PartName::ALL`].
    pub parts: [Sinks; PartName::ALL.len()],
    /// The timing clock.
    pub clock: Sinks,
}

/// What to play.
#[derive(Clone, Debug)]
pub struct Programme {
    /// What comes first, a count-in or the first chorus. It has at least one beat.
    pub opening: (Request, Passage),
    /// What follows it, if that has been made already.
    pub then: Option<(Request, Passage)>,
    /// So many choruses; `None`: until asked to end.
    pub choruses: Option<u32>,
    /// Whether an ending bar follows.
    pub ending: bool,
}

/// What the conductor shares with the other threads.
pub struct Ties {
    /// Where events go.
    pub events: Producer<Event>,
    /// The numbers shared with the scheduler.
    pub shared: Arc<Shared>,
    /// What the screen reads.
    pub board: SharedBoard,
    /// Which sinks get what.
    pub routing: Routing,
}

/// A passage being played.
#[derive(Clone, Debug)]
struct Leg {
    passage: Arc<Passage>,
    request: Request,
    /// The position in play of the passage's start.
    origin: PlayTick,
    /// The next beat to queue.
    beat: usize,
}

impl Leg {
    fn start(&self) -> Ticks {
        self.passage
            .beats
            .get(self.beat)
            .map_or(self.passage.end, |beat| beat.start)
    }

    fn at(&self, ticks: Ticks) -> PlayTick {
        PlayTick(self.origin.0 + ticks.0)
    }

    /// Enters a passage at one of its beats, where this leg has come to.
    fn turn_to(&self, passage: Arc<Passage>, request: Request, beat: usize) -> Leg {
        let entry = passage.beats[beat].start;
        Leg {
            origin: PlayTick(self.at(self.start()).0 - entry.0),
            passage,
            request,
            beat,
        }
    }
}

/// A note whose off has not been queued.
#[derive(Clone, Copy, Debug)]
struct Held {
    until: PlayTick,
    channel: u8,
    key: u8,
    to: Sinks,
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
    ties: Ties,
    outgoing: VecDeque<Event>,
    choruses: Option<u32>,
    ending: bool,
    /// How many sections the form has.
    form: usize,
    /// Whole choruses begun.
    whole: u32,
    leg: Leg,
    ahead: Option<(Request, Arc<Passage>)>,
    asked: Option<Request>,
    refused: Option<Request>,
    looped: Option<usize>,
    jump: Option<usize>,
    muted: [bool; PartName::ALL.len()],
    taps: Taps,
    held: Vec<Held>,
    quarter: Option<Quarter>,
    number: u64,
    epoch: u32,
    state: State,
}

impl<S: Supply> Conductor<S> {
    /// A conductor of `programme`, which goes on with what `supply` makes.
    pub fn new(programme: Programme, supply: S, ties: Ties) -> Conductor<S> {
        let share = |(request, passage)| (request, Arc::new(passage));
        let (request, passage) = share(programme.opening);
        let muted = ties.board.look().standing.muted;
        Conductor {
            supply,
            epoch: ties.shared.epoch(),
            ties,
            outgoing: VecDeque::new(),
            choruses: programme.choruses,
            ending: programme.ending,
            form: passage.sections.len(),
            whole: u32::from(request.piece == Piece::Chorus),
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
            muted,
            taps: Taps::default(),
            held: Vec::new(),
            quarter: None,
            number: 0,
            state: State::Waiting,
        }
    }

    /// Begins, or goes on after a pause, at the beat where play stands.
    pub fn begin(&mut self) {
        self.state = State::Rolling;
        self.quarter = None;
        self.ties.board.look().standing.paused = false;
        self.ties.shared.reach(self.number);
        let from = self.leg.at(self.leg.start());
        self.push(from, Act::Begin);
        for (part, to) in PartName::ALL.into_iter().zip(self.ties.routing.parts) {
            let message = Message::program(part.channel(), part.program());
            self.push(PlayTick(from.0 - EARLY), Act::Send { message, to });
        }
    }

    /// Does what is due now: takes what the supply has made, queues what the scheduler will need.
    pub fn advance(&mut self) {
        self.receive();
        while self.hand_over()
            && self.state == State::Rolling
            && self.number <= self.ties.shared.reached()
        {
            self.commit();
        }
    }

    /// Whether the end has been queued.
    pub fn is_over(&self) -> bool {
        self.state == State::Over && self.outgoing.is_empty()
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
                self.looped = match (self.looped, self.leg.request.piece) {
                    (Some(_), _) => None,
                    (None, Piece::Section(section)) => Some(section),
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
                let standing = &mut self.ties.board.look().standing;
                standing.ending = !standing.ending;
            }
            Control::Quit => self.ties.shared.stop(),
            _ => self.change_settings(control),
        }
        self.ties.board.look().standing.looping = self.looped.is_some();
        self.ask();
    }

    fn change_settings(&mut self, control: Control) {
        let mut board = self.ties.board.look();
        let standing = &mut board.standing;
        standing.notice = None;
        match control {
            Control::LevelUp => standing.level = (standing.level + 1).min(6),
            Control::LevelDown => standing.level = (standing.level - 1).max(1),
            Control::TransposeUp => standing.transpose = (standing.transpose + 1) % 12,
            Control::TransposeDown => standing.transpose = (standing.transpose - 1) % 12,
            Control::NewSeed => standing.seed = standing.seed.wrapping_add(1),
            Control::Mute(part) => {
                let muted = &mut standing.muted[part as usize];
                *muted = !*muted;
            }
            _ => {}
        }
    }

    /// The section that plays, as an index into the present passage.
    fn section(&self) -> usize {
        let last = self.leg.passage.beats.len() - 1;
        let beat = &self.leg.passage.beats[self.leg.beat.min(last)];
        self.leg.passage.bars[beat.bar].section
    }

    fn jump_by(&mut self, step: isize) {
        match (self.leg.request.piece, self.looped) {
            (Piece::Chorus, None) => {
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
        self.written_tempo() * self.ties.board.look().standing.pace
    }

    fn written_tempo(&self) -> f64 {
        let last = self.leg.passage.beats.len() - 1;
        let beat = &self.leg.passage.beats[self.leg.beat.min(last)];
        self.leg.passage.bars[beat.bar].tempo
    }

    fn set_tempo(&mut self, tempo: f64) {
        let (slowest, fastest) = Quarter::TEMPI;
        let pace = tempo.clamp(slowest, fastest) / self.written_tempo();
        self.ties.board.look().standing.pace = pace;
    }

    /// Stops at once; the place kept is the start of the bar that sounded.
    pub fn pause(&mut self) {
        self.cut();
        let sounded = self
            .number
            .min(self.ties.shared.reached())
            .saturating_sub(1);
        let placed = self.ties.board.look().beat(sounded).cloned();
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
        self.ties.board.look().standing.paused = true;
    }

    /// Goes to the first beat at or after a song position, in the form that plays, and waits there
    /// to begin. `epoch` is that of a [`Shared::cut`] already made for it.
    pub fn locate(&mut self, tick: PlayTick, epoch: u32) {
        self.epoch = epoch;
        self.clear();
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

    fn cut(&mut self) {
        self.epoch = self.ties.shared.cut();
        self.clear();
    }

    fn clear(&mut self) {
        self.outgoing.clear();
        self.held.clear();
        self.state = State::Waiting;
    }

    fn push(&mut self, tick: PlayTick, act: Act) {
        let epoch = self.epoch;
        self.outgoing.push_back(Event { tick, epoch, act });
    }

    /// Moves what is queued here into the ring; whether all of it went.
    fn hand_over(&mut self) -> bool {
        while let Some(event) = self.outgoing.front() {
            if self.ties.events.push(*event).is_err() {
                return false;
            }
            self.outgoing.pop_front();
        }
        true
    }

    /// Queues one beat, after deciding which.
    fn commit(&mut self) {
        let at_end = self.leg.beat == self.leg.passage.beats.len();
        if at_end {
            if !self.turn_over() {
                let end = self.leg.at(self.leg.passage.end);
                self.release_until(PlayTick(i64::MAX), Some(end));
                self.push(end, Act::End);
                self.state = State::Over;
                return;
            }
        } else if self.leg.passage.opens_bar(self.leg.beat) {
            self.turn_at_bar();
        }
        if self.leg.passage.opens_bar(self.leg.beat) {
            self.muted = self.ties.board.look().standing.muted;
        }
        self.queue_beat();
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
            if closes_looped && self.leg.request.piece == Piece::Chorus {
                self.enter_ahead(Piece::Section(looped), 0);
            }
        } else if let Some(target) = self.jump.take() {
            if target < passage.sections.len() {
                let beat = passage.section_start(target);
                self.leg = self.leg.turn_to(passage.clone(), self.leg.request, beat);
                self.drop_held();
            } else if self.enter_ahead(Piece::Chorus, 0) {
                self.whole += 1;
                self.drop_held();
            }
        }
    }

    /// At the end of a passage: enters the next. `false` when there is none.
    fn turn_over(&mut self) -> bool {
        self.jump = None;
        let Some(next) = self.next_piece() else {
            return false;
        };
        let entry = self.entry_of(next);
        if !self.enter_ahead(next, entry) {
            // It was not made in time: the present passage plays again, for time goes on.
            let present = self.leg.passage.clone();
            self.leg = self.leg.turn_to(present, self.leg.request, 0);
            return next != Piece::Ending;
        }
        self.whole += u32::from(next == Piece::Chorus && self.leg.beat == 0);
        true
    }

    /// The section at which the next passage is entered: out of a loop, the form goes on where the
    /// loop left it.
    fn entry_of(&self, next: Piece) -> usize {
        match (self.leg.request.piece, next) {
            (Piece::Section(section), Piece::Chorus) => section + 1,
            _ => 0,
        }
    }

    /// Enters the passage made ahead, if it is such a piece, at a section.
    fn enter_ahead(&mut self, piece: Piece, section: usize) -> bool {
        let Some((request, passage)) = self.ahead.take_if(|(made, _)| made.piece == piece) else {
            return false;
        };
        let beat = match passage.sections.len() {
            sections if section < sections => passage.section_start(section),
            _ => 0,
        };
        if piece == Piece::Chorus {
            self.form = passage.sections.len();
        }
        self.leg = self.leg.turn_to(passage, request, beat);
        true
    }

    /// Whether play ends after the present passage.
    fn is_finishing(&self) -> bool {
        let counted_out = self.choruses.is_some_and(|choruses| self.whole >= choruses);
        self.ties.board.look().standing.ending
            || (counted_out && self.leg.request.piece == Piece::Chorus)
    }

    fn next_piece(&self) -> Option<Piece> {
        match (self.leg.request.piece, self.looped) {
            (Piece::Ending, _) => None,
            (Piece::CountIn, _) => Some(Piece::Chorus),
            _ if self.is_finishing() => self.ending.then_some(Piece::Ending),
            (_, Some(section)) => Some(Piece::Section(section)),
            _ => Some(Piece::Chorus),
        }
    }

    /// What the next passage should be, as things stand.
    fn wanted(&self) -> Option<Request> {
        let piece = self.next_piece()?;
        let Request { chorus, .. } = self.leg.request;
        let board = self.ties.board.look();
        let standing = &board.standing;
        Some(Request {
            piece,
            chorus: match piece {
                Piece::Ending => chorus,
                _ if self.leg.request.piece == Piece::CountIn => chorus,
                _ => chorus.saturating_add(1),
            },
            last: self.choruses == Some(self.whole + 1) && piece == Piece::Chorus,
            seed: standing.seed,
            level: standing.level,
            transpose: standing.transpose,
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
                    if self.ahead.is_none() || self.wanted() == Some(request) {
                        self.ahead = Some((request, Arc::new(passage)));
                    }
                }
                Ok(_) => self.refused = Some(request),
                Err(fault) => {
                    self.refused = Some(request);
                    let mut board = self.ties.board.look();
                    board.standing.notice = Some(fault);
                    board.standing.level = self.leg.request.level;
                    board.standing.transpose = self.leg.request.transpose;
                }
            }
            self.ask();
        }
    }

    fn queue_beat(&mut self) {
        let leg = self.leg.clone();
        let passage = &leg.passage;
        let (start, end) = (leg.start(), passage.beat_end(leg.beat));
        let from = leg.at(start);
        let (opens, closes) = (PlayTick(from.0 - EARLY), PlayTick(leg.at(end).0 - EARLY));
        let first = self.outgoing.len();

        let written = passage.bars[passage.beats[leg.beat].bar].tempo;
        let quarter = Quarter::from_tempo(written * self.ties.board.look().standing.pace);
        let begun = self.quarter.is_some();
        if self.quarter.replace(quarter) != Some(quarter) {
            self.push(from, Act::Tempo(quarter));
        }
        self.push(from, Act::Beat(self.number));
        let pulses_from = if begun { opens.0 } else { from.0 };
        let mut pulse = pulses_from + (-pulses_from).rem_euclid(PULSE);
        while pulse < closes.0 {
            let message = Message::CLOCK;
            let to = self.ties.routing.clock;
            self.push(PlayTick(pulse), Act::Send { message, to });
            pulse += PULSE;
        }
        self.queue_notes(passage, leg.origin, opens, closes);
        if let Some((origin, next)) = self.coming() {
            self.queue_notes(
                &next,
                origin,
                opens,
                PlayTick(closes.0.min(origin.0 - EARLY)),
            );
        }
        self.release_until(closes, None);

        let mut batch: Vec<Event> = self.outgoing.drain(first..).collect();
        batch.sort_by_key(|event| (event.tick, event.act.rank()));
        self.outgoing.extend(batch);

        self.ties.board.look().place(Placed {
            number: self.number,
            passage: leg.passage,
            request: leg.request,
            beat: leg.beat,
            origin: leg.origin,
        });
        self.number += 1;
    }

    /// The passage that follows this one, if that is settled, with the position in play of its
    /// start: its first chord may sound before its bar line.
    fn coming(&self) -> Option<(PlayTick, Arc<Passage>)> {
        let (request, passage) = self.ahead.as_ref()?;
        let settled = self.wanted() == Some(*request) && self.entry_of(request.piece) == 0;
        let leg = &self.leg;
        let leaves = match (leg.request.piece, request.piece) {
            (Piece::Chorus, Piece::Section(looped)) if self.section() <= looped => {
                let after = leg.passage.sections.get(looped + 1);
                after.map_or(leg.passage.end, |after| {
                    leg.passage.bar_start(after.first_bar)
                })
            }
            _ => leg.passage.end,
        };
        settled.then(|| (leg.at(leaves), passage.clone()))
    }

    /// Queues the notes of a passage that start from `opens` on and before `closes`.
    fn queue_notes(
        &mut self,
        passage: &Passage,
        origin: PlayTick,
        opens: PlayTick,
        closes: PlayTick,
    ) {
        let notes = &passage.notes;
        let first = notes.partition_point(|note| origin.0 + note.start.0 < opens.0);
        for note in &notes[first..] {
            let start = PlayTick(origin.0 + note.start.0);
            if start >= closes {
                break;
            }
            if self.muted[note.part as usize] {
                continue;
            }
            let to = self.ties.routing.parts[note.part as usize];
            let (channel, key) = (note.channel, note.key);
            for held in &mut self.held {
                if (held.channel, held.key) == (channel, key) {
                    held.until = held.until.min(start);
                }
            }
            let message = Message::note_on(channel, key, note.velocity);
            self.push(start, Act::Send { message, to });
            self.held.push(Held {
                until: PlayTick(start.0 + note.length.0.max(1)),
                channel,
                key,
                to,
            });
        }
    }

    /// Queues the offs of the notes that end before `closes`, no later than `latest`.
    fn release_until(&mut self, closes: PlayTick, latest: Option<PlayTick>) {
        let mut ending: Vec<Held> = self
            .held
            .extract_if(.., |held| held.until < closes)
            .collect();
        ending.sort_by_key(|held| (held.until, held.channel, held.key));
        for held in ending {
            let tick = latest.map_or(held.until, |latest| held.until.min(latest));
            let message = Message::note_off(held.channel, held.key);
            self.push(
                tick,
                Act::Send {
                    message,
                    to: held.to,
                },
            );
        }
    }

    /// Ends every note at the place where play has jumped away from it.
    fn drop_held(&mut self) {
        let now = PlayTick(self.leg.at(self.leg.start()).0 - EARLY);
        for held in &mut self.held {
            held.until = held.until.min(now);
        }
    }
}
