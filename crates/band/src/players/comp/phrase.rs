//! What a phrase of four bars asks of the comp's rhythm, bar by bar.

use super::{
    comping::Comping,
    rhythm::{Candidate, Rhythm, small_groups},
};
use crate::players::{
    random_streams::below,
    styles::{PADS, PADS_OF_THREE, RhythmCell, Style},
};
use endpin_theory::chart::{Bar, Chorus};
use rand_chacha::rand_core::Rng;

/// The rhythms from which a bar takes its own.
#[derive(Clone, Copy, Debug)]
pub(super) struct Vocabulary {
    /// Of whole bars of four or three beats; none for those of the groups.
    pub(super) cells: Option<&'static [RhythmCell]>,
    /// Whether its chords are held as long as they last.
    pub(super) pads: bool,
    /// Percent of the density.
    pub(super) density: u32,
}

impl Vocabulary {
    /// Pads where they are asked for, in ballads and over pedals, else what the feel has.
    pub(super) fn of(bar: &Bar, comping: Comping) -> Vocabulary {
        let style = Style::of(bar.feel);
        let is_held = comping == Comping::Pads || style.is_held(bar.tempo, &bar.meter);
        let groups = small_groups(&bar.meter);
        match (is_held, &groups[..]) {
            (true, [4]) => Vocabulary {
                cells: Some(PADS),
                pads: true,
                density: 80,
            },
            (true, [3]) => Vocabulary {
                cells: Some(PADS_OF_THREE),
                pads: true,
                density: 80,
            },
            (_, groups) => Vocabulary {
                cells: style.cells.filter(|_| groups == [4]),
                pads: false,
                density: style.density,
            },
        }
    }
}

/// Where a bar stands in a phrase of four bars, and what that asks of it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Phrase {
    /// The first bar of the section.
    section: usize,
    /// The bar at hand.
    bar: usize,
    /// The first bar that is not laid out.
    plays_from: usize,
    /// Whether its third bar takes up its first.
    returns: bool,
    /// Whether a section begins with the bar after this one.
    closes: bool,
}

/// Of a hundred phrases, those that begin with the comp laying out; and those that return to their first bar.
const LAYS_OUT: u32 = 14;
const RETURNS: u32 = 60;

impl Phrase {
    /// Goes on to a bar. What a phrase does is drawn at its first bar.
    pub(super) fn enter(
        &mut self,
        chorus: &Chorus,
        bar: usize,
        vocabulary: Vocabulary,
        rng: &mut impl Rng,
    ) {
        self.bar = bar;
        if chorus.bars[bar].opens_section {
            self.section = bar;
        }
        let next = chorus.bars.get(bar + 1);
        self.closes = next.is_none_or(|next| next.opens_section);
        if self.place() == 0 {
            let (lays_out, returns) = (below(rng, 100) < LAYS_OUT, below(rng, 100) < RETURNS);
            // The first phrase of a chorus is stated; whoever holds pads holds on.
            if lays_out && bar > 0 && !vocabulary.pads {
                self.plays_from = bar + 2;
            }
            self.returns = returns;
        }
    }

    /// The bar's place in its phrase, 0 to 3.
    pub(super) fn place(&self) -> usize {
        (self.bar - self.section) % 4
    }

    /// Leans the weights of candidates to what the phrase asks, given the rhythm of two bars before.
    pub(super) fn lean(
        &self,
        candidates: &[(&Candidate, Vec<Rhythm>)],
        before: Option<&Rhythm>,
        weights: &mut [u32],
    ) {
        let rests = |rhythms: &[Rhythm]| rhythms.iter().all(Rhythm::is_empty);
        let lays_out = self.bar < self.plays_from && candidates.iter().any(|(_, all)| rests(all));
        for ((candidate, rhythms), weight) in candidates.iter().zip(weights) {
            if lays_out {
                *weight = u32::from(rests(rhythms));
                continue;
            }
            let takes_up = before == rhythms.first() && !rests(rhythms);
            *weight = match self.place() {
                2 if self.returns && takes_up => *weight * 12,
                3 if takes_up => *weight / 4,
                _ => *weight,
            };
            let last = candidate.bars.last().and_then(|attacks| attacks.last());
            if self.closes && last.is_some_and(|attack| attack.anticipates) {
                *weight *= 3;
            }
        }
    }
}
