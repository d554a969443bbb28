//! How much the taking of a liberty has to be favoured, so that a share that was asked for is to be expected.
//!
//! Shares are exact expectations. What is asked is come near to by multiplying favours by what is wanted over what is
//! found, in odds, and taking the nearest rung of a fixed ladder; sums, products, quotients and comparisons of `f64`
//! are the same on every platform, so the favours are.

use super::{
    expected::StepWeights,
    graph::{Along, Edge, Lattice},
};
use crate::rules::{Liberties, Liberty, Shares};
use std::sync::Arc;

/// Times in which the search comes near.
const ROUNDS: usize = 24;

/// Onsets from the beginning of which shares are found; a longer form is thought to go on alike.
const MOST_ONSETS: usize = 768;

/// A rung of the ladder: sixteen to each doubling, from 2 to the minus fourteenth to 2 to the fourteenth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Rung(usize);

impl Rung {
    const EVEN: Rung = Rung(14 * 16);
    const TOP: Rung = Rung(28 * 16);

    /// A whole number over a power of two, and so exact.
    fn factor(self) -> f64 {
        let sixteenths = (16 + self.0 % 16) as f64;
        sixteenths * f64::from(1u32 << (self.0 / 16)) / f64::from(1u32 << 18)
    }

    /// The one nearest to a factor.
    fn nearest(factor: f64) -> Rung {
        let (mut below, mut above) = (0, Rung::TOP.0);
        while above - below > 1 {
            let middle = (below + above) / 2;
            match Rung(middle).factor() <= factor {
                true => below = middle,
                false => above = middle,
            }
        }
        let nearer = factor - Rung(below).factor() < Rung(above).factor() - factor;
        Rung(if nearer { below } else { above })
    }
}

/// Favours of liberties.
#[derive(Clone, Debug)]
pub struct Favours {
    rungs: [Rung; Liberty::ALL.len()],
    /// Of the places of each liberty, how many in a hundred are to be expected to take it; none where it has none.
    pub found: [Option<f64>; Liberty::ALL.len()],
}

impl Favours {
    /// The factor of each set of liberties that a step may take.
    pub fn of_sets(&self) -> [f64; Liberties::SETS] {
        std::array::from_fn(|set| {
            let taken = (0..self.rungs.len()).filter(|liberty| set >> liberty & 1 == 1);
            taken.map(|liberty| self.rungs[liberty].factor()).product()
        })
    }

    /// Those by which the liberties of a lattice, whose edges tell of them, are taken as often as asked; beginning
    /// from others.
    pub fn find(
        lattice: &Lattice,
        along: &[Arc<Along>],
        shares: Shares,
        begin: Option<&Favours>,
    ) -> Favours {
        let mut favours = begin.cloned().unwrap_or(Favours {
            rungs: [Rung::EVEN; Liberty::ALL.len()],
            found: [None; Liberty::ALL.len()],
        });
        for round in 0..=ROUNDS {
            favours.found = favours.expected(lattice, along);
            let before = favours.rungs;
            for (number, liberty) in Liberty::ALL.into_iter().enumerate() {
                let asked = shares.of(liberty).map(f64::from);
                let (Some(asked), Some(found)) = (asked, favours.found[number]) else {
                    continue;
                };
                let times =
                    asked * (100.0 - found) / (found * (100.0 - asked)).max(f64::MIN_POSITIVE);
                favours.rungs[number] = Rung::nearest(before[number].factor() * times);
            }
            if favours.rungs == before || round == ROUNDS {
                favours.rungs = before;
                break;
            }
        }
        favours
    }

    fn expected(
        &self,
        lattice: &Lattice,
        along: &[Arc<Along>],
    ) -> [Option<f64>; Liberty::ALL.len()] {
        let favoured = Favoured {
            lattice,
            along,
            of_sets: self.of_sets(),
        };
        let (mut places, mut taken) = ([0.0; Liberties::SETS], [0.0; Liberties::SETS]);
        lattice.expect(
            0..lattice.entries().len(),
            MOST_ONSETS,
            &favoured,
            |_, edge, share| {
                places[edge.chances.places.number()] += share;
                taken[edge.chances.taken.number()] += share;
            },
        );
        let of = |sums: &[f64; Liberties::SETS], liberty: usize| -> f64 {
            let sets = (0..sums.len()).filter(|set| set >> liberty & 1 == 1);
            sets.map(|set| sums[set]).sum()
        };
        std::array::from_fn(|liberty| {
            let places = of(&places, liberty);
            (places > 0.0).then(|| 100.0 * of(&taken, liberty) / places)
        })
    }
}

/// Weights of a lattice with favours.
struct Favoured<'a> {
    lattice: &'a Lattice,
    along: &'a [Arc<Along>],
    of_sets: [f64; Liberties::SETS],
}

impl StepWeights for Favoured<'_> {
    fn edge(&self, layer: usize, edge: &Edge) -> f64 {
        let along = self.along[layer][usize::from(edge.key)];
        edge.weight * along * self.of_sets[edge.chances.taken.number()]
    }

    fn answer(&self, before: usize, now: usize) -> f64 {
        self.lattice.answers().weight(before, now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ladder_goes_up_by_sixteenths() {
        assert_eq!(Rung::EVEN.factor(), 1.0);
        for number in 0..Rung::TOP.0 {
            let (here, next) = (Rung(number).factor(), Rung(number + 1).factor());
            assert!(here < next && next / here <= 17.0 / 16.0);
            assert_eq!(Rung::nearest(here), Rung(number));
            assert_eq!(Rung::nearest(here * 1.001), Rung(number));
        }
        assert_eq!(Rung::nearest(f64::INFINITY), Rung::TOP);
        assert_eq!(Rung::nearest(0.0), Rung(0));
    }
}
