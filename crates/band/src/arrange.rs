//! The parts of every chorus merged into one timed score.
//!
//! A chorus is arranged by itself, from its own random streams and its own number, so that choruses arranged
//! one by one (as when playing live) sound as they do in one file.

use crate::{
    comp::{ChorusComp, CompAttack, notes_by_bar},
    feel::{self, Player, Swing, Warp},
    practice,
    score::{KeySignature, Mark, Part, PartName, Score, ScoreNote},
    stream::{Purpose, stream},
    time::{self, BarContext, Hit, TimeKeeping, sound},
};
use endpin_theory::{
    Key, Meter, Mode, Ticks,
    chart::{Bar, Chorus},
    meter::TICKS_PER_QUARTER,
};
use endpin_walker::{ChorusLine, LineNote};
use rand_chacha::ChaCha8Rng;

/// How the band plays what was made.
#[derive(Clone, Debug, PartialEq)]
pub struct ArrangeOptions {
    /// Seed of the whole set.
    pub seed: u64,
    /// How off-beats are played.
    pub swing: Swing,
    /// How much placement and velocity vary, from 0 (a machine) to 1.
    pub human: f64,
    /// Parts that are left out.
    pub mute: Vec<PartName>,
    /// Bars counted in before the first chorus.
    pub count_in: u32,
    /// Drummer or click.
    pub keeping: TimeKeeping,
    /// Bars after which band and student take turns at the bass line, the band first.
    pub trade: Option<u32>,
    /// Quarters a minute by which each chorus is faster than the one before; may be negative.
    pub tempo_step: f64,
    /// Whether chord symbols are written into the score.
    pub chord_texts: bool,
}

impl Default for ArrangeOptions {
    fn default() -> Self {
        ArrangeOptions {
            seed: 1,
            swing: Swing::ByTempo,
            human: 0.5,
            mute: Vec::new(),
            count_in: 0,
            keeping: TimeKeeping::default(),
            trade: None,
            tempo_step: 0.0,
            chord_texts: true,
        }
    }
}

/// One chorus as it was made; its number is the line's.
#[derive(Clone, Copy, Debug)]
pub struct Take<'a> {
    /// The chart unrolled.
    pub chorus: &'a Chorus,
    /// The bass.
    pub line: &'a ChorusLine,
    /// The chords above it.
    pub comp: &'a ChorusComp,
}

/// The bar after the last chorus, in which all hold the home chord.
#[derive(Clone, Copy, Debug)]
pub struct Ending<'a> {
    /// The held root; its length is that of the bar.
    pub bass: &'a LineNote,
    /// The held chord, if the comp plays one.
    pub comp: Option<&'a CompAttack>,
}

/// Merges the parts of some choruses, in order, and the ending bar if there is one.
pub fn arrange(takes: &[Take], ending: Option<Ending>, options: &ArrangeOptions) -> Score {
    let mut band = Band::new(options);
    if let Some(first) = takes.first() {
        band.count_in(first);
    }
    for take in takes {
        band.chorus(take);
    }
    if let (Some(ending), Some(last)) = (ending, takes.last()) {
        band.ending(ending, last);
    }
    band.score(takes.first().map_or("", |take| &take.chorus.title))
}

/// A score being put together.
struct Band<'a> {
    options: &'a ArrangeOptions,
    human: f64,
    /// Where the chorus at hand begins.
    now: Ticks,
    notes: [Vec<ScoreNote>; 3],
    conductor: Vec<(Ticks, Mark)>,
    meter: Option<Meter>,
    tempo: Option<f64>,
    key: Option<Key>,
}

impl<'a> Band<'a> {
    fn new(options: &'a ArrangeOptions) -> Self {
        Band {
            options,
            human: match options.swing {
                Swing::Straight => 0.0,
                _ => options.human.clamp(0.0, 1.0),
            },
            now: Ticks::ZERO,
            notes: Default::default(),
            conductor: Vec::new(),
            meter: None,
            tempo: None,
            key: None,
        }
    }

    fn mark(&mut self, at: Ticks, mark: Mark) {
        self.conductor.push((at, mark));
    }

