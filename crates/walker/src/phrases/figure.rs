//! What a bar keeps to that takes up another: for each of its onsets, which notes follow the figure.

use super::{
    form::Form,
    motif::{Motif, PARTS},
    scheme::Manner,
};
use crate::{
    lattice::Edge,
    line::layout::{Layout, Slot},
    rules::{Keys, Leads, Sound, Within},
};
use std::ops::Range;

/// What an onset keeps to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Want {
    /// No note starts.
    Silence,
    /// One of these keys.
    Keys(Keys),
    /// A move of this kind from the note before; see [`kind_of_move`].
    Move(i8),
    /// Any note.
    Note,
    /// Any note, or none.
    Any,
}

impl Want {
    /// Whether a key, or [`Edge::SILENT`], follows after the last key.
    pub fn allows(self, from: u8, key: u8) -> bool {
        let sounds = key != Edge::SILENT;
        match self {
            Want::Silence => !sounds,
            Want::Keys(keys) => sounds && keys.contains(key),
            Want::Move(kind) => sounds && kind_of_move(from, key) == kind,
            Want::Note => sounds,
            Want::Any => true,
        }
    }
}

/// The shape of a move: 0 stays, 1 and -1 go up and down by a step, 2 and -2 farther.
pub(crate) fn kind_of_move(from: u8, to: u8) -> i8 {
    match i16::from(to) - i16::from(from) {
        3.. => 2,
        1 | 2 => 1,
        0 => 0,
        -2 | -1 => -1,
        _ => -2,
    }
}

/// A way in which a stretch of bars may follow a figure: what each of its onsets keeps to.
pub(crate) type Reading = Vec<Want>;

/// How far a degree may lie from the same interval: a third may become minor, and no more.
const BENDS: u8 = 2;

/// Bars of a line that are taken up.
#[derive(Clone, Copy)]
pub(crate) struct Model<'a> {
    pub form: &'a Form,
    pub layout: &'a Layout,
    /// The key of each onset of its chorus.
    pub keys: &'a [u8],
    /// Its onsets: the first, and the one after the last.
    pub slots: (usize, usize),
}

/// Bars of a chorus, and what sounds in them.
#[derive(Clone, Copy)]
pub(crate) struct Place<'a> {
    pub form: &'a Form,
    pub layout: &'a Layout,
    /// The key of each onset of its chorus as it is.
    pub keys: &'a [u8],
    /// Bars from 0: the first, and the one after the last.
    pub bars: (usize, usize),
}

impl Place<'_> {
    /// Their onsets.
    pub fn slots(&self) -> Range<usize> {
        let (first, last) = self.bars;
        self.form.bars[first].slots.start..self.form.bars[last - 1].slots.end
    }

    fn slot(&self, slot: usize) -> &Slot {
        &self.layout.slots[slot]
    }
}

/// Whether an onset leads into a change.
pub(crate) fn leads(slot: &Slot) -> bool {
    slot.onset.leads != Leads::Nowhere
}

/// How strictly a figure is followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Strictness {
    /// Note for note.
    Whole,
    /// But for the note that leads on.
    UntilItLeads,
}

impl Strictness {
    /// The strictest first.
    pub const ALL: [Strictness; 2] = [Strictness::Whole, Strictness::UntilItLeads];

    fn frees(self, slot: &Slot) -> bool {
        self == Strictness::UntilItLeads && leads(slot)
    }
}

