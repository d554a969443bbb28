//! What commands write: where they refuse to, and what they spare.

use super::{CHART, endpin, listing, refuses, with};
use std::{
    fs,
    path::Path,
    process::{Command, Stdio},
};

#[test]
fn a_name_that_promises_another_kind_of_file() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    fs::write(desk.join("oyster.toml"), CHART).unwrap();
    for sheet in ["a.pdf", "a.html", "a.musicxml", "a.mxl", "a.SVG"] {
        let words = ["endpin sheet", sheet];
        refuses(desk, &["write", "oyster.toml", "-o", sheet], 2, &words);
    }
    let text = ["write", "oyster.toml", "-o", "my.txt"];
    refuses(desk, &text, 2, &["my.txt", ".mid"]);
    refuses(
        desk,
        &["sheet", "oyster.toml", "-o", "a.mid"],
        2,
        &[".musicxml", "endpin write"],
    );
    let wrote = endpin(desk, &["write", "oyster.toml", "-o", "take.mid"]);
    assert!(wrote.status.success());
    refuses(
        desk,
        &["check", "oyster.toml", "take.mid", "-o", "report.pdf"],
        2,
        &["report.pdf", ".html"],
    );
}

#[cfg(feature = "live")]
#[test]
fn a_take_of_another_name_is_refused_before_it_is_played() {
    let folder = tempfile::tempdir().unwrap();
    let live = ["live", "--bars", "F7", "--raw", "band.midi"];
    let take = ["--listen", "keys", "--take", "take.wav"];
    let words = ["take.wav", ".mid"];
    refuses(folder.path(), &[&live[..], &take].concat(), 2, &words);
}

#[test]
fn names_that_promise_nothing_or_midi_are_written() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    fs::write(desk.join("oyster.v2.toml"), CHART).unwrap();
    for file in ["take.mid", "take.MIDI", "take"] {
        let wrote = endpin(desk, &["write", "oyster.v2.toml", "-o", file]);
        assert!(wrote.status.success(), "{file}");
    }
    // Named after the chart, a file keeps all of its name.
    for command in ["write", "sheet"] {
        assert!(endpin(desk, &[command, "oyster.v2.toml"]).status.success());
    }
    for file in ["oyster.v2.mid", "oyster.v2.musicxml"] {
        assert!(desk.join(file).exists(), "{:?}", listing(desk));
    }
}

#[test]
fn a_report_spares_the_chart_and_the_music() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    fs::write(desk.join("oyster.toml"), CHART).unwrap();
    for (command, report) in [
        (&["write", "oyster.toml"][..], "oyster.toml"),
        (&["write", "oyster.toml", "-o", "a.mid"], "./a.mid"),
        (&["write", "oyster.toml"], "oyster.mid"),
        (&["sheet", "oyster.toml", "-o", "a.pdf"], "a.pdf"),
    ] {
        let arguments = [command, &["--report", report]].concat();
        refuses(desk, &arguments, 2, &["--report", report]);
    }
    assert_eq!(fs::read_to_string(desk.join("oyster.toml")).unwrap(), CHART);
}

#[test]
fn play_alongs_of_one_name_stand_side_by_side() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    let term = "title = \"T\"\n[[week]]\nnumber = 1\ncount = 2\nkinds = [\"chord-tone\"]\n\
                charts = [\"a/oyster.toml\", \"b/oyster.toml\", \"b/oyster.toml\"]\n";
    fs::write(desk.join("term.toml"), term).unwrap();
    for (folder, bpm) in [("a", "tempo = 120"), ("b", "tempo = 90")] {
        fs::create_dir(desk.join(folder)).unwrap();
        fs::write(
            desk.join(folder).join("oyster.toml"),
            with("tempo = 120", bpm),
        )
        .unwrap();
    }
    let week = ["ear", "--term", "term.toml", "--week", "1", "-o", "set"];
    let made = endpin(desk, &week);
    assert!(made.status.success(), "{made:?}");
    let play_alongs = listing(&desk.join("set/play-along"));
    assert_eq!(play_alongs, ["oyster-2.mid", "oyster.mid"]);
}

#[test]
fn a_page_too_long_is_refused_before_its_lines_are_made() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    fs::write(desk.join("oyster.toml"), CHART).unwrap();
    let most = "a page holds at most 4000 bars";
    let long = ["sheet", "oyster.toml", "-o", "a.html"];
    // No line has so low a root, and that would be the answer if a line were made first.
    let lineless = ["--lowest", "C2", "--highest", "D2"];
    let choruses = ["--choruses", "1001"];
    let all = [&long[..], &lineless, &choruses].concat();
    refuses(desk, &all, 2, &[most, "4004"]);
    let some = [&all[..], &["--bars-range", "1-3"]].concat();
    refuses(desk, &some, 2, &["arrival-root"]);
}

