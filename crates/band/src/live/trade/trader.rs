//! The trader: listens in the player's turns and sees to endpin's.

mod replies;

use std::sync::Arc;
use std::time::{Duration, Instant};

use endpin_theory::Ticks;

use super::answer::{self, Prepared};
use super::exchange::Exchange;
use super::phrase::{HeardNote, Phrase};
use super::player_pulse::PlayerPulse;
use crate::live::beat_writer::ByPart;
use crate::live::clock::Nanos;
use crate::live::message::{Message, Note};
use crate::live::passage_supply::{PassageKind, PassageRequest};
use crate::live::play_status::{QueuedBeat, SharedPlayStatus};
use crate::live::queue::Shared;
use crate::live::redraw::{Amendment, BarPlace, Stretch};
use crate::live::repertoire::Repertoire;
use crate::live::scheduler::EARLY;
use crate::performance::practice::is_students_turn;
use crate::performance::score::PartName;

/// What endpin does in its turn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum TradeMode {
    /// Takes up what it heard and leads on
    #[default]
    Answer,
    /// Plays back what it heard and tells what was outside the harmony
    Echo,
    /// States a line for the player to repeat; the next is harder or easier
    Call,
}

/// What is asked of a trader.
#[derive(Clone, Debug)]
pub struct TradeOptions {
    /// Bars of each turn; `None`: no turns are taken.
    pub bars: Option<u32>,
    /// What endpin does in its turn.
    pub mode: TradeMode,
    /// Percent of the tempo within which it follows the player.
    pub follow: Option<f64>,
}

/// What the conductor is to do.
#[derive(Clone, Debug, PartialEq)]
pub enum TradeAct {
    /// Not to queue the beat of this number before it is released, or until this moment.
    Hold(u64, Nanos),
    /// To go on.
    Release,
    /// To put bars drawn anew in place.
    Amend(Amendment),
    /// How loud each part is, 1 for as usual.
    Gain(ByPart<f64>),
    /// The tempo is multiplied by this.
    Bend(f64),
    /// Something for the screen.
    Say(String),
}

/// The choice is made this long before the earliest note of the answer could be due: the choosing, the conductor's
/// round and the scheduler's look take a third of it.
const AHEAD: Duration = Duration::from_millis(22);
/// And this long before it, the conductor goes on by itself.
const AT_LAST: Duration = Duration::from_millis(8);

/// A beat that has begun.
struct BeatSeen {
    at: Nanos,
    length: Duration,
    queued: QueuedBeat,
}

/// The player's turn at present.
struct Turn {
    /// Its number since the start of the music.
    group: u64,
    places: Vec<BarPlace>,
    ground: Option<Stretch>,
    /// When each of its beats began, and how long it lasts.
    beats: Vec<(Nanos, Duration)>,
    /// When the lines are drawn, and when one is chosen; known from the last beat on.
    closing: Option<(Nanos, Nanos)>,
    prepared: Option<Prepared>,
    done: bool,
}

/// The trader; see the module.
pub struct Trader {
    repertoire: Repertoire,
    options: TradeOptions,
    shared: Arc<Shared>,
    status: SharedPlayStatus,
    pulse: Option<PlayerPulse>,
    /// The number of the beat seen last.
    seen: Option<u64>,
    beat: Option<BeatSeen>,
    turn: Option<Turn>,
    /// What endpin played in its own turn, in ticks from its start, and where that turn is.
    stated: (u64, Vec<HeardNote>),
    level: Option<u8>,
    loudness: f64,
    exchange: Exchange,
}

impl Trader {
    /// A trader that draws from `repertoire`.
    pub fn new(
        repertoire: Repertoire,
        options: TradeOptions,
        shared: Arc<Shared>,
        status: SharedPlayStatus,
    ) -> Trader {
        let mut repertoire = repertoire;
        // The lines of the first chorus are made now, so that nothing has to wait for them later.
        let first = repertoire.first_request();
        let _ = repertoire.stretch(&[BarPlace {
            request: first,
            bar: 0,
        }]);
        Trader {
            pulse: options.follow.map(PlayerPulse::within),
            repertoire,
            options,
            shared,
            status,
            seen: None,
            beat: None,
            turn: None,
            stated: (0, Vec::new()),
            level: None,
            loudness: 1.0,
            exchange: Exchange::default(),
        }
    }

