//! What was heard: notes in their bars, and how alike two bars are.

use endpin_theory::{Chorus, Ticks};

/// A note as it was heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HeardNote {
    /// Where it began, from the start of the phrase.
    pub at: Ticks,
    /// How long it lasted.
    pub length: Ticks,
    /// MIDI key.
    pub key: u8,
    /// MIDI velocity.
    pub velocity: u8,
}

/// The bars of somebody's turn, with what was played in them.
#[derive(Clone, Debug)]
pub struct Phrase {
    /// The bars, as a chorus of their own.
    pub ground: std::sync::Arc<Chorus>,
    /// In order of start.
    pub notes: Vec<HeardNote>,
}

/// The key that begins on each beat of a bar, if one does.
pub type Outline = Vec<Option<u8>>;

impl Phrase {
    /// The outline of a bar (from 0). A note up to a third of a beat early or late is on the beat.
    pub fn outline(&self, bar: usize) -> Outline {
        let bar = &self.ground.bars[bar];
        let beat = bar.meter.beat_ticks();
        let near = beat.0 / 3;
        let on = |at: Ticks| {
            let heard = self.notes.iter();
            let heard = heard.filter(|note| (note.at.0 - at.0).abs() <= near);
            heard
                .min_by_key(|note| (note.at.0 - at.0).abs())
                .map(|note| note.key)
        };
        let beats = 0..i64::from(bar.meter.beats());
        beats.map(|index| on(bar.start + beat * index)).collect()
    }

    /// The beat of the phrase (from 0) that a note is of, if it is up to a third of a beat early.
    pub fn beat_of(&self, note: &HeardNote) -> usize {
        let of = |beat: &usize| {
            let early = self.ground.bar_at(*beat).meter.beat_ticks().0 / 3;
            self.ground.ticks_at(*beat).0 - early <= note.at.0
        };
        (0..self.ground.beats()).rfind(of).unwrap_or(0)
    }

    /// All outlines.
    pub fn outlines(&self) -> Vec<Outline> {
        (0..self.ground.bars.len())
            .map(|bar| self.outline(bar))
            .collect()
    }

    /// The last note.
    pub fn last(&self) -> Option<&HeardNote> {
        self.notes.last()
    }

    /// Notes a beat.
    pub fn density(&self) -> f64 {
        self.notes.len() as f64 / self.ground.beats() as f64
    }

    /// The mean velocity, if anything was played.
    pub fn loudness(&self) -> Option<f64> {
        let sum: f64 = self.notes.iter().map(|note| f64::from(note.velocity)).sum();
        (!self.notes.is_empty()).then(|| sum / self.notes.len() as f64)
    }
}

/// How alike two bars are, from 0 to 1. Each beat after the first counts one where both reach a note the same
/// distance above or below their first one, a half where they only move the same way from the beat before, and
/// nothing where they do not or where one of them is silent; the sum is divided by the beats. Bars with fewer than
/// two notes are like nothing.
///
/// The measure is our own: it hears a motif wherever it stands (on another degree, in another octave) and forgives
/// a chord's other third.
pub fn likeness(one: &[Option<u8>], other: &[Option<u8>]) -> f64 {
    let (Some(Some(from)), Some(Some(to))) = (one.first(), other.first()) else {
        return 0.0;
    };
    let beats = one.len().max(other.len()).max(2) - 1;
    let mut sum = 0.0;
    let (mut before, mut before_there) = (*from, *to);
    for (here, there) in one.iter().zip(other).skip(1) {
        let (Some(here), Some(there)) = (*here, *there) else {
            continue;
        };
        let way = |from: u8, to: u8| (i16::from(to) - i16::from(from)).signum();
        let above = |first: u8, key: u8| i16::from(key) - i16::from(first);
        sum += match above(*from, here) == above(*to, there) {
            true => 1.0,
            false if way(before, here) == way(before_there, there) => 0.5,
            false => 0.0,
        };
        (before, before_there) = (here, there);
    }
    sum / beats as f64
}

/// How much of a phrase is in an answer, from 0 to 1: the mean, over the answer's bars, of the likeness to that bar
/// of the phrase which is most like it. The answer's last bar leads on and is left out, if there are others.
pub fn taken_up(answer: &[Outline], phrase: &[Outline]) -> f64 {
    let counted = answer.len().saturating_sub(1).max(1).min(answer.len());
    let best = |bar: &Outline| {
        let each = phrase.iter().map(|heard| likeness(heard, bar));
        each.fold(0.0, f64::max)
    };
    let sum: f64 = answer[..counted].iter().map(best).sum();
    match counted {
        0 => 0.0,
        counted => sum / counted as f64,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(keys: [u8; 4]) -> Outline {
        keys.map(|key| (key > 0).then_some(key)).to_vec()
    }

    #[test]
    fn a_motif_is_like_itself_wherever_it_stands() {
        let motif = bar([41, 45, 48, 47]);
        for (other, wanted) in [
            (bar([41, 45, 48, 47]), 1.0),
            (bar([46, 50, 53, 52]), 1.0),
            // The other third: two beats the same, one that moves the same way.
            (bar([43, 46, 50, 49]), (0.5 + 1.0 + 1.0) / 3.0),
            (bar([41, 38, 36, 40]), 0.0),
            (bar([41, 45, 0, 0]), 1.0 / 3.0),
            (bar([0, 0, 0, 0]), 0.0),
        ] {
            assert!(
                (likeness(&motif, &other) - wanted).abs() < 1e-9,
                "{other:?}"
            );
        }
    }

    #[test]
    fn an_answer_is_measured_by_the_bars_before_its_last() {
        let heard = [bar([41, 45, 48, 47]), bar([41, 43, 45, 46])];
        let answer = [bar([46, 50, 53, 52]), bar([46, 44, 41, 40])];
        assert!((taken_up(&answer, &heard) - 1.0).abs() < 1e-9);
        assert!(
            (taken_up(&answer[..1], &heard) - 1.0).abs() < 1e-9,
            "its only bar"
        );
        assert_eq!(taken_up(&[], &heard), 0.0);
    }
}
