//! What each chord does: its function, its local key and its scale.
//!
//! The keys along a chart are found together, as the cheapest path through key hypotheses (a dynamic
//! programme). For each chord and each of 36 hypotheses (twelve tonics, each major, minor or a blues), the
//! chord has readings: a chord of the key, V of another chord of the key, ii of such a V, a tritone
//! substitute, the backdoor dominant, a passing diminished chord and so on, each with a cost that says how
//! surprising it is; longer chords weigh more. Going on in another key has a cost as well, which grows with
//! the distance on the circle of fifths. The form comes round, so the last chord leads to the first, and the
//! path begins and ends in the home key.
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

use crate::{
    chart::Span,
    chord::{Chord, Family},
    key::{Key, MOST_SIGNS, Mode},
    scale::Scale,
};
pub use numeral::numeral;
use path::{Hypothesis, Step, cheapest_path};
use reading::{Heard, Neighbour};

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
    let sounding = Sounding::of(spans);
    let heard = sounding.heard();
    let (path, _) = cheapest_path(&heard, Hypothesis::of(home));
    let keys = spelled_keys(&sounding, &path, home);

    let mut key = home;
    let mut found = sounding.spans.iter().enumerate().peekable();
    spans
        .iter()
        .enumerate()
        .map(
            |(index, _)| match found.next_if(|(_, (span, _))| *span == index) {
                Some((place, _)) => {
                    key = keys[place];
                    let (heard, step) = (&heard[place].0, path[place]);
                    let choices = choice::choices(heard, step);
                    Understood {
                        function: numeral::function(heard.chord, key, step.1),
                        key,
                        scale: choices[0],
                        reason: reason::reason(heard, key, step, choices[0], sounding.after(place)),
                        choices,
                    }
                }
                None => Understood {
                    function: "N.C.".to_owned(),
                    key,
                    scale: key.scale(),
                    choices: vec![key.scale()],
                    reason: "no chord sounds".to_owned(),
                },
            },
        )
        .collect()
}

/// The home key that explains the chords best, for charts that do not name one. Of equals, the one whose
/// tonic begins the chart, then the one whose tonic ends it, then the one with the fewest signs.
pub fn find_key(spans: &[Span]) -> Key {
    let sounding = Sounding::of(spans);
    let heard = sounding.heard();
    let is_root = |place: Option<&(usize, &Chord)>, key: Key| {
        place.is_some_and(|(_, chord)| chord.root().chroma() == key.tonic.chroma())
    };
    let home = Key::all()
        .filter(|key| key.simplest() == *key)
        .min_by_key(|&key| {
            let (_, cost) = cheapest_path(&heard, Hypothesis::of(key));
            let begins = is_root(sounding.spans.first(), key);
            let ends = is_root(sounding.spans.last(), key);
            (cost, !begins, !ends, key.signature().abs())
        })
        .unwrap_or(
            Key::all()
                .next()
                .unwrap_or_else(|| unreachable!("thirty keys")),
        );
    let spellings =
        Key::all().filter(|key| key.mode == home.mode && key.tonic.chroma() == home.tonic.chroma());
    let written = |key: Key| {
        let notes = key.notes();
        sounding
            .spans
            .iter()
            .filter(|(_, chord)| notes.contains(&chord.root()))
            .count()
    };
    spellings
        .max_by_key(|&key| (written(key), -key.signature().abs()))
        .unwrap_or(home)
}

/// The chords of a chorus without its silences, each with the number of its span.
struct Sounding<'a> {
    spans: Vec<(usize, &'a Chord)>,
    beats: Vec<usize>,
}

impl<'a> Sounding<'a> {
    fn of(spans: &'a [Span]) -> Self {
        let chords = || {
            let numbered = spans.iter().enumerate();
            numbered.filter_map(|(index, span)| Some((index, span.chord.as_ref()?, span.beats)))
        };
        Sounding {
            spans: chords().map(|(index, chord, _)| (index, chord)).collect(),
            beats: chords().map(|(_, _, beats)| beats).collect(),
        }
    }

    /// The next chord that is more than this one again in another dress, the form going round.
    fn after(&self, place: usize) -> Option<&'a Chord> {
        let (ahead, behind) = (&self.spans[place + 1..], &self.spans[..place]);
        self.first_other(place, ahead.iter().chain(behind))
    }

    fn before(&self, place: usize) -> Option<&'a Chord> {
        let (ahead, behind) = (&self.spans[place + 1..], &self.spans[..place]);
        self.first_other(place, behind.iter().rev().chain(ahead.iter().rev()))
    }

    fn first_other<'b>(
        &self,
        place: usize,
        others: impl Iterator<Item = &'b (usize, &'a Chord)>,
    ) -> Option<&'a Chord>
    where
        'a: 'b,
    {
        // A suspended dominant and its resolution are one chord here.
        let dress = |chord: &Chord| match chord.family() {
            Family::Suspended => Family::Dominant,
            family => family,
        };
        let (_, this) = self.spans[place];
        others
            .map(|(_, chord)| *chord)
            .find(|other| other.root() != this.root() || dress(other) != dress(this))
    }

    fn heard(&self) -> Vec<(Heard<'a>, usize)> {
        (0..self.spans.len())
            .map(|place| {
                let heard = Heard {
                    chord: self.spans[place].1,
                    before: self.before(place).map(Neighbour::of),
                    after: self.after(place).map(Neighbour::of),
                };
                (heard, self.beats[place])
            })
            .collect()
    }
}

/// Names for the keys of a path: the home key as given; elsewhere, for each stretch in one key, the spelling
/// (of up to seven signs) that agrees with most roots written there, then the one nearest to home.
fn spelled_keys(sounding: &Sounding, path: &[Step], home: Key) -> Vec<Key> {
    let sound = |(hypothesis, _): &Step| (hypothesis.tonic, hypothesis.mode());
    let mut keys = Vec::with_capacity(path.len());
    for stretch in path.chunk_by(|a, b| sound(a) == sound(b)) {
        let (tonic, mode) = sound(&stretch[0]);
        let chords = &sounding.spans[keys.len()..keys.len() + stretch.len()];
        keys.extend(vec![spell_key(tonic, mode, chords, home); stretch.len()]);
    }
    keys
}

fn spell_key(tonic: u8, mode: Mode, chords: &[(usize, &Chord)], home: Key) -> Key {
    if home.mode == mode && home.tonic.chroma() == tonic {
        return home;
    }
    let agreeing = |key: Key| {
        let notes = key.notes();
        chords
            .iter()
            .filter(|(_, chord)| notes.contains(&chord.root()))
            .count()
    };
    Key::all()
        .filter(|key| key.mode == mode && key.tonic.chroma() == tonic)
        .max_by_key(|&key| {
            let away = (key.signature() - home.signature()).abs();
            debug_assert!(key.signature().abs() <= MOST_SIGNS);
            (agreeing(key), -away)
        })
        .unwrap_or(home) // every sound of the octave has a key among the thirty
}

#[cfg(test)]
mod tests;
