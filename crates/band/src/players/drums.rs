//! Time-keeping: the drummer, brushes, cross-stick, click and count-in.
//!
//! A drummer's chorus is time in two- and four-bar phrases (`grooves`), laid over the groups of the meter so that
//! 5/4, 7/4 or any other grouping has its own; what answers the others (`answers`); and what leads into sections
//! and choruses (`fills`). Everything stays under the bass. Common practice, no source.

mod answers;
mod fills;
mod grooves;
pub mod kit;
mod rows;

pub use fills::Coming;
pub use grooves::Groove;
pub use kit::percussion;

use crate::players::{
    random_streams::{Purpose, below, stream, weighted},
    styles::{OffBeat, Style},
};
use answers::answers;
use endpin_theory::{
    Meter, Strength, Ticks,
    chart::{Bar, Feel},
    did_you_mean,
};
use fills::Fill;
use grooves::Layer;
use kit::{Piece, Stress, sound};
use rand_chacha::rand_core::Rng;
use std::{fmt, str::FromStr};

pub use grooves::{BOSSA, DOUBLE_TIME, FOUR, HALF_TIME, SHUFFLE, SPARSE};

/// What the drummer plays on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kit {
    /// Ride; brushes in ballads.
    #[default]
    Auto,
    /// Ride cymbal, pedal hi-hat, feathered bass drum.
    Ride,
    /// Sweeps and taps on the snare, pedal hi-hat: the brush set of General MIDI 2.
    Brushes,
    /// A side stick at the end of each group over a quiet ride, for slow tempi.
    CrossStick,
}

/// A click in place of the drummer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Click {
    /// Every beat.
    All,
    /// The hi-hat's beats only: 2 and 4.
    TwoAndFour,
    /// Beat 1 of every so many bars.
    EveryBars(u32),
    /// So many bars of clicks, then as many of silence, to train one's own time.
    DropOut(u32),
}

/// Who keeps time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeKeeping {
    /// A drummer.
    Kit(Kit),
    /// A click.
    Click(Click),
}

impl TimeKeeping {
    /// The same with the kit that a drummer left to choose takes for music that opens with this bar.
    #[must_use]
    pub fn settled(self, opening: &Bar) -> TimeKeeping {
        let is_ballad = Style::of(opening.feel).is_ballad(opening.tempo, &opening.meter);
        match self {
            TimeKeeping::Kit(Kit::Auto) if is_ballad => TimeKeeping::Kit(Kit::Brushes),
            TimeKeeping::Kit(Kit::Auto) => TimeKeeping::Kit(Kit::Ride),
            chosen => chosen,
        }
    }
}

impl Default for TimeKeeping {
    fn default() -> Self {
        TimeKeeping::Kit(Kit::Auto)
    }
}

/// The words for them, as messages give them.
const WORDS: [&str; 8] = [
    "ride",
    "brushes",
    "cross-stick",
    "auto",
    "click",
    "click-2-4",
    "click-every-N",
    "click-drop-N",
];

/// Text that names no way to keep time.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is not a way to keep time{near}; write ride, brushes, cross-stick, auto, click, click-2-4, \
     click-every-N or click-drop-N, with N from 1 to 64 bars",
    near = did_you_mean(.0, WORDS)
)]
pub struct TimeError(String);

impl FromStr for TimeKeeping {
    type Err = TimeError;

    fn from_str(text: &str) -> Result<Self, TimeError> {
        let bars = |number: &str| {
            let bars = number.parse().ok().filter(|bars| (1..=64).contains(bars));
            bars.ok_or_else(|| TimeError(text.to_owned()))
        };
        Ok(match text {
            "auto" => TimeKeeping::Kit(Kit::Auto),
            "ride" => TimeKeeping::Kit(Kit::Ride),
            "brushes" => TimeKeeping::Kit(Kit::Brushes),
            "cross-stick" => TimeKeeping::Kit(Kit::CrossStick),
            "click" => TimeKeeping::Click(Click::All),
            "click-2-4" => TimeKeeping::Click(Click::TwoAndFour),
            _ => {
                let (every, dropping) = (
                    text.strip_prefix("click-every-"),
                    text.strip_prefix("click-drop-"),
                );
                TimeKeeping::Click(match (every, dropping) {
                    (Some(number), _) => Click::EveryBars(bars(number)?),
                    (_, Some(number)) => Click::DropOut(bars(number)?),
                    _ => return Err(TimeError(text.to_owned())),
                })
            }
        })
    }
}

