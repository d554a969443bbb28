//! A table of rootless voicings, led by the least motion: `cargo run --example voicing_table`.

use endpin::players::comp::lead;
use endpin_theory::{Chart, analyse, chart::Palette};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let chart = Chart::parse(include_str!("../scenarios/night-ferry-to-skerrow.toml"))?;
    let chorus = chart.chorus();
    let understood = analyse(&chorus.spans, chart.key);
    let chords: Vec<_> = chorus
        .spans
        .iter()
        .zip(&understood)
        .filter_map(|(span, understood)| Some((span.chord.clone()?, understood.scale)))
        .collect();
    for palette in [Palette::Plain, Palette::Altered, Palette::Diminished] {
        println!("{palette}");
        for ((chord, _), voicing) in chords.iter().zip(lead(&chords, palette)) {
            match voicing {
                Some(voicing) => println!("  {chord:<8}{voicing:<28}{:?}", voicing.keys),
                None => println!("  {chord:<8}lays out"),
            }
        }
    }
    Ok(())
}
