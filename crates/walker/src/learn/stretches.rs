//! Takes cut to stretches that keep the rules, each with the lattice of all that could have stood there.
//!
//! A note that breaks a rule is no evidence for a weight, since no weight could have made it likely. The line is
//! held fixed on both sides of it: a stretch goes from one note that is given to another, and what is learnt
//! from are the notes between, against all other ways from the one to the other.

use crate::{
    judge::Heard,
    lattice::{Edge, Lattice, Skeleton, State, TooLarge},
    line::layout::Layout,
    rules::{Keys, Onset, Sound},
};
use rustc_hash::FxHashMap;
use std::sync::Arc;

/// What is said of the notes at an onset by where they lie: the number of a saying, by MIDI key.
pub(super) type Along = [u32; 128];

/// Notes between two that are given, and all that could have stood in their place.
#[derive(Debug)]
pub(super) struct Stretch {
    pub lattice: Arc<Lattice>,
    /// One a layer.
    pub along: Vec<Arc<Along>>,
    /// The key that starts at each onset after the first, or [`Edge::SILENT`]; the last is given.
    pub keys: Vec<u8>,
    /// How many notes are learnt from.
    pub notes: usize,
    /// The chorus it belongs to, counted through all takes.
    pub chorus: usize,
}

/// Cuts takes.
#[derive(Debug, Default)]
pub(super) struct Cutter {
    along: FxHashMap<Onset, Arc<Along>>,
    /// Lattices by chart, first and last onset, beginning and last key.
    lattices: FxHashMap<(usize, usize, usize, State, u8), Arc<Lattice>>,
    /// How many charts there were.
    charts: usize,
}

/// A line that is being followed: where it stands, and the steps since the note that is given.
struct Walk {
    first: usize,
    begun: State,
    state: State,
    keys: Vec<u8>,
}

impl Cutter {
    /// The stretches of a take of so many choruses, whose notes are in order of time.
    pub fn cut(
        &mut self,
        skeleton: &mut Skeleton,
        layout: &Layout,
        heard: &[Heard],
        choruses: u32,
        before: usize,
    ) -> Result<Vec<Stretch>, TooLarge> {
        let mut stretches = Vec::new();
        self.charts += 1;
        let onsets: Vec<Onset> = layout.slots.iter().map(|slot| slot.onset.clone()).collect();
        // A chorus begins with what the rules remember of the one before, if that led into it by the rules.
        let mut joined = None;
        for number in 1..=choruses {
            let keys = keys_of(layout, heard, number);
            // The chorus leads into the first note of the next.
            let next = layout.before(layout, false);
            let next_key = keys_of(layout, heard, number + 1).first().copied();
            let next_key = next_key.flatten().filter(|_| number < choruses);
            let onsets = [&onsets[..], &[next]].concat();
            let keys = [&keys[..], &[next_key]].concat();
            let chorus = before + number as usize - 1;
            joined = self.chorus(skeleton, (&onsets, &keys), joined, chorus, &mut stretches)?;
        }
        Ok(stretches)
    }

    fn chorus(
        &mut self,
        skeleton: &mut Skeleton,
        (onsets, keys): (&[Onset], &[Option<u8>]),
        joined: Option<State>,
        chorus: usize,
        stretches: &mut Vec<Stretch>,
    ) -> Result<Option<State>, TooLarge> {
        let from = |first: usize, begun: State| Walk {
            first,
            begun,
            state: begun,
            keys: Vec::new(),
        };
        let mut walk = joined.map(|state| from(0, skeleton.afresh(state)));
        let begin = |skeleton: &Skeleton, before: Option<State>, at: usize| {
            let key = keys[at]?;
            Some(from(at, skeleton.begun(before, &onsets[at], key)))
        };
        for (at, onset) in onsets.iter().enumerate().skip(walk.is_some().into()) {
            let Some(mut walking) = walk.take() else {
                walk = begin(skeleton, None, at);
                continue;
            };
            match skeleton.after(walking.state, onset, keys[at]) {
                Some(state) => {
                    walking.state = state;
                    walking.keys.push(keys[at].unwrap_or(Edge::SILENT));
                    walk = Some(walking);
                }
                None => {
                    let before = walking.state;
                    stretches.extend(self.stretch(skeleton, onsets, walking, chorus)?);
                    walk = begin(skeleton, Some(before), at);
                }
            }
        }
        let Some(walking) = walk else { return Ok(None) };
        let led = (walking.first + walking.keys.len() + 1 == onsets.len())
            .then_some(walking.state)
            .filter(|_| !walking.keys.is_empty() && keys[onsets.len() - 1].is_some());
        stretches.extend(self.stretch(skeleton, onsets, walking, chorus)?);
        Ok(led)
    }

    /// The stretch up to the last note of a walk that may end one; none if nothing lies between.
    fn stretch(
        &mut self,
        skeleton: &mut Skeleton,
        onsets: &[Onset],
        mut walk: Walk,
        chorus: usize,
    ) -> Result<Option<Stretch>, TooLarge> {
        while walk.keys.last() == Some(&Edge::SILENT) {
            walk.keys.pop();
        }
        let Some((&last, between)) = walk.keys.split_last() else {
            return Ok(None);
        };
        let notes = between.iter().filter(|&&key| key != Edge::SILENT).count();
        if notes == 0 {
            return Ok(None);
        }
        let end = walk.first + walk.keys.len();
        let given = Onset {
            keys: Keys::between(last, last),
            sound: Sound::Note,
            ..onsets[end].clone()
        };
        let way = &onsets[walk.first..end];
        let along = onsets[walk.first + 1..=end].iter();
        let along = along.map(|onset| self.along(skeleton, onset)).collect();
        let place = (self.charts, walk.first, end, walk.begun, last);
        let lattice = match self.lattices.get(&place) {
            Some(known) => known.clone(),
            None => {
                let built = Lattice::build(skeleton, way, &[walk.begun], &given)?;
                let built = Arc::new(built);
                self.lattices.insert(place, built.clone());
                built
            }
        };
        Ok(Some(Stretch {
            lattice,
            along,
            keys: walk.keys,
            notes,
            chorus,
        }))
    }

    fn along(&mut self, skeleton: &mut Skeleton, onset: &Onset) -> Arc<Along> {
        if let Some(known) = self.along.get(onset) {
            return known.clone();
        }
        let along = std::array::from_fn(|key| skeleton.saying_along(onset, key as u8));
        let along = Arc::new(along);
        self.along.insert(onset.clone(), along.clone());
        along
    }
}

/// What starts at each onset of a chorus.
fn keys_of(layout: &Layout, heard: &[Heard], chorus: u32) -> Vec<Option<u8>> {
    let first = heard.partition_point(|note| note.chorus < chorus);
    let notes: Vec<&Heard> = heard[first..]
        .iter()
        .take_while(|note| note.chorus == chorus)
        .collect();
    let starting = |start| {
        let at = notes.partition_point(|note| note.start < start);
        notes.get(at).filter(|note| note.start == start)
    };
    let slots = layout.slots.iter();
    slots
        .map(|slot| starting(slot.start).map(|note| note.key))
        .collect()
}
