//! When there is no line: the first beat that none reaches, and the rule in the way.

use crate::{
    grammar::{Grammar, State},
    hand::InTime,
    lattice::Lattice,
    layout::Layout,
    options::Options,
    place::Leads,
    plan::Plan,
    walker::{WalkError, beginnings, layouts, places, rules},
};

/// What every rule is called, in the order in which they are tried for being in the way.
const SUSPECTS: [&str; 7] = [
    "playable",
    "root-to-seventh",
    "approach",
    "join",
    "weak-beats",
    "strong-beats",
    "arrival-root",
];

/// Finds what keeps a plan from having a line. It is called only if none was found.
pub(crate) fn diagnose(plan: &Plan, options: &Options) -> WalkError {
    let (layouts, in_time) = match layouts(plan, options) {
        Ok(laid_out) => laid_out,
        Err(error) => return error,
    };
    let dead = |turn| dead_turn(plan, turn, &layouts, in_time.as_ref());
    // If each chorus has lines of its own, it is their joining that fails.
    let last = layouts[0].slots.len() - 1;
    let failure = (0..layouts.len()).find_map(dead);
    failure.unwrap_or_else(|| no_line(&layouts[0].slots[last], "join"))
}

fn dead_turn(
    plan: &Plan,
    turn: usize,
    layouts: &[Layout],
    in_time: Option<&InTime>,
) -> Option<WalkError> {
    let layout = &layouts[turn];
    let next = layout.before(&layouts[plan.after(turn)], in_time.is_some());
    let places = places(layout);
    let grammar = || Grammar::new(rules(plan.turns()[turn].stage, in_time), Vec::new());
    let build = |grammar: Grammar| {
        let entries: Vec<State> = beginnings(&grammar, &places[0])
            .into_iter()
            .map(|(state, _)| state)
            .collect();
        Lattice::build(&grammar, &places, entries, &next)
    };
    let lattice = build(grammar());
    if !lattice.exits().is_empty() {
        return None;
    }
    // Layer i of the lattice stands after place i; the first empty one is that of the beat in the way.
    let reached = lattice
        .blocks()
        .iter()
        .take_while(|block| block.states() > 0)
        .count();
    let slot = &layout.slots[reached.min(layout.slots.len() - 1)];
    let in_the_way = SUSPECTS
        .into_iter()
        .find(|name| !build(grammar().without(name)).exits().is_empty());
    let by_place = match slot.place.leads {
        Leads::IntoChorus => "join",
        _ => "playable",
    };
    Some(no_line(slot, in_the_way.unwrap_or(by_place)))
}

fn no_line(slot: &crate::layout::Slot, rule: &'static str) -> WalkError {
    WalkError::NoLine {
        bar: slot.bar,
        beat: slot.beat_in_bar(),
        rule,
    }
}
