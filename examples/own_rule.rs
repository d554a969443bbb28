//! Two rules of your own, without touching a crate: `cargo run --example own_rule`.
use endpin_theory::Chart;
use endpin_walker::rules::{Memory, Rule, Step};
use endpin_walker::{Heard, Judge, Options, Plan, Walker};
use std::sync::Arc;

#[derive(Debug)]
struct NoTritoneDown;

impl Rule for NoTritoneDown {
    fn name(&self) -> &'static str {
        "no-tritone-down"
    }
    fn words(&self) -> &'static str {
        "Do not fall a tritone into a new chord: the ear takes it for another key."
    }
    fn read(&self, _: Memory, step: &Step<'_>) -> Option<Memory> {
        (!step.onset.arrival || step.distance() != Some(-6)).then_some(0)
    }
}

/// Before a leap wider than a fifth, an open string: E, A, D or G.
#[derive(Debug)]
struct OpenBeforeShift;

impl Rule for OpenBeforeShift {
    fn name(&self) -> &'static str {
        "open-before-shift"
    }
    fn words(&self) -> &'static str {
        "Before a shift play an open string: while it rings, the hand has time to move."
    }
    fn reads_keys(&self) -> bool {
        true
    }
    fn read(&self, _: Memory, step: &Step<'_>) -> Option<Memory> {
        let stays = step.distance().is_none_or(|moved| moved.abs() <= 7);
        let open = [28, 33, 38, 43].map(Some).contains(&step.from);
        (stays || open).then_some(0)
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let chorus = Chart::parse(include_str!("../scenarios/breakwater-blues.toml"))?.chorus();
    let options = Options::default();
    let plan = Plan::of(chorus.clone(), &options);
    let own: Vec<Arc<dyn Rule>> = vec![Arc::new(NoTritoneDown), Arc::new(OpenBeforeShift)];
    let plain = Walker::new(plan.clone(), options.clone())?;
    let walker = Walker::with_rules(plan, options.clone(), own.clone())?;
    println!("{}\n{} lines,", walker.line(1, 1), walker.count());
    println!("{} without the two rules", plain.count());
    let take: Vec<Heard> = plain.line(1, 1).notes.iter().map(Heard::from).collect();
    let judged = Judge::as_asked(chorus, &options, own)?.judge(&take, 1);
    for fault in judged.verdicts.iter().filter(|note| !note.stands()) {
        println!("{}.{}: {}", fault.bar, fault.beat, fault.why);
    }
    Ok(())
}
