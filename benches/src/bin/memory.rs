//! Time and peak memory of a long chart: 1,020 bars, lattice, sums, and one chorus of it.
//!
//!     cargo run --release --bin memory -- LEVEL

use endpin_theory::Chart;
use endpin_walker::{Options, Plan, Walker};

const BARS: &str = "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | D7b9 | Gm7 | C7 | F7 D7 | Gm7 C7";

fn main() {
    let level: u8 = std::env::args()
        .nth(1)
        .map_or(4, |level| level.parse().expect("a number from 1 to 6"));
    let options = Options {
        level: level.try_into().expect("a level from 1 to 6"),
        ..Options::default()
    };
    let bars = vec![BARS; 85].join(" | ");
    let chart = Chart::from_bars(&bars, "4/4".parse().expect("a meter")).expect("a chart");
    let walker = Walker::new(Plan::of(chart.chorus(), &options), options).expect("a line");
    assert_eq!(walker.keys(1, 1, 1).len(), 1);
    // Linux alone says so.
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find(|line| line.starts_with("VmHWM"));
    println!("{}", peak.unwrap_or("peak memory: not known here"));
}
