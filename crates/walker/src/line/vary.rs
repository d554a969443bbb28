//! Lines made from other lines: one place varied, or bars kept through all choruses.

use super::{
    ChorusLine,
    apart::Apart,
    choruses::{Drawn, Purpose},
    walker::{Link, WalkError, Walker, onsets, open},
};
use crate::{
    lattice::Lattice,
    options::Options,
    pins::{Bars, Fixed, Hold},
    plan::Plan,
};
use endpin_theory::Ticks;
use std::sync::Arc;

impl Walker {
    /// Different versions of some bars of a chorus (from 1), its other bars and its joins unchanged, each
    /// drawn exactly given all that stays; none of them is the chorus as it was.
    ///
    /// # Errors
    /// Bars beyond the chart, or more versions than exist, with their exact number.
    pub fn vary(
        &self,
        seed: u64,
        chorus: u32,
        bars: &Bars,
        count: u32,
    ) -> Result<Vec<ChorusLine>, WalkError> {
        let original = self.drawn(seed, chorus);
        let line = self.name(&original);
        let turn = self.plan.turn_of(original.chorus);
        let old = &self.links[turn];
        let last = old.layout.bars.len() as u32;
        if *bars.0.end() > last {
            return Err(WalkError::NoBar {
                bar: *bars.0.end(),
                last,
            });
        }
        let mut layout = old.layout.clone();
        for fixed in Fixed::bars_of(&line, last, |bar| !bars.0.contains(&bar)) {
            fixed.apply(&mut layout)?;
        }
        let level = self.plan.turns()[turn].development.level;
        let skeleton = self.grammars.skeleton(level, Some(&self.options.weights));
        let mut skeleton = open(&skeleton);
        let entry = old.lattice().entries()[original.entry];
        let next = &self.links[self.plan.after(turn)];
        let onsets = onsets(&layout);
        let coming = layout.before(&next.layout, self.grammars.is_timed());
        let lattice = Lattice::build(&mut skeleton, &onsets, &[entry], &coming)
            .map_err(|limit| layout.too_large(level, limit))?;
        let lattice = match &old.favours {
            Some(favours) => lattice.favouring(&favours.of_sets()),
            None => lattice,
        };
        let goal = next.lattice().entries()[original.next];
        let lattice = lattice.ending_in(goal);
        let exist = lattice.count_lines() - 1u8;
        if exist < count.into() {
            return Err(WalkError::TooFew {
                asked: count.into(),
                exist,
            });
        }
        let along = Lattice::along(&skeleton, &onsets, &coming);
        let link = Link::new(layout, Arc::new(lattice), along, vec![original.next]);
        let mut set = Apart::new(1);
        set.take(link.beats(&original.keys));
        let versions = (0..count).filter_map(|version| {
            let stream =
                |attempt| self.stream(seed, original.chorus, Purpose::Version(version, attempt));
            let keys = link.draw_apart(0, 0, &mut set, stream).or_else(|| {
                let chosen = link.choose_unused(0, |_| true, &mut set, &mut stream(u32::MAX));
                chosen.map(|(_, keys)| keys)
            });
            let drawn = Drawn {
                keys: keys?,
                phrases: Vec::new(),
                ..original.clone()
            };
            Some(self.name(&drawn))
        });
        Ok(versions.collect())
    }

    /// Builds the lattices of a plan in which bars stay through all choruses as they are in one of them,
    /// with this seed.
    ///
    /// # Errors
    /// As [`Walker::new`]; bars beyond the chart; held bars that do not fit another chorus.
    pub fn holding(
        mut plan: Plan,
        options: Options,
        holds: &[Hold],
        seed: u64,
    ) -> Result<Walker, WalkError> {
        if holds.is_empty() {
            return Walker::new(plan, options);
        }
        for hold in holds {
            let mut sources = plan.clone();
            let mut walker = Walker::new(sources.clone(), options.clone())?;
            if hold.bars.0.contains(&1) {
                // Every chorus will begin as this one does, so it has to lead back to where it began.
                let source = walker.line(seed, hold.chorus);
                let first = source
                    .notes
                    .first()
                    .filter(|note| note.start == Ticks::ZERO);
                let first = first.map(|note| Fixed::Note {
                    bar: 1,
                    beat: 1,
                    pitch: note.pitch,
                });
                for chorus in [hold.chorus, hold.chorus + 1] {
                    sources.fix(Some(chorus), first.as_slice());
                }
                walker = Walker::new(sources, options.clone())?;
            }
            let source = walker.line(seed, hold.chorus);
            plan.hold(&source, &hold.bars)?;
        }
        Walker::new(plan, options)
    }
}
