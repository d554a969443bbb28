//! When there is no line: the first beat that none reaches, and the rule in the way.

use crate::{
    grammar::{Grammar, State},
    lattice::Lattice,
    options::Options,
    place::Leads,
    plan::Plan,
    walker::{WalkError, beginnings, layout, places, rules},
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
    let failure = (0..plan.turns().len()).find_map(|turn| dead_turn(plan, turn, options));
    failure.unwrap_or_else(|| {
        // Each chorus has lines of its own, so it is their joining that fails.
        match layout(plan, 0, options) {
            Ok(layout) => no_line(&layout.slots[layout.slots.len() - 1], "join"),
            Err(error) => error,
        }
    })
}

fn dead_turn(plan: &Plan, turn: usize, options: &Options) -> Option<WalkError> {
    let (layout, next) = match (
        layout(plan, turn, options),
        layout(plan, plan.after(turn), options),
    ) {
        (Ok(layout), Ok(next)) => (layout, next),
        (Err(error), _) | (_, Err(error)) => return Some(error),
    };
    let places = places(&layout);
    let grammar = || Grammar::new(rules(plan.turns()[turn].stage), Vec::new());
    let build = |grammar: Grammar| {
        let entries: Vec<State> = beginnings(&grammar, &places[0])
            .into_iter()
            .map(|(state, _)| state)
            .collect();
        Lattice::build(&grammar, &places, entries, &next.slots[0].place)
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
