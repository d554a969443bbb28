//! Whether a motif can be played anywhere at all.

use super::{
    Motif,
    figure::{Place, Reading, of_motif},
    form::Form,
    take_up::last_bar_of,
};
use crate::{
    lattice::{Edge, Semiring},
    line::walker::{Link, Walker},
};

/// Whether what follows a state leads anywhere.
struct Leading;

impl Semiring for Leading {
    type Item = bool;

    fn zero(&self) -> bool {
        false
    }

    fn add(&mut self, sum: &mut bool, _: usize, _: &Edge, after: &bool) {
        *sum |= after;
    }
}

impl Walker {
    /// Whether some line plays a motif in some bar of a turn.
    pub(crate) fn can_play(&self, motif: &Motif) -> bool {
        (0..self.links.len()).any(|turn| {
            let link = &self.links[turn];
            let form = link.form(self.plan.turns()[turn].development);
            let next = &self.links[self.plan.after(turn)].alive;
            let exits = link.entry_of_exit.iter().map(|&entry| next[entry]);
            link.can_play(motif, form, exits.collect())
        })
    }
}

impl Link {
    fn can_play(&self, motif: &Motif, form: &Form, exits: Vec<bool>) -> bool {
        let lattice = self.lattice();
        let mut alive = vec![exits];
        for layer in (0..lattice.onsets()).rev() {
            alive.push(lattice.gather(&mut Leading, layer, &alive[alive.len() - 1]));
        }
        alive.reverse();
        // The states in which a line may stand that goes on, onset by onset, each with no key or, at the start of the
        // chorus, its own.
        let mut here = vec![Vec::new(); lattice.onsets()];
        let entries = self.alive.iter().zip(&alive[0]);
        here[0] = entries.map(|(entry, leads)| *entry && *leads).collect();
        for layer in 1..lattice.onsets() {
            here[layer] = self.step(layer, &here[layer - 1], &alive[layer], |_| true);
        }
        let unknown = vec![Edge::SILENT; lattice.onsets()];
        (0..form.bars.len()).any(|bar| {
            let Some(end) = last_bar_of(motif, self, bar) else {
                return false;
            };
            let place = Place {
                form,
                layout: &self.layout,
                keys: &unknown,
                bars: (bar, end),
            };
            let first = form.bars[bar].slots.start;
            let sounds = form.bars[bar..end].iter().all(|bar| bar.sounds);
            let mut readings = of_motif(motif, place).into_iter();
            sounds && readings.any(|reading| self.leads_through(first, &reading, &here, &alive))
        })
    }

    /// Whether a line goes through a reading from an onset on.
    fn leads_through(
        &self,
        first: usize,
        reading: &Reading,
        here: &[Vec<bool>],
        alive: &[Vec<bool>],
    ) -> bool {
        // What a motif asks for does not hang on the key before.
        let allows = |number: usize, key: u8| reading[number].allows(Edge::SILENT, key);
        let mut states = match first {
            0 => {
                let entries = here[0].iter().enumerate();
                let opens =
                    |(entry, stands): (usize, &bool)| *stands && allows(0, self.first_key(entry));
                entries.map(opens).collect()
            }
            _ => self.step(first, &here[first - 1], &alive[first], |key| allows(0, key)),
        };
        for number in 1..reading.len() {
            let layer = first + number;
            states = self.step(layer, &states, &alive[layer], |key| allows(number, key));
        }
        states.contains(&true)
    }

    /// The states after an onset that can be reached from some before it by keys that are allowed.
    fn step(
        &self,
        onset: usize,
        from: &[bool],
        alive: &[bool],
        allows: impl Fn(u8) -> bool,
    ) -> Vec<bool> {
        let mut reached = vec![false; alive.len()];
        let block = &self.lattice().blocks()[onset - 1];
        let states = from.iter().enumerate().filter(|(_, stands)| **stands);
        for edge in states.flat_map(|(state, _)| block.edges(state)) {
            let to = edge.to as usize;
            reached[to] |= alive[to] && allows(edge.key);
        }
        reached
    }
}
