//! Feels, one row each: where the bass sounds.
//!
//! Common practice, no source.

use crate::{
    options::Level,
    plan::Development,
    rules::{Sound, Vocabulary},
};
use endpin_theory::{
    NoteName,
    chart::{Bar, Chorus, Feel},
};

/// The values in which the line walks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pulse {
    /// A note a beat.
    Beats,
    /// A note on each strong and medium beat, of which the medium ones are weak.
    Halves,
    /// Two notes a beat, of which the second is weak.
    Eighths,
}

/// The off-beats of weak beats, where the level alone does not ask for any.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum OffBeats {
    /// Left to the level.
    OfLevel,
    /// A note may stand there.
    Options,
    /// A note stands there.
    Notes,
}

/// The last beat before a change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum LastBeat {
    /// Leads into the change.
    Leads,
    /// Leads into it now and then, where it is the last of a bar: a pickup.
    Pickup,
    /// Is as any other.
    Plain,
}

/// What a feel asks of a beat over a chord.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FeelRow {
    feel: Feel,
    /// On a bar's first beat.
    opens_bar: Option<Sound>,
    /// On other strong and medium beats.
    stressed: Option<Sound>,
    /// Elsewhere; arrivals always sound.
    otherwise: Option<Sound>,
    /// On the last beat before a change, where that is a weak one.
    pub last_beat: LastBeat,
    /// Whether the bass holds one note, whatever the chord.
    pub holds: bool,
    /// What the line walks in.
    pub pulse: Pulse,
    /// What stands between the beats, in each bar of a phrase of four.
    off_beats: [OffBeats; 4],
    /// How much likelier than elsewhere a note is where it is an option.
    pub drive: u8,
    /// Whether a pitch may stand three times running.
    pub triples: bool,
    /// Whether the level may put notes between the beats.
    pub lively: bool,
    /// The most that the line may use between arrivals and approaches.
    pub vocabulary: Vocabulary,
    /// Semitones from the middle of the register.
    pub register: i16,
}

const NOTE: Option<Sound> = Some(Sound::Note);

const FOUR: FeelRow = FeelRow {
    feel: Feel::Four,
    opens_bar: NOTE,
    stressed: NOTE,
    otherwise: NOTE,
    last_beat: LastBeat::Leads,
    holds: false,
    pulse: Pulse::Beats,
    off_beats: [OffBeats::OfLevel; 4],
    drive: 0,
    triples: false,
    lively: true,
    vocabulary: Vocabulary::Scale,
    register: 0,
};

const FEELS: [FeelRow; 8] = [
    FOUR,
    FeelRow {
        feel: Feel::Two,
        otherwise: None,
        last_beat: LastBeat::Pickup,
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
        stressed: Some(Sound::Option),
        otherwise: Some(Sound::Option),
        last_beat: LastBeat::Plain,
        holds: true,
        drive: 0,
        triples: true,
        lively: false,
        vocabulary: Vocabulary::Roots,
        register: -4,
        ..FOUR
    },
    FeelRow {
        feel: Feel::Bossa,
        otherwise: None,
        last_beat: LastBeat::Plain,
        off_beats: [
            OffBeats::Notes,
            OffBeats::Options,
            OffBeats::Notes,
            OffBeats::Options,
        ],
        drive: 4,
        triples: true,
        lively: false,
        vocabulary: Vocabulary::Fifths,
        register: -4,
        ..FOUR
    },
    FeelRow {
        feel: Feel::Shuffle,
        off_beats: [OffBeats::Options; 4],
        drive: 2,
        ..FOUR
    },
    FeelRow {
        feel: Feel::HalfTime,
        otherwise: None,
        pulse: Pulse::Halves,
        lively: false,
        ..FOUR
    },
    FeelRow {
        feel: Feel::DoubleTime,
        pulse: Pulse::Eighths,
        lively: false,
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

    /// What stands between the beats of a bar of this number, from 1.
    pub fn off_beats(&self, bar: u32) -> OffBeats {
        self.off_beats[(bar as usize).saturating_sub(1) % 4]
    }

    /// Whether the last beat of a bar may lead into a change in it: at the levels that are two-feel of
    /// themselves, pickups stay with the last of four bars.
    pub fn leads_from(&self, level: Level, bar: u32, closes_bar: bool) -> bool {
        match self.last_beat {
            LastBeat::Leads => true,
            LastBeat::Pickup => closes_bar && (bar.is_multiple_of(4) || !level.is_two_feel()),
            LastBeat::Plain => false,
        }
    }

    /// Whether a note starts on a beat over a chord that does not arrive there.
    pub fn sound(&self, leads: bool, opens_bar: bool, stressed: bool) -> Option<Sound> {
        match () {
            () if leads && self.last_beat == LastBeat::Pickup => Some(Sound::Option),
            () if leads => NOTE,
            () if opens_bar => self.opens_bar,
            () if stressed => self.stressed,
            () => self.otherwise,
        }
    }
}

/// The feel of a bar in a chorus of this development: levels 1 and 2 are two-feel unless told otherwise, save
/// over a pedal.
pub fn feel_of(bar: &Bar, development: Development) -> Feel {
    match development.feel {
        Some(feel) => feel,
        None if development.level.rung().two_feel && bar.feel != Feel::Pedal => Feel::Two,
        None => bar.feel,
    }
}

/// The note on which a chorus arrives at one of its spans; none in silence.
pub(crate) fn arrives_on(
    chorus: &Chorus,
    span: usize,
    development: Development,
) -> Option<NoteName> {
    let span = &chorus.spans[span];
    let chord = span.chord.as_ref()?;
    let bar = chorus.bar_at(span.start);
    Some(match FeelRow::of(bar, development).holds {
        true => bar.pedal,
        false => chord.bass(),
    })
}
