//! Lines that fall inside a stretch of chords: the line cliché over one root, and a written bass that descends.
//!
//! Common practice, no source.

use super::sounding::Heard;
use crate::{
    chord::{Chord, Family},
    interval::Degree,
    pitch::NoteName,
};

/// Chords that make a line.
const ENOUGH: usize = 3;

/// A line that falls through neighbouring chords.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Falling {
    /// Its notes, one a chord.
    pub(super) notes: Vec<NoteName>,
    /// Whether it is the written bass rather than a voice inside.
    pub(super) bass: bool,
}

/// The line that falls through the chord at `place` and its neighbours, if there is one.
pub(super) fn falling(heard: &[Heard], place: usize) -> Option<Falling> {
    let find = |bass: bool, note: &dyn Fn(&Chord) -> Option<NoteName>| {
        let falls = |from: usize, to: usize| {
            let together = bass || heard[from].sound.root == heard[to].sound.root;
            let (Some(a), Some(b)) = (note(heard[from].written), note(heard[to].written)) else {
                return false;
            };
            together && matches!((a.chroma() + 12 - b.chroma()) % 12, 1 | 2)
        };
        let first = (1..=place)
            .rev()
            .take_while(|&at| falls(at - 1, at))
            .last()
            .map_or(place, |at| at - 1);
        let last = (place + 1..heard.len())
            .take_while(|&at| falls(at - 1, at))
            .last()
            .unwrap_or(place);
        let chords = &heard[first..=last];
        let written = !bass || chords.iter().any(|heard| heard.written.slash().is_some());
        (chords.len() >= ENOUGH && written).then(|| Falling {
            notes: chords
                .iter()
                .filter_map(|heard| note(heard.written))
                .collect(),
            bass,
        })
    };
    find(false, &moving_voice).or_else(|| find(true, &|chord| Some(chord.bass())))
}

/// The voice that moves over a root that stays: 8, 7, b7, 6.
fn moving_voice(chord: &Chord) -> Option<NoteName> {
    let degrees =
        [(7, 0), (7, -1), (6, 0)].map(|(number, alteration)| Degree::new(number, alteration));
    match chord.family() {
        Family::Major | Family::Minor | Family::Dominant => {
            let moving = degrees.into_iter().find(|&degree| chord.has(degree));
            Some(moving.map_or(chord.root(), |degree| chord.root() + degree.interval()))
        }
        _ => None,
    }
}
