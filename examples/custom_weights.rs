//! What a teacher's own weights do to a line: `cargo run --example custom_weights`.
//!
//! The rules stay as they are; the weights say which of the lines that keep them are likelier.

use endpin_theory::Chart;
use endpin_walker::{Options, Plan, Walker, Weights};

/// How a pupil sounds who was told to sing the line: steps into the strong beats and out of them, and hardly a
/// leap.
const SINGING: &str = "
[motion.strong]
semitone_up = 100
semitone_down = 100
tone_up = 100
tone_down = 100
[motion.second]
tone_up = 100
tone_down = 100
[motion.medium]
tone_up = 100
tone_down = 100
[motion.last]
tone_up = 100
tone_down = 100
[approach]
dominant_below = 1
dominant_above = 1
";

/// The share of moves of a whole step or less, over many choruses.
fn steps(walker: &Walker) -> f64 {
    let choruses = walker.lines(1, 1, 200);
    let moves: Vec<i16> = choruses
        .iter()
        .flat_map(|line| line.notes.windows(2))
        .map(|pair| (pair[1].pitch.midi() - pair[0].pitch.midi()).abs())
        .collect();
    let steps = moves
        .iter()
        .filter(|semitones| (1..=2).contains(*semitones));
    steps.count() as f64 / moves.len() as f64
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let chart = Chart::parse(include_str!("../scenarios/bollard-street-blues.toml"))?;
    let plain = Options::default();
    let singing = Options {
        weights: Weights::parse(SINGING)?,
        ..plain.clone()
    };
    for (name, options) in [("default", plain), ("singing", singing)] {
        let walker = Walker::new(Plan::of(chart.chorus(), &options), options)?;
        println!(
            "{name} weights: {:.0} % of moves by step",
            100.0 * steps(&walker)
        );
        println!("{}\n", walker.line(1, 1));
    }
    Ok(())
}
