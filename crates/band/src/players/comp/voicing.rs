//! Rootless voicings: the order of the tones from the bottom, and where on the keyboard they lie.
//!
//! The four-note forms have the third or the seventh lowest, with the lowest note between C3 and C4
//! (LearnMusicTheory vol. 4, 4.2.1, by the reference file). Shells and three-note forms are the same with
//! less; forms in fourths serve modal and sus chords.

use super::colour::{Colours, Fifth, semitones};
use endpin_theory::{Chord, Degree, Heading, Key, NoteName, Pitch, Spelling};
use std::fmt;

/// The kind of a voicing, for the reader.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum VoicingKind {
    /// Third and seventh only.
    Shell,
    /// Third, seventh and one colour.
    Three,
    /// Four notes, third or seventh lowest.
    Four,
    /// Four notes, the second from the top of a close position an octave lower.
    DropTwo,
    /// Stacked by fourths.
    Quartal,
}

impl fmt::Display for VoicingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            VoicingKind::Shell => "shell",
            VoicingKind::Three => "three-note",
            VoicingKind::Four => "rootless",
            VoicingKind::DropTwo => "drop-2",
            VoicingKind::Quartal => "quartal",
        })
    }
}

/// Tones from the bottom up, each the next of its name above the one before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Form {
    /// Its kind.
    pub kind: VoicingKind,
    /// From the bottom up.
    pub tones: Vec<Degree>,
    /// How much worse it is than the best form of the chord.
    pub cost: i32,
}

/// The plain fifth costs a little, so that a colour is taken where it leads as well.
const PLAIN_FIFTH: i32 = 1;
const THREE_NOTES: i32 = 4;
const SHELL: i32 = 9;
/// Leaving out what the symbol asks for, or an altered fifth that is the chord's character.
const CHARACTER_MISSING: i32 = 6;
/// Colours that are welcome and not needed: eleventh on a minor seventh, sharp eleventh on a major one,
/// thirteenth on either.
const ELEVENTH: i32 = 3;
const SHARP_ELEVENTH: i32 = 6;
const THIRTEENTH: i32 = 8;

/// Whether a chord is voiced in fourths.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fourths {
    /// In thirds and seconds only.
    No,
    /// Where it leads as well.
    Offered,
    /// Where it can be.
    Preferred,
}

/// All forms of a chord with these tones, in a fixed order.
pub fn forms(colours: &Colours, fourths: Fourths) -> Vec<Form> {
    let mut forms = Vec::new();
    let not_in_fourths = if fourths == Fourths::Preferred { 8 } else { 0 };
    for (set, kind, cost) in tone_sets(colours) {
        let missing = colours.written.iter().filter(|&tone| {
            let sounds = |other: &Degree| semitones(*other) == semitones(*tone);
            // Of two written ninths (or fifths) one is enough.
            let sister =
                |other: &Degree| colours.written.contains(other) && other.number() == tone.number();
            !set.iter().any(|other| sounds(other) || sister(other))
        });
        let cost = cost + CHARACTER_MISSING * missing.count() as i32 + not_in_fourths;
        for &lowest in &bottoms(colours, &set) {
            forms.push(Form {
                kind,
                tones: closed(&set, lowest),
                cost,
            });
        }
    }
    if fourths != Fourths::No {
        forms.extend(stacks(colours));
    }
    forms
}

/// Tones without an order, what they make, and how much worse it is than the best.
type ToneSet = (Vec<Degree>, VoicingKind, i32);

/// All sets of tones that sound the chord.
fn tone_sets(colours: &Colours) -> Vec<ToneSet> {
    let third = colours.third;
    let Some(seventh) = colours.seventh else {
        return sus_triad_sets(colours);
    };
    let mut sets: Vec<ToneSet> = Vec::new();
    let second_colours: Vec<(Degree, i32)> = colours
        .elevenths
        .iter()
        .map(|&tone| match tone.alteration() {
            0 => (tone, ELEVENTH),
            _ => (tone, SHARP_ELEVENTH),
        })
        .chain(colours.thirteenths.iter().map(|&tone| (tone, THIRTEENTH)))
        .map(|(tone, cost)| match colours.fifth {
            Fifth::Omitted => (tone, 0),
            Fifth::Plain | Fifth::Character(_) => (tone, cost),
        })
        .collect();
    // The four-note form with the fifth, where it has one.
    let with_fifth = |other: Degree, cost: i32| match colours.fifth {
        Fifth::Plain => Some((
            vec![third, Degree::new(5, 0), seventh, other],
            VoicingKind::Four,
            cost + PLAIN_FIFTH,
        )),
        Fifth::Character(fifth) => {
            Some((vec![third, fifth, seventh, other], VoicingKind::Four, cost))
        }
        Fifth::Omitted => None,
    };
    for &ninth in &colours.ninths {
        sets.extend(with_fifth(ninth, 0));
        for &(other, cost) in &second_colours {
            sets.push((vec![third, seventh, ninth, other], VoicingKind::Four, cost));
        }
        sets.push((vec![third, seventh, ninth], VoicingKind::Three, THREE_NOTES));
    }
    for &(other, cost) in &second_colours {
        sets.extend(with_fifth(other, cost));
        sets.push((
            vec![third, seventh, other],
            VoicingKind::Three,
            THREE_NOTES + cost,
        ));
    }
    if let Fifth::Character(fifth) = colours.fifth {
        sets.push((
            vec![third, fifth, seventh],
            VoicingKind::Three,
            THREE_NOTES - 2,
        ));
    }
    let shell = match colours.fifth {
        Fifth::Character(_) => SHELL + CHARACTER_MISSING,
        _ => SHELL,
    };
    sets.push((vec![third, seventh], VoicingKind::Shell, shell));
    // Two tones of one sound (the sharp fifth for a seventh, b13 beside #5) are one set too many.
    sets.retain(|(set, ..)| all_differ(set));
    sets
}

