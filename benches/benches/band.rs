//! The band: a file from a chart, and a take of ten minutes read back.

use criterion::{Criterion, criterion_group, criterion_main};
use endpin::{
    session::{Session, Wishes},
    smf::{self, Layout},
    take::{Reading, Take},
};
use endpin_theory::Chart;
use endpin_walker::Options;

const READING: Reading<'static> = Reading {
    track: None,
    range: (28, 55),
};

const CHART: &str = include_str!("../../scenarios/breakwater-blues.toml");

fn session(choruses: u32) -> Session {
    let chart = Chart::parse(CHART).expect("a chart");
    Session::new(chart, Wishes::plain(1, choruses, Options::default())).expect("a line")
}

fn written(session: &Session) -> Vec<u8> {
    let score = session.perform().expect("choruses").score();
    smf::bytes(&score, Layout::Tracks)
}

fn writing(criterion: &mut Criterion) {
    criterion.bench_function(
        "12 bars, three choruses: from the chart to the bytes",
        |bencher| {
            bencher.iter(|| written(&session(3)));
        },
    );
    let session = session(3);
    let score = session.perform().expect("choruses").score();
    criterion.bench_function(
        "12 bars, three choruses: from the score to the bytes",
        |bencher| {
            bencher.iter(|| smf::bytes(&score, Layout::Tracks));
        },
    );
}

fn judging(criterion: &mut Criterion) {
    // 29 choruses of 12 bars at 138 are ten minutes.
    let session = session(29);
    let bytes = written(&session);
    let chorus = session.chorus(1);
    criterion.bench_function(
        "ten minutes of playing: from the bytes to the take",
        |bencher| {
            bencher.iter(|| Take::read(&bytes, chorus, READING).expect("a take"));
        },
    );
}

criterion_group!(benches, writing, judging);
criterion_main!(benches);
