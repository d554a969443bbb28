//! Sets of choruses that differ enough from each other.

use std::collections::HashMap;

/// A set of choruses of which any two differ in at least so many beats.
///
/// Two choruses that differ in fewer than *n* beats agree on all beats of at least one of any *n* parts, so
/// it is enough to compare a chorus with those that share a part with it.
#[derive(Debug)]
pub(crate) struct Apart {
    apart: u32,
    choruses: Vec<Vec<u64>>,
    by_part: HashMap<(usize, Vec<u64>), Vec<usize>>,
}

impl Apart {
    pub(crate) fn new(apart: u32) -> Apart {
        Apart {
            apart,
            choruses: Vec::new(),
            by_part: HashMap::new(),
        }
    }

    fn parts<'a>(&self, beats: &'a [u64]) -> impl Iterator<Item = (usize, &'a [u64])> {
        let parts = (self.apart as usize).clamp(1, beats.len().max(1));
        (0..parts).map(move |part| {
            let edge = |part: usize| part * beats.len() / parts;
            (part, &beats[edge(part)..edge(part + 1)])
        })
    }

    /// Whether a chorus is far enough from all in the set; forms of different lengths always are.
    pub(crate) fn admits(&self, beats: &[u64]) -> bool {
        let near = |other: &usize| {
            let other = &self.choruses[*other];
            let differing = other.iter().zip(beats).filter(|(a, b)| a != b).count();
            other.len() == beats.len() && differing < self.apart as usize
        };
        !self.parts(beats).any(|(part, inside)| {
            let sharing = self.by_part.get(&(part, inside.to_vec()));
            sharing.is_some_and(|sharing| sharing.iter().any(near))
        })
    }

    /// Adds a chorus if it is far enough from all in the set.
    pub(crate) fn take(&mut self, beats: Vec<u64>) -> bool {
        if !self.admits(&beats) {
            return false;
        }
        let number = self.choruses.len();
        let parts: Vec<(usize, Vec<u64>)> = self
            .parts(&beats)
            .map(|(part, inside)| (part, inside.to_vec()))
            .collect();
        for part in parts {
            self.by_part.entry(part).or_default().push(number);
        }
        self.choruses.push(beats);
        true
    }
}
