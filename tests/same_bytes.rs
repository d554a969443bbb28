//! The same version, chart, options and seed give the same bytes, whatever else differs.

use serde_json::Value;
use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
    process::Command,
};

fn scenarios() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scenarios");
    let mut charts: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| {
            path.extension()
                .is_some_and(|extension| extension == "toml")
        })
        .filter(|path| fs::read_to_string(path).unwrap().contains("[section."))
        .collect();
    charts.sort();
    assert!(charts.len() >= 10);
    charts
}

fn blues() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scenarios/breakwater-blues.toml")
}

/// Standard output of a command that succeeds, made on this many threads.
#[track_caller]
fn output(command: &str, chart: &Path, options: &[&str], threads: usize) -> Vec<u8> {
    let done = Command::new(env!("CARGO_BIN_EXE_endpin"))
        .arg(command)
        .arg(chart)
        .args(options)
        .env("RAYON_NUM_THREADS", threads.to_string())
        .output()
        .unwrap();
    assert!(
        done.status.success(),
        "{command} {} {options:?}: {}",
        chart.display(),
        String::from_utf8_lossy(&done.stderr)
    );
    done.stdout
}

/// The notes of `explain --json`.
fn notes(chart: &Path, options: &[&str]) -> Vec<Value> {
    let options = [options, &["--json"]].concat();
    let report: Value = serde_json::from_slice(&output("explain", chart, &options, 2)).unwrap();
    report["notes"].as_array().unwrap().clone()
}

fn in_chorus(notes: &[Value], chorus: u64) -> Vec<Value> {
    notes
        .iter()
        .filter(|note| note["chorus"] == chorus)
        .cloned()
        .collect()
}

fn pitches(notes: &[Value]) -> Vec<(i64, i64)> {
    notes
        .iter()
        .map(|note| {
            (
                note["bar"].as_i64().unwrap(),
                note["midi"].as_i64().unwrap(),
            )
        })
        .collect()
}

#[test]
fn twice_is_the_same_on_one_thread_and_on_many() {
    let same = |command: &str, chart: &Path, options: &[&str]| {
        let once = output(command, chart, options, 1);
        let again = output(command, chart, options, 4);
        assert!(!once.is_empty());
        assert!(once == again, "{command} {} differs", chart.display());
    };
    for chart in scenarios() {
        same("write", &chart, &["-o", "-"]);
    }
    same("explain", &blues(), &["--json"]);
    same("explain", &blues(), &[]);
    same("chart", &blues(), &["--json"]);
}

#[test]
fn a_file_and_standard_output_hold_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("two words.mid");
    output("write", &blues(), &["-o", file.to_str().unwrap()], 2);
    assert!(fs::read(&file).unwrap() == output("write", &blues(), &["-o", "-"], 2));
}

#[test]
fn seeds_and_choruses_differ() {
    let of_seed = |seed: &str| pitches(&notes(&blues(), &["--choruses", "1", "--seed", seed]));
    let lines: BTreeSet<_> = ["1", "2", "3", "4", "5", "6", "7", "8"].map(of_seed).into();
    assert_eq!(lines.len(), 8);

    let many = notes(&blues(), &["--choruses", "50", "--loop-ready"]);
    let choruses: BTreeSet<_> = (1..=50).map(|n| pitches(&in_chorus(&many, n))).collect();
    assert_eq!(choruses.len(), 50);
}

#[test]
fn a_chorus_made_alone_equals_itself_among_many() {
    for chart in scenarios() {
        let many = notes(&chart, &["--choruses", "6", "--loop-ready"]);
        for chorus in [1, 3, 6] {
            let from = chorus.to_string();
            let alone = notes(
                &chart,
                &["--from", &from, "--choruses", "1", "--loop-ready"],
            );
            assert!(!alone.is_empty());
            assert_eq!(
                in_chorus(&many, chorus),
                alone,
                "chorus {chorus} of {}",
                chart.display()
            );
        }
    }
}

#[test]
fn a_file_and_bars_on_the_command_line_hold_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("chart.toml");
    fs::write(
        &file,
        "title = \"Three Kettles\"\nkey = \"C\"\nmeter = \"4/4\"\ntempo = 120\n[section.A]\nbars = \"| Dm7 | G7 | Cmaj7 | % |\"\n",
    )
    .unwrap();
    let from_file = notes(&file, &[]);
    let done = Command::new(env!("CARGO_BIN_EXE_endpin"))
        .args(["explain", "--json", "--key", "C", "--tempo", "120"])
        .args(["--bars", "Dm7 | G7 | Cmaj7 | %"])
        .output()
        .unwrap();
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let report: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(report["notes"].as_array().unwrap(), &from_file);
}
