//! A recording of a bass, from the bytes of its file to notes.
//!
//! The stages, one module each: [`decode`] reads the file ([`resample`], and [`priming`], what an encoder put
//! before the sound); [`spectrum`] finds the partials in each window of 128 ms; [`tuning`] finds A; [`pitch`]
//! says how much speaks for each key; [`path`] is the cheapest way through all windows, as stays on keys;
//! [`attacks`] reads the loudness in short windows; [`notes`] makes the stays notes, with their beginnings to
//! 4 ms. [`weights`] holds all that was fitted.
//!
//! Windows first, then the cheapest path through them, is the way of M. Mauch and S. Dixon, "pYIN: A
//! fundamental frequency estimator using probabilistic threshold distributions", ICASSP 2014; what speaks for
//! a key is both how much of the sound it explains and how much of what it promises is there, after
//! R. C. Maher and J. W. Beauchamp, "Fundamental frequency estimation of musical signals using a two-way
//! mismatch procedure", JASA 95, 1994.
//!
//! ```
//! use endpin::inputs::sound;
//!
//! // A second of a low A, 55 Hz, with four partials.
//! let tone = |i: usize| (1..5).map(|k| (i as f32 * 55.0 * k as f32 * std::f32::consts::TAU / 8000.0).sin() / k as f32).sum::<f32>() * 0.2;
//! let samples: Vec<f32> = (0..8000).map(tone).collect();
//! let heard = sound::hear(&samples);
//! assert_eq!(heard.notes.iter().map(|note| note.key).collect::<Vec<_>>(), [33]);
//! ```

pub mod attacks;
pub mod decode;
mod guard;
pub mod notes;
pub mod path;
pub mod pitch;
pub mod priming;
pub mod resample;
pub mod spectrum;
pub mod tuning;
pub mod weights;

use attacks::Attacks;
pub use notes::SoundNote;
use path::Path;
use pitch::Pitch;
use spectrum::{HOP, Spectrum};
pub use symphonia::core::io::MediaSource;

/// Samples a second of all that is analysed here: enough for the partials of a bass up to 2.3 kHz.
pub const RATE: u32 = 8000;

/// A recording that cannot be heard.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SoundProblem {
    /// Not a sound file that is known.
    #[error(
        "this is not a recording that endpin can read; it reads wav, aiff, flac, mp3, m4a, mp4, mov and ogg (Vorbis)"
    )]
    Kind,
    /// A known kind that is not read.
    #[error("this is {0}, which endpin does not read; save it as wav, flac, mp3 or m4a")]
    Unread(&'static str),
    /// A known kind with a codec that is not read.
    #[error(
        "the sound in this file is packed in a way that endpin does not read; save it as wav, flac, mp3 or m4a"
    )]
    Codec,
    /// No sound in it.
    #[error("there is no sound in this file")]
    NoSound,
    /// Broken.
    #[error("the recording is damaged: {0}")]
    Damaged(String),
    /// Too long.
    #[error("the recording is longer than three hours, the most that endpin hears")]
    Long,
}

/// What was heard in a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Hearing {
    /// The notes, in order of their beginnings.
    pub notes: Vec<SoundNote>,
    /// The frequency of A above middle C, in hertz; between 427.5 and 452.9, half a semitone about 440.
    pub tuning_hz: f64,
    /// Length of the recording, in seconds.
    pub seconds: f64,
}

/// How far one window's evidence counts: windows overlap by fifteen sixteenths, so they repeat one another.
const WEIGHT: f32 = 0.25;
/// The least share that a window may give, as a logarithm: no single window is sure.
const LEAST: f32 = -12.0;
/// The price of a change of key.
const CHANGE: f32 = 11.0;

/// Hears the notes in a recording, whatever its file is.
///
/// # Errors
/// As [`decode::decode`].
pub fn hear_file(source: Box<dyn MediaSource>) -> Result<Hearing, SoundProblem> {
    Ok(hear(&decode::decode(source)?))
}

/// Hears the notes in a sound at the working rate ([`RATE`]).
pub fn hear(samples: &[f32]) -> Hearing {
    let mut spectrum = Spectrum::new();
    let loud = loudness(samples, &mut spectrum);
    let steps = tuning::find(samples, &mut spectrum, loud);
    let pitch = Pitch::new(steps.round() as i32);
    let mut path = Path::new();
    let mut sure = Vec::with_capacity(samples.len() / HOP + 1);
    for middle in (0..samples.len()).step_by(HOP) {
        spectrum.read(samples, middle);
        let shares = pitch.shares(&spectrum, loud);
        path.push(&shares.map(|share| share.ln().max(LEAST) * WEIGHT), CHANGE);
        sure.push(shares.map(|share| (share * 255.0).round() as u8));
    }
    let stays = path.finish();
    Hearing {
        notes: notes::of_stays(&stays, &Attacks::new(samples), &sure),
        tuning_hz: 440.0 * (f64::from(steps) / (12.0 * spectrum::STEPS as f64)).exp2(),
        seconds: samples.len() as f64 / f64::from(RATE),
    }
}

/// The level that the louder windows of a sound reach, in decibels: nine in ten are softer.
fn loudness(samples: &[f32], spectrum: &mut Spectrum) -> f32 {
    let every = (samples.len() / 2000).max(2048);
    let mut levels: Vec<f32> = (0..samples.len())
        .step_by(every)
        .map(|middle| {
            spectrum.read(samples, middle);
            spectrum.strongest
        })
        .collect();
    levels.sort_by(f32::total_cmp);
    levels.get(levels.len() * 9 / 10).copied().unwrap_or(-200.0)
}
