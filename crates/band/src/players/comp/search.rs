//! The voicings of a whole chorus by dynamic programming: of all ways to voice its attacks, the one that
//! costs least in motion, register, melody and colours together, not the nearest one from each to the next.

use super::voicing::{Form, HIGHEST, Keys, LOWEST, motion};
use crate::players::random_streams::below;
use rand_chacha::rand_core::Rng;

/// What one attack must respect.
#[derive(Clone, Debug)]
pub struct Moment<'a> {
    /// Forms of its chord.
    pub forms: &'a [Form],
    /// Root of its chord, 0 to 11.
    pub root: u8,
    /// The lowest key it may use: the highest seam of the spans in which it sounds.
    pub floor: i16,
    /// Keys that would collide with a bass note while it sounds, a bit each.
    pub forbidden: u128,
    /// Whether it sounds the same chord as the attack before.
    pub same_chord: bool,
}

/// The taste of a chorus, drawn once for each so that choruses differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Taste {
    /// The key around which the voicings lie.
    pub centre: i32,
    /// Whether three notes are preferred to four.
    pub thin: bool,
    /// How far whim may go, in the units of cost.
    pub whim: u32,
}

impl Taste {
    /// A handbook's taste: four notes around B3, no whim.
    pub const HANDBOOK: Taste = Taste {
        centre: 59,
        thin: false,
        whim: 0,
    };

    /// The taste of one chorus.
    pub fn draw(rng: &mut impl Rng) -> Taste {
        Taste {
            centre: 59 + below(rng, 5) as i32,
            thin: below(rng, 3) == 0,
            whim: 4,
        }
    }
}

/// A form (an index of the moment's) on its keys.
#[derive(Clone, Copy, Debug)]
pub struct VoicingChoice {
    /// Which of the moment's forms.
    pub form: usize,
    /// Where it lies.
    pub keys: Keys,
    cost: i32,
}

/// Most choices kept for one attack, the best by their own cost.
const KEPT: usize = 40;
/// The lowest note of a rootless form lies below C4 where it can (reference file).
const BOTTOM_BELOW: i32 = 60;

/// The admissible choices at a moment, the cheapest first.
pub fn choices(moment: &Moment, taste: Taste, rng: &mut impl Rng) -> Vec<VoicingChoice> {
    let mut choices: Vec<VoicingChoice> = laid(moment)
        .map(|(keys, form)| {
            let count = keys.as_slice().len() as i32;
            let sum: i32 = keys.as_slice().iter().map(|&key| i32::from(key)).sum();
            let off_centre = (sum - taste.centre * count).abs() / count;
            let too_high = 3 * (keys.bottom() - BOTTOM_BELOW).max(0);
            let too_thick = if taste.thin && count == 4 { 6 } else { 0 };
            let whim = below(rng, taste.whim) as i32;
            VoicingChoice {
                form,
                keys,
                cost: moment.forms[form].cost + off_centre + too_high + too_thick + whim,
            }
        })
        .collect();
    choices.sort_by_key(|choice| choice.cost);
    choices.truncate(KEPT);
    choices
}

/// Whether anything at all can sound at a moment.
pub fn any(moment: &Moment) -> bool {
    laid(moment).next().is_some()
}

/// Every form at every place of the keyboard where it is clear of mud and bass.
fn laid<'a>(moment: &'a Moment) -> impl Iterator<Item = (Keys, usize)> + 'a {
    moment
        .forms
        .iter()
        .enumerate()
        .flat_map(move |(index, form)| {
            let mut from = moment.floor.max(LOWEST);
            let places = std::iter::from_fn(move || {
                let keys = (from <= HIGHEST).then(|| Keys::lay(form, moment.root, from))?;
                // What breaks a low limit here may lie clear an octave up.
                from = keys.map_or(from + 12, |keys| keys.bottom() as i16 + 1);
                Some(keys)
            });
            let clear = move |keys: &Keys| {
                let mut keys = keys.as_slice().iter();
                keys.all(|&key| moment.forbidden >> key & 1 == 0)
            };
            places
                .flatten()
                .filter(clear)
                .map(move |keys| (keys, index))
        })
}

/// What it costs to go from one voicing to the next: motion, and a top line that sits or jumps.
fn step(from: &VoicingChoice, to: &VoicingChoice, same_chord: bool) -> i32 {
    let top = (to.keys.top() - from.keys.top()).abs();
    let melody = match top {
        0 if same_chord => 12,
        0 => 3,
        1..=4 => 0,
        _ => 2 * (top - 4),
    };
    motion(from.keys.as_slice(), to.keys.as_slice()) + melody
}

/// The cheapest path: one choice for each moment. Moments without a choice are none, and the next one starts
/// afresh.
pub fn cheapest(moments: &[Moment], choices: &[Vec<VoicingChoice>]) -> Vec<Option<VoicingChoice>> {
    let mut path: Vec<Option<VoicingChoice>> = vec![None; moments.len()];
    // For each choice of each moment: least cost of reaching it, and from which choice of the one before.
    let mut reached: Vec<Vec<(i32, usize)>> = Vec::with_capacity(moments.len());
    for (index, here) in choices.iter().enumerate() {
        let before = index
            .checked_sub(1)
            .filter(|&before| !choices[before].is_empty());
        let costs = here.iter().map(|choice| {
            let arrivals = before.into_iter().flat_map(|before| {
                let froms = choices[before].iter().zip(&reached[before]).enumerate();
                froms.map(|(at, (from, &(cost, _)))| {
                    (cost + step(from, choice, moments[index].same_chord), at)
                })
            });
            let (cost, from) = arrivals.min().unwrap_or((0, 0));
            (cost + choice.cost, from)
        });
        reached.push(costs.collect());
    }
    let mut next: Option<usize> = None;
    for index in (0..moments.len()).rev() {
        let best = || {
            let costs = reached[index].iter().enumerate();
            costs.min_by_key(|(_, (cost, _))| *cost).map(|(at, _)| at)
        };
        let Some(at) = next.or_else(best) else {
            continue;
        };
        path[index] = Some(choices[index][at]);
        let starts_afresh = index == 0 || choices[index - 1].is_empty();
        next = (!starts_afresh).then_some(reached[index][at].1);
    }
    path
}
