//! Time-keeping: ride and hi-hat, brushes, cross-stick, click and count-in.
//!
//! Patterns are put together from the groups of the meter, so that 5/4, 7/4 or any other grouping has one:
//! ride on each beat with a skip note after the second beat of a group, pedal hi-hat on that second beat (in
//! 4/4: 2 and 4). Everything stays under the bass. Common practice, no source. Sounds are those of General
//! MIDI level 1 (reference file `gm.csv`).

use crate::performance::practice::TradeBar;
use crate::players::{
    random_streams::below,
    styles::{Groove, PatternStroke, Piece, Style},
};
use endpin_theory::{
    Meter, Strength, Ticks,
    chart::{Feel, Place},
    did_you_mean,
};
use rand_chacha::rand_core::Rng;
use std::{fmt, str::FromStr};

/// Percussion keys of General MIDI level 1.
pub mod percussion {
    /// Bass drum 1.
    pub const KICK: u8 = 36;
    /// Side stick.
    pub const SIDE_STICK: u8 = 37;
    /// Acoustic snare.
    pub const SNARE: u8 = 38;
    /// Closed hi-hat.
    pub const CLOSED_HAT: u8 = 42;
    /// Pedal hi-hat.
    pub const PEDAL_HAT: u8 = 44;
    /// Crash cymbal 1.
    pub const CRASH: u8 = 49;
    /// Ride cymbal 1.
    pub const RIDE: u8 = 51;
    /// Cabasa, for the accent of a brush.
    pub const CABASA: u8 = 69;
    /// Maracas, for the sweep of a brush.
    pub const MARACAS: u8 = 70;
    /// High wood block: the click on beat 1.
    pub const CLICK_HIGH: u8 = 76;
    /// Low wood block: the other clicks.
    pub const CLICK_LOW: u8 = 77;
}

/// What the drummer plays on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kit {
    /// Ride; cross-stick below 84 quarters a minute.
    #[default]
    Auto,
    /// Ride cymbal, pedal hi-hat, feathered bass drum.
    Ride,
    /// Soft sweeps by shaker sounds, pedal hi-hat.
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
    "\"{0}\" is no way to keep time{near}; write ride, brushes, cross-stick, auto, click, click-2-4, \
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
    /// Bars before it since the music began, all choruses counted.
    pub bars_before: u64,
    /// Whether it is the first of a chorus.
    pub opens_chorus: bool,
    /// Whether it is the last of a section or chorus.
    pub closes_section: bool,
    /// What it belongs to: intro, form, tag, or what an ending adds.
    pub place: Place,
    /// Whether the band plays on its first beat alone.
    pub stop_time: bool,
    /// Whose turn it is, if band and student trade bars.
    pub trade: Option<TradeBar>,
}

