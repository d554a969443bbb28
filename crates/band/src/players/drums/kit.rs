//! What each kit sounds on: a row for each piece, with the key, and how loud a plain stroke is.
//!
//! Keys are those of General MIDI level 1 (reference file `gm.csv`). Brushes are those of the brush set of General
//! MIDI 2: percussion bank 120, program 41 counted from 1; there key 38 taps and 40 swirls. (MIDI Association,
//! *General MIDI 2*; numbers from secondary copies: the percussion tables of the library DryWetMIDI and a synthesiser's
//! manual.) A synthesiser without that set keeps its standard kit, on which both keys are snare drums, so they are
//! played softly; key 39, the slap, is a hand clap there and left alone.

use super::Kit;

/// Percussion keys of General MIDI level 1.
pub mod percussion {
    /// Bass drum 1.
    pub const KICK: u8 = 36;
    /// Side stick.
    pub const SIDE_STICK: u8 = 37;
    /// Acoustic snare; the tap of General MIDI 2's brush set.
    pub const SNARE: u8 = 38;
    /// Electric snare; the swirl of General MIDI 2's brush set, the only one played.
    pub const BRUSH_SWIRL: u8 = 40;
    /// Closed hi-hat.
    pub const CLOSED_HAT: u8 = 42;
    /// High floor tom.
    pub const LOW_TOM: u8 = 43;
    /// Pedal hi-hat.
    pub const PEDAL_HAT: u8 = 44;
    /// Hi-mid tom.
    pub const HIGH_TOM: u8 = 48;
    /// Crash cymbal 1.
    pub const CRASH: u8 = 49;
    /// Ride cymbal 1.
    pub const RIDE: u8 = 51;
    /// High wood block: the click on beat 1.
    pub const CLICK_HIGH: u8 = 76;
    /// Low wood block: the other clicks.
    pub const CLICK_LOW: u8 = 77;
}

/// Bank select (most and least significant) and program, counted from 0, of General MIDI 2's brush set.
pub const BRUSH_SET: (u8, u8, u8) = (120, 0, 40);

/// What a drummer plays with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Piece {
    /// The ride, or what a kit has in its place.
    Ride,
    /// A closed hi-hat, with the stick.
    Hat,
    /// The hi-hat closed with the foot.
    Pedal,
    /// Across the rim of the snare.
    Stick,
    /// The snare.
    Snare,
    /// A brush drawn over the snare: with brushes only.
    Sweep,
    /// The bass drum.
    Kick,
    /// The small tom.
    High,
    /// The floor tom.
    Low,
    /// The crash, with sticks only.
    Crash,
}

/// How hard a stroke falls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stress {
    /// As a ghost, or feathered.
    Soft,
    /// As the kit has it.
    Plain,
    /// Leaned on.
    Accent,
}

/// A piece, its key, and the velocity of a plain stroke.
type Sound = (Piece, u8, i32);

const STICKS: &[Sound] = &[
    (Piece::Ride, percussion::RIDE, 70),
    (Piece::Hat, percussion::CLOSED_HAT, 52),
    (Piece::Pedal, percussion::PEDAL_HAT, 65),
    (Piece::Stick, percussion::SIDE_STICK, 54),
    (Piece::Snare, percussion::SNARE, 53),
    (Piece::Kick, percussion::KICK, 44),
    (Piece::High, percussion::HIGH_TOM, 50),
    (Piece::Low, percussion::LOW_TOM, 52),
    (Piece::Crash, percussion::CRASH, 60),
];

/// Set by measure like the others' whole: between the two fonts the closing hi-hat differs most.
const BRUSHES: &[Sound] = &[
    (Piece::Ride, percussion::SNARE, 59),
    (Piece::Hat, percussion::SNARE, 52),
    (Piece::Pedal, percussion::PEDAL_HAT, 46),
    (Piece::Stick, percussion::SIDE_STICK, 48),
    (Piece::Snare, percussion::SNARE, 61),
    (Piece::Sweep, percussion::BRUSH_SWIRL, 50),
    (Piece::Kick, percussion::KICK, 38),
    (Piece::High, percussion::HIGH_TOM, 42),
    (Piece::Low, percussion::LOW_TOM, 44),
];

const CROSS_STICK: &[Sound] = &[
    (Piece::Ride, percussion::RIDE, 54),
    (Piece::Hat, percussion::CLOSED_HAT, 50),
    (Piece::Pedal, percussion::PEDAL_HAT, 62),
    (Piece::Stick, percussion::SIDE_STICK, 54),
    (Piece::Snare, percussion::SIDE_STICK, 46),
    (Piece::Kick, percussion::KICK, 40),
    (Piece::High, percussion::HIGH_TOM, 44),
    (Piece::Low, percussion::LOW_TOM, 46),
];

/// The key and the velocity of a stroke; none for what the kit does not have.
pub fn sound(kit: Kit, piece: Piece, stress: Stress) -> Option<(u8, i32)> {
    let sounds = match kit {
        Kit::Auto | Kit::Ride => STICKS,
        Kit::Brushes => BRUSHES,
        Kit::CrossStick => CROSS_STICK,
    };
    let harder = match stress {
        Stress::Soft => -10,
        Stress::Plain => 0,
        Stress::Accent => 8,
    };
    let found = sounds.iter().find(|(of, ..)| *of == piece);
    found.map(|&(_, key, velocity)| (key, velocity + harder))
}
