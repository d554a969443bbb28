//! How snare and bass drum listen: now and then a stroke with an off-beat of the comp, an answer behind it, a stroke
//! with a skip of the bass, or a word of the drummer's own where the comp rests. (Common practice, no source.)

use super::{
    BarContext,
    kit::{Piece, Stress},
    rows::{Row, lay, suits},
};
use crate::players::random_streams::{below, weighted};
use endpin_theory::Ticks;
use rand_chacha::rand_core::Rng;

/// A stroke from the bar line.
pub type Answer = (Ticks, Piece, Stress);

/// Of a hundred bars, those in which the drummer answers; and how many more with each step of liveliness.
const ODDS: u32 = 32;
const MORE: u32 = 9;

/// What the drummer says where nobody else does.
const WORDS: [(&[(Piece, Row)], u32); 8] = [
    (&[(Piece::Snare, "- - - -o")], 4),
    (&[(Piece::Snare, "- -o - -")], 4),
    (&[(Piece::Snare, "- - -o -o")], 3),
    (&[(Piece::Kick, "- - - -x")], 3),
    (&[(Piece::Snare, "- -o x -")], 2),
    (&[(Piece::Snare, "- - -o -"), (Piece::Kick, "- - - -x")], 3),
    (&[(Piece::Snare, "- - --o x")], 2),
    (&[(Piece::Snare, "- -o - -"), (Piece::Kick, "- - -x -")], 2),
];

/// What a bar gets besides time.
pub fn answers(context: &BarContext, is_even: bool, rng: &mut impl Rng) -> Vec<Answer> {
    // All is drawn for each bar, whatever comes of it, so that a bar's choices don't hang on those before.
    let (plays, sort, which) = (below(rng, 100), below(rng, 1 << 16), below(rng, 1 << 16));
    let words = WORDS.map(|(parts, weight)| {
        let fits = parts.iter().all(|(_, row)| suits(row, false, is_even));
        if fits { weight } else { 0 }
    });
    let word = weighted(rng, &words);
    if plays >= ODDS + MORE * u32::from(context.busy) {
        return Vec::new();
    }
    let meter = context.meter;
    let half = Ticks(meter.beat_ticks().0 / 2);
    let is_off = |at: &&Ticks| at.0 % (half.0 * 2) == half.0;
    let off_beats = |of: &[Ticks]| -> Vec<Ticks> { of.iter().filter(is_off).copied().collect() };
    let (comp, bass) = (off_beats(context.comp), off_beats(context.bass));
    let pick = |of: &[Ticks]| of.get(which as usize % of.len().max(1)).copied();
    let behind = context.comp.last().map(|last| *last + half);
    let behind = behind.filter(|at| *at + half < meter.bar_ticks());
    match sort % 10 {
        // With the comp: an anticipation of the next bar on the bass drum, others on the snare.
        0..=2 if !comp.is_empty() => {
            pick(&comp).map_or(Vec::new(), |at| match at + half == meter.bar_ticks() {
                true => vec![(at, Piece::Kick, Stress::Plain)],
                false => vec![(at, Piece::Snare, Stress::Soft)],
            })
        }
        3..=5 if behind.is_some() => behind.map_or(Vec::new(), |at| {
            let echo = (at, Piece::Snare, Stress::Soft);
            match which % 3 {
                0 => vec![echo, (at + half, Piece::Snare, Stress::Plain)],
                _ => vec![echo],
            }
        }),
        6 | 7 if !bass.is_empty() => {
            let with = pick(&bass).map(|at| (at, Piece::Snare, Stress::Soft));
            with.into_iter().collect()
        }
        _ if context.comp.len() < 2 => {
            let parts = word.map_or(&[][..], |word| WORDS[word].0);
            let strokes = parts.iter().flat_map(|&(piece, row)| {
                lay(row, None, meter, true)
                    .into_iter()
                    .map(move |(at, stress)| (at, piece, stress))
            });
            strokes.collect()
        }
        _ => Vec::new(),
    }
}
