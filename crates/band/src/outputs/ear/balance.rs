//! Chance in its place: the streams of a set, and lists in which every choice comes equally often.

use crate::players::random_streams::below;
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};

/// Keeps the streams of the questions apart from those of the band and the walker under the same seed.
const EAR: u64 = 0x0065_6172_0000_0001;

/// What a stream of the whole set is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SetPurpose {
    /// Which kind each question is of.
    Kinds,
    /// Which answer each question of a kind has, by the kind's place in [`super::QuestionKind::ALL`].
    Answers(usize),
    /// Which topic a drill takes next, by the number of answers so far.
    Drill(usize),
}

/// The stream of a purpose of the whole set.
pub fn of_set(seed: u64, purpose: SetPurpose) -> ChaCha8Rng {
    let number = match purpose {
        SetPurpose::Kinds => 0,
        SetPurpose::Answers(kind) => 1 + kind as u64,
        SetPurpose::Drill(asked) => (1 << 16) + (asked as u64 & 0xffff_ffff),
    };
    numbered(seed, number)
}

/// The stream of one question's `attempt`, both from 0. Apart from those of the set and of every other.
pub fn of_question(seed: u64, question: usize, attempt: u32) -> ChaCha8Rng {
    numbered(
        seed,
        (1 << 32) + ((question as u64) << 16) + u64::from(attempt & 0xffff),
    )
}

fn numbered(seed: u64, number: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ EAR);
    rng.set_stream(number);
    rng
}

/// `count` indices below `choices`, each coming equally often within one, in random order; which ones come
/// once more is random too.
pub fn balanced(rng: &mut impl Rng, choices: usize, count: usize) -> Vec<usize> {
    let choices = choices.max(1);
    let mut favoured: Vec<usize> = (0..choices).collect();
    shuffle(rng, &mut favoured);
    let mut drawn: Vec<usize> = (0..count).map(|place| favoured[place % choices]).collect();
    shuffle(rng, &mut drawn);
    drawn
}

/// Puts `items` in random order, every order equally likely (Fisher and Yates).
pub fn shuffle<T>(rng: &mut impl Rng, items: &mut [T]) {
    for last in (1..items.len()).rev() {
        items.swap(last, below(rng, last as u32 + 1) as usize);
    }
}

/// One of `items`, each equally likely; `None` if there are none.
pub fn one_of<'a, T>(rng: &mut impl Rng, items: &'a [T]) -> Option<&'a T> {
    items.get(below(rng, items.len() as u32) as usize)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_choice_comes_equally_often_within_one(
            seed: u64,
            choices in 1usize..12,
            count in 0usize..300,
        ) {
            let drawn = balanced(&mut of_set(seed, SetPurpose::Kinds), choices, count);
            prop_assert_eq!(drawn.len(), count);
            let often: Vec<usize> = (0..choices)
                .map(|choice| drawn.iter().filter(|&&found| found == choice).count())
                .collect();
            let (most, least) = (often.iter().max(), often.iter().min());
            prop_assert!(most.zip(least).is_some_and(|(most, least)| most - least <= 1));
        }
    }

    #[test]
    fn the_extra_ones_and_the_order_vary_with_the_seed() {
        let drawn = |seed| balanced(&mut of_set(seed, SetPurpose::Answers(3)), 7, 10);
        assert_eq!(drawn(1), drawn(1));
        assert_ne!(drawn(1), drawn(2));
    }
}