    /// What was played, once play has ended.
    pub fn into_exchange(self) -> Exchange {
        self.exchange
    }

    /// Takes a message of the player's; what follows from it at once.
    pub fn hear(&mut self, at: Nanos, message: Message) -> Option<TradeAct> {
        message.note()?;
        self.exchange.heard.push((at, message));
        let starts = matches!(message.note(), Some(Note::On { .. }));
        let (pulse, beat) = (self.pulse.as_mut()?, self.beat.as_ref()?);
        let factor = match starts {
            true => pulse.hear(at, beat.at, beat.length)?,
            false => return None,
        };
        Some(TradeAct::Bend(factor))
    }

    /// Looks what time it is; what is to be done now.
    pub fn look(&mut self, now: Nanos) -> Vec<TradeAct> {
        let mut acts = Vec::new();
        if let Some((number, at)) = self.shared.beat_begun()
            && self.seen != Some(number)
        {
            self.seen = Some(number);
            let queued = self.status.look().beat(number).cloned();
            if let Some(queued) = queued {
                self.begin_beat(queued, at, &mut acts);
            }
        }
        let Some((draw, choose)) = self
            .turn
            .as_ref()
            .filter(|turn| !turn.done)
            .and_then(|turn| turn.closing)
        else {
            return acts;
        };
        if now >= draw
            && self
                .turn
                .as_ref()
                .is_some_and(|turn| turn.prepared.is_none())
        {
            self.prepare(now);
        }
        if now >= choose {
            self.close(now, &mut acts);
        }
        acts
    }

    fn begin_beat(&mut self, queued: QueuedBeat, at: Nanos, acts: &mut Vec<TradeAct>) {
        let passage = queued.passage.clone();
        let beat = queued.beat;
        let bar = queued.beat().bar;
        let ticks = passage.beat_end(beat) - queued.beat().start;
        let quarter = {
            let status = self.status.look();
            60e9 / (queued.bar().tempo * status.settings.pace)
        };
        let length =
            Duration::from_nanos((ticks.0 as f64 / Ticks::QUARTER.0 as f64 * quarter) as u64);
        let place = BarPlace {
            request: queued.request,
            bar,
        };
        let bars = passage.bars.len();
        let opens_bar = passage.opens_bar(beat);
        let beats_in_bar = (passage.beats[beat..].iter())
            .take_while(|next| next.bar == bar)
            .count();
        let seen = BeatSeen { at, length, queued };
        self.record(&seen);
        self.beat = Some(seen);
        if !self.is_players(&place, bars) {
            self.turn = None;
            return;
        }
        let group = self.group(&place, bars);
        if self.turn.as_ref().is_none_or(|turn| turn.group != group) {
            self.turn = Some(Turn {
                group,
                places: Vec::new(),
                ground: None,
                beats: Vec::new(),
                closing: None,
                prepared: None,
                done: false,
            });
            // The comp leaves room for whoever plays.
            acts.push(TradeAct::Gain([1.0, 0.85 * self.loudness, self.loudness]));
        }
        let next = self.after(&place, bars);
        let is_last = !self.is_players(&next, bars);
        let Some(turn) = &mut self.turn else { return };
        if turn.places.last() != Some(&place) {
            turn.places.push(place);
        }
        turn.beats.push((at, length));
        let early = Duration::from_nanos((EARLY as f64 / Ticks::QUARTER.0 as f64 * quarter) as u64);
        if !is_last {
            return;
        }
        let line = at.after(length * beats_in_bar as u32);
        let before_line =
            |span: Duration| Nanos(line.0.saturating_sub((early + span).as_nanos() as u64));
        if opens_bar {
            let first = self.seen.unwrap_or(0) + beats_in_bar as u64;
            acts.push(TradeAct::Hold(first, before_line(AT_LAST)));
        }
        // The motif is one of the bars before the last, so the last can be used to draw in; a turn of one bar is
        // heard to its last beat.
        let draw = match turn.places.len() {
            1 => Nanos(line.0.saturating_sub((length * 7 / 8).as_nanos() as u64)),
            _ => at,
        };
        let draw = turn.closing.map_or(draw, |(draw, _)| draw);
        turn.closing = Some((draw, before_line(AHEAD)));
    }