/// The fourth (or second) with what lies beside it.
fn sus_triad_sets(colours: &Colours) -> Vec<ToneSet> {
    let third = colours.third;
    let others = colours.ninths.iter().chain(&colours.thirteenths);
    let others: Vec<Degree> = others.copied().collect();
    let mut sets = Vec::new();
    if let [one, two, ..] = others[..] {
        sets.push((vec![third, one, two], VoicingKind::Three, 0));
    }
    let shells = others.iter();
    sets.extend(shells.map(|&other| (vec![third, other], VoicingKind::Shell, SHELL)));
    sets
}

/// The tones that may lie lowest: third and seventh, and the fifth of a diminished chord, all of whose tones
/// are alike.
fn bottoms(colours: &Colours, set: &[Degree]) -> Vec<Degree> {
    let mut bottoms = vec![colours.third];
    bottoms.extend(colours.seventh);
    if let Fifth::Character(fifth) = colours.fifth {
        bottoms.push(fifth);
    }
    bottoms.retain(|tone| set.contains(tone));
    bottoms.dedup();
    bottoms
}

/// The set in close position over its lowest tone.
fn closed(set: &[Degree], lowest: Degree) -> Vec<Degree> {
    let above = |tone: &Degree| (semitones(*tone) - semitones(lowest)).rem_euclid(12);
    let mut tones = set.to_vec();
    tones.sort_by_key(above);
    tones
}

/// Stacks in fourths (perfect, one of them augmented) of the tones at hand.
fn stacks(colours: &Colours) -> Vec<Form> {
    let pool: Vec<Degree> = [Some(colours.third), colours.seventh]
        .into_iter()
        .flatten()
        .chain(colours.ninths.iter().copied())
        .chain(colours.elevenths.iter().copied())
        .chain(colours.thirteenths.iter().copied())
        .collect();
    let a_fourth_above = |low: Degree| {
        let is_fourth =
            move |tone: Degree| matches!((semitones(tone) - semitones(low)).rem_euclid(12), 5 | 6);
        pool.iter().copied().filter(move |&tone| is_fourth(tone))
    };
    let mut stacks = Vec::new();
    let mut stack = |tones: Vec<Degree>, cost: i32| {
        stacks.push(Form {
            kind: VoicingKind::Quartal,
            tones,
            cost,
        });
    };
    for &first in &pool {
        for second in a_fourth_above(first) {
            for third in a_fourth_above(second) {
                let three = [first, second, third];
                let spells = |tone: Degree| three.contains(&tone);
                if !spells(colours.third) && !colours.seventh.is_some_and(spells) {
                    continue;
                }
                for fourth in a_fourth_above(third).filter(|&tone| !spells(tone)) {
                    stack(vec![first, second, third, fourth], 0);
                }
                stack(three.to_vec(), 1);
            }
        }
    }
    stacks.retain(|form| all_differ(&form.tones));
    stacks
}

/// Whether no two of these tones have one sound.
fn all_differ(tones: &[Degree]) -> bool {
    let mut sounds: Vec<i16> = tones.iter().map(|&tone| semitones(tone)).collect();
    sounds.sort_unstable();
    sounds.windows(2).all(|pair| pair[0] != pair[1])
}

/// A form at its place on the keyboard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Voicing {
    /// Its kind.
    pub kind: VoicingKind,
    /// The tones above the chord's root, from the bottom up.
    pub tones: Vec<Degree>,
    /// Their MIDI keys, rising.
    pub keys: Vec<u8>,
}

impl Voicing {
    /// Its notes from the bottom up, named over the chord in this key for whoever reads them.
    pub fn pitches(&self, chord: &Chord, spelling: Spelling, key: Key) -> Vec<Pitch> {
        let made = chord.as_suspended();
        let chord = made.as_ref().unwrap_or(chord);
        let tones: Vec<NoteName> = chord.chord_tones().iter().map(|tone| tone.name).collect();
        let spelled = |(tone, &midi): (&Degree, &u8)| {
            let own = chord.root() + tone.interval();
            let name = spelling.name(own.chroma(), Some(own), &tones, key, Heading::Still);
            name.at_midi(midi.into())
        };
        self.tones
            .iter()
            .zip(&self.keys)
            .filter_map(spelled)
            .collect()
    }
}

