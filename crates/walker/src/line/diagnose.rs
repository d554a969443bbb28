//! When there is no line: the first beat that none reaches, and the rule in the way.

use super::{
    layout::{Layout, Slot},
    walker::{Grammars, WalkError, layouts, onsets},
};
use crate::{
    lattice::{Lattice, Skeleton, TooLarge},
    options::Options,
    plan::Plan,
    rules::{Onset, Rule, Sound},
};
use std::sync::Arc;

/// Finds what keeps a plan from having a line. It is called only if none was found.
pub(crate) fn diagnose(plan: &Plan, options: &Options, grammars: &Grammars) -> WalkError {
    let layouts = match layouts(plan, options) {
        Ok((layouts, _)) => layouts,
        Err(error) => return error,
    };
    let failure = (0..layouts.len()).find_map(|turn| {
        let after = &layouts[plan.after(turn)];
        let next = layouts[turn].before(after, grammars.is_timed());
        let rules = grammars.rules(plan.turns()[turn].development.level);
        Diagnosis {
            layout: layouts[turn].clone(),
            next,
            rules,
        }
        .failure()
    });
    // If each chorus has lines of its own, it is their joining that fails.
    let last = layouts[0].slots.len() - 1;
    failure.unwrap_or_else(|| layouts[0].slots[last].no_line("join"))
}

struct Diagnosis {
    layout: Layout,
    next: Onset,
    rules: Vec<Arc<dyn Rule>>,
}

impl Diagnosis {
    fn failure(&self) -> Option<WalkError> {
        let slots = &self.layout.slots;
        // A note by itself: none that may start, or a pinned one that may not.
        for slot in slots.iter().filter(|slot| slot.onset.sound == Sound::Note) {
            let admitted = |names: &[&str]| {
                let rules = || {
                    self.rules
                        .iter()
                        .filter(|rule| !names.contains(&rule.name()))
                };
                let mut keys = slot.onset.keys.iter();
                keys.any(|key| rules().all(|rule| rule.admits(&slot.onset, key)))
            };
            if !admitted(&[]) {
                let rule = self.in_the_way(|names| admitted(names));
                return Some(slot.no_note(rule));
            }
        }
        let dead = self.first_unreached(&[])?;
        let rule = self.in_the_way(|names| self.first_unreached(names).is_none());
        // A pinned note that no line plays, whatever the other pins.
        let pinned = slots.iter().filter(|slot| slot.pinned.is_some());
        for slot in pinned {
            if self.alone(slot).first_unreached(&[]).is_some() {
                let rule =
                    self.in_the_way(|names| self.alone(slot).first_unreached(names).is_none());
                return Some(slot.no_note(rule));
            }
        }
        Some(slots[dead].no_line(rule))
    }

    /// The rule without which something would be possible: the first that suffices alone, from the last of
    /// the list back, else the one that does with those tried before it.
    fn in_the_way(&self, possible: impl Fn(&[&str]) -> bool) -> &'static str {
        let mut names: Vec<&'static str> =
            self.rules.iter().rev().map(|rule| rule.name()).collect();
        names.dedup();
        let alone = names.iter().find(|&&name| possible(&[name]));
        let together = || (1..=names.len()).find(|&count| possible(&names[..count]));
        let together = || together().map_or("playable", |count| names[count - 1]);
        alone.copied().unwrap_or_else(together)
    }

    /// The onset that no line without some rules reaches, if there is one.
    fn first_unreached(&self, without: &[&str]) -> Option<usize> {
        let rules = self.rules.iter();
        let rules = rules.filter(|rule| !without.contains(&rule.name()));
        let mut skeleton = Skeleton::new(rules.cloned().collect(), Vec::new());
        let onsets = onsets(&self.layout);
        let Ok(lattice) = Lattice::from_beginnings(&mut skeleton, &onsets, &self.next) else {
            return None;
        };
        if !lattice.exits().is_empty() && !lattice.entries().is_empty() {
            return None;
        }
        // Layer i of the lattice stands after onset i; the first empty one is that of the beat in the way.
        let blocks = lattice.blocks().iter();
        let reached = blocks.take_while(|block| block.states() > 0).count();
        Some(reached.min(onsets.len() - 1))
    }

    /// The same with no other pin than that of one slot.
    fn alone(&self, kept: &Slot) -> Diagnosis {
        let mut layout = self.layout.clone();
        let all = layout.slots.iter().map(|slot| slot.onset.keys);
        let widest = all.max_by_key(|keys| keys.len()).unwrap_or_default();
        for slot in &mut layout.slots {
            if slot.pinned.is_some() && slot.start != kept.start {
                slot.onset.keys = widest;
            }
        }
        Diagnosis {
            layout,
            next: self.next.clone(),
            rules: self.rules.clone(),
        }
    }
}

impl Slot {
    fn no_line(&self, rule: &'static str) -> WalkError {
        WalkError::NoLine {
            bar: self.bar,
            beat: self.beat_in_bar(),
            rule,
        }
    }

    /// That no note may stand here, or not the one that is pinned.
    fn no_note(&self, rule: &'static str) -> WalkError {
        let (bar, beat) = (self.bar, self.beat_in_bar());
        match &self.pinned {
            Some(pitch) => WalkError::Pin {
                bar,
                beat,
                pitch: pitch.to_string(),
                rule,
            },
            None => WalkError::NoNote { bar, beat, rule },
        }
    }
}

impl Layout {
    /// That its lattice would be too large.
    pub(crate) fn too_large(&self, level: crate::options::Level, limit: TooLarge) -> WalkError {
        let slot = self.slots.get(limit.onset).or(self.slots.last());
        WalkError::TooLarge {
            bar: slot.map_or(1, |slot| slot.bar),
            level,
            limit,
        }
    }
}