    fn is_players(&self, place: &BarPlace, bars: usize) -> bool {
        let playing = matches!(
            place.request.kind,
            PassageKind::Chorus | PassageKind::Section(_)
        );
        playing && is_students_turn(self.options.bars, bars_before(place, bars))
    }

    fn group(&self, place: &BarPlace, bars: usize) -> u64 {
        bars_before(place, bars) / u64::from(self.options.bars.unwrap_or(1).max(1))
    }

    /// The bar after a bar.
    fn after(&self, place: &BarPlace, bars: usize) -> BarPlace {
        if place.bar + 1 < bars {
            return BarPlace {
                bar: place.bar + 1,
                ..*place
            };
        }
        let next = PassageRequest {
            chorus: place.request.chorus.saturating_add(1),
            ..place.request
        };
        let ahead = self.status.look().ahead;
        BarPlace {
            request: ahead.unwrap_or(next),
            bar: 0,
        }
    }

    /// What the player has played in this turn so far.
    fn phrase(&mut self, now: Nanos) -> Option<Phrase> {
        let turn = self.turn.as_mut()?;
        if turn.ground.is_none() {
            turn.ground = self.repertoire.stretch(&turn.places).ok();
        }
        // The bars that have been played since the ground was made are in it, too.
        if turn.ground.as_ref()?.places.len() != turn.places.len() {
            turn.ground = self.repertoire.stretch(&turn.places).ok();
        }
        let ground = turn.ground.as_ref()?.chorus.clone();
        let place = |at: Nanos| {
            let index = turn.beats.partition_point(|(beat, _)| *beat <= at).max(1) - 1;
            let (beat, length) = turn.beats.get(index)?;
            let into = (at.0 as f64 - beat.0 as f64) / length.as_nanos().max(1) as f64;
            let ticks = ground.bar_at(index).meter.beat_ticks();
            Some(ground.ticks_at(index) + Ticks((into * ticks.0 as f64).round() as i64))
        };
        let (first, length) = *turn.beats.first()?;
        let opens = Nanos(first.0.saturating_sub((length / 3).as_nanos() as u64));
        let mut notes: Vec<HeardNote> = Vec::new();
        let recent = self.exchange.heard.iter().rev();
        let recent: Vec<_> = recent.take_while(|(at, _)| *at >= opens).collect();
        for (at, message) in recent.into_iter().rev() {
            let Some(at) = place(*at) else { continue };
            match message.note() {
                Some(Note::On { key, velocity, .. }) => notes.push(HeardNote {
                    at,
                    length: (place(now)? - at).max(Ticks(1)),
                    key,
                    velocity,
                }),
                Some(Note::Off { key, .. }) => {
                    if let Some(note) = notes.iter_mut().rfind(|note| note.key == key) {
                        note.length = note.length.min((at - note.at).max(Ticks(1)));
                    }
                }
                None => {}
            }
        }
        Some(Phrase { ground, notes })
    }

    /// The bars of endpin's next turn, and the one after them.
    fn next_turn(&self) -> Option<Vec<BarPlace>> {
        let bars = self.beat.as_ref()?.queued.passage.bars.len();
        let mut place = *self.turn.as_ref()?.places.last()?;
        let count = self.options.bars? as usize + 1;
        Some(
            (0..count)
                .map(|_| {
                    place = self.after(&place, bars);
                    place
                })
                .collect(),
        )
    }

