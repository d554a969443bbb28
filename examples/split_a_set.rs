//! One set of choruses made by several workers, who need to know nothing of one another.
//!
//! Chorus 5000 of a seed is the same whether made alone or among ten thousand, so any job runner can split a
//! set: `cargo run --example split_a_set` makes one on four threads, each walking its own quarter; the same
//! from a shell is `endpin explain CHART --from 5000 --choruses 10` on each machine.

use endpin_theory::Chart;
use endpin_walker::{ChorusLine, Options, Plan, Walker};
use std::{error::Error, thread};

const CHORUSES: u32 = 400;
const WORKERS: u32 = 4;

/// What one worker does: all from the chart, nothing from the others.
fn part(from: u32, count: u32) -> Result<Vec<ChorusLine>, Box<dyn Error + Send + Sync>> {
    let chart = Chart::parse(include_str!("../scenarios/herring-count.toml"))?;
    let options = Options::default();
    let walker = Walker::new(Plan::of(chart.chorus(), &options), options)?;
    Ok(walker.lines(1, from, count))
}

fn main() -> Result<(), Box<dyn Error + Send + Sync>> {
    let each = CHORUSES / WORKERS;
    let workers: Vec<_> = (0..WORKERS)
        .map(|worker| thread::spawn(move || part(1 + worker * each, each)))
        .collect();
    let mut split = Vec::new();
    for worker in workers {
        split.extend(worker.join().map_err(|_| "a worker panicked")??);
    }
    assert!(split == part(1, CHORUSES)?);
    println!("{CHORUSES} choruses by {WORKERS} workers: the same as by one");
    Ok(())
}
