//! A walking line from a chart: `cargo run --example line_from_a_chart`.

use endpin_theory::Chart;
use endpin_walker::{Options, Plan, Walker};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let chart = Chart::parse(include_str!("../scenarios/breakwater-blues.toml"))?;
    let options = Options::default();
    let walker = Walker::new(Plan::of(chart.chorus(), &options), options)?;
    println!("{} has {} lines; one of them:", chart.title, walker.count());
    println!("{}", walker.line(1, 1));
    Ok(())
}