    fn prepare(&mut self, now: Nanos) {
        let Some(phrase) = self.phrase(now) else {
            return;
        };
        let Some(places) = self.next_turn() else {
            return;
        };
        let seed = self.seed();
        if self.options.mode != TradeMode::Answer {
            return;
        }
        let prepared = self
            .repertoire
            .stretch(&places)
            .ok()
            .and_then(|stretch| answer::prepare(&phrase, stretch, seed).ok());
        if let Some(turn) = &mut self.turn {
            turn.prepared = prepared;
        }
    }

    /// A seed of this turn's own.
    fn seed(&self) -> u64 {
        let seed = self
            .beat
            .as_ref()
            .map_or(1, |beat| beat.queued.request.seed);
        let group = self.turn.as_ref().map_or(0, |turn| turn.group);
        seed.wrapping_add(group << 32)
    }

    /// The player's turn is over: decides what endpin plays.
    fn close(&mut self, now: Nanos, acts: &mut Vec<TradeAct>) {
        let began = Instant::now();
        let phrase = self.phrase(now);
        let prepared = self.turn.as_mut().and_then(|turn| {
            turn.done = true;
            turn.prepared.take()
        });
        if let Some(phrase) = phrase {
            if let Some(loudness) = phrase.loudness() {
                self.loudness = (loudness / 88.0).clamp(0.7, 1.15);
            }
            let told = match self.options.mode {
                TradeMode::Answer => {
                    let chosen = prepared.and_then(|prepared| answer::choose(prepared, &phrase));
                    chosen.map(|answer| self.play(&answer, acts))
                }
                TradeMode::Echo => self.echo(&phrase, acts),
                TradeMode::Call => self.call(&phrase, acts),
            };
            if let Some(mut told) = told {
                told.decided_in = began.elapsed();
                acts.push(TradeAct::Say(told.words.clone()));
                self.exchange.turns.push(told);
            }
        }
        acts.push(TradeAct::Gain([1.0, self.loudness, self.loudness]));
        acts.push(TradeAct::Release);
    }

    /// Writes down what endpin plays on a beat of its own.
    fn record(&mut self, seen: &BeatSeen) {
        let QueuedBeat {
            passage,
            beat,
            request,
            ..
        } = &seen.queued;
        let start = passage.beats[*beat].start;
        let early = Ticks(EARLY);
        let (opens, closes) = (start - early, passage.beat_end(*beat) - early);
        let rate = seen.length.as_nanos() as f64 / (closes - opens).0.max(1) as f64;
        let place = BarPlace {
            request: *request,
            bar: passage.beats[*beat].bar,
        };
        let group = self.group(&place, passage.bars.len());
        if self.is_players(&place, passage.bars.len()) {
            return;
        }
        if self.stated.0 != group {
            self.stated = (group, Vec::new());
        }
        let bars_in = bars_before(&place, passage.bars.len())
            % u64::from(self.options.bars.unwrap_or(1).max(1));
        let turn_start = place.bar.saturating_sub(bars_in as usize);
        let from = passage.bar_start(turn_start);
        let playing = matches!(request.kind, PassageKind::Chorus | PassageKind::Section(_));
        let cues = passage.notes.iter().filter(|cue| {
            playing && cue.part == PartName::Bass && (opens..closes).contains(&cue.start)
        });
        for cue in cues {
            let at = |ticks: Ticks| {
                let nanos = seen.at.0 as f64 + (ticks - start).0 as f64 * rate;
                Nanos(nanos.max(0.0) as u64)
            };
            let on = Message::note_on(cue.channel, cue.key, cue.velocity);
            let off = Message::note_off(cue.channel, cue.key);
            self.exchange.band.push((at(cue.start), on));
            self.exchange.band.push((at(cue.start + cue.length), off));
            self.stated.1.push(HeardNote {
                at: cue.start - from,
                length: cue.length,
                key: cue.key,
                velocity: cue.velocity,
            });
        }
    }
}

fn bars_before(place: &BarPlace, bars: usize) -> u64 {
    u64::from(place.request.chorus.saturating_sub(1)) * bars as u64 + place.bar as u64
}
