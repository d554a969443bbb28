//! The cheapest path of keys along a chart, home first.
//!
//! Home costs nothing to return to. Another key costs its distance on entering, and is left for free only
//! once a cadence has arrived in it, or a chord was held so long that it needs none: a key has to earn
//! itself.

use super::form;
use super::reading::{Color, Reading, cheapest};
use super::sounding::Heard;
use crate::key::{Key, Mode};

/// A key as a hypothesis: what sounds, without spelling.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Hypothesis {
    pub(super) tonic: u8,
    pub(super) color: Color,
}

/// Twelve tonics, major or minor.
const KEYS: usize = 24;
/// A key before and after it has earned itself.
const STATES: usize = 2 * KEYS;
const COLORS: [Color; 3] = [Color::Major, Color::Minor, Color::Blues];

/// Cost of going into a key: this much, and so much for each fifth between its signature and that of home,
/// or of the key before it, whichever is nearer.
const ENTER: u32 = 6;
const FIFTH: u32 = 1;
/// On top for the relative of home, which shares its notes: what is heard there is home's own harmony.
const RELATIVE: u32 = 2;
/// For each chord heard in a key that is not home.
const AWAY: u32 = 1;
/// For leaving a key in which no cadence has arrived.
const UNEARNED: u32 = 60;
/// Beats over which a chord's cost counts once; shorter chords count half, longer ones up to fourfold.
const USUAL_BEATS: usize = 4;
/// For a key other than the settled one: out of the question.
const FORBIDDEN: u32 = 1_000_000;

impl Hypothesis {
    /// The hypotheses in order, counted from the home tonic up, so that equal costs are settled alike in
    /// every key.
    fn at(index: usize, home: Hypothesis) -> Hypothesis {
        Hypothesis {
            tonic: (home.tonic + (index % 12) as u8) % 12,
            color: COLORS[index / 12],
        }
    }

    pub(super) fn of(key: Key) -> Hypothesis {
        Hypothesis {
            tonic: key.tonic.chroma(),
            color: match key.mode {
                Mode::Major => Color::Major,
                Mode::Minor => Color::Minor,
            },
        }
    }

    pub(super) fn mode(self) -> Mode {
        match self.color {
            Color::Minor => Mode::Minor,
            Color::Major | Color::Blues => Mode::Major,
        }
    }

    /// The tonic of the major key with the same signature.
    fn signature_tonic(self) -> u8 {
        match self.color {
            Color::Minor => (self.tonic + 3) % 12,
            Color::Major | Color::Blues => self.tonic,
        }
    }

    fn fifths_to(self, other: Hypothesis) -> u32 {
        let apart = (self.signature_tonic() + 12 - other.signature_tonic()) % 12;
        // A fifth is seven semitones, and 7 is its own inverse modulo 12.
        let fifths = u32::from(apart) * 7 % 12;
        fifths.min(12 - fifths)
    }

    /// What it costs to go on in another key.
    fn enter_from(self, before: Hypothesis, home: Hypothesis) -> u32 {
        if self == home {
            return 0;
        }
        let from_home = self.fifths_to(home);
        let relative = if from_home == 0 { RELATIVE } else { 0 };
        ENTER + relative + FIFTH * from_home.min(self.fifths_to(before))
    }
}

/// A chord with its cheapest reading under every hypothesis, major tonics first, from C up.
pub(super) struct Priced {
    weight: u32,
    readings: [(u32, Reading); 3 * 12],
}

impl Priced {
    pub(super) fn of(heard: &Heard) -> Priced {
        Priced {
            weight: heard.beats.clamp(USUAL_BEATS / 2, USUAL_BEATS * 4) as u32,
            readings: std::array::from_fn(|index| {
                cheapest(heard, (index % 12) as u8, COLORS[index / 12])
            }),
        }
    }

    fn under(&self, hypothesis: Hypothesis) -> (u32, Reading) {
        let (cost, reading) =
            self.readings[hypothesis.color as usize * 12 + usize::from(hypothesis.tonic)];
        (self.weight * cost, reading)
    }
}

/// A chord's key and what it is there.
pub(super) type Sense = (Hypothesis, Reading);

