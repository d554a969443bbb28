//! The three hot paths, each in a function of its own whose instructions `callgrind.sh` counts.

use endpin::{
    outputs::midi_file::{self, TrackLayout},
    performance::session::{Session, Wishes},
};
use endpin_theory::Chart;
use endpin_walker::{Options, Plan, Walker};
use std::hint::black_box;

/// Choruses drawn: many, so that what is made once for all of them weighs little.
const CHORUSES: u32 = 10_000;

fn chart() -> Chart {
    let text = include_str!("../../../scenarios/breakwater-blues.toml");
    Chart::parse(text).expect("a chart")
}

#[inline(never)]
fn build_the_lattices(plan: Plan, options: Options) -> Walker {
    Walker::new(plan, options).expect("a line")
}

#[inline(never)]
fn draw_ten_thousand_choruses(walker: &Walker) -> Vec<Vec<u8>> {
    walker.keys(1, 1, CHORUSES)
}

#[inline(never)]
fn write_a_file(session: &Session) -> Vec<u8> {
    let score = session.perform().expect("choruses").score();
    midi_file::bytes(&score, TrackLayout::Tracks)
}

fn main() {
    // Work shared out to this very thread, where its instructions are counted.
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .use_current_thread();
    pool.build_global().expect("the first pool");
    let options = Options {
        arc: Some(endpin_walker::Arc::Flat),
        ..Options::default()
    };
    let plan = Plan::of(chart().chorus(), &options);
    let walker = build_the_lattices(plan, options);
    // Whether lines abound is found out once for all; it is no part of drawing.
    assert!(walker.lines_abound());
    black_box(draw_ten_thousand_choruses(&walker));
    let wishes = Wishes::plain(1, 3, Options::default());
    let session = Session::new(chart(), wishes).expect("a line");
    black_box(write_a_file(&session));
}
