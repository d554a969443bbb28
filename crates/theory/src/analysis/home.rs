//! The home key of a chart that names none.

use super::path::{Footing, Hypothesis, Priced, cheapest_path};
use super::sounding::{self, Heard};
use super::spelled;
use crate::{
    chart::Span,
    key::{Key, Mode},
    pitch::{Letter, NoteName},
};

/// Chords of a chart that decide its key; more would only take longer.
const DECIDING: usize = 1000;

/// The home key that was found, and the next best where it came close.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FoundKey {
    /// The key that explains the chords best.
    pub key: Key,
    /// Another that explains them nearly as well.
    pub runner_up: Option<Key>,
}

/// The home key that explains the chords best, for charts that do not name one; without any chord C.
pub fn find_key(spans: &[Span]) -> Key {
    find_keys(spans).key
}

/// The same with the runner-up, where one comes close.
///
/// What counts: the key that begins the form, the key that ends it, the tonic on which most beats rest, the keys
/// in which cadences arrive, and how cheaply the chords are read from home (see the costs above).
pub fn find_keys(spans: &[Span]) -> FoundKey {
    let heard = sounding::hear(spans);
    let heard = &heard[..heard.len().min(DECIDING)];
    let priced: Vec<Priced> = heard.iter().map(Priced::of).collect();
    let mut ranked: Vec<(i64, Key)> = Key::all()
        .filter(|key| key.simplest() == *key)
        .map(|key| (cost(heard, &priced, key), key))
        .collect();
    ranked.sort_by_key(|&(cost, key)| (cost, key.signature().abs(), key.mode, key));
    let name = |key: Key| {
        let chords: Vec<&Heard> = heard.iter().collect();
        spelled(key.tonic.chroma(), key.mode, &chords, |key| {
            -key.signature().abs()
        })
        .unwrap_or(key)
    };
    match ranked[..] {
        [(first, key), (second, other), ..] if !heard.is_empty() => FoundKey {
            key: name(key),
            runner_up: (second - first <= WHOLE * CLOSE).then(|| name(other)),
        },
        _ => FoundKey {
            key: Key::major(NoteName::new(Letter::C, 0)),
            runner_up: None,
        },
    }
}

/// What counts is in hundredths, so that a chord's cost, which tells least, can count too.
const WHOLE: i64 = 100;
/// For each unit of what the chords cost, in hundredths.
const COST: i64 = 3;
/// For each beat that is heard away from home, in hundredths.
const AWAY: i64 = 20;
/// Off, for a tonic that begins the form.
const BEGINS: i64 = 335;
/// Off, for one that ends it.
const ENDS: i64 = 315;
/// Off, for the tonic in which the last cadence arrives.
const LAST_CADENCE: i64 = 120;
/// Off, if every cadence of the form arrives there; in proportion if some do.
const CADENCES: i64 = 285;
/// Off, if all beats of the form rest on its tonic chord; in proportion if some do.
const RESTS: i64 = 740;
/// For a minor key: most charts are in major.
const MINOR: i64 = 55;
/// Off, for a twelve-bar blues.
const BLUES: i64 = 135;
/// A runner-up within this is close.
const CLOSE: i64 = 55;

fn cost(heard: &[Heard], priced: &[Priced], key: Key) -> i64 {
    let home = Hypothesis::of(key);
    let footing = Footing::of(heard, home);
    let (path, cost) = cheapest_path(heard, priced, &footing);
    let away: usize = path
        .iter()
        .zip(heard)
        .filter(|((key, _), _)| (key.tonic, key.mode()) != (home.tonic, home.mode()))
        .map(|(_, heard)| heard.beats)
        .sum();
    let tonic = |heard: Option<&Heard>| heard.is_some_and(|heard| home.is_at_rest(heard));
    // A dominant after its own ii is V, not a tonic that sounds as a seventh chord.
    let seventh = |heard: Option<&Heard>| {
        heard.is_some_and(|heard| home.is_seventh_tonic(heard.sound) && !heard.follows_its_two())
    };
    let arrival = |heard: &Heard| {
        [Mode::Major, Mode::Minor].into_iter().find_map(|mode| {
            let tonic = heard.chord.root();
            let there = Hypothesis::of(Key { tonic, mode });
            there.arrives(heard).then_some(there)
        })
    };
    let arrivals: Vec<Hypothesis> = heard.iter().filter_map(arrival).collect();
    let here = arrivals.iter().filter(|there| **there == home).count();
    let beats = |is_counted: &dyn Fn(&Heard) -> bool| -> usize {
        let counted = heard.iter().filter(|heard| is_counted(heard));
        counted.map(|heard| heard.beats).sum()
    };
    let rests = beats(&|heard| tonic(Some(heard)) || seventh(Some(heard)));
    let share = |worth: i64, part: usize, whole: usize| {
        let part = WHOLE * worth * part as i64;
        part.checked_div(whole as i64).unwrap_or(0)
    };
    let shares = share(CADENCES, here, arrivals.len()) + share(RESTS, rests, beats(&|_| true));
    let (first, last) = (heard.first(), heard.last());
    let evidence = [
        (tonic(first) || seventh(first), BEGINS),
        (tonic(last), ENDS),
        (arrivals.last() == Some(&home), LAST_CADENCE),
        (footing.blues.contains(&true), BLUES),
        (key.mode == Mode::Minor, -MINOR),
    ];
    let evidence: i64 = evidence
        .iter()
        .map(|&(found, worth)| if found { worth } else { 0 })
        .sum();
    COST * i64::from(cost) + AWAY * away as i64 - WHOLE * evidence - shares
}

/// What the documentation's table names.
#[cfg(test)]
pub(super) const WORTHS: &[(&str, i64)] = &[
    ("BEGINS", BEGINS),
    ("ENDS", ENDS),
    ("LAST_CADENCE", LAST_CADENCE),
    ("CADENCES", CADENCES),
    ("RESTS", RESTS),
    ("MINOR", -MINOR),
    ("BLUES", BLUES),
];