    /// Tempo, meter and key where they change.
    fn signs(&mut self, at: Ticks, meter: &Meter, tempo: f64, key: Key) {
        if self.tempo != Some(tempo) {
            self.tempo = Some(tempo);
            self.mark(at, Mark::Tempo(tempo));
        }
        if self.meter.as_ref() != Some(meter) {
            self.meter = Some(meter.clone());
            self.mark(at, Mark::Meter(meter.clone()));
        }
        if self.key != Some(key) {
            self.key = Some(key);
            let signature = KeySignature {
                sharps: key.signature(),
                minor: key.mode == Mode::Minor,
            };
            self.mark(at, Mark::Key(signature));
        }
    }

    fn tempo_of(&self, bar: &Bar, chorus: u32) -> f64 {
        practice::tempo(bar.tempo, self.options.tempo_step, chorus)
    }

    fn warp(&self, player: Player, meter: &Meter, tempo: f64) -> Warp {
        Warp::new(self.options.swing, player, tempo, meter)
    }

    fn play(&mut self, part: PartName, note: ScoreNote) {
        if !self.options.mute.contains(&part) {
            self.notes[part as usize].push(note);
        }
    }

    fn count_in(&mut self, first: &Take) {
        let bar = &first.chorus.bars[0];
        let tempo = self.tempo_of(bar, first.line.chorus);
        self.signs(Ticks::ZERO, &bar.meter, tempo, first.chorus.key);
        for index in 0..self.options.count_in {
            if index == 0 {
                self.mark(self.now, Mark::Marker("count-in".into()));
            }
            for hit in time::count_in(&bar.meter, index + 1 == self.options.count_in) {
                // Counted even if the drummer is muted: someone has to.
                self.notes[PartName::Time as usize].push(ScoreNote {
                    start: self.now + hit.in_bar,
                    length: STROKE,
                    key: hit.key,
                    velocity: hit.velocity as u8,
                });
            }
            self.now += bar.meter.bar_ticks();
        }
    }

    fn chorus(&mut self, take: &Take) {
        let number = take.line.chorus;
        for (index, bar) in take.chorus.bars.iter().enumerate() {
            let at = self.now + bar.start;
            self.signs(at, &bar.meter, self.tempo_of(bar, number), take.chorus.key);
            match (index, bar.opens_section) {
                (0, _) => self.mark(
                    at,
                    Mark::Marker(format!("chorus {number}, {}", bar.section)),
                ),
                (_, true) => self.mark(at, Mark::Marker(bar.section.clone())),
                _ => {}
            }
        }
        if self.options.chord_texts {
            for span in &take.chorus.spans {
                let at = self.now + take.chorus.ticks_at(span.start);
                self.mark(at, Mark::Chord(span.symbol.clone()));
            }
        }
        self.bass(take);
        self.comp(take);
        self.time(take);
        self.now += take.chorus.length();
    }

    fn bass(&mut self, take: &Take) {
        let number = take.line.chorus;
        let mut rng = stream(self.options.seed, number, Purpose::BassPlacement);
        let mut played: Vec<(ScoreNote, bool)> = Vec::with_capacity(take.line.notes.len());
        for note in &take.line.notes {
            let index = (note.bar as usize).clamp(1, take.chorus.bars.len()) - 1;
            let bar = &take.chorus.bars[index];
            let tempo = self.tempo_of(bar, number);
            let warp = self.warp(Player::Line, &bar.meter, tempo);
            let start = warp.place(note.in_bar);
            let length = warp.place(note.in_bar + note.length) - start;
            let shift = feel::shift(&mut rng, self.human, 0.0, BASS_REACH_MS, tempo);
            let arrival = take.chorus.spans.get(note.span.unwrap_or(usize::MAX));
            let is_arrival =
                arrival.is_some_and(|span| take.chorus.ticks_at(span.start) == note.start);
            let loudness = match note.ghost {
                true => GHOST,
                false => {
                    BASS + feel::accent(note.strength, is_arrival) + feel::phrase(index, number - 1)
                }
            };
            let velocity = feel::vary(&mut rng, self.human, loudness, 4);
            let students = practice::is_students_turn(
                self.options.trade,
                bars_before(take.chorus, number, index),
            );
            played.push((
                ScoreNote {
                    start: (bar.start + start + shift).max(Ticks::ZERO),
                    length: feel::bass_length(length, note.ghost),
                    key: note.pitch.midi().clamp(0, 127) as u8,
                    velocity,
                },
                students,
            ));
        }
        let end = take.chorus.length();
        for index in 0..played.len() {
            // One string at a time: let go before the next note, whoever plays it.
            let until = played.get(index + 1).map_or(end, |(next, _)| next.start);
            let (note, students) = played[index];
            if !students {
                self.play(PartName::Bass, self.shifted(note, until));
            }
        }
    }

