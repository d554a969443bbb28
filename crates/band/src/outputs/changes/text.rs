//! A ladder of changes as text: each step with its place, its reason and the whole chart after it.

use super::{Steps, guide_tones};
use crate::failure::{printable, printable_line};
use endpin_theory::{Chart, changes::Rung, chart::bars_text};

/// All steps, one under the other.
pub fn text(steps: &Steps) -> String {
    let wishes = &steps.wishes;
    let title = printable_line(&wishes.chart.title);
    let mut text = format!(
        "{title} in {}, {} a step at a time, seed {}\n\n{}",
        wishes.chart.key,
        steps.way(),
        wishes.seed,
        chart(&wishes.chart)
    );
    for rung in &steps.rungs {
        text.push_str(&step(rung));
    }
    if let Some(shortfall) = steps.shortfall() {
        text.push_str(&format!("\n{shortfall}\n"));
    }
    printable(&text)
}

/// `bar 4`, `bar 4, beat 3`.
pub fn place(rung: &Rung) -> String {
    let change = &rung.substitution;
    match change.beat {
        1 => format!("bar {}", change.bar),
        beat => format!("bar {}, beat {beat}", change.bar),
    }
}

/// `C7 becomes Gm7 C7`.
pub fn becomes(rung: &Rung) -> String {
    let change = &rung.substitution;
    format!("{} becomes {}", change.was.join(" "), change.is.join(" "))
}

fn step(rung: &Rung) -> String {
    let change = &rung.substitution;
    let (moved, stayed) = guide_tones(rung);
    let or_nothing = |words: String| match words.is_empty() {
        true => "nothing".to_owned(),
        false => words,
    };
    format!(
        "\nStep {}, {}: {} (one of {} offered, {} possible)\n  {}\n  {}\n  moved: {}; stayed: {}\n\n{}",
        rung.number,
        place(rung),
        change.name,
        rung.offered,
        rung.possible,
        becomes(rung),
        change.why,
        or_nothing(moved),
        or_nothing(stayed),
        chart(&rung.chart)
    )
}

/// The bars of each section, its name in front.
fn chart(chart: &Chart) -> String {
    let mut parts = Vec::new();
    for section in chart.sections() {
        if !section.bars.is_empty() {
            parts.push((section.name.clone(), bars_text(&section.bars)));
        }
        for (number, ending) in (1..).zip(&section.endings) {
            let name = format!("{}, ending {number}", section.name);
            parts.push((name, bars_text(ending)));
        }
    }
    let names = parts.iter().map(|(name, _)| name.chars().count());
    let width = names.max().unwrap_or(0);
    let mut text = String::new();
    for (name, bars) in &parts {
        let names = std::iter::once(name.as_str()).chain(std::iter::repeat(""));
        for (name, line) in names.zip(bars.lines()) {
            text.push_str(&format!("  {name:<width$} {line}\n"));
        }
    }
    text
}
