//! What A the instrument is tuned to.

use super::{
    pitch::{KEYS, Pitch},
    spectrum::{STEPS, Spectrum},
};

/// The most windows that are listened to for it.
const MOST: usize = 1200;

/// The frequency of A, in steps of the axis (5 cents) above 440 Hz, with a fraction. Half a semitone either
/// way can be told from the sound alone: 427.5 to 452.9 Hz.
pub fn find(samples: &[f32], spectrum: &mut Spectrum, loud: f32) -> f32 {
    let reach = STEPS as i32 / 2;
    let readers: Vec<Pitch> = (-reach..=reach).map(Pitch::new).collect();
    let mut sums = vec![0.0f32; readers.len()];
    let every = (samples.len() / MOST).max(512);
    for middle in (0..samples.len()).step_by(every) {
        spectrum.read(samples, middle);
        if spectrum.strongest < loud - 20.0 {
            continue;
        }
        for (sum, reader) in sums.iter_mut().zip(&readers) {
            *sum += KEYS
                .map(|key| reader.likeness(spectrum, key))
                .fold(0.0, f32::max);
        }
    }
    let best = (0..sums.len())
        .max_by(|&a, &b| sums[a].total_cmp(&sums[b]))
        .unwrap_or(0);
    if sums[best] <= 0.0 {
        return 0.0;
    }
    let whole = best as f32 - reach as f32;
    let (Some(before), Some(after)) = (best.checked_sub(1).map(|at| sums[at]), sums.get(best + 1))
    else {
        return whole;
    };
    let bend = before - 2.0 * sums[best] + after;
    if bend < 0.0 {
        whole + (0.5 * (before - after) / bend).clamp(-0.5, 0.5)
    } else {
        whole
    }
}
