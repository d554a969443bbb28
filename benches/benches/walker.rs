//! The walker itself: building, drawing, long charts, large sets.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use endpin_theory::{Chart, Chorus};
use endpin_walker::{Options, Plan, Walker};
use std::time::Duration;

const BLUES: &str = "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | D7b9 | Gm7 | C7 | F7 D7 | Gm7 C7";

fn blues(times: usize) -> Chorus {
    let bars = vec![BLUES; times].join(" | ");
    let meter = "4/4".parse().expect("a meter");
    Chart::from_bars(&bars, meter).expect("a chart").chorus()
}

fn flat(level: u8) -> Options {
    Options {
        level: level.try_into().expect("a level"),
        arc: Some(endpin_walker::Arc::Flat),
        ..Options::default()
    }
}

fn walker(chorus: &Chorus, level: u8) -> Walker {
    let options = flat(level);
    Walker::new(Plan::of(chorus.clone(), &options), options).expect("a line")
}

fn building(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("build, 12 bars");
    let chorus = blues(1);
    for level in 1..=6u8 {
        group.bench_function(format!("level {level}"), |bencher| {
            bencher.iter(|| walker(&chorus, level));
        });
    }
    group.finish();
    let mut group = criterion.benchmark_group("build and draw a chorus, level 4");
    group.sample_size(10);
    for times in [1, 85] {
        let chorus = blues(times);
        group.throughput(Throughput::Elements(chorus.beats() as u64));
        group.bench_function(format!("{} bars", 12 * times), |bencher| {
            bencher.iter(|| walker(&chorus, 4).keys(1, 1, 1));
        });
    }
    group.finish();
}

fn drawing(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("draw, 12 bars");
    group
        .sample_size(10)
        .measurement_time(Duration::from_secs(5));
    let chorus = blues(1);
    for level in [4u8, 6] {
        let walker = walker(&chorus, level);
        assert!(walker.lines_abound());
        let count = 10_000;
        group.throughput(Throughput::Elements(u64::from(count)));
        group.bench_function(format!("level {level}, keys alone"), |bencher| {
            bencher.iter(|| walker.keys(1, 1, count));
        });
    }
    let walker = walker(&chorus, 4);
    group.throughput(Throughput::Elements(100));
    group.bench_function("level 4, named and explained", |bencher| {
        bencher.iter(|| walker.lines(1, 1, 100));
    });
    group.throughput(Throughput::Elements(1_000_000));
    group.bench_function("level 4, a million choruses, keys alone", |bencher| {
        bencher.iter(|| walker.keys(1, 1, 1_000_000));
    });
    group.finish();
}

criterion_group!(benches, building, drawing);
criterion_main!(benches);
