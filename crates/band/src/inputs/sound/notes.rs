//! From stays on a key to notes: struck when, how long, how loud, how sure.

use super::{
    RATE,
    attacks::{Attacks, STEP},
    path::{SILENCE, STATES, Stay},
    pitch::KEYS,
    spectrum::HOP,
};

/// A note that was heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoundNote {
    /// When it begins, in seconds from the beginning of the recording.
    pub onset: f64,
    /// How long it sounds, in seconds.
    pub length: f64,
    /// MIDI key.
    pub key: u8,
    /// The level of its attack, in decibels.
    pub level: f32,
    /// How sure its key is, 0 to 1.
    pub certainty: f64,
}

/// Steps of the attacks in a window.
const STEPS: usize = HOP / STEP;
/// The rise that is taken for an attack, in decibels over all bands.
const ATTACK: f32 = 15.0;
/// A note is over when it is so many decibels softer than it was.
const OVER: f32 = 30.0;

/// Notes less sure than this are left out: four in five were wrong, mostly the backing's.
const TOO_UNSURE: f64 = 0.2;

/// The notes of a path. `sure[window][state]` is the share of evidence for a state, 0 to 255.
pub fn of_stays(stays: &[Stay], attacks: &Attacks, sure: &[[u8; STATES]]) -> Vec<SoundNote> {
    let mut notes = Vec::new();
    for stay in stays.iter().filter(|stay| stay.state != SILENCE) {
        let end = stay.to * STEPS;
        let mut begins = vec![beginning(attacks, stay.from * STEPS)];
        begins.extend(again(attacks, stay));
        for (number, &from) in begins.iter().enumerate() {
            let to = begins.get(number + 1).copied().unwrap_or(end);
            notes.push(note(attacks, sure, stay.state, from, to.max(from + 1)));
        }
    }
    notes.retain(|note| note.certainty >= TOO_UNSURE);
    for index in 1..notes.len() {
        let next: f64 = notes[index].onset;
        let before: &mut SoundNote = &mut notes[index - 1];
        before.length = before
            .length
            .min(next - before.onset)
            .max(STEP as f64 / f64::from(RATE));
    }
    notes
}

/// The step at which a note begins whose stay begins at a step: the steepest rise near by, if there is one.
fn beginning(attacks: &Attacks, step: usize) -> usize {
    let near = step.saturating_sub(14)..(step + 10).min(attacks.len());
    let best = near
        .map(|at| {
            let away = (at as f32 - step as f32 + 2.0) / 8.0;
            (at, attacks.rise(at) * (-0.5 * away * away).exp())
        })
        .max_by(|a, b| a.1.total_cmp(&b.1));
    match best {
        Some((at, rise)) if rise > ATTACK * 0.6 => at,
        _ => step.saturating_sub(1),
    }
}

/// Steps after the beginning in which a note is loudest.
const BEGINNING: usize = 40;

/// The steps inside a stay at which its string is struck again.
fn again(attacks: &Attacks, stay: &Stay) -> Vec<usize> {
    let (from, to) = (
        stay.from * STEPS + 18,
        (stay.to * STEPS).saturating_sub(10).min(attacks.len()),
    );
    let mut found: Vec<usize> = Vec::new();
    let rises: Vec<f32> = (from..to.max(from)).map(|at| attacks.rise(at)).collect();
    for (index, &rise) in rises.iter().enumerate() {
        let around = &rises[index.saturating_sub(10)..(index + 11).min(rises.len())];
        let is_top = around.iter().all(|&other| other <= rise);
        let apart = found.last().is_none_or(|&last| from + index > last + 15);
        if rise > ATTACK && is_top && apart && attacks.struck_again(from + index) > 0.0 {
            found.push(from + index);
        }
    }
    found
}

fn note(
    attacks: &Attacks,
    sure: &[[u8; STATES]],
    state: usize,
    from: usize,
    to: usize,
) -> SoundNote {
    let mut peak = f32::NEG_INFINITY;
    let mut last = from;
    for at in from..to {
        let level = attacks.level(at);
        if at < from + BEGINNING {
            peak = peak.max(level);
        }
        if level > peak - OVER {
            last = at;
        }
    }
    let windows =
        (from / STEPS).min(sure.len().saturating_sub(1))..to.div_ceil(STEPS).min(sure.len());
    let shares: Vec<f64> = sure[windows]
        .iter()
        .map(|shares| f64::from(shares[state]) / 255.0)
        .collect();
    let certainty = shares.iter().sum::<f64>() / shares.len().max(1) as f64;
    let seconds = |step: usize| (step * STEP) as f64 / f64::from(RATE);
    SoundNote {
        onset: seconds(from),
        length: seconds(last + 1 - from),
        key: KEYS.start() + state as u8,
        level: peak,
        certainty,
    }
}
