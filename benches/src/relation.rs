//! The line problem as plain tables, for samplers that know nothing of rules: which keys may stand on a beat,
//! and which may follow which. Its rules look at two neighbouring notes at most.

use crate::problem::places;
use endpin_walker::place::Place;

/// The problem in tables.
pub struct Relation {
    places: Vec<Place>,
    /// For each beat, the keys that may stand there.
    pub keys: Vec<Vec<u8>>,
}

impl Relation {
    /// Tables of the problem.
    pub fn new() -> Relation {
        let places = places();
        let keys = places
            .iter()
            .map(|place| {
                let fits = |&key: &u8| match (place.arrival, place.stressed) {
                    (true, _) => key % 12 == place.root,
                    (_, true) => place.tones.contains(key),
                    _ => true,
                };
                place.keys.iter().filter(fits).collect()
            })
            .collect();
        Relation { places, keys }
    }

    /// Whether `next` may follow `key`, which stands on `beat`.
    pub fn follows(&self, beat: usize, key: u8, next: u8) -> bool {
        let here = &self.places[beat];
        let coming = &self.places[(beat + 1) % self.places.len()];
        let distance = i16::from(next) - i16::from(key);
        let reach = matches!(distance.abs(), 1..=7 | 12);
        let connects = here.stressed
            || here.tones.contains(key)
            || here.scale.contains(key)
            || (distance.abs() == 1 && next % 12 == coming.root);
        let approaches = !coming.arrival || matches!(distance, 1 | -1 | 2 | -2 | -7 | 5);
        reach && connects && approaches
    }

    /// Beats on which chords arrive, and the end.
    pub fn arrivals(&self) -> Vec<usize> {
        let arrivals = (0..self.places.len()).filter(|&beat| self.places[beat].arrival);
        arrivals.chain([self.places.len()]).collect()
    }
}

impl Default for Relation {
    fn default() -> Self {
        Relation::new()
    }
}
