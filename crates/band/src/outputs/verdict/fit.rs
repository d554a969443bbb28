//! How well a take fits its chart as a whole: the share of its notes that belong, and whether it would belong better
//! in another key.

use crate::inputs::take::Take;
use endpin_theory::Key;
use endpin_walker::{Heard, Judge, Judgement, judge::Grade};

/// How well a take fits its chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChartFit {
    /// The share of notes that belong to the chart or lead on in it, 0 to 1.
    pub share: f64,
    /// Where the line fits much better.
    pub elsewhere: Option<Elsewhere>,
}

/// Another key in which a line fits much better.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Elsewhere {
    /// The key.
    pub key: Key,
    /// Semitones from the chart's key to it, -5 to 6.
    pub moved: i8,
    /// The share of notes that belong there.
    pub share: f64,
}

/// Below this share nothing in the line tells that it was played over this chart: notes at random belong in six or
/// seven cases of ten.
const BAD: f64 = 0.7;

/// The share of notes that another key has to gain.
const GAINS: f64 = 0.1;

impl ChartFit {
    pub(super) fn of(judge: &Judge, key: Key, take: &Take, judgement: &Judgement) -> ChartFit {
        let share = share(judgement);
        let elsewhere = take.fits_moved_by.and_then(|moved| {
            let back = |note: &crate::inputs::take::TakeNote| Heard {
                key: note.key.saturating_add_signed(-moved),
                ..note.heard()
            };
            let heard: Vec<Heard> = take.notes.iter().map(back).collect();
            let there = self::share(&judge.judge(&heard, take.choruses));
            let key = key_moved(key, moved)?;
            (there >= share + GAINS).then_some(Elsewhere {
                key,
                moved,
                share: there,
            })
        });
        ChartFit { share, elsewhere }
    }

    /// Whether the notes hardly follow the chart, in no key.
    pub fn is_bad(&self) -> bool {
        self.share < BAD && self.elsewhere.is_none()
    }
}

fn share(judgement: &Judgement) -> f64 {
    let belong = judgement
        .verdicts
        .iter()
        .filter(|verdict| verdict.grade < Grade::Wrong);
    match judgement.verdicts.len() {
        0 => 1.0,
        all => belong.count() as f64 / all as f64,
    }
}

/// The key so many semitones away, by the name under which it is usually written.
fn key_moved(key: Key, moved: i8) -> Option<Key> {
    const MAJOR: [&str; 12] = [
        "C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
    ];
    const MINOR: [&str; 12] = [
        "C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B",
    ];
    let place = (i16::from(key.tonic.chroma()) + i16::from(moved)).rem_euclid(12) as usize;
    let name = match key.to_string().ends_with("minor") {
        true => format!("{} minor", MINOR[place]),
        false => MAJOR[place].to_owned(),
    };
    name.parse().ok()
}

/// A distance in semitones as players say it.
pub fn distance(semitones: i8) -> &'static str {
    const NAMES: [&str; 12] = [
        "octave",
        "half step",
        "whole step",
        "minor third",
        "major third",
        "fourth",
        "tritone",
        "fifth",
        "minor sixth",
        "major sixth",
        "minor seventh",
        "major seventh",
    ];
    NAMES[usize::from(semitones.unsigned_abs()) % 12]
}
