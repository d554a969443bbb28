//! The names under which readers meet notes: plain ones.
//!
//! The degrees of a chord have letters of their own: the seventh of Fdim7 is Ebb, the sharp ninth of A7 is B#.
//! A reader of a line meets D and C. No name has a double sign; E#, B#, Cb and Fb stand only where they are
//! chord tones (the third of Abm7 is Cb) or in the key's signature; what is neither a chord tone nor in the
//! signature takes a sharp when the line rises from it by a half step and a flat when it falls by one. A whole
//! step is written as a step, Eb up to F, and what leaps keeps the letter that its degree gives it, if that is a
//! plain one; what has none goes by the key.
//!
//! Source: common practice, no source. Spelling half steps by direction is the rule of most primers.
//!
//! ```
//! use endpin_theory::{Chord, Key, spelling::{Heading, Spelling}};
//! let chord: Chord = "Fdim7".parse()?;
//! let tones: Vec<_> = chord.tones().iter().map(|(_, name)| *name).collect();
//! let key: Key = "F".parse().unwrap();
//! let name = |chroma, heading| Spelling::Reader.name(chroma, None, &tones, key, heading).to_string();
//! assert_eq!(name(2, Heading::Falling), "D");
//! assert_eq!(name(6, Heading::Rising), "F#");
//! assert_eq!(name(6, Heading::Falling), "Gb");
//! // Bb is in the signature of F, so no line makes it A#.
//! assert_eq!(name(10, Heading::Rising), "Bb");
//! # Ok::<(), endpin_theory::chord::ChordError>(())
//! ```

use crate::{
    interval::Interval,
    key::Key,
    nearest::did_you_mean,
    pitch::{Letter, NoteName},
};
use std::{fmt, str::FromStr};

/// For whom names are spelled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Spelling {
    /// For a student who reads the line.
    #[default]
    Reader,
    /// For the theorist: every degree on its own letter.
    Strict,
}

/// Where a line goes from a note by half step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Heading {
    /// A half step up.
    Rising,
    /// A half step down.
    Falling,
    /// Elsewhere: by a wider step or a leap, or the note is the last.
    Still,
}

impl Heading {
    /// From one MIDI key to the next different one.
    pub fn between(from: i16, to: i16) -> Heading {
        match to - from {
            1 => Heading::Rising,
            -1 => Heading::Falling,
            _ => Heading::Still,
        }
    }
}

impl Spelling {
    /// Both ways to spell, as the command line names them.
    pub const ALL: [Spelling; 2] = [Spelling::Reader, Spelling::Strict];

    /// The name of a note that sounds `chroma` (0 for C to 11 for B) over a chord of `tones`, in a key.
    ///
    /// `own` is the name that the note's degree gives it, if it has a degree there: that of a tone of the
    /// chord or a note of its scale. [`Spelling::Strict`] takes it as it is; a reader meets it where it is
    /// among `tones` or in the signature, or a plain name of a note that makes no half step.
    ///
    /// A pitch that is repeated over one chord keeps its name if `heading` is that towards the next different pitch.
    pub fn name(
        self,
        chroma: u8,
        own: Option<NoteName>,
        tones: &[NoteName],
        key: Key,
        heading: Heading,
    ) -> NoteName {
        let own = own.filter(|name| name.chroma() == chroma % 12);
        match (self, own) {
            (Spelling::Strict, Some(own)) => own,
            _ => for_reader(chroma % 12, own, tones, key, heading),
        }
    }
}

fn for_reader(
    chroma: u8,
    own: Option<NoteName>,
    tones: &[NoteName],
    key: Key,
    heading: Heading,
) -> NoteName {
    let sounds = |name: &&NoteName| name.chroma() == chroma && name.alteration().abs() < 2;
    if let Some(tone) = tones.iter().find(sounds) {
        return *tone;
    }
    let signature = key.notes();
    if let Some(name) = signature.iter().find(sounds) {
        return *name;
    }
    // A chord tone under a double sign keeps its side: Fbb is Eb.
    let doubly = tones.iter().find(|name| name.chroma() == chroma);
    if let (Some(own), Heading::Still, None) =
        (own.filter(|own| !is_awkward(*own)), heading, doubly)
    {
        return own;
    }
    let sharp = match (heading, doubly) {
        (_, Some(tone)) => tone.alteration() > 0,
        (Heading::Rising, None) => true,
        (Heading::Falling, None) => false,
        // At rest by the key: sharps in sharp keys, flats in flat ones, and the raised fourth in between.
        (Heading::Still, None) => match key.signature() {
            0 => chroma == 6,
            signs => signs > 0,
        },
    };
    plain(chroma, sharp)
}

