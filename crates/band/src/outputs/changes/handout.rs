//! A ladder of changes on paper: the chart as given, then each step with its reason, what to listen for and a
//! line over the chart after it.

use super::{Steps, listen_for, text};
use crate::{
    failure::Failure,
    outputs::sheet::{
        analysed::chart,
        engrave::{ShownBesides, font::Face, ink::Picture},
        lesson::{one_chorus, section},
        pdf,
        print::{Pages, Paper, heading, key_for_reading, legend},
    },
    performance::session::{Session, Wishes, chart_at_level},
};
use endpin_theory::Chart;
use endpin_walker::Options;

/// The handout as PDF.
///
/// # Errors
/// A chart over which no line can be walked with what was asked.
pub fn document(steps: &Steps, line: &Options, paper: Paper) -> Result<Vec<u8>, Failure> {
    let pages = pages(steps, line, paper)?;
    Ok(pdf::document(&steps.wishes.chart.title, &pages, paper))
}

fn pages(steps: &Steps, line: &Options, paper: Paper) -> Result<Vec<Picture>, Failure> {
    let wishes = &steps.wishes;
    let session = |chart: &Chart| {
        let chart = chart_at_level(chart.clone(), line);
        Session::new(chart, Wishes::plain(wishes.seed, 1, line.clone()))
    };
    let mut pages = Pages::new(paper);
    let about = format!(
        "In {}, {} a step at a time: {} of {} asked for. Lines of level {}, seed {}.",
        key_for_reading(wishes.chart.key),
        steps.way(),
        steps.rungs.len(),
        wishes.steps,
        line.level,
        wishes.seed
    );
    heading(&mut pages, &wishes.chart.title, &about);
    chart(&mut pages, &session(&wishes.chart)?);
    pages.skip(1.0);
    legend(&mut pages);
    let marked = ShownBesides {
        marks: true,
        ..ShownBesides::default()
    };
    for rung in &steps.rungs {
        let change = &rung.substitution;
        let title = format!(
            "Step {}, {}: {}",
            rung.number,
            text::place(rung),
            change.name
        );
        let becomes = format!("{}.", text::becomes(rung));
        let words = [&*becomes, &change.why, &listen_for(rung)];
        let music = one_chorus(&session(&rung.chart)?, 1);
        section(&mut pages, &title, &words, &music, marked);
    }
    if let Some(shortfall) = steps.shortfall() {
        pages.skip(1.5);
        pages.words(&shortfall, 1.8, Face::Regular);
    }
    Ok(pages.finish())
}