impl fmt::Display for TimeKeeping {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TimeKeeping::Kit(Kit::Auto) => f.pad("auto"),
            TimeKeeping::Kit(Kit::Ride) => f.pad("ride"),
            TimeKeeping::Kit(Kit::Brushes) => f.pad("brushes"),
            TimeKeeping::Kit(Kit::CrossStick) => f.pad("cross-stick"),
            TimeKeeping::Click(Click::All) => f.pad("click"),
            TimeKeeping::Click(Click::TwoAndFour) => f.pad("click-2-4"),
            TimeKeeping::Click(Click::EveryBars(bars)) => write!(f, "click-every-{bars}"),
            TimeKeeping::Click(Click::DropOut(bars)) => write!(f, "click-drop-{bars}"),
        }
    }
}

/// One stroke, at its notated place in the bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hit {
    /// From the bar line.
    pub in_bar: Ticks,
    /// General MIDI percussion key.
    pub key: u8,
    /// MIDI velocity before small variation.
    pub velocity: i32,
}

/// What the time-keeper needs to know of a bar.
#[derive(Clone, Copy, Debug)]
pub struct BarContext<'a> {
    /// Its meter.
    pub meter: &'a Meter,
    /// Quarter notes a minute.
    pub tempo: f64,
    /// Its feel.
    pub feel: Feel,
    /// How lively the chorus is, 0 to 3.
    pub busy: u8,
    /// Where the comp strikes, from the bar line.
    pub comp: &'a [Ticks],
    /// Where notes of the bass begin, from the bar line.
    pub bass: &'a [Ticks],
    /// Bars before it since the music began, all choruses counted.
    pub bars_before: u64,
    /// Whether it is the first of a section or chorus.
    pub opens_section: bool,
    /// Whether the band plays on its first beat alone.
    pub stop_time: bool,
    /// What begins with the next bar, if anything does.
    pub coming: Option<Coming>,
}

/// The strokes of each bar of a chorus (from 1), made from its own random streams.
pub fn chorus(bars: &[BarContext], keeping: TimeKeeping, seed: u64, number: u32) -> Vec<Vec<Hit>> {
    match keeping {
        TimeKeeping::Click(click) => bars.iter().map(|bar| clicks(bar, click)).collect(),
        TimeKeeping::Kit(kit) => {
            let mut drummed = drummed(bars, kit, seed, number);
            for (hits, _) in drummed
                .iter_mut()
                .zip(bars)
                .filter(|(_, bar)| bar.stop_time)
            {
                hits.retain(|hit| hit.in_bar == Ticks::ZERO);
            }
            drummed
        }
    }
}

/// The beats, counted from 0, on which the hi-hat closes: the second of each group, and the fourth of a
/// group of four.
pub fn back_beats(meter: &Meter) -> Vec<usize> {
    let mut beats = Vec::new();
    let mut head = 0;
    for &group in meter.grouping() {
        let group = usize::from(group);
        beats.extend(
            (1..group)
                .filter(|&beat| beat == 1 || beat == 3)
                .map(|beat| head + beat),
        );
        head += group;
    }
    beats
}

