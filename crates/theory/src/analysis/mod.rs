//! What each chord does: its function, its local key and its scale.
//!
//! The keys along a chart are found together, as the cheapest path through key hypotheses (a dynamic
//! programme). For each chord and each of 36 hypotheses (twelve tonics, each major, minor or a blues), the
//! chord has readings, each with a cost that says how surprising it is; a chord's cost is weighed by its
//! length. Going on in another key has a cost as well. The form comes round, so the last chord leads to the
//! first, and the path begins and ends in the home key.
//!
#![doc = include_str!("costs.md")]
//!
//! ## Names of functions
//!
//! A function is a Roman numeral in the local key, small for a minor third, with the quality after it
//! (`ii7`, `Imaj7`, `iiø7`, `#ivo7`), and in parentheses what the chord is to another: `VI7 (V7/ii)`,
//! `v7 (ii7/IV)`, `bII7 (subV7/I)`, `bVII7 (backdoor)`, `iv6 (borrowed)`, `biiio7 (passing)`. In minor keys
//! III, VI and VII stand on the degrees of natural minor, the small vi and vii on the raised ones.
//!
//! ## Scales
//!
//! V of a major chord is mixolydian; V of ii half-whole diminished; V of a minor chord, and the V of a minor
//! key, phrygian dominant; tritone substitutes, the backdoor and bVI7 lydian dominant; a dominant that moves
//! on to another dominant mixolydian. ii is dorian, iii phrygian, vi aeolian, a minor tonic dorian (with a
//! sixth or major seventh, melodic minor), IV and borrowed major chords lydian, half-diminished chords
//! locrian, diminished sevenths whole-half diminished. Whatever the symbol alters wins over all of this.
//!
//! Sources: the numerals are read back by music21 (a test in `tests/outside`), and `tests/reference/roman.csv`
//! gives their chords; readings, costs and the choice of scales are common practice, no source, and tested
//! on progressions analysed by hand.
//!
//! ```
//! use endpin_theory::{Chart, analysis::analyse};
//! let chart = Chart::from_bars("Cmaj7 A7 | Dm7 G7", "4/4".parse().unwrap()).unwrap();
//! let understood = analyse(&chart.chorus().spans, "C".parse().unwrap());
//! let functions: Vec<&str> = understood.iter().map(|u| u.function.as_str()).collect();
//! assert_eq!(functions, ["Imaj7", "VI7 (V7/ii)", "ii7", "V7"]);
//! assert_eq!(understood[1].scale.to_string(), "A half-whole diminished");
//! ```

mod choice;
mod numeral;
mod path;
mod reading;
mod reason;
mod sounding;

use crate::{
    chart::Span,
    key::{Key, Mode},
    pitch::{Letter, NoteName},
    scale::Scale,
};
pub use numeral::numeral;
use path::{Hypothesis, Priced, Step, cheapest_path};
use sounding::Heard;

/// A chord as understood in its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Understood {
    /// Its numeral in the local key and, in parentheses, what it is to another chord: `VI7 (V7/ii)`.
    pub function: String,
    /// The local key.
    pub key: Key,
    /// The scale it takes: the first of the choices.
    pub scale: Scale,
    /// Every scale that suits it here, best first.
    pub choices: Vec<Scale>,
    /// One sentence that says why.
    pub reason: String,
}

/// Understands every span of a chorus, given the home key; one answer a span, also for `N.C.`.
pub fn analyse(spans: &[Span], home: Key) -> Vec<Understood> {
    let heard = sounding::hear(spans);
    let priced: Vec<Priced> = heard.iter().map(Priced::of).collect();
    let (path, _) = cheapest_path(&priced, Hypothesis::of(home));
    let keys = spelled_keys(&heard, &path, home);

    let mut key = home;
    let mut places = 0..heard.len();
    let understood = spans.iter().map(|span| {
        let Some(place) = span.chord.as_ref().and_then(|_| places.next()) else {
            return silent(key);
        };
        key = keys[place];
        let (heard, step) = (&heard[place], path[place]);
        let choices = choice::choices(heard, step);
        Understood {
            function: numeral::function(heard.chord, key, step.1),
            key,
            scale: choices[0],
            reason: reason::reason(heard, key, step, choices[0]),
            choices,
        }
    });
    understood.collect()
}

/// `N.C.`: the key of the chord before it goes on.
fn silent(key: Key) -> Understood {
    Understood {
        function: "N.C.".to_owned(),
        key,
        scale: key.scale(),
        choices: vec![key.scale()],
        reason: "no chord sounds".to_owned(),
    }
}

/// Chords of a chart that decide its key; more would only take longer.
const DECIDING: usize = 1000;

/// The home key that explains the chords best, for charts that do not name one. Of equals, the one whose
/// tonic begins the chart, then the one whose tonic ends it, then the one with the fewest signs. Without any
/// chord it is C.
pub fn find_key(spans: &[Span]) -> Key {
    let heard = sounding::hear(&spans[..spans.len().min(DECIDING)]);
    let priced: Vec<Priced> = heard.iter().map(Priced::of).collect();
    let is_root = |heard: Option<&Heard>, key: Key| {
        heard.is_some_and(|heard| heard.sound.root == key.tonic.chroma())
    };
    let c = Key::major(NoteName::new(Letter::C, 0));
    let home = Key::all()
        .filter(|key| key.simplest() == *key)
        .min_by_key(|&key| {
            let (_, cost) = cheapest_path(&priced, Hypothesis::of(key));
            let begins = is_root(heard.first(), key);
            let ends = is_root(heard.last(), key);
            (cost, !begins, !ends, key.signature().abs(), key.mode)
        })
        .unwrap_or(c);
    spelled(home.tonic.chroma(), home.mode, &heard, |key| {
        -key.signature().abs()
    })
    .unwrap_or(home)
}

/// Names for the keys of a path: the home key as given; elsewhere, for each stretch in one key, the spelling
/// that agrees with most roots written there, then the one nearest to home.
fn spelled_keys(heard: &[Heard], path: &[Step], home: Key) -> Vec<Key> {
    let sound = |(hypothesis, _): &Step| (hypothesis.tonic, hypothesis.mode());
    let away = |key: Key| -(key.signature() - home.signature()).abs();
    let mut keys = Vec::with_capacity(path.len());
    for stretch in path.chunk_by(|a, b| sound(a) == sound(b)) {
        let (tonic, mode) = sound(&stretch[0]);
        let chords = &heard[keys.len()..keys.len() + stretch.len()];
        let key = if (home.tonic.chroma(), home.mode) == (tonic, mode) {
            home
        } else {
            // Every sound of the octave has a key among the thirty.
            spelled(tonic, mode, chords, away).unwrap_or(home)
        };
        keys.extend(vec![key; stretch.len()]);
    }
    keys
}

/// Of the keys with up to seven signs that sound so, the one whose notes are most of the written roots, then
/// the one that `preference` puts highest.
fn spelled(tonic: u8, mode: Mode, chords: &[Heard], preference: impl Fn(Key) -> i8) -> Option<Key> {
    Key::all()
        .filter(|key| key.mode == mode && key.tonic.chroma() == tonic)
        .max_by_key(|&key| {
            let notes = key.notes();
            let own = chords
                .iter()
                .filter(|heard| notes.contains(&heard.chord.root()));
            (own.count(), preference(key))
        })
}

#[cfg(test)]
mod tests;
