//! When the comp plays: a small grammar of one- and two-bar rhythms, in phrases of four bars.
//!
//! A bar is made of the groups of its meter, each with a vocabulary of cells counted in half beats. An
//! off-beat attack just before a new chord anticipates it; a beat on which the anticipated chord already
//! sounds is not struck again. No bar has the rhythm of the two bars before it. The third bar of a phrase often
//! takes up the rhythm of its first and the fourth leaves it; now and then the comp lays out for the first half of
//! a phrase; the bar before a section likes to push into it. (Common practice, no source.)

use super::{
    CompOptions,
    cells::{FOUR, ONE, THREE, TWO, TWO_BARS_OF_FOUR, TWO_BARS_OF_THREE},
    phrase::{Phrase, Vocabulary},
};
use crate::players::{
    random_streams::{below, weighted},
    styles::{RhythmCell, Stroke},
};
use endpin_theory::{Meter, Ticks, chart::Chorus};
use rand_chacha::rand_core::Rng;

/// One attack, at its notated place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Attack {
    /// Its bar, an index of the chorus's bars.
    pub bar: usize,
    /// From the start of the chorus.
    pub start: Ticks,
    /// How long it is held.
    pub length: Ticks,
    /// The span whose chord it sounds.
    pub span: usize,
    /// Whether it sounds that chord before its arrival.
    pub anticipates: bool,
}

impl Attack {
    /// Where it is released.
    pub fn end(&self) -> Ticks {
        self.start + self.length
    }
}

/// What the grammar asks about the music around it.
pub trait Surroundings {
    /// The attack, shortened if it must be, or none if nothing can sound there.
    fn fit(&self, attack: Attack) -> Option<Attack>;
    /// Notes of the bass in a bar (an index of the chorus's bars).
    fn bass_notes(&self, bar: usize) -> usize;
}

/// Below this many quarters a minute chords are held twice as long.
const SLOW: f64 = 96.0;

/// Attacks a bar that a density from 0 to 1 aims at, in hundredths: 1.5 in the middle.
fn target(density: f64, meter: &Meter) -> i64 {
    let per_bar = (20.0 + 260.0 * density.clamp(0.0, 1.0)) as i64;
    // Bars shorter than three quarters have room for less.
    per_bar * meter.bar_ticks().0.min(2880) / 2880
}

/// A bar's rhythm as candidates of the grammar make it.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    /// Its attacks, bar by bar.
    pub(super) bars: Vec<Vec<Attack>>,
    weight: u32,
}

/// The attacks of a whole chorus. Never three bars running with one rhythm, not even across the join of
/// choruses: the first two bars differ, and so do the last two; in a chorus of one bar, odd and even
/// choruses have rhythms of their own.
pub fn chorus(
    chorus: &Chorus,
    number: u32,
    options: &CompOptions,
    around: &impl Surroundings,
    rng: &mut impl Rng,
) -> Vec<Attack> {
    let count = chorus.bars.len();
    let mut attacks: Vec<Attack> = Vec::new();
    let mut rhythms: Vec<Rhythm> = Vec::with_capacity(count);
    let mut phrase = Phrase::default();
    while rhythms.len() < count {
        let bar = rhythms.len();
        let here = &chorus.bars[bar];
        let vocabulary = Vocabulary::of(here, options.comping);
        phrase.enter(chorus, bar, vocabulary, rng);
        if here.stop_time {
            // Struck short on the first beat, whatever the bars around it have.
            attacks.extend(place(chorus, bar, &[(0, 1)], false, None, around));
            rhythms.push(vec![0]);
            continue;
        }
        let mut candidates = candidates(
            chorus,
            bar,
            attacks.last().copied(),
            (phrase, vocabulary),
            around,
            rng,
        );
        candidates.retain(|candidate| {
            let new = candidate.rhythms(chorus, bar);
            let recent = || rhythms[bar.saturating_sub(2)..].iter().chain(&new);
            (0..new.len()).all(|offset| {
                let so_far: Vec<&Rhythm> = recent().take(bar.min(2) + offset + 1).collect();
                is_fresh(&so_far, bar + offset, count, number)
            })
        });
        let aim = target(options.density, &here.meter) * i64::from(vocabulary.density) / 100;
        let mut weights = weigh(&candidates, aim, around.bass_notes(bar), &here.meter);
        let before = bar.checked_sub(2).map(|before| &rhythms[before]);
        let with_rhythms: Vec<(&Candidate, Vec<Rhythm>)> = candidates
            .iter()
            .map(|candidate| (candidate, candidate.rhythms(chorus, bar)))
            .collect();
        phrase.lean(&with_rhythms, before, &mut weights);
        match weighted(rng, &weights) {
            Some(choice) => {
                rhythms.extend(candidates[choice].rhythms(chorus, bar));
                attacks.extend(candidates[choice].bars.iter().flatten());
            }
            // Nothing new can sound here: silence of harmony.
            None => rhythms.push(Rhythm::new()),
        }
    }
    for index in 1..attacks.len() {
        let next = attacks[index].start;
        let before = &mut attacks[index - 1];
        before.length = before.length.min(next - before.start);
    }
    attacks
}

