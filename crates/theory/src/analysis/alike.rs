//! The same chords in the same surroundings read alike.
//!
//! A chord with the two before it and the two after it is one surrounding. Where a path reads one surrounding
//! in two ways, the key that most of its beats are read in is settled for all of them, and the path is looked
//! for again.

use super::path::{Footing, Hypothesis, Priced, Sense, cheapest_path};
use super::sounding::Heard;
use crate::chord::Chord;
use std::collections::BTreeMap;

/// Times that the path is looked for; what is left then is settled chord by chord.
const ROUNDS: usize = 4;

/// The cheapest path that reads the same surroundings alike.
pub(super) fn path(heard: &[Heard], footing: &Footing) -> Vec<Sense> {
    let priced: Vec<Priced> = heard.iter().map(Priced::of).collect();
    let groups = surroundings(heard, footing);
    let mut footing = Footing {
        home: footing.home,
        settled: footing.settled.clone(),
        blues: footing.blues.clone(),
    };
    let (mut path, _) = cheapest_path(heard, &priced, &footing);
    for _ in 1..ROUNDS {
        let mut agreed = true;
        for group in &groups {
            if group.iter().all(|&place| path[place].0 == path[group[0]].0) {
                continue;
            }
            agreed = false;
            let key = most_heard(group, heard, &path, &footing);
            for &place in group {
                footing.settled[place] = Some(key);
            }
        }
        if agreed {
            break;
        }
        path = cheapest_path(heard, &priced, &footing).0;
    }
    for group in &groups {
        for &place in group {
            path[place] = path[group[0]];
        }
    }
    path
}

/// The key that most beats of a group are read in; of equals home, then the first.
fn most_heard(group: &[usize], heard: &[Heard], path: &[Sense], footing: &Footing) -> Hypothesis {
    let plain = |place: usize| match path[place].0 {
        key if key == footing.colored(place, footing.home) => footing.home,
        key => key,
    };
    let beats = |key: Hypothesis| -> usize {
        let members = group.iter().filter(|&&place| plain(place) == key);
        members.map(|&place| heard[place].beats).sum()
    };
    let keys = group.iter().map(|&place| plain(place));
    let mut best = footing.home;
    for key in keys {
        if beats(key) > beats(best) {
            best = key;
        }
    }
    best
}

/// Places that stand in the same surroundings, in groups of two and more.
fn surroundings(heard: &[Heard], footing: &Footing) -> Vec<Vec<usize>> {
    let mut groups: BTreeMap<(bool, [&Chord; 5]), Vec<usize>> = BTreeMap::new();
    for place in 2..heard.len().saturating_sub(2) {
        let around = std::array::from_fn(|offset| heard[place + offset - 2].written);
        groups
            .entry((footing.blues[place], around))
            .or_default()
            .push(place);
    }
    groups
        .into_values()
        .filter(|group| group.len() > 1)
        .collect()
}

/// The length of the shortest passage that the whole form repeats.
pub(super) fn period(heard: &[Heard], footing: &Footing) -> usize {
    let count = heard.len();
    let same = |a: usize, b: usize| {
        heard[a].written == heard[b].written
            && heard[a].beats == heard[b].beats
            && footing.blues[a] == footing.blues[b]
    };
    (1..count)
        .filter(|&period| count.is_multiple_of(period))
        .find(|&period| (period..count).all(|place| same(place, place - period)))
        .unwrap_or(count)
}