#[test]
fn a_set_says_where_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    fs::write(desk.join("oyster.toml"), CHART).unwrap();
    let made = endpin(desk, &["ear", "oyster.toml", "--count", "3", "-o", "set"]);
    let said = String::from_utf8_lossy(&made.stderr);
    assert!(
        said.ends_with(
            "3 questions in set: open questions.html to answer them, answers.html for the key\n"
        ),
        "{said}"
    );
}

#[test]
fn outputs_that_cannot_be_written() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    fs::write(here.join("oyster.toml"), CHART).unwrap();
    fs::create_dir(here.join("drawer")).unwrap();
    let refuse = |output: &str, word: &str| {
        refuses(here, &["write", "oyster.toml", "-o", output], 3, &[word]);
    };
    refuse("missing/out.mid", "missing");
    refuse("drawer", "drawer");
    refuse("oyster.toml/out.mid", "oyster.toml");
    assert_eq!(fs::read_to_string(here.join("oyster.toml")).unwrap(), CHART);
    if Path::new("/dev/full").exists() {
        refuse("/dev/full", "/dev/full"); // a full disk
    }
}

#[test]
fn a_failed_write_keeps_the_old_file() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    fs::write(here.join("oyster.toml"), CHART.replace("Bb7", "Hb7")).unwrap();
    fs::write(here.join("out.mid"), "an older take").unwrap();
    refuses(
        here,
        &["write", "oyster.toml", "-o", "out.mid"],
        2,
        &["Hb7"],
    );
    assert_eq!(fs::read(here.join("out.mid")).unwrap(), b"an older take");
}

/// Ctrl-C and `kill` end a long work between two files.
#[cfg(unix)]
#[test]
fn a_signal_leaves_nothing_unfinished() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    fs::write(desk.join("oyster.toml"), CHART).unwrap();
    let questions = desk.join("set/questions");
    for signal in ["INT", "TERM"].repeat(3) {
        let mut ear = Command::new(env!("CARGO_BIN_EXE_endpin"))
            .args(["ear", "oyster.toml", "-o", "set", "--count", "1500"])
            .args(["--keys", "all"])
            .current_dir(desk)
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        while fs::read_dir(&questions).map_or(0, Iterator::count) < 200 {
            assert!(ear.try_wait().unwrap().is_none(), "ended unasked");
        }
        let told = Command::new("kill")
            .args(["-s", signal, &ear.id().to_string()])
            .status();
        assert!(told.unwrap().success());
        // As if the signal had not been heard.
        assert_eq!(ear.wait().unwrap().code(), None);
        let left = listing(&questions);
        let unfinished = left.iter().filter(|name| name.starts_with('.'));
        assert_eq!(unfinished.count(), 0, "{left:?}");
        fs::remove_dir_all(desk.join("set")).unwrap();
    }
}

#[test]
fn a_reader_that_leaves_early_is_no_error_of_ours() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("oyster.toml"), CHART).unwrap();
    // 3,000 choruses do not fit into a pipe's buffer, so the writer meets the closed end.
    let mut child = Command::new(env!("CARGO_BIN_EXE_endpin"))
        .args(["explain", "oyster.toml", "--choruses", "3000"])
        .current_dir(folder.path())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!said.contains("panicked"), "{said}");
    assert!(
        matches!(output.status.code(), Some(0 | 3)),
        "{:?} {said}",
        output.status
    );
}

#[test]
fn another_set_stays_until_told_to_give_way() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    fs::write(desk.join("oyster.toml"), CHART).unwrap();
    let first = ["ear", "oyster.toml", "-o", "set", "--count", "4"];
    let other = ["ear", "oyster.toml", "-o", "set", "--count", "2"];
    assert!(endpin(desk, &first).status.success());
    let key = || fs::read(desk.join("set/answers.json")).unwrap();
    let of_first = key();
    // The same set again is no loss; another would be.
    assert!(endpin(desk, &first).status.success());
    refuses(desk, &other, 2, &["set holds another set", "--replace"]);
    assert_eq!(key(), of_first);
    // Without the key it is a set all the same.
    fs::remove_file(desk.join("set/answers.json")).unwrap();
    refuses(desk, &other, 2, &["--replace"]);
    fs::write(desk.join("set/questions/notes.txt"), "my own").unwrap();
    let replaced = endpin(desk, &[&other[..], &["--replace"]].concat());
    assert!(replaced.status.success(), "{replaced:?}");
    assert_ne!(key(), of_first);
    let questions = listing(&desk.join("set/questions"));
    assert_eq!(questions, ["001.mid", "002.mid", "notes.txt"]);
}