/// `rootless 3-5-7-9`: kind and tones from the bottom up.
impl fmt::Display for Voicing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tones: Vec<String> = self.tones.iter().map(Degree::to_string).collect();
        f.pad(&format!("{} {}", self.kind, tones.join("-")))
    }
}

/// Lowest key of a comp: C3, the lower bound of the handbook's rootless forms.
pub const LOWEST: i16 = 48;
/// Highest key of a comp: A5 (our choice: above it a comp gets shrill; common practice, no source).
pub const HIGHEST: i16 = 81;
/// Most notes of a voicing.
const MOST: usize = 4;

/// The lowest key on which an interval of so many semitones still sounds clear (low-interval limits of the
/// reference file; a trade glossary, secondary; tritone and fifth, which it leaves out, like the fourth).
pub fn low_limit(interval: i16) -> i16 {
    match interval {
        1 => 52,
        2 => 51,
        3 => 48,
        4 => 47,
        5..=7 => 45,
        _ => 41,
    }
}

/// The keys of a voicing, rising.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Keys {
    keys: [u8; MOST],
    count: usize,
}

impl Keys {
    /// Lays a form over `root` (0 to 11) with its lowest tone on or above the key `from`; none if it leaves
    /// the comp's range or breaks a low-interval limit.
    pub fn lay(form: &Form, root: u8, from: i16) -> Option<Keys> {
        let mut laid = Keys {
            keys: [0; MOST],
            count: 0,
        };
        let mut at = from.max(LOWEST);
        for &tone in form.tones.iter().take(MOST) {
            let chroma = (i16::from(root) + semitones(tone)).rem_euclid(12);
            let key = at + (chroma - at).rem_euclid(12);
            let clear = |&below: &u8| i16::from(below) >= low_limit(key - i16::from(below));
            if key > HIGHEST || !laid.as_slice().last().is_none_or(clear) {
                return None;
            }
            laid.keys[laid.count] = key as u8;
            laid.count += 1;
            at = key + 1;
        }
        Some(laid)
    }

    /// The keys from the bottom up.
    pub fn as_slice(&self) -> &[u8] {
        &self.keys[..self.count]
    }

    /// The highest: what a listener hears as the comp's melody.
    pub fn top(&self) -> i32 {
        self.as_slice().last().map_or(0, |&key| i32::from(key))
    }

    /// The lowest.
    pub fn bottom(&self) -> i32 {
        i32::from(self.keys[0])
    }
}

/// How far the voices move, in semitones: each note of the fuller voicing to a note of the other, in order,
/// at the least total.
pub fn motion(from: &[u8], to: &[u8]) -> i32 {
    let (few, many) = if from.len() <= to.len() {
        (from, to)
    } else {
        (to, from)
    };
    let distance = |a: u8, b: u8| (i32::from(a) - i32::from(b)).abs();
    let Some((&first, rest)) = many.split_first().filter(|_| !few.is_empty()) else {
        return 0;
    };
    const NEVER: i32 = i32::MAX / 4;
    // `best[i]`: the least for the notes of `many` so far, the last of them moving to `few[i]`.
    let few = &few[..few.len().min(MOST)];
    let mut best = [NEVER; MOST];
    best[0] = distance(first, few[0]);
    for &key in rest {
        for index in (0..few.len()).rev() {
            let step = if index > 0 { best[index - 1] } else { NEVER };
            best[index] = best[index].min(step) + distance(key, few[index]);
        }
    }
    best[few.len() - 1]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn voices_move_in_order_at_the_least_total() {
        // Reference file: F A C E, F A B E, E G B D: 1 then 5 semitones.
        assert_eq!(motion(&[53, 57, 60, 64], &[53, 57, 59, 64]), 1);
        assert_eq!(motion(&[53, 57, 59, 64], &[52, 55, 59, 62]), 5);
        assert_eq!(motion(&[53, 59], &[52, 55, 59]), 1 + 2);
        assert_eq!(motion(&[52, 55, 59], &[53, 59]), 1 + 2);
        assert_eq!(motion(&[], &[60]), 0);
    }

    #[test]
    fn forms_keep_clear_of_the_mud() {
        let form = Form {
            kind: VoicingKind::Four,
            tones: ["3", "13", "b7", "9"]
                .map(|tone| tone.parse().unwrap())
                .to_vec(),
            cost: 0,
        };
        // Over G7: B E F A. The semitone E-F may not lie below key 52.
        assert_eq!(
            Keys::lay(&form, 7, 40).unwrap().as_slice(),
            [59, 64, 65, 69]
        );
        // Over C7 from C3: E A Bb D with its semitone on A3, well above the limit.
        assert_eq!(
            Keys::lay(&form, 0, 40).unwrap().as_slice(),
            [52, 57, 58, 62]
        );
        assert_eq!(Keys::lay(&form, 0, 72), None);
    }
}