/// The strokes of one bar.
pub fn bar(context: &BarContext, keeping: TimeKeeping, rng: &mut impl Rng) -> Vec<Hit> {
    match keeping {
        TimeKeeping::Click(click) => clicks(context, click),
        TimeKeeping::Kit(kit) => {
            let mut hits = strokes(context, kit, rng);
            if context.stop_time {
                hits.retain(|hit| hit.in_bar == Ticks::ZERO);
            }
            hits
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
    let hit = |key, velocity| Hit {
        in_bar: Ticks::ZERO,
        key,
        velocity,
    };
    match keeping {
        TimeKeeping::Kit(_) => vec![hit(percussion::KICK, 40), hit(percussion::RIDE, 66)],
        TimeKeeping::Click(_) => vec![hit(percussion::CLICK_HIGH, 84)],
    }
}

/// Below this many quarters a minute a drummer left to choose takes the stick off the ride.
const SLOW: f64 = 84.0;

/// A drummer's bar.
fn strokes(context: &BarContext, kit: Kit, rng: &mut impl Rng) -> Vec<Hit> {
    let meter = context.meter;
    let kit = match kit {
        Kit::Auto if context.tempo < SLOW => Kit::CrossStick,
        Kit::Auto => Kit::Ride,
        chosen => chosen,
    };
    // Drawn for each bar whatever comes of it, so that a bar's choices don't hang on those before.
    let (figure, crash_odds, answer) = (below(rng, 1 << 16), below(rng, 3), below(rng, 1 << 16));
    let crashes = context.opens_chorus && context.bars_before > 0 && crash_odds < 2;
    let mut hits = match Style::of(context.feel).groove {
        Groove::Bars(bars) if !meter.is_compound() => {
            let bar = bars[(context.bars_before % bars.len() as u64) as usize];
            pattern(meter, kit, bar)
        }
        Groove::Ride { weak_kicks, skips } => ride(context, kit, weak_kicks, skips, figure),
        Groove::Bars(_) => ride(context, kit, true, true, figure),
    };
    if crashes && kit == Kit::Ride {
        hits.retain(|hit| hit.in_bar > Ticks::ZERO || hit.key != percussion::RIDE);
        hits.push(Hit {
            in_bar: Ticks::ZERO,
            key: percussion::CRASH,
            velocity: 60,
        });
    }
    if matches!(context.feel, Feel::Four | Feel::Broken | Feel::Two) && meter.unit() <= 4 {
        hits.extend(answers(context, kit, answer));
    }
    // Each trade is led into as a section is.
    if context.closes_section || context.trade.is_some_and(|trade| trade.is_last) {
        fill(&mut hits, meter, kit, below(rng, FILLS.len() as u32 + 1));
    }
    hits.sort_by_key(|hit| (hit.in_bar, hit.key));
    hits.dedup_by_key(|hit| (hit.in_bar, hit.key));
    hits
}

/// The off-beats that the ride skips on in a bar of four, by the back beats after which they come, and how
/// often each figure is played: most bars after two and four, others to breathe.
const FIGURES: [(&[usize], u32); 7] = [
    (&[1, 3], 40),
    (&[3], 14),
    (&[1], 12),
    (&[1, 2, 3], 10),
    (&[0, 1, 3], 8),
    (&[2, 3], 8),
    (&[], 8),
];

/// Time on the ride, or what the kit has in its place, from the groups of the meter.
fn ride(context: &BarContext, kit: Kit, weak_kicks: bool, skips: bool, figure: u32) -> Vec<Hit> {
    let meter = context.meter;
    let beat = meter.beat_ticks();
    let back_beats = back_beats(meter);
    // Skip notes only where a beat is a quarter or longer, and where two of them can still be told apart.
    let may_skip = meter.beat_ticks().0 >= 960 && context.tempo <= 330.0;
    let figure = figure % FIGURES.iter().map(|(_, weight)| weight).sum::<u32>();
    let mut left = figure;
    let chosen = FIGURES.iter().find(|(_, weight)| {
        let found = left < *weight;
        left = left.saturating_sub(*weight);
        found
    });
    let figure = chosen.map_or(FIGURES[0].0, |(figure, _)| figure);
    let mut hits = Vec::new();
    for index in 0..usize::from(meter.beats()) {
        let on = beat * index as i64;
        let is_back_beat = back_beats.contains(&index);
        let strong = meter.strength(index) != Strength::Weak;
        let has_skip = may_skip
            && match skips {
                true => figure.contains(&(index % 4)) && (is_back_beat || meter.beats() == 4),
                false => Some(&index) == back_beats.last() && figure.len() > 1,
            };
        let mut hit = |plays: bool, in_bar: Ticks, key: u8, velocity: i32| {
            hits.extend(plays.then_some(Hit {
                in_bar,
                key,
                velocity,
            }));
        };
        hit(is_back_beat, on, percussion::PEDAL_HAT, 62);
        let time = piece(kit, Piece::Ride);
        let (loud, soft) = match kit {
            Kit::Ride | Kit::Auto => (if is_back_beat { 74 } else { 68 }, 58),
            Kit::Brushes => (if strong { 62 } else { 56 }, 44),
            Kit::CrossStick => (54, 44),
        };
        hit(true, on, time, loud);
        if meter.is_compound() {
            // Three to a beat, the last of them leaning on the next.
            hit(may_skip, on + Ticks(beat.0 / 3), time, soft - 8);
            hit(may_skip, on + Ticks(beat.0 * 2 / 3), time, soft);
            hit(is_back_beat, on, percussion::SIDE_STICK, 56);
        } else {
            hit(has_skip, on + half(beat), time, soft);
        }
        hit(strong, on, percussion::KICK, 36);
        hit(
            !strong && weak_kicks && kit == Kit::Ride,
            on,
            percussion::KICK,
            30,
        );
        hit(
            kit == Kit::Brushes && is_back_beat,
            on,
            percussion::CABASA,
            52,
        );
        let is_last = Some(&index) == back_beats.last();
        hit(
            kit == Kit::CrossStick && is_last,
            on,
            percussion::SIDE_STICK,
            58,
        );
    }
    hits
}

/// A bar of a pattern in a meter, with the pieces of a kit.
fn pattern(meter: &Meter, kit: Kit, bar: &[PatternStroke]) -> Vec<Hit> {
    let beat = meter.beat_ticks().0;
    let beats = i64::from(meter.beats());
    let rounds = (0..)
        .map(|round| round * 48)
        .take_while(|from| *from < beats * 12);
    let strokes = rounds.flat_map(|from| {
        bar.iter()
            .map(move |&(at, piece, velocity)| (from + at, piece, velocity))
    });
    strokes
        .filter(|&(at, _, _)| at < beats * 12)
        .map(|(at, sort, velocity)| Hit {
            in_bar: Ticks(beat * at / 12),
            key: piece(kit, sort),
            velocity,
        })
        .collect()
}

/// What a kit plays a piece on.
fn piece(kit: Kit, piece: Piece) -> u8 {
    match (piece, kit) {
        (Piece::Ride | Piece::Hat, Kit::Brushes) => percussion::MARACAS,
        (Piece::Snare | Piece::Stick, Kit::Brushes) => percussion::CABASA,
        (Piece::Snare, Kit::CrossStick) => percussion::SIDE_STICK,
        (Piece::Ride, _) => percussion::RIDE,
        (Piece::Hat, _) => percussion::CLOSED_HAT,
        (Piece::Pedal, _) => percussion::PEDAL_HAT,
        (Piece::Stick, _) => percussion::SIDE_STICK,
        (Piece::Snare, _) => percussion::SNARE,
        (Piece::Kick, _) => percussion::KICK,
    }
}

/// Now and then snare or kick go with an off-beat of the comp, or answer it half a beat later; livelier
/// choruses have more of it.
fn answers(context: &BarContext, kit: Kit, drawn: u32) -> Option<Hit> {
    let half = half(context.meter.beat_ticks());
    let off_beats = context.comp.iter().filter(|at| at.0 % (half.0 * 2) != 0);
    let off_beats: Vec<Ticks> = off_beats.copied().collect();
    let plays = drawn % 12 < 3 + u32::from(context.busy);
    let at = *off_beats.get((drawn / 12) as usize % off_beats.len().max(1))?;
    let (with_comp, on_kick) = (
        (drawn / 256).is_multiple_of(2),
        (drawn / 512).is_multiple_of(3),
    );
    let in_bar = if with_comp { at } else { at + half };
    // On beats the bass drum feathers as the feel has it; what answers there is the snare.
    let on_kick = on_kick && with_comp;
    let key = piece(kit, if on_kick { Piece::Kick } else { Piece::Snare });
    (plays && in_bar < context.meter.bar_ticks()).then_some(Hit {
        in_bar,
        key,
        velocity: if on_kick { 50 } else { 42 },
    })
}

fn half(beat: Ticks) -> Ticks {
    Ticks(beat.0 / 2)
}

/// Fills of the last two beats, each place in sixths of a beat from the first of them.
const FILLS: [&[i64]; 4] = [
    &[6, 9],     // two eighths
    &[6, 8, 10], // a triplet
    &[3, 6],     // the off-beat and the last beat
    &[3, 8, 10], // pushed into a triplet
];

/// A quiet fill on the snare over the last two beats; the last choice is none.
fn fill(hits: &mut Vec<Hit>, meter: &Meter, kit: Kit, choice: u32) {
    let Some(places) = FILLS.get(choice as usize) else {
        return;
    };
    if meter.beats() < 3 || meter.beat_ticks().0 < 960 || meter.is_compound() {
        return;
    }
    let beat = meter.beat_ticks();
    let from = beat * (i64::from(meter.beats()) - 2);
    let (key, velocity) = match kit {
        Kit::Brushes => (percussion::MARACAS, 56),
        Kit::CrossStick => (percussion::SIDE_STICK, 44),
        Kit::Ride | Kit::Auto => (percussion::SNARE, 48),
    };
    for (step, &sixths) in places.iter().enumerate() {
        let in_bar = from + Ticks(beat.0 * sixths / 6);
        if !hits
            .iter()
            .any(|hit| hit.in_bar == in_bar && hit.key == key)
        {
            hits.push(Hit {
                in_bar,
                key,
                velocity: velocity + 3 * step as i32,
            });
        }
    }
}

#[cfg(test)]
mod tests;