/// Places of a bar's attacks, in half beats from the bar line.
pub(super) type Rhythm = Vec<i64>;

impl Candidate {
    fn rhythms(&self, chorus: &Chorus, bar: usize) -> Vec<Rhythm> {
        let bars = self.bars.iter().zip(&chorus.bars[bar..]);
        bars.map(|(attacks, bar)| {
            let half_beat = bar.meter.beat_ticks().0 / 2;
            let places = attacks.iter();
            places
                .map(|attack| (attack.start - bar.start).0 / half_beat)
                .collect()
        })
        .collect()
    }
}

/// Whether the last of these rhythms, that of bar `index` (from 0) of `count`, differs from those with which
/// it would make three alike.
fn is_fresh(rhythms: &[&Rhythm], index: usize, count: usize, number: u32) -> bool {
    match rhythms {
        [.., before, rhythm] if index == 1 || index + 1 == count => before != rhythm,
        [.., one, two, three] => !(one == two && two == three),
        // A chorus of one bar: its first attack tells odd choruses from even ones; a rest is for even ones.
        [rhythm] if count == 1 => {
            let first = rhythm.first().map_or(0, |first| first + 1);
            first % 2 == i64::from(number % 2)
        }
        _ => true,
    }
}

/// Weights by the number of attacks that are left of each candidate: most for the aim (in hundredths of an
/// attack a bar), some for one more or less, little for others.
fn weigh(candidates: &[Candidate], aim: i64, bass_notes: usize, meter: &Meter) -> Vec<u32> {
    let attacks = |candidate: &Candidate| {
        let all: usize = candidate.bars.iter().map(Vec::len).sum();
        // In halves, so that a two-bar rhythm counts by its mean.
        2 * all / candidate.bars.len()
    };
    let share = |halves: usize| {
        let off = (50 * halves as i64 - aim).abs();
        (100 - off * 7 / 10).max(4) as u32
    };
    // Room for a busy bass; answers where it holds long notes.
    let beats = usize::from(meter.beats());
    let busy = bass_notes > beats;
    let idle = 2 * bass_notes <= beats;
    candidates
        .iter()
        .map(|candidate| {
            let halves = attacks(candidate);
            let of_as_many: u32 = candidates
                .iter()
                .filter(|other| attacks(other) == halves)
                .map(|other| other.weight)
                .sum();
            let weight = share(halves) * candidate.weight * 240 / of_as_many.max(1);
            match halves {
                _ if busy && halves > 2 => weight / 3,
                _ if idle && halves == 0 => weight / 3,
                _ => weight,
            }
        })
        .collect()
}

/// Every rhythm that the grammar has for the bars from `bar` on, as it comes out among chords and bass.
fn candidates(
    chorus: &Chorus,
    bar: usize,
    last: Option<Attack>,
    (phrase, vocabulary): (Phrase, Vocabulary),
    around: &impl Surroundings,
    rng: &mut impl Rng,
) -> Vec<Candidate> {
    let meter = &chorus.bars[bar].meter;
    let mut found: Vec<Candidate> = Vec::new();
    let mut add = |strokes: &[&[Stroke]], weight: u32| {
        let mut last = last;
        let mut bars = Vec::new();
        for (offset, strokes) in strokes.iter().enumerate() {
            let attacks = place(chorus, bar + offset, strokes, vocabulary.pads, last, around);
            last = attacks.last().copied().or(last);
            bars.push(attacks);
        }
        found.push(Candidate { bars, weight });
    };
    let groups = small_groups(meter);
    match (vocabulary.cells, &groups[..]) {
        (Some(cells), _) => cells,
        (None, [one]) => cells(*one),
        (None, _) => &[],
    }
    .iter()
    .for_each(|&(strokes, weight)| add(&[strokes], weight));
    if groups.len() > 1 {
        for _ in 0..32 {
            add(&[&compose(&groups, rng)], 1);
        }
    }
    // A rest, where the vocabulary has none: taken when the comp lays out, and else seldom.
    add(&[&[]], 1);
    let two_bars = match groups[..] {
        [4] if vocabulary.cells.is_none() => TWO_BARS_OF_FOUR,
        [3] if vocabulary.cells.is_none() => TWO_BARS_OF_THREE,
        _ => &[],
    };
    let next = chorus.bars.get(bar + 1);
    // Two bars belong together within a phrase, not across its join.
    let together = phrase.place().is_multiple_of(2)
        && next.is_some_and(|next| next.meter == *meter && !next.opens_section);
    for &(first, second, weight) in two_bars.iter().filter(|_| together) {
        add(&[first, second], weight);
    }
    found
}