/// The name of a note a whole step from another: on the letter beside it, if that is a plain name.
///
/// `up` is whether the other is higher. Eb leads up to F, and F# down to E.
pub fn whole_step_from(goal: NoteName, up: bool) -> Option<NoteName> {
    let interval = Interval::new(1, 2);
    let name = goal + if up { -interval } else { interval };
    (!is_awkward(name)).then_some(name)
}

/// The name with the fewest signs: a white key as it is, a black one raised or lowered.
pub fn plain(chroma: u8, sharp: bool) -> NoteName {
    let alteration = if sharp { 1 } else { -1 };
    let names = |alteration| Letter::ALL.map(|letter| NoteName::new(letter, alteration));
    names(0)
        .into_iter()
        .chain(names(alteration))
        .find(|name| name.chroma() == chroma % 12)
        // The white keys and the black ones, all raised or all lowered, are all twelve.
        .unwrap_or(NoteName::new(Letter::C, 0))
}

/// A name as a reader is told it outside any key: without a double sign, and E#, B#, Cb or Fb only if it is
/// among these tones.
pub fn told(name: NoteName, tones: &[NoteName]) -> NoteName {
    let is_tone = tones.contains(&name) && name.alteration().abs() < 2;
    match is_awkward(name) && !is_tone {
        true => plain(name.chroma(), name.alteration() > 0),
        false => name,
    }
}

/// Whether a name needs a reason to be read: a double sign, or a white key as E#, B#, Cb or Fb.
pub fn is_awkward(name: NoteName) -> bool {
    name.alteration().abs() > 1
        || matches!(
            (name.letter(), name.alteration()),
            (Letter::E | Letter::B, 1) | (Letter::C | Letter::F, -1)
        )
}

impl fmt::Display for Spelling {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Spelling::Reader => "reader",
            Spelling::Strict => "strict",
        })
    }
}

/// A word that names no way to spell.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a spelling{near}; write reader or strict", near = did_you_mean(.0, Spelling::ALL))]
pub struct SpellingError(String);

impl FromStr for Spelling {
    type Err = SpellingError;