    /// The note from the start of the chorus as one from the start of the score, ended by `until`.
    fn shifted(&self, note: ScoreNote, until: Ticks) -> ScoreNote {
        ScoreNote {
            start: self.now + note.start,
            length: note.length.min(until - note.start).max(Ticks(1)),
            ..note
        }
    }

    fn comp(&mut self, take: &Take) {
        let number = take.line.chorus;
        let mut rng = stream(self.options.seed, number, Purpose::CompPlacement);
        let end = take.chorus.length();
        for attack in &take.comp.attacks {
            let index = (attack.bar as usize).clamp(1, take.chorus.bars.len()) - 1;
            let bar = &take.chorus.bars[index];
            let tempo = self.tempo_of(bar, number);
            let warp = self.warp(Player::Line, &bar.meter, tempo);
            let start = warp.place(attack.in_bar);
            let length = warp.place(attack.in_bar + attack.length) - start;
            // A pianist sits a hair behind the beat.
            let shift = feel::shift(&mut rng, self.human, COMP_LATE_MS, COMP_REACH_MS, tempo);
            let is_short = attack.length <= Ticks(attack.beat_length.0 / 2);
            let loudness = COMP + feel::phrase(index, number - 1) + if is_short { 5 } else { 0 };
            let released = comp_length(length, is_short);
            self.chord(
                attack,
                bar.start + start + shift,
                released,
                end,
                loudness,
                &mut rng,
            );
        }
    }

    /// A chord, its top note a little louder, as the melody that it is.
    fn chord(
        &mut self,
        attack: &CompAttack,
        start: Ticks,
        length: Ticks,
        end: Ticks,
        loudness: i32,
        rng: &mut ChaCha8Rng,
    ) {
        let keys = &attack.voicing.keys;
        for (index, &key) in keys.iter().enumerate() {
            let top = if index + 1 == keys.len() { 4 } else { 0 };
            let note = ScoreNote {
                start: start.max(Ticks::ZERO),
                length,
                key,
                velocity: feel::vary(rng, self.human, loudness + top, 4),
            };
            self.play(PartName::Comp, self.shifted(note, end));
        }
    }

    fn time(&mut self, take: &Take) {
        let number = take.line.chorus;
        let bars = &take.chorus.bars;
        let bass_notes = notes_by_bar(take.line, bars.len());
        let mut strokes = stream(self.options.seed, number, Purpose::Time);
        let mut rng = stream(self.options.seed, number, Purpose::TimePlacement);
        let end = take.chorus.length();
        for (index, bar) in bars.iter().enumerate() {
            let tempo = self.tempo_of(bar, number);
            let context = BarContext {
                meter: &bar.meter,
                tempo,
                two_feel: 2 * bass_notes[index] <= usize::from(bar.meter.beats()) + 1,
                bars_before: bars_before(take.chorus, number, index),
                opens_chorus: index == 0,
                closes_section: bars.get(index + 1).is_none_or(|next| next.opens_section),
            };
            let warp = self.warp(Player::Ride, &bar.meter, tempo);
            for hit in time::bar(&context, self.options.keeping, &mut strokes) {
                let shift = feel::shift(&mut rng, self.human, 0.0, TIME_REACH_MS, tempo);
                let start = bar.start + warp.place(hit.in_bar) + shift;
                let note = ScoreNote {
                    start: start.max(Ticks::ZERO),
                    length: STROKE,
                    key: hit.key,
                    velocity: feel::vary(&mut rng, self.human, hit.velocity, 4),
                };
                self.play(PartName::Time, self.shifted(note, end));
            }
        }
    }