fn clicks(context: &BarContext, click: Click) -> Vec<Hit> {
    let beats: Vec<usize> = match click {
        Click::All => (0..usize::from(context.meter.beats())).collect(),
        Click::TwoAndFour => back_beats(context.meter),
        Click::EveryBars(bars) if context.bars_before.is_multiple_of(u64::from(bars.max(1))) => {
            vec![0]
        }
        Click::DropOut(bars)
            if (context.bars_before / u64::from(bars.max(1))).is_multiple_of(2) =>
        {
            (0..usize::from(context.meter.beats())).collect()
        }
        Click::EveryBars(_) | Click::DropOut(_) => Vec::new(),
    };
    beats
        .into_iter()
        .map(|beat| click_hit(context.meter, beat))
        .collect()
}

fn click_hit(meter: &Meter, beat: usize) -> Hit {
    Hit {
        in_bar: meter.beat_ticks() * beat as i64,
        key: if beat == 0 {
            percussion::CLICK_HIGH
        } else {
            percussion::CLICK_LOW
        },
        velocity: if beat == 0 { 84 } else { 70 },
    }
}

/// One bar of the count-in: the last counts every beat, those before it only the strong and medium ones, as
/// a leader counts "one, two, one two three four".
pub fn count_in(meter: &Meter, last: bool) -> Vec<Hit> {
    (0..usize::from(meter.beats()))
        .filter(|&beat| last || meter.strength(beat) != Strength::Weak)
        .map(|beat| click_hit(meter, beat))
        .collect()
}

/// What is played where all hold the last chord.
pub fn ending(keeping: TimeKeeping) -> Vec<Hit> {
    match keeping {
        TimeKeeping::Kit(kit) => [Piece::Kick, Piece::Ride, Piece::Sweep]
            .into_iter()
            .filter_map(|piece| hit(kit, Ticks::ZERO, piece, Stress::Plain))
            .collect(),
        TimeKeeping::Click(_) => vec![Hit {
            in_bar: Ticks::ZERO,
            key: percussion::CLICK_HIGH,
            velocity: 84,
        }],
    }
}

fn hit(kit: Kit, in_bar: Ticks, piece: Piece, stress: Stress) -> Option<Hit> {
    let (key, velocity) = sound(kit, piece, stress)?;
    Some(Hit {
        in_bar,
        key,
        velocity,
    })
}

/// The figures of a layer in the two bars at hand, as indices, and the one that its phrase began with.
#[derive(Clone, Copy, Debug, Default)]
struct Playing {
    stated: usize,
    here: [usize; 2],
}

impl Playing {
    /// Goes on to the next two bars: the first two of a phrase of four state a figure; the others keep its first bar
    /// and leave it in the second, or play another.
    fn go_on(self, layer: &Layer, opens_phrase: bool, busy: u8, rng: &mut impl Rng) -> Playing {
        let weights: Vec<u32> = layer
            .figures
            .iter()
            .map(|figure| {
                // Livelier choruses have more between the beats.
                let between = figure.bars.iter().flat_map(|row| rows::strokes(row));
                let between = between.filter(|(_, into, _)| *into > 0).count() as u32;
                figure.weight * (8 + u32::from(busy) * between)
            })
            .collect();
        let drawn = weighted(rng, &weights).unwrap_or(0);
        let keeps = below(rng, 2) == 0;
        match (opens_phrase, keeps) {
            (true, _) => Playing {
                stated: drawn,
                here: [drawn; 2],
            },
            (false, true) => Playing {
                here: [self.stated, drawn],
                ..self
            },
            (false, false) => Playing {
                here: [drawn; 2],
                ..self
            },
        }
    }
}

/// The groove of a bar: compound meters have their own.
fn groove(context: &BarContext) -> Groove {
    match context.meter.is_compound() {
        true => grooves::THREES,
        false => Style::of(context.feel).groove,
    }
}

