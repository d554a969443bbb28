//! Two rules of your own, without touching a crate: `cargo run --example own_rule`.
use endpin_theory::Chart;
use endpin_walker::rules::{Memory, Rule, Step};
use endpin_walker::{Heard, Judge, Options, Plan, Walker};
use std::sync::Arc;

/// No tritone down into an arrival.
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

/// An open string before a shift, that is before a leap wider than a fifth.
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
        true // an open string is one in every key of the tune
    }
    fn read(&self, _: Memory, step: &Step<'_>) -> Option<Memory> {
        let shifts = step.distance().is_some_and(|semitones| semitones.abs() > 7);
        let open = step.from.is_some_and(|key| [28, 33, 38, 43].contains(&key));
        (!shifts || open).then_some(0)
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let chorus = Chart::parse(include_str!("../scenarios/breakwater-blues.toml"))?.chorus();
    let options = Options::default();
    let own: Vec<Arc<dyn Rule>> = vec![Arc::new(NoTritoneDown), Arc::new(OpenBeforeShift)];
    let plan = Plan::of(chorus.clone(), &options);
    let plain = Walker::new(plan.clone(), options.clone())?;
    let walker = Walker::with_rules(plan, options.clone(), own.clone())?;
    println!("{}", walker.line(1, 1));
    println!(
        "{} lines, {} without the two rules",
        walker.count(),
        plain.count()
    );
    let take: Vec<Heard> = plain.line(1, 1).notes.iter().map(Heard::from).collect();
    let judgement = Judge::as_asked(chorus, &options, own)?.judge(&take, 1);
    for fault in judgement
        .verdicts
        .iter()
        .filter(|verdict| !verdict.broken.is_empty())
    {
        println!("bar {} beat {}: {}", fault.bar, fault.beat, fault.why);
    }
    Ok(())
}