    fn ending(&mut self, ending: Ending, last: &Take) {
        let bars = &last.chorus.bars;
        let length = ending.bass.length;
        // The held note lasts a bar of the meter at hand, or else of the opening one.
        let meter = [bars.last(), bars.first()].into_iter().flatten();
        let meter = meter
            .map(|bar| &bar.meter)
            .find(|meter| meter.bar_ticks() == length);
        if let Some(meter) = meter {
            let tempo = self.tempo.unwrap_or(bars[0].tempo);
            self.signs(self.now, &meter.clone(), tempo, last.chorus.key);
        }
        self.mark(self.now, Mark::Marker("ending".into()));
        if self.options.chord_texts {
            self.mark(self.now, Mark::Chord(ending.bass.chord.clone()));
        }
        let held = length - Ticks(RELEASE);
        let root = ScoreNote {
            start: Ticks::ZERO,
            length: held,
            key: ending.bass.pitch.midi().clamp(0, 127) as u8,
            velocity: (BASS + 4) as u8,
        };
        self.play(PartName::Bass, self.shifted(root, length));
        if let Some(attack) = ending.comp {
            let mut rng = stream(
                self.options.seed,
                last.line.chorus + 1,
                Purpose::CompPlacement,
            );
            self.chord(attack, Ticks::ZERO, held, length, COMP, &mut rng);
        }
        for hit in last_strokes(self.options.keeping) {
            let note = ScoreNote {
                start: Ticks::ZERO,
                length: STROKE,
                key: hit.key,
                velocity: hit.velocity as u8,
            };
            self.play(PartName::Time, self.shifted(note, length));
        }
        self.now += length;
    }

    fn score(self, title: &str) -> Score {
        let [bass, comp, time] = self.notes;
        let counted_in = self.options.count_in > 0;
        let parts = PartName::ALL.into_iter().zip([bass, comp, time]);
        let parts = parts
            .filter(|(name, _)| {
                !self.options.mute.contains(name) || (*name == PartName::Time && counted_in)
            })
            .map(|(name, notes)| Part::new(name, notes))
            .collect();
        // In order of time; at one time as marked, that is signs before markers before chords.
        let mut conductor = self.conductor;
        conductor.sort_by_key(|(at, _)| *at);
        Score {
            title: title.to_owned(),
            parts,
            conductor,
            end: self.now,
        }
    }
}

/// Middle velocity of the bass, loudest of the three.
const BASS: i32 = 88;
const GHOST: i32 = 42;
/// Middle velocity of the comp.
const COMP: i32 = 64;
/// How far a note may be moved from its place, in milliseconds at human 1. Bass and ride together stay
/// within 20 ms of each other (issue: bass against ride within 20 ms).
const BASS_REACH_MS: f64 = 8.0;
const TIME_REACH_MS: f64 = 4.0;
const COMP_REACH_MS: f64 = 5.0;
const COMP_LATE_MS: f64 = 3.0;
/// A stroke is a moment; percussion sounds ring as they will.
const STROKE: Ticks = Ticks(TICKS_PER_QUARTER / 8);
/// What is let go before the last bar line.
const RELEASE: i64 = TICKS_PER_QUARTER / 8;

/// How long a comp chord sounds: short ones are clipped, long ones let go a little before what follows.
fn comp_length(notated: Ticks, is_short: bool) -> Ticks {
    if is_short {
        Ticks(notated.0 * 7 / 10)
    } else {
        Ticks(notated.0 - (notated.0 / 8).clamp(80, 160))
    }
}

/// Bars before bar `index` of chorus `number` since the music began.
fn bars_before(chorus: &Chorus, number: u32, index: usize) -> u64 {
    u64::from(number.saturating_sub(1)) * chorus.bars.len() as u64 + index as u64
}

/// What the time-keeper plays at the ending.
fn last_strokes(keeping: TimeKeeping) -> Vec<Hit> {
    let hit = |key, velocity| Hit {
        in_bar: Ticks::ZERO,
        key,
        velocity,
    };
    match keeping {
        TimeKeeping::Kit(_) => vec![hit(sound::KICK, 40), hit(sound::RIDE, 66)],
        TimeKeeping::Click(_) => vec![hit(sound::CLICK_HIGH, 84)],
    }
}
