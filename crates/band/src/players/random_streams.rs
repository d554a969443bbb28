//! Random streams of the band: one for each purpose and chorus, so that a chorus can be made alone and a
//! change to one player leaves the others' choices as they were.

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};

/// What a stream is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// When the comp plays.
    CompRhythm,
    /// What the comp plays.
    CompVoicing,
    /// What the time-keeper varies.
    Time,
    /// Small shifts of the bass.
    BassPlacement,
    /// Small shifts of the comp.
    CompPlacement,
    /// Small shifts of the time-keeper.
    TimePlacement,
    /// The order of keys.
    Keys,
    /// Which of the changes offered is made; the step stands in place of the chorus.
    Changes,
    /// The bend of the whole band's time.
    Breath,
    /// How the band ends.
    Ending,
    /// What leads into sections and choruses.
    Fill,
    /// What snare and bass drum answer.
    DrumAnswers,
}

/// Keeps the band's streams apart from the walker's under the same seed.
const BAND: u64 = 0x0062_616e_6400_0001;

/// The stream of (seed, chorus, purpose); the same on every platform.
pub fn stream(seed: u64, chorus: u32, purpose: Purpose) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ BAND);
    // Eight purposes lie side by side for each chorus, the others far above them.
    let purpose = purpose as u64;
    rng.set_stream(u64::from(chorus) * 8 + purpose % 8 + ((purpose / 8) << 40));
    rng
}

/// A whole number from 0 to `below` - 1; 0 if `below` is 0.
///
/// The remainder's bias is below one part in 2^40 for the small ranges used here.
pub fn below(rng: &mut impl Rng, below: u32) -> u32 {
    (rng.next_u64() % u64::from(below.max(1))) as u32
}

/// An index drawn in proportion to the weights; `None` if they are all zero.
pub fn weighted(rng: &mut impl Rng, weights: &[u32]) -> Option<usize> {
    let total: u32 = weights.iter().sum();
    if total == 0 {
        return None;
    }
    let mut ticket = below(rng, total);
    weights.iter().position(|&weight| {
        let hit = ticket < weight;
        ticket = ticket.saturating_sub(weight);
        hit
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_are_pinned_and_apart() {
        // Value stability: a change here changes every file that a seed gives, and belongs in CHANGELOG.md.
        let first = |seed, chorus, purpose| below(&mut stream(seed, chorus, purpose), 1_000_000);
        let drawn = [
            first(1, 1, Purpose::CompRhythm),
            first(1, 2, Purpose::CompRhythm),
            first(1, 1, Purpose::CompVoicing),
            first(2, 1, Purpose::CompRhythm),
        ];
        assert_eq!(drawn, PINNED);
    }

    const PINNED: [u32; 4] = [547_303, 594_611, 776_579, 918_074];

    #[test]
    fn weights_are_followed() {
        let mut rng = stream(7, 1, Purpose::Time);
        let mut seen = [0i32; 4];
        for _ in 0..4000 {
            seen[weighted(&mut rng, &[1, 0, 2, 1]).unwrap()] += 1;
        }
        assert_eq!(seen[1], 0);
        // Standard deviation of a count is at most 32; five of them.
        for (count, expected) in [(seen[0], 1000), (seen[2], 2000), (seen[3], 1000)] {
            assert!((count - expected).abs() < 160, "{seen:?}");
        }
        assert_eq!(weighted(&mut rng, &[0, 0]), None);
    }
}
