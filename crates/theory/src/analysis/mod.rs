//! What each chord does: its function, its local key and its scale.
//!
//! The home key is heard first: a tonic chord of it is I wherever it stands, and another key has to earn itself.
//! Keys along a chart are found together, as the cheapest path through 24 of them, major and minor (a dynamic
//! programme). For each chord and each key, the chord has readings, each with a cost that says how surprising
//! it is; a chord's cost is weighed by its length. Going into another key costs more the farther it lies, going
//! home costs nothing, and no key is left before a cadence has arrived in it. ii-V-I names its own tonic. The
//! form comes round, so the last chord leads to the first. The same chords in the same surroundings of one form
//! read alike.
//!
#![doc = include_str!("costs.md")]
//!
//! ## Names of functions
//!
//! A function is a Roman numeral in the local key, small for a minor third, with the quality after it
//! (`ii7`, `Imaj7`, `iiø7`, `#ivo7`), and in parentheses what the chord is to another: `VI7 (V7/ii)`,
//! `v7 (ii7/IV)`, `bII7 (subV7/I)`, `bVII7 (backdoor)`, `iv6 (borrowed)`, `biiio7 (passing)`,
//! `io7 (common tone)`. A triad over the root of a dominant is named as the suspended chord that sounds. In minor keys
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

mod alike;
mod choice;
mod cliche;
mod form;
mod home;
mod numeral;
mod path;
mod reading;
mod reason;
mod sounding;

use crate::{
    chart::Span,
    key::{Key, Mode},
    scale::Scale,
};
pub use home::{FoundKey, find_key, find_keys};
pub use numeral::numeral;
use path::{Footing, Hypothesis, Sense};
pub(crate) use reading::Reading;
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
    let (heard, steps) = read(spans, home);
    let mut key = home;
    let mut places = (0..heard.len()).cycle();
    let understood = spans.iter().map(|span| {
        let Some(place) = span.chord.as_ref().and_then(|_| places.next()) else {
            return silent(key);
        };
        let (chord, (own, step)) = (&heard[place], steps[place]);
        key = own;
        let choices = choice::choices(chord, step);
        Understood {
            function: numeral::function(&chord.chord, key, step.1),
            key,
            scale: choices[0],
            reason: reason::reason(&heard, place, home, key, step, choices[0]),
            choices,
        }
    });
    understood.collect()
}

/// What a chord does, for those who change it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Duty {
    /// Semitones of its root above the tonic of the local key.
    pub(crate) degree: u8,
    /// What it is there.
    pub(crate) reading: Reading,
    /// Whether it stands in a twelve-bar blues.
    pub(crate) blues: bool,
    /// Whether the local key is major.
    pub(crate) major: bool,
}

/// The duties of all spans; none for `N.C.`.
pub(crate) fn duties(spans: &[Span], home: Key) -> Vec<Option<Duty>> {
    let (heard, steps) = read(spans, home);
    let duties = heard
        .iter()
        .zip(steps)
        .map(|(heard, (_, (key, reading)))| Duty {
            degree: (heard.sound.root + 12 - key.tonic) % 12,
            reading,
            blues: key.color == reading::Color::Blues,
            major: key.mode() == Mode::Major,
        });
    let duties: Vec<Duty> = duties.collect();
    let mut duties = duties.into_iter().cycle();
    spans
        .iter()
        .map(|span| span.chord.as_ref().and_then(|_| duties.next()))
        .collect()
}

/// The chords that sound, each with its key and what it is there. A form that is one passage several times
/// over is read as that passage: the answer is as long as one play of it.
fn read(spans: &[Span], home: Key) -> (Vec<Heard<'_>>, Vec<(Key, Sense)>) {
    let mut heard = sounding::hear(spans);
    let mut footing = Footing::of(&heard, Hypothesis::of(home));
    let period = alike::period(&heard, &footing);
    heard.truncate(period);
    footing.settled.truncate(period);
    footing.blues.truncate(period);
    for heard in &mut heard {
        heard.next = heard.next.map(|next| next % period);
    }
    let path = alike::path(&heard, &footing);
    let keys = spelled_keys(&heard, &path, home);
    (heard, keys.into_iter().zip(path).collect())
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

/// Names for the keys of a path: the home key as given; elsewhere, for each key, the spelling that agrees with
/// most roots written in it, then the one nearest to home.
fn spelled_keys(heard: &[Heard], path: &[Sense], home: Key) -> Vec<Key> {
    let away = |key: Key| -(key.signature() - home.signature()).abs();
    let names: Vec<Option<Key>> = (0..24)
        .map(|index| {
            let (tonic, mode) = (index % 12, [Mode::Major, Mode::Minor][index as usize / 12]);
            let within = path.iter().zip(heard).filter(|((hypothesis, _), _)| {
                hypothesis.tonic == tonic && hypothesis.mode() == mode
            });
            let chords: Vec<&Heard> = within.map(|(_, heard)| heard).collect();
            spelled(tonic, mode, &chords, away)
        })
        .collect();
    path.iter()
        .map(|(hypothesis, _)| {
            let (tonic, mode) = (hypothesis.tonic, hypothesis.mode());
            if (home.tonic.chroma(), home.mode) == (tonic, mode) {
                return home;
            }
            // Every sound of the octave has a key among the thirty.
            names[usize::from(tonic) + 12 * mode as usize].unwrap_or(home)
        })
        .collect()
}

/// Of the keys with up to seven signs that sound so, the one whose notes are most of the written roots, then
/// the one that `preference` puts highest.
fn spelled(
    tonic: u8,
    mode: Mode,
    chords: &[&Heard],
    preference: impl Fn(Key) -> i8,
) -> Option<Key> {
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