/// The meter's groups, those of more than four beats cut into threes and twos.
pub(super) fn small_groups(meter: &Meter) -> Vec<u8> {
    let mut groups = Vec::new();
    for &group in meter.grouping() {
        let mut left = group;
        while left > 4 {
            groups.push(3);
            left -= 3;
        }
        if left > 0 {
            groups.push(left);
        }
    }
    groups
}

fn cells(group: u8) -> &'static [RhythmCell] {
    match group {
        1 => ONE,
        2 => TWO,
        3 => THREE,
        _ => FOUR,
    }
}

/// A cell for each group, one after the other; about half of the groups rest, so that long bars do not fill
/// up.
fn compose(groups: &[u8], rng: &mut impl Rng) -> Vec<Stroke> {
    let mut strokes = Vec::new();
    let mut head = 0;
    for &group in groups {
        let cells = cells(group);
        let choice = below(rng, cells.len() as u32) as usize;
        if below(rng, 5) < 3 {
            strokes.extend(cells[choice].0.iter().map(|&(at, held)| (head + at, held)));
        }
        head += 2 * group;
    }
    strokes
}

/// Strokes as attacks on the chords of the bar: off-beats before an arrival anticipate it; nothing is struck
/// while an anticipated chord is still to be held, nor before the chorus's end for a chord not yet known.
fn place(
    chorus: &Chorus,
    bar: usize,
    strokes: &[Stroke],
    pads: bool,
    mut last: Option<Attack>,
    around: &impl Surroundings,
) -> Vec<Attack> {
    let here = &chorus.bars[bar];
    let beat_length = here.meter.beat_ticks();
    let half = Ticks(beat_length.0 / 2);
    // Of three eighths to a beat the last is its off-beat.
    let off_beat = match here.meter.is_compound() {
        true => Ticks(beat_length.0 * 2 / 3),
        false => half,
    };
    let mut attacks: Vec<Attack> = Vec::new();
    for &(at, length) in strokes {
        let is_off_beat = at % 2 == 1;
        let beat = here.first_beat + usize::from(at / 2);
        let is_unknown = is_off_beat && beat + 1 >= chorus.beats();
        // Off-beats of beats shorter than a quarter are too quick to comp on.
        if is_unknown || (is_off_beat && beat_length < Ticks::QUARTER) {
            continue;
        }
        let into = if is_off_beat { off_beat } else { Ticks::ZERO };
        let start = here.start + beat_length * i64::from(at / 2) + into;
        let anticipates = is_off_beat && chorus.is_arrival(beat + 1);
        let span = chorus.span_at(if anticipates { beat + 1 } else { beat });
        let span_end = chorus.ticks_at(chorus.spans[span].start + chorus.spans[span].beats);
        // An anticipation is held past the arrival by half a beat at least; a slow tune is sustained.
        let length = if anticipates { length.max(2) } else { length };
        let held = match pads {
            true => span_end - start,
            false if here.tempo < SLOW => half * i64::from(length) * 2,
            false => half * i64::from(length),
        };
        let attack = Attack {
            bar,
            start,
            length: held.min(span_end - start),
            span,
            anticipates,
        };
        let must_hold = last.is_some_and(|last| {
            last.anticipates && start < chorus.ticks_at(chorus.spans[last.span].start) + half
        });
        if must_hold {
            continue;
        }
        if let Some(attack) = around.fit(attack) {
            attacks.push(attack);
            last = Some(attack);
        }
    }
    attacks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_lie_within_their_group_and_in_order() {
        for group in 1..=4u8 {
            for (strokes, weight) in cells(group) {
                assert!(*weight > 0);
                assert!(strokes.windows(2).all(|pair| pair[0].0 < pair[1].0));
                assert!(strokes.iter().all(|&(at, held)| at < 2 * group && held > 0));
            }
        }
        for (group, table) in [(4, TWO_BARS_OF_FOUR), (3, TWO_BARS_OF_THREE)] {
            for (first, second, _) in table {
                for &(at, _) in first.iter().chain(*second) {
                    assert!(at < 2 * group);
                }
            }
        }
    }

    #[test]
    fn groups_are_cut_to_the_vocabulary() {
        let meter = |text: &str| text.parse::<Meter>().unwrap();
        assert_eq!(small_groups(&meter("7/4")), [4, 3]);
        assert_eq!(small_groups(&meter("5/4")), [3, 2]);
        assert_eq!(small_groups(&meter("5/4").grouped("5").unwrap()), [3, 2]);
        assert_eq!(small_groups(&meter("4/4")), [4]);
    }
}
