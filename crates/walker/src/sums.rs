//! Backward sums over a lattice: for each state, the total weight of all lines that go on from it to each
//! exit. With them a line is drawn forward with exactly its probability, without dead ends.
//!
//! Sums are `f64`, combined by + and × only and rescaled by powers of two, which is exact: the same
//! numbers come out on every platform.

use crate::lattice::{Edge, Lattice};
use rand::Rng;

/// Backward sums of one lattice, for every exit at once.
#[derive(Debug)]
pub struct Sums {
    exits: usize,
    /// All sums of the first layer are to be multiplied by 2 to this power.
    exponent: i64,
    /// For each layer, `sums[state * exits + exit]`, all layers scaled on their own.
    layers: Vec<Box<[f64]>>,
    /// For each layer but the last, the power of two that was divided out of its sums.
    scales: Vec<f64>,
}

impl Sums {
    /// Sums the weights of lines backward over a lattice.
    pub fn new(lattice: &Lattice) -> Sums {
        Sums::of(lattice, |edge| edge.weight, true)
    }

    /// Sums the squares of the weights of lines: divided by the square of their sum, that is the
    /// probability that two lines drawn between the same ends are equal. Only the totals are kept.
    pub fn of_squares(lattice: &Lattice) -> Sums {
        Sums::of(lattice, |edge| edge.weight * edge.weight, false)
    }

    /// Sums what edges count; of all layers, or of the first alone.
    fn of(lattice: &Lattice, weight: impl Fn(&Edge) -> f64, all_layers: bool) -> Sums {
        let exits = lattice.exits().len();
        let mut layer: Box<[f64]> = (0..exits * exits)
            .map(|place| f64::from(u8::from(place / exits == place % exits)))
            .collect();
        let mut layers = Vec::with_capacity(lattice.places() + 1);
        let mut scales = Vec::with_capacity(lattice.places());
        let mut exponent = 0;
        for block in lattice.blocks().iter().rev() {
            let mut before = vec![0.0; block.states() * exits].into_boxed_slice();
            for (state, sums) in before.chunks_exact_mut(exits.max(1)).enumerate() {
                for edge in block.edges(state) {
                    let weight = weight(edge);
                    let after = &layer[edge.to as usize * exits..][..exits];
                    for (sum, after) in sums.iter_mut().zip(after) {
                        *sum += weight * after;
                    }
                }
            }
            let power = rescale(&mut before);
            scales.push(power_of_two(power));
            exponent += power;
            let after = std::mem::replace(&mut layer, before);
            if all_layers {
                layers.push(after);
            }
        }
        layers.push(layer);
        layers.reverse();
        scales.reverse();
        Sums {
            exits,
            exponent,
            layers,
            scales,
        }
    }

    /// Total weight of all lines from an entry to an exit, in a unit of the whole lattice.
    pub fn total(&self, entry: usize, exit: usize) -> f64 {
        self.layers[0][entry * self.exits + exit]
    }

    /// Total weight of all lines from a state of a layer to an exit, in a unit of that layer.
    pub fn at(&self, layer: usize, state: usize, exit: usize) -> f64 {
        self.layers[layer][state * self.exits + exit]
    }

    /// The odds that two lines drawn between the same ends are equal, at the ends where they are greatest;
    /// `squares` are sums of squares over the same lattice.
    pub fn greatest_odds_of_equals(&self, squares: &Sums) -> f64 {
        let ratio = |(total, square): (&f64, &f64)| match *total > 0.0 {
            true => square / (total * total),
            false => 0.0,
        };
        let pairs = self.layers[0].iter().zip(&squares.layers[0]);
        let greatest = pairs.map(ratio).fold(0.0, f64::max);
        let mut exponent = squares.exponent - 2 * self.exponent;
        let mut odds = greatest;
        while exponent < 0 && odds > 0.0 {
            odds *= 0.5;
            exponent += 1;
        }
        odds.min(1.0)
    }

    /// Draws a chorus from an entry to an exit between which there are lines: the key that starts at each
    /// place after the first ([`Edge::SILENT`] for none) is added to `keys`.
    pub fn draw(
        &self,
        lattice: &Lattice,
        entry: usize,
        exit: usize,
        rng: &mut impl Rng,
        keys: &mut Vec<u8>,
    ) {
        let mut state = entry;
        let last = lattice.places() - 1;
        for (layer, block) in lattice.blocks()[..last].iter().enumerate() {
            let edges = block.edges(state);
            // The sum over the edges is known: it is the state's own, before it was rescaled.
            let limit = unit(rng.next_u64()) * (self.at(layer, state, exit) * self.scales[layer]);
            let mut sum = 0.0;
            let chosen = edges.iter().position(|edge| {
                sum += edge.weight * self.at(layer + 1, edge.to as usize, exit);
                limit < sum
            });
            // Rounding apart, the limit lies below the last sum.
            let Some(edge) = chosen.map(|chosen| &edges[chosen]).or(edges.last()) else {
                return;
            };
            keys.push(edge.key);
            state = edge.to as usize;
        }
    }
}

/// Chooses among the numbers below `count` with probability proportional to their weights, by a random
/// number; if none has a weight above 0, the last is given.
///
/// # Panics
/// If there are none at all.
pub(crate) fn choose(count: usize, weight: impl Fn(usize) -> f64, random: u64) -> usize {
    let mut total = 0.0;
    for number in 0..count {
        total += weight(number);
    }
    let mut left = unit(random) * total;
    let mut chosen = count - 1;
    for number in 0..count {
        let weight = weight(number);
        if weight > 0.0 {
            chosen = number;
            if left < weight {
                break;
            }
            left -= weight;
        }
    }
    chosen
}

/// A number from 0 up to 1, in steps of 2^-53, out of a random one.
pub(crate) fn unit(random: u64) -> f64 {
    (random >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
}

/// Divides by the power of two that brings the greatest number to between 1 and 2, and gives the power.
fn rescale(numbers: &mut [f64]) -> i64 {
    let greatest = numbers.iter().copied().fold(0.0, f64::max);
    if greatest == 0.0 {
        return 0;
    }
    let exponent = (greatest.to_bits() >> 52) as i64 - 1023;
    let factor = power_of_two(-exponent);
    numbers.iter_mut().for_each(|number| *number *= factor);
    exponent
}

/// 2 to a power; weights keep sums far from the ends of the range, so it is a normal number.
fn power_of_two(power: i64) -> f64 {
    f64::from_bits(((1023 + power) as u64) << 52)
}