/// All readings of some bars in a manner; no two of them have a line in common.
pub(crate) fn readings(
    model: Model<'_>,
    place: Place<'_>,
    manner: Manner,
    strictness: Strictness,
) -> Vec<Reading> {
    let slots = place.slots();
    let bar_of = |form: &Form, slot: usize| form.bars.partition_point(|bar| bar.slots.end <= slot);
    let pairs: Option<Vec<Option<usize>>> = slots
        .clone()
        .map(|slot| counterpart(model, place, slot))
        .collect();
    let Some(pairs) = pairs else {
        return Vec::new();
    };
    // What sounds in the model between its beats has to have a place.
    let (first, last) = model.slots;
    let homeless =
        (first..last).any(|slot| model.keys[slot] != Edge::SILENT && !pairs.contains(&Some(slot)));
    if homeless {
        return Vec::new();
    }
    let (of_place, of_model) = (
        &place.form.bars[place.bars.0],
        &model.form.bars[bar_of(model.form, first)],
    );
    let above = of_place.root_above(of_model);
    let shifts: Vec<i16> = match manner {
        Manner::Again if above != 0 => Vec::new(),
        Manner::Again => vec![0],
        Manner::Degrees if above == 0 => vec![-12, 0, 12],
        Manner::Degrees => vec![above - 12, above],
        Manner::Shape | Manner::Mirror => vec![0],
        Manner::Rhythm if !skips(model) => Vec::new(),
        Manner::Rhythm => vec![0],
    };
    let reading = |shift: i16| -> Reading {
        let wants = slots.clone().zip(&pairs);
        wants
            .map(|(slot, &pair)| {
                let key = pair.map_or(Edge::SILENT, |pair| model.keys[pair]);
                let (Some(pair), false) = (pair, key == Edge::SILENT) else {
                    return Want::Silence;
                };
                let on_beat = place.slot(slot).onset.within == Within::Beat;
                match manner {
                    Manner::Rhythm if on_beat => {
                        let kept = place.keys[slot];
                        Want::Keys([kept].into_iter().filter(|&key| key < 128).collect())
                    }
                    _ if manner == Manner::Rhythm || strictness.frees(place.slot(slot)) => {
                        Want::Note
                    }
                    Manner::Again | Manner::Degrees => {
                        let exact = |other: u8| i16::from(other) == i16::from(key) + shift;
                        let from = model.layout.slots[pair].span;
                        let over = place.slot(slot).span;
                        let number = model.form.number(from, key);
                        let near = |other: u8| {
                            let bent = i16::from(other) - i16::from(key) - shift;
                            number != 0
                                && bent.unsigned_abs() <= u16::from(BENDS)
                                && place.form.number(over, other) == number
                        };
                        let bends = manner == Manner::Degrees;
                        let keys = place.slot(slot).onset.keys;
                        Want::Keys(keys.retain(|other| exact(other) || (bends && near(other))))
                    }
                    _ => {
                        let before = (first..pair).rev();
                        let mut before = before.map(|slot| model.keys[slot]);
                        let opens = place.slot(slot).onset.opens_bar;
                        match before.find(|&key| key != Edge::SILENT) {
                            Some(before) if !opens => {
                                let kind = kind_of_move(before, key);
                                let turned = manner == Manner::Mirror;
                                Want::Move(if turned { -kind } else { kind })
                            }
                            _ => Want::Note,
                        }
                    }
                }
            })
            .collect()
    };
    shifts.into_iter().map(reading).collect()
}

/// Whether something sounds between the beats of a model.
fn skips(model: Model<'_>) -> bool {
    let (first, last) = model.slots;
    let between = |slot: usize| model.layout.slots[slot].onset.within != Within::Beat;
    (first..last).any(|slot| between(slot) && model.keys[slot] != Edge::SILENT)
}

/// The onset of the model that lies where an onset of the place does. The outer option is none where a note has to
/// start and the model has no onset.
fn counterpart(model: Model<'_>, place: Place<'_>, slot: usize) -> Option<Option<usize>> {
    let here = place.slot(slot);
    let bar = place.form.bars.partition_point(|bar| bar.slots.end <= slot) - place.bars.0;
    let (first, last) = model.slots;
    let opens = model.layout.slots[first].bar as usize;
    let found = (first..last).find(|&slot| {
        let there = &model.layout.slots[slot];
        there.bar as usize - opens == bar && there.in_bar == here.in_bar
    });
    match found {
        None if here.onset.sound == Sound::Note => None,
        found => Some(found),
    }
}

/// All readings of a motif that begins with a bar, one for each place of its root; they cover as many onsets as the
/// motif lasts. None if a note would stand where there is no onset.
pub(crate) fn of_motif(motif: &Motif, place: Place<'_>) -> Vec<Reading> {
    let slots = place.slots();
    let opening = place.slot(slots.start).bar;
    let parts_before = |slot: &Slot| {
        let bars = &place.layout.bars[opening as usize - 1..slot.bar as usize - 1];
        let beats: i64 = bars.iter().map(|bar| i64::from(bar.meter.beats())).sum();
        beats * PARTS + slot.in_bar.0 * PARTS / slot.beat_length.0
    };
    let places: Vec<i64> = slots
        .clone()
        .map(|slot| parts_before(place.slot(slot)))
        .collect();
    if !motif.notes().iter().all(|note| places.contains(&note.at)) {
        return Vec::new();
    }
    let reading = |root: u8| -> Option<Reading> {
        let covered = slots.clone().zip(&places);
        let covered = covered.take_while(|(_, at)| **at < motif.length());
        let wants = covered.map(|(slot, &at)| {
            let here = place.slot(slot);
            let Some(note) = motif.note_at(at) else {
                return Some(Want::Silence);
            };
            let key = note.key_above(place.form, here, root)?;
            let keys: Keys = [key].into_iter().collect();
            let keys = keys.retain(|key| here.onset.keys.contains(key));
            (!keys.is_empty()).then_some(Want::Keys(keys))
        });
        wants.collect()
    };
    let root = place.form.bars[place.bars.0].root();
    let roots = (0..128u8).filter(|key| key % 12 == root);
    roots.filter_map(reading).collect()
}