/// A drummer's chorus.
fn drummed(bars: &[BarContext], kit: Kit, seed: u64, number: u32) -> Vec<Vec<Hit>> {
    let mut time = stream(seed, number, Purpose::Time);
    let mut listening = stream(seed, number, Purpose::DrumAnswers);
    let mut playing: Vec<Playing> = Vec::new();
    let (mut in_section, mut section_groove): (usize, Option<Groove>) = (0, None);
    let mut drummed = Vec::with_capacity(bars.len());
    for (index, context) in bars.iter().enumerate() {
        let meter = context.meter;
        let groove = groove(context);
        let is_new = context.opens_section
            || section_groove.is_none_or(|other| !std::ptr::eq(other, groove));
        section_groove = Some(groove);
        in_section = if is_new { 0 } else { in_section + 1 };
        if is_new {
            playing = vec![Playing::default(); groove.len()];
        }
        if in_section.is_multiple_of(2) {
            for (layer, playing) in groove.iter().zip(&mut playing) {
                let opens_phrase = in_section.is_multiple_of(4);
                *playing = playing.go_on(layer, opens_phrase, context.busy, &mut time);
            }
        }
        // Between beats only where a beat is a quarter or longer, and where two strokes can still be told apart.
        let room = meter.beat_ticks().0 >= 960 && context.tempo <= 330.0;
        let mut hits: Vec<Hit> = Vec::new();
        for (layer, playing) in groove.iter().zip(&playing) {
            let half = in_section % 2;
            let row = layer.figures[playing.here[half]].bars[half];
            let laid = rows::lay(row, layer.threes, meter, room).into_iter();
            hits.extend(laid.filter_map(|(at, stress)| hit(kit, at, layer.piece, stress)));
        }
        let is_even = Style::of(context.feel).off_beat == OffBeat::Even;
        let time_of = |coming| (coming, (seed, number, index));
        let fill = context
            .coming
            .filter(|_| room && meter.beats() >= 3)
            .map(|coming| {
                let (coming, at) = time_of(coming);
                Fill::into(coming, at, meter.is_compound(), is_even)
            });
        let said = answers(context, is_even, &mut listening);
        match fill.filter(|fill| !fill.parts.is_empty()) {
            Some(fill) => hits.extend(fill.parts.iter().flat_map(|&(piece, row)| {
                let laid = rows::lay_at_the_end(row, meter).into_iter();
                laid.filter_map(move |(at, stress)| hit(kit, at, piece, stress))
            })),
            None if listens(context) => {
                let said = said.into_iter();
                hits.extend(said.filter_map(|(at, piece, stress)| hit(kit, at, piece, stress)));
            }
            None => {}
        }
        if index == 0 && number > 1 && follows_a_fill(bars, seed, number) {
            crash(&mut hits, kit);
        }
        hits.sort_by_key(|hit| (hit.in_bar, hit.key, -hit.velocity));
        hits.dedup_by_key(|hit| (hit.in_bar, hit.key));
        drummed.push(hits);
    }
    drummed
}

/// Whether the drummer has a hand free to answer: in swing, not in patterns that are full already.
fn listens(context: &BarContext) -> bool {
    let is_open = matches!(
        context.feel,
        Feel::Four | Feel::Broken | Feel::Two | Feel::Pedal
    );
    is_open && context.meter.unit() <= 4
}

/// Whether the chorus before this one ended with a fill that calls for a crash.
fn follows_a_fill(bars: &[BarContext], seed: u64, number: u32) -> bool {
    let Some(last) = bars.last().filter(|last| last.meter.beats() >= 3) else {
        return false;
    };
    let is_even = Style::of(last.feel).off_beat == OffBeat::Even;
    let at = (seed, number - 1, bars.len() - 1);
    Fill::into(Coming::Chorus, at, last.meter.is_compound(), is_even).large
}

/// The crash in place of the ride on the first beat.
fn crash(hits: &mut Vec<Hit>, kit: Kit) {
    let Some(crash) = hit(kit, Ticks::ZERO, Piece::Crash, Stress::Plain) else {
        return;
    };
    hits.retain(|hit| hit.in_bar > Ticks::ZERO || hit.key != percussion::RIDE);
    hits.push(crash);
}

#[cfg(test)]
mod tests;
