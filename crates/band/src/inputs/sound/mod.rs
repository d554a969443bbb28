//! A recording of a bass, from the bytes of its file to notes.
pub mod attacks;
pub mod decode;
pub mod notes;
pub mod path;
pub mod tuning;
pub mod weights;
pub mod pitch;
pub mod priming;
pub mod resample;
pub mod spectrum;

use attacks::Attacks;
use notes::HeardNote;
use path::Path;
use pitch::Pitch;
use spectrum::{HOP, Spectrum};

/// Samples a second of all that is analysed here: enough for the partials of a bass up to 2.3 kHz.
pub const RATE: u32 = 8000;

/// A recording that cannot be heard.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SoundProblem {
    /// Not a sound file that is known.
    #[error("this is no recording that endpin reads: it takes wav, aiff, flac, mp3, m4a, mp4, mov and ogg (Vorbis)")]
    Kind,
    /// A known kind that is not read.
    #[error("this is {0}, which endpin does not read; save it as wav, flac, mp3 or m4a")]
    Unread(&'static str),
    /// A known kind with a codec that is not read.
    #[error("the sound in this file is packed in a way that endpin does not read; save it as wav, flac, mp3 or m4a")]
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
pub struct Heard {
    /// The notes, in order of their beginnings.
    pub notes: Vec<HeardNote>,
    /// The frequency of A above middle C, in hertz.
    pub tuning: f64,
    /// Length of the recording, in seconds.
    pub seconds: f64,
}

/// How far one window's evidence counts: windows overlap by fifteen sixteenths, so they repeat one another.
const WEIGHT: f32 = 0.25;
/// The least share that a window may give, as a logarithm: no single window is sure.
const LEAST: f32 = -12.0;
/// The price of a change of key.
const CHANGE: f32 = 11.0;

/// Hears the notes in a sound at the working rate ([`RATE`]).
pub fn hear(samples: &[f32]) -> Heard {
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
    Heard {
        notes: notes::of_stays(&stays, &Attacks::new(samples), &sure),
        tuning: 440.0 * (f64::from(steps) / (12.0 * spectrum::STEPS as f64)).exp2(),
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
