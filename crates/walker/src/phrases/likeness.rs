//! What bars have in common, found by comparing their notes: only what is true of them is told.

use super::figure::{Place, kind_of_move, leads};
use crate::lattice::Edge;
use endpin_theory::Ticks;
use std::{fmt, ops::RangeInclusive};

/// What bars have in common with others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Likeness {
    /// The same notes, so many semitones higher or lower.
    Moved(i8),
    /// The same degrees over their own chords, moving the same way.
    Degrees,
    /// Each move goes the same way, by a step or farther, or stays.
    Shape,
    /// Each move goes the other way, by a step or farther, or stays.
    Mirror,
    /// The same rhythm, with notes between the beats.
    Rhythm,
}

impl Likeness {
    /// Its name in reports: `moved`, `degrees`, `shape`, `mirror` or `rhythm`.
    pub fn name(self) -> &'static str {
        match self {
            Likeness::Moved(_) => "moved",
            Likeness::Degrees => "degrees",
            Likeness::Shape => "shape",
            Likeness::Mirror => "mirror",
            Likeness::Rhythm => "rhythm",
        }
    }
}

/// What bars take up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Theme {
    /// Bars of a chorus, counted from 1.
    Bars {
        /// The chorus.
        chorus: u32,
        /// Its bars.
        bars: RangeInclusive<u32>,
    },
    /// The motif that was asked for.
    Motif(String),
}

/// Bars that take up others, or a motif: found true of their notes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restated {
    /// Their chorus, from 1.
    pub chorus: u32,
    /// The bars, from 1.
    pub bars: RangeInclusive<u32>,
    /// What they take up.
    pub of: Theme,
    /// What they have in common with it.
    pub likeness: Likeness,
    /// Whether what leads into a change is left out of the likeness.
    pub until_it_leads: bool,
}

/// `bar 3` or `bars 3-4`.
fn bars(bars: &RangeInclusive<u32>) -> String {
    match bars.start() == bars.end() {
        true => format!("bar {}", bars.start()),
        false => format!("bars {}-{}", bars.start(), bars.end()),
    }
}

/// So many semitones in a musician's words.
fn distance(semitones: u8) -> &'static str {
    match semitones {
        0 => "nothing",
        1 => "a half step",
        2 => "a whole step",
        3 => "a minor third",
        4 => "a major third",
        5 => "a fourth",
        6 => "a tritone",
        7 => "a fifth",
        8 => "a minor sixth",
        9 => "a major sixth",
        10 => "a minor seventh",
        11 => "a major seventh",
        12 => "an octave",
        _ => "more than an octave",
    }
}

impl Restated {
    /// What the bars do, without naming them: `as bars 1-2, a fourth higher`.
    pub fn words(&self) -> String {
        let of = match &self.of {
            Theme::Motif(motif) => format!("the motif {motif}"),
            Theme::Bars { chorus, bars: of } if *chorus == self.chorus => bars(of),
            Theme::Bars { chorus, bars: of } if *of == self.bars => format!("in chorus {chorus}"),
            Theme::Bars { chorus, bars: of } => format!("{} of chorus {chorus}", bars(of)),
        };
        let words = match (self.likeness, &self.of) {
            (Likeness::Moved(0), Theme::Motif(_)) => of,
            (Likeness::Moved(0), _) => format!("as {of}"),
            (Likeness::Moved(by), _) => {
                let way = if by > 0 { "higher" } else { "lower" };
                format!("as {of}, {} {way}", distance(by.unsigned_abs()))
            }
            (Likeness::Degrees, _) => format!("as {of}, with the degrees of its own chords"),
            (Likeness::Shape, _) => format!("up and down as {of}, with other notes"),
            (Likeness::Mirror, _) => format!("answers {of} upside down"),
            (Likeness::Rhythm, _) => format!("in the rhythm of {of}"),
        };
        match self.until_it_leads {
            true => format!("{words}, but for what leads on"),
            false => words,
        }
    }
}

/// `bars 5-6: as bars 1-2, a fourth higher`.
impl fmt::Display for Restated {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", bars(&self.bars), self.words())
    }
}

