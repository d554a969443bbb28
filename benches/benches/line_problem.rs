//! Lines a second and time to the first line on the line problem: the walker and two other ways, one thread.
//! The constraint solver stands in `cp_sat.py`.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use endpin_benches::{backtracking, exact::Exact, rejection, relation::Relation};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use std::hint::black_box;

fn lines(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("line");
    let mut exact = Exact::new();
    let relation = Relation::new();
    let arrivals = relation.arrivals();
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    group.throughput(Throughput::Elements(1000));
    group.bench_function("exact, a thousand", |bencher| {
        let mut keys = vec![0; 1000 * 48];
        bencher.iter(|| exact.many(&mut rng, black_box(&mut keys)));
    });
    group.throughput(Throughput::Elements(1));
    group.bench_function("exact, one alone", |bencher| {
        let mut keys = Vec::with_capacity(48);
        bencher.iter(|| exact.alone(&mut rng, black_box(&mut keys)));
    });
    group.bench_function("randomised backtracking", |bencher| {
        bencher.iter(|| backtracking::draw(&relation, &mut rng));
    });
    group.bench_function("rejection chord by chord", |bencher| {
        bencher.iter(|| rejection::draw(&relation, &arrivals, &mut rng));
    });
    group.finish();
    let mut first = criterion.benchmark_group("first line");
    first.bench_function("exact, all tables built", |bencher| {
        bencher.iter(|| {
            let mut keys = [0; 48];
            Exact::new().many(&mut rng, &mut keys);
            keys
        });
    });
    first.bench_function("randomised backtracking", |bencher| {
        bencher.iter(|| backtracking::draw(&Relation::new(), &mut rng));
    });
    first.finish();
}

criterion_group!(benches, lines);
criterion_main!(benches);
