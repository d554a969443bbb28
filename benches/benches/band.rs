//! The band: a file from a chart, and a take of ten minutes read back.

use criterion::{Criterion, criterion_group, criterion_main};
use endpin::{
    inputs::take::{Reading, Take},
    outputs::{
        ear::{Ask, Maker, QuestionKind, export, sound::With},
        midi_file::{self, TrackLayout},
    },
    performance::session::{Session, Wishes},
};
use endpin_theory::Chart;
use endpin_walker::{Level, Options};
use std::fs;

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
    midi_file::bytes(&score, TrackLayout::Tracks)
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
            bencher.iter(|| midi_file::bytes(&score, TrackLayout::Tracks));
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

/// A set of questions beside plain files of the same bytes, written beside their place and renamed.
fn sets(criterion: &mut Criterion) {
    let ask = Ask {
        charts: vec![Chart::parse(CHART).expect("a chart")],
        tonics: Vec::new(),
        kinds: vec![
            QuestionKind::ChordTone,
            QuestionKind::Same,
            QuestionKind::Comp,
        ],
        count: 1500,
        seed: 2,
        level: Level::DOMINANTS,
        range: READING.range,
        tempo: None,
        with: With {
            comp: true,
            time: true,
        },
    };
    let set = Maker::new(&ask).expect("questions").set().expect("a set");
    let files: Vec<Vec<u8>> = set.iter().map(export::midi).collect();
    let mut group = criterion.benchmark_group("1,500 questions into a folder");
    group.sample_size(10);
    group.bench_function("as `ear` writes them", |bencher| {
        bencher.iter(|| {
            let folder = tempfile::tempdir().expect("a folder");
            let written = export::Folder::new(folder.path());
            written.make().expect("a folder");
            written.write_midi(&set, set.len()).expect("room for them");
        });
    });
    group.bench_function("plain files of the same bytes", |bencher| {
        bencher.iter(|| {
            let folder = tempfile::tempdir().expect("a folder");
            for (number, bytes) in files.iter().enumerate() {
                let beside = folder.path().join(format!(".{number}"));
                fs::write(&beside, bytes).expect("room for it");
                fs::rename(beside, folder.path().join(number.to_string())).expect("its place");
            }
        });
    });
}

criterion_group!(benches, writing, judging, sets);
criterion_main!(benches);