/// A note as it is compared.
struct Note {
    /// From the start of the bars.
    at: Ticks,
    key: u8,
    number: u8,
    opens_bar: bool,
    on_beat: bool,
    leads: bool,
}

impl Place<'_> {
    fn notes(&self) -> Vec<Note> {
        let start = self.layout.bars[self.bars.0].start;
        let sounding = self.slots().filter(|&slot| self.keys[slot] != Edge::SILENT);
        let note = |slot: usize| {
            let (key, here) = (self.keys[slot], &self.layout.slots[slot]);
            Note {
                at: here.start - start,
                key,
                number: self.form.number(here.span, key),
                opens_bar: here.onset.opens_bar,
                on_beat: here.in_bar.0 % here.beat_length.0 == 0,
                leads: leads(here),
            }
        };
        sounding.map(note).collect()
    }

    /// What these bars have in common with others, and whether that leaves out the notes that lead on.
    pub fn likeness(&self, other: Place<'_>) -> Option<(Likeness, bool)> {
        let (ours, theirs) = (self.notes(), other.notes());
        let same_rhythm =
            ours.len() == theirs.len() && ours.iter().zip(&theirs).all(|(a, b)| a.at == b.at);
        if !same_rhythm || ours.is_empty() {
            return None;
        }
        let notes: Vec<(&Note, &Note)> = ours.iter().zip(&theirs).collect();
        if let Some(found) = alike(&notes) {
            return Some((found, false));
        }
        let kept = notes.iter().filter(|(ours, _)| !ours.leads);
        let until: Vec<(&Note, &Note)> = kept.copied().collect();
        let leads = until.len() < notes.len() && until.len() > 2;
        let strict = |found: &Likeness| matches!(found, Likeness::Moved(_) | Likeness::Degrees);
        if let Some(found) = alike(&until).filter(|found| leads && strict(found)) {
            return Some((found, true));
        }
        if let Some(found) = shaped(&notes) {
            return Some((found, false));
        }
        if let Some(found) = shaped(&until).filter(|_| leads) {
            return Some((found, true));
        }
        let skips = ours.iter().any(|note| !note.on_beat);
        skips.then_some((Likeness::Rhythm, false))
    }
}

/// Whether all notes are the same but for one distance, or the same degrees.
fn alike(notes: &[(&Note, &Note)]) -> Option<Likeness> {
    let by = |(ours, theirs): &(&Note, &Note)| i16::from(ours.key) - i16::from(theirs.key);
    let first = notes.first().map(by)?;
    if notes.iter().all(|pair| by(pair) == first) {
        return i8::try_from(first).ok().map(Likeness::Moved);
    }
    let same = |(ours, theirs): &(&Note, &Note)| ours.number != 0 && ours.number == theirs.number;
    let ways = |pair: &[(&Note, &Note)]| {
        let way = |one: &Note, other: &Note| other.key.cmp(&one.key);
        way(pair[0].0, pair[1].0) == way(pair[0].1, pair[1].1)
    };
    (notes.iter().all(same) && notes.windows(2).all(ways)).then_some(Likeness::Degrees)
}

/// Whether all moves within the bars go the same way, or the other way.
fn shaped(notes: &[(&Note, &Note)]) -> Option<Likeness> {
    let within = notes.windows(2).filter(|pair| !pair[1].0.opens_bar);
    let kinds = within.map(|pair| {
        let kind = |one: &Note, other: &Note| kind_of_move(one.key, other.key);
        (kind(pair[0].0, pair[1].0), kind(pair[0].1, pair[1].1))
    });
    let kinds: Vec<(i8, i8)> = kinds.collect();
    // One move a bar is no shape that anybody hears.
    let bars = notes.iter().filter(|(ours, _)| ours.opens_bar).count();
    if kinds.len() < 2 * bars.max(1) {
        return None;
    }
    let same = kinds.iter().all(|(ours, theirs)| ours == theirs);
    let turned = kinds.iter().all(|(ours, theirs)| *ours == -theirs);
    match (same, turned) {
        (true, _) => Some(Likeness::Shape),
        (_, true) => Some(Likeness::Mirror),
        _ => None,
    }
}