/// What is known of a chart in one home key before its path is looked for.
pub(super) struct Footing {
    pub(super) home: Hypothesis,
    /// The key of each chord where it is settled.
    pub(super) settled: Vec<Option<Hypothesis>>,
    /// Which chords stand in a blues.
    pub(super) blues: Vec<bool>,
}

impl Footing {
    pub(super) fn of(heard: &[Heard], home: Hypothesis) -> Footing {
        let blues = match home.color {
            Color::Minor => vec![false; heard.len()],
            _ => form::blues(heard, home.tonic),
        };
        Footing {
            home,
            settled: form::settled(heard, home),
            blues,
        }
    }

    /// The key at a place with its colour there: home may be a blues.
    pub(super) fn colored(&self, place: usize, key: Hypothesis) -> Hypothesis {
        if key == self.home && self.blues[place] {
            return Hypothesis {
                color: Color::Blues,
                ..key
            };
        }
        key
    }
}

/// The cheapest keys for all chords, and the total cost. Of equal paths, the one that stays in a key, then
/// the one nearer to home in the list.
pub(super) fn cheapest_path(
    heard: &[Heard],
    chords: &[Priced],
    footing: &Footing,
) -> (Vec<Sense>, u32) {
    let home = footing.home;
    let at: [Hypothesis; KEYS] = std::array::from_fn(|index| Hypothesis::at(index, home));
    let at_home = at.iter().position(|key| *key == home).unwrap_or(0);
    let scale = USUAL_BEATS as u32;
    // To each key, from each key.
    let enter = at.map(|to| at.map(|from| scale * to.enter_from(from, home)));
    let leave = |state: usize| {
        let free = state % KEYS == at_home || state >= KEYS;
        if free { 0 } else { scale * UNEARNED }
    };
    let impossible = u32::MAX / 2;
    // The form begins at home.
    let mut total = [impossible; STATES];
    total[at_home] = 0;
    let mut came_from: Vec<[u8; STATES]> = Vec::with_capacity(chords.len());
    for (place, chord) in chords.iter().enumerate() {
        let mut next = [(impossible, 0u8); STATES];
        for key in 0..KEYS {
            let settled = footing.settled[place].is_some_and(|settled| settled != at[key]);
            let away = if key == at_home {
                0
            } else {
                AWAY * chord.weight
            };
            let price = chord.under(footing.colored(place, at[key])).0
                + away
                + if settled { FORBIDDEN } else { 0 };
            let rests = at[key].rests(&heard[place]);
            let arrives = rests || at[key].arrives(&heard[place]);
            let mut offer = |earned: bool, cost: u32, from: usize| {
                let state = key + if earned && key != at_home { KEYS } else { 0 };
                let cost = cost.saturating_add(price).min(impossible);
                if cost < next[state].0 {
                    next[state] = (cost, from as u8);
                }
            };
            offer(arrives, total[key], key);
            offer(true, total[key + KEYS], key + KEYS);
            for from in (0..STATES).filter(|from| from % KEYS != key) {
                let cost = total[from] + leave(from) + enter[key][from % KEYS];
                offer(rests, cost, from);
            }
        }
        total = next.map(|(cost, _)| cost);
        came_from.push(next.map(|(_, before)| before));
    }
    let ending = |state: usize| total[state] + leave(state);
    let mut state = (0..STATES)
        .min_by_key(|&state| (ending(state), state % KEYS != at_home))
        .unwrap_or(at_home);
    let cost = ending(state);
    let mut path: Vec<Sense> = Vec::with_capacity(chords.len());
    for (place, came_from) in came_from.iter().enumerate().rev() {
        let key = footing.colored(place, at[state % KEYS]);
        path.push((key, chords[place].under(key).1));
        state = usize::from(came_from[state]);
    }
    path.reverse();
    (path, cost)
}

/// What the documentation's table names.
#[cfg(test)]
pub(super) const COSTS: &[(&str, u32)] = &[
    ("ENTER", ENTER),
    ("FIFTH", FIFTH),
    ("RELATIVE", RELATIVE),
    ("AWAY", AWAY),
    ("UNEARNED", UNEARNED),
];