    fn from_str(text: &str) -> Result<Spelling, SpellingError> {
        Spelling::ALL
            .into_iter()
            .find(|spelling| spelling.to_string() == text)
            .ok_or_else(|| SpellingError(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Chord;
    use proptest::prelude::*;

    fn tones(symbol: &str) -> Vec<NoteName> {
        let chord: Chord = symbol.parse().unwrap();
        chord.chord_tones().iter().map(|tone| tone.name).collect()
    }

    const HEADINGS: [Heading; 3] = [Heading::Rising, Heading::Falling, Heading::Still];

    /// Common practice, no source.
    #[test]
    fn names_that_students_read() {
        use Heading::*;
        for (key, chord, chroma, heading, name) in [
            ("F", "Fdim7", 2, Rising, "D"),
            ("F", "F7", 10, Rising, "Bb"),
            ("F", "F7", 8, Falling, "Ab"),
            ("F", "F7", 8, Rising, "G#"),
            ("F", "F7", 6, Falling, "Gb"),
            ("F", "C7", 5, Rising, "F"),
            ("F", "D7", 6, Falling, "F#"),
            ("Gb", "Abm7", 11, Rising, "Cb"),
            ("Gb", "Db7", 11, Rising, "Cb"),
            ("Ab", "Ab7", 11, Falling, "B"),
            ("Eb", "Abm7", 11, Falling, "Cb"),
            ("F#", "C#7", 5, Falling, "E#"),
            ("E", "C#7", 5, Falling, "E#"),
            ("C", "Am7", 0, Rising, "C"),
            ("C", "C7", 6, Still, "F#"),
            ("C", "C7", 3, Still, "Eb"),
            ("A", "A7", 3, Still, "D#"),
            ("Eb", "Gbdim7", 3, Rising, "Eb"),
        ] {
            let named =
                Spelling::Reader.name(chroma, None, &tones(chord), key.parse().unwrap(), heading);
            assert_eq!(named.to_string(), name, "{chroma} over {chord} in {key}");
        }
    }

    #[test]
    fn names_are_told_plainly_outside_a_key() {
        let name = |text: &str| text.parse::<NoteName>().unwrap();
        let tones = tones("Abm7");
        for (from, to) in [
            ("Cb", "Cb"),
            ("Fb", "E"),
            ("Ebb", "D"),
            ("E##", "F#"),
            ("Fbb", "Eb"),
            ("Gb", "Gb"),
        ] {
            assert_eq!(told(name(from), &tones), name(to), "{from}");
        }
    }

    #[test]
    fn the_theorist_gets_the_degrees_letters() {
        let key: Key = "D minor".parse().unwrap();
        let ninth: NoteName = "B#".parse().unwrap();
        let name = |spelling: Spelling| {
            spelling
                .name(0, Some(ninth), &tones("A7"), key, Heading::Rising)
                .to_string()
        };
        assert_eq!(
            (name(Spelling::Strict), name(Spelling::Reader)),
            ("B#".into(), "C".into())
        );
        for spelling in Spelling::ALL {
            assert_eq!(spelling.to_string().parse(), Ok(spelling));
        }
        assert_eq!(
            "strickt".parse::<Spelling>().unwrap_err().to_string(),
            "\"strickt\" is not a spelling (did you mean \"strict\"?); write reader or strict"
        );
    }

    #[test]
    fn what_makes_no_half_step_keeps_its_letter() {
        // Common practice, no source.
        let key: Key = "F".parse().unwrap();
        let own = |name: &str| Some(name.parse().unwrap());
        for (chroma, name, heading, wanted) in [
            (3, "Eb", Heading::Still, "Eb"),
            (8, "G#", Heading::Still, "G#"),
            (8, "G#", Heading::Falling, "Ab"),
            (4, "Fb", Heading::Still, "E"),
            (3, "Fbb", Heading::Still, "Eb"),
        ] {
            let named = Spelling::Reader.name(chroma, own(name), &tones("Bbmaj7"), key, heading);
            assert_eq!(named.to_string(), wanted);
        }
        let step = |goal: &str, up| {
            whole_step_from(goal.parse().unwrap(), up).map(|name| name.to_string())
        };
        assert_eq!(step("F", true).as_deref(), Some("Eb"));
        assert_eq!(step("E", false).as_deref(), Some("F#"));
        assert_eq!(step("D#", false), None);
        let between =
            [(40, 41), (41, 40), (40, 42), (40, 40)].map(|(from, to)| Heading::between(from, to));
        use Heading::*;
        assert_eq!(between, [Rising, Falling, Still, Still]);
    }

    proptest! {
        /// Every pitch over every chord in every key: it sounds as asked, has one sign at most, and an
        /// awkward name only by the chord or the signature.
        #[test]
        fn readers_are_spared(
            chroma in 0u8..12,
            letter in 0usize..7,
            alteration in -1i8..=1,
            suffix in prop::sample::select(vec!["maj7", "7", "m7", "m7b5", "dim7", "7alt", "aug", "m6", "7sus4"]),
            key in 0usize..30,
            heading in prop::sample::select(HEADINGS.to_vec()),
        ) {
            let root = NoteName::new(Letter::ALL[letter], alteration);
            let tones = tones(&format!("{root}{suffix}"));
            let key = Key::all().nth(key).unwrap();
            let name = Spelling::Reader.name(chroma, None, &tones, key, heading);
            prop_assert_eq!(name.chroma(), chroma);
            prop_assert!(name.alteration().abs() < 2);
            let known = tones.contains(&name) || key.notes().contains(&name);
            prop_assert!(!is_awkward(name) || known);
            if !tones.iter().chain(&key.notes()).any(|tone| tone.chroma() == chroma) {
                match heading {
                    Heading::Rising => prop_assert!(name.alteration() >= 0),
                    Heading::Falling => prop_assert!(name.alteration() <= 0),
                    Heading::Still => {}
                }
            }
            // What a chord tone is called does not hang on the line.
            if tones.iter().any(|tone| tone.chroma() == chroma) {
                let all = HEADINGS.map(|heading| Spelling::Reader.name(chroma, None, &tones, key, heading));
                prop_assert!(all.iter().all(|other| *other == name));
            }
        }
    }
}
