//! Feels, one row each: where the bass sounds.
//!
//! Common practice, no source.

use crate::{
    plan::Development,
    rules::{Sound, Vocabulary},
};
use endpin_theory::chart::{Bar, Feel};

/// What a feel asks of a beat over a chord.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FeelRow {
    feel: Feel,
    /// On a bar's first beat.
    opens_bar: Option<Sound>,
    /// On other strong and medium beats.
    stressed: Option<Sound>,
    /// Elsewhere; arrivals and the approaches to them always sound.
    otherwise: Option<Sound>,
    /// Whether a pitch may stand three times running.
    pub triples: bool,
    /// Whether the level may put notes between the beats.
    pub lively: bool,
    /// The most that the line may use between arrivals and approaches.
    pub vocabulary: Vocabulary,
    /// Semitones from the middle of the register; none: it moves with the bars.
    pub register: Option<i16>,
}

const NOTE: Option<Sound> = Some(Sound::Note);

const FOUR: FeelRow = FeelRow {
    feel: Feel::Four,
    opens_bar: NOTE,
    stressed: NOTE,
    otherwise: NOTE,
    triples: false,
    lively: true,
    vocabulary: Vocabulary::Scale,
    register: None,
};

const FEELS: [FeelRow; 4] = [
    FOUR,
    FeelRow {
        feel: Feel::Two,
        otherwise: None,
        triples: true,
        ..FOUR
    },
    FeelRow {
        feel: Feel::Broken,
        stressed: Some(Sound::Option),
        otherwise: Some(Sound::Option),
        triples: true,
        ..FOUR
    },
    FeelRow {
        feel: Feel::Pedal,
        stressed: None,
        otherwise: None,
        triples: true,
        lively: false,
        vocabulary: Vocabulary::Roots,
        register: Some(-4),
        ..FOUR
    },
];

impl FeelRow {
    /// The row of a bar's feel in a chorus of this development.
    pub fn of(bar: &Bar, development: Development) -> &'static FeelRow {
        let feel = feel_of(bar, development);
        let row = FEELS.iter().find(|row| row.feel == feel);
        row.unwrap_or(&FOUR)
    }

    /// Whether a note starts on a beat over a chord; `due` are arrivals and approaches to them.
    pub fn sound(&self, due: bool, opens_bar: bool, stressed: bool) -> Option<Sound> {
        match () {
            () if due => NOTE,
            () if opens_bar => self.opens_bar,
            () if stressed => self.stressed,
            () => self.otherwise,
        }
    }
}

/// The feel of a bar in a chorus of this development: levels 1 and 2 are two-feel unless told otherwise.
pub fn feel_of(bar: &Bar, development: Development) -> Feel {
    match development.feel {
        Some(feel) => feel,
        None if development.level.rung().two_feel => Feel::Two,
        None => bar.feel,
    }
}
