//! Every chart of the scenarios reads, prints back, and moves to every key and back.

use endpin_theory::{Chart, Interval};
use std::{fs, path::PathBuf};

fn charts() -> Vec<(PathBuf, Chart)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../scenarios");
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|kind| kind == "toml"))
        // The list of a term's questions is no chart.
        .filter(|path| !path.ends_with("term.toml"))
        .collect();
    files.sort();
    let read = |path: PathBuf| {
        let text = fs::read_to_string(&path).unwrap();
        let chart = Chart::parse(&text).unwrap_or_else(|error| panic!("{path:?}:{error}"));
        (path, chart)
    };
    files.into_iter().map(read).collect()
}

#[test]
fn scenarios_read_print_and_transpose() {
    let charts = charts();
    assert!(charts.len() >= 10, "at least ten charts");
    for (path, chart) in charts {
        assert_eq!(
            Chart::parse(&chart.to_string()).as_ref(),
            Ok(&chart),
            "{path:?}"
        );
        for interval in [
            "m2", "M2", "m3", "M3", "P4", "A4", "P5", "m6", "M6", "m7", "M7",
        ] {
            let up: Interval = interval.parse().unwrap();
            assert_eq!(
                chart.transposed(up).transposed(-up),
                chart,
                "{path:?} {interval}"
            );
        }
    }
}
