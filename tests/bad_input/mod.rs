//! Bad input gets one clear message and exit code 2 (input, usage) or 3 (output); never a panic, never a
//! file half written.

mod outputs;

use std::{
    fs,
    io::{BufReader, Read},
    path::Path,
    process::{Command, Output, Stdio},
};

const CHART: &str = r#"
title = "Oyster Steps"
key = "F"
meter = "4/4"
tempo = 120
form = "A"

[section.A]
bars = "| F7 | Bb7 | F7 | C7 |"
"#;

fn endpin(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_endpin"))
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn listing(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

/// The command fails with this code and a message that has all these words, and leaves no file behind.
#[track_caller]
fn refuses(folder: &Path, arguments: &[&str], code: i32, words: &[&str]) {
    let before = listing(folder);
    let output = endpin(folder, arguments);
    let said = String::from_utf8(output.stderr).expect("messages are UTF-8");
    assert_eq!(
        output.status.code(),
        Some(code),
        "{arguments:?} said: {said}"
    );
    assert!(
        output.stdout.is_empty(),
        "{arguments:?} printed on standard output"
    );
    for word in words {
        assert!(said.contains(word), "no `{word}` in: {said}");
    }
    assert!(!said.contains("panicked"), "{said}");
    let lines = said.lines().count();
    assert!(
        (1..=14).contains(&lines),
        "one clear message, not {lines} lines: {said}"
    );
    assert_eq!(
        listing(folder),
        before,
        "{arguments:?} left something behind"
    );
}

/// `write` refuses this chart text, for the reason given by these words.
#[track_caller]
fn refuses_chart(text: impl AsRef<[u8]>, words: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("oyster.toml"), text).unwrap();
    let words: Vec<&str> = ["oyster.toml"].iter().chain(words).copied().collect();
    refuses(
        folder.path(),
        &["write", "oyster.toml", "-o", "out.mid"],
        2,
        &words,
    );
}

/// The good chart with one thing replaced.
fn with(good: &str, bad: &str) -> String {
    assert!(CHART.contains(good));
    CHART.replacen(good, bad, 1)
}

#[test]
fn the_good_chart_is_good() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("oyster.toml"), CHART).unwrap();
    let output = endpin(folder.path(), &["write", "oyster.toml", "-o", "out.mid"]);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert_eq!(listing(folder.path()), ["out.mid", "oyster.toml"]);
}

#[test]
fn names_that_miss_are_answered_with_what_was_meant() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    fs::write(desk.join("oyster.toml"), CHART).unwrap();
    let wrote = endpin(desk, &["write", "oyster.toml", "-o", "take.mid"]);
    assert!(wrote.status.success());
    let ear = ["ear", "-o", "set", "--week", "1", "--term"];
    for (arguments, words) in [
        (&["write", "oyster"][..], "did you mean oyster.toml?"),
        (&["write", "oister.toml"], "did you mean oyster.toml?"),
        (
            &["check", "oyster.toml", "take.md"],
            "did you mean take.mid?",
        ),
        (&["check", "oyster.toml", "take"], "did you mean take.mid?"),
        (&[&ear[..], &["oyste.toml"]].concat(), "oyster.toml?"),
        (&["explain", "F7 | Bb7"], "--bars \"F7 | Bb7\""),
        (
            &["check", "take.mid", "oyster.toml"],
            "the chart comes before the takes",
        ),
        (&["wriet", "oyster.toml"], "'write'"),
        (&["write", "oyster.toml", "--chorus", "2"], "'--choruses'"),
    ] {
        refuses(desk, arguments, 2, &[words]);
    }
}

#[cfg(feature = "live")]
#[test]
fn what_keeps_the_band_from_playing() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    let bars = ["live", "--bars", "F7", "--raw", "drawer/pipe"];
    refuses(
        desk,
        &bars,
        3,
        &["drawer/pipe", "its folder does not exist"],
    );
    // Where there is no sound system: one line of ours, and none of the sound library's.
    if cfg!(all(target_os = "linux", not(feature = "jack"))) && !Path::new("/dev/snd/seq").exists()
    {
        refuses(desk, &["ports"], 3, &["modprobe snd-seq", "endpin write"]);
        let said = endpin(desk, &["ports"]).stderr;
        let said = String::from_utf8_lossy(&said);
        assert!(
            said.starts_with("endpin: ") && said.lines().count() == 1,
            "{said}"
        );
    }
}

#[test]
fn files_that_are_no_charts() {
    refuses_chart("", &[]);
    refuses_chart("\n\n", &[]);
    refuses_chart("walk the dog", &["1"]);
    refuses_chart([0xff, 0xfe, 0x00], &["UTF-8"]);
    // A mebibyte from a small linear congruential generator (the constants are Knuth's MMIX; from memory).
    let mut state = 1u64;
    let noise: Vec<u8> = std::iter::repeat_with(|| {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (state >> 56) as u8
    })
    .take(1 << 20)
    .collect();
    refuses_chart(noise, &[]);
}

#[test]
fn wrong_words_in_a_chart_are_pointed_at() {
    // The line is that of the file; the caret stands under the word.
    refuses_chart(
        with("tempo = 120", "tempoo = 120"),
        &["tempoo", "tempo", ":5:"],
    );
    refuses_chart(with("key = \"F\"", "key = \"H\""), &["H", ":3:"]);
    refuses_chart(with("tempo = 120", "tempo = 0"), &["tempo", "0", ":5:"]);
    refuses_chart(
        with("tempo = 120", "tempo = 10000"),
        &["tempo", "10000", ":5:"],
    );
    refuses_chart(with("meter = \"4/4\"", "meter = \"4/3\""), &["4/3", ":4:"]);
    refuses_chart(with("form = \"A\"", "form = \"A B\""), &["B", ":6:"]);
    refuses_chart(with("Bb7", "Hb7"), &["Hb7", ":9:16", "^"]);
    refuses_chart(with("Bb7", "Bb77"), &["Bb77", ":9:", "^"]);
    refuses_chart(with("| F7 | Bb7", "| F7 F7 F7 | Bb7"), &[":9:", "^"]);
    refuses_chart(with("C7 |", "C7"), &[":9:", "^"]);
    refuses_chart(with("| F7 |", "| % |"), &["%", ":9:"]);
    refuses_chart(with("| F7 |", "| / F7 |"), &["/", ":9:"]);
    refuses_chart(with("| F7 |", "| 🎷 |"), &["🎷", ":9:"]);
}

#[test]
fn a_chart_beyond_all_bounds() {
    // 25,000 plays of four bars are 100,000 bars; 20,000 are the most.
    let form = format!("form = \"{}\"", "A ".repeat(25_000));
    refuses_chart(with("form = \"A\"", &form), &["20"]);
    // A chord symbol of 10,000 signs: the message does not repeat it all.
    refuses_chart(with("Bb7", &format!("Bb{}", "7".repeat(10_000))), &[":9:"]);
}

/// Endless input is read up to a limit that the message names; the memory that a test machine has is more.
#[cfg(target_os = "linux")]
#[test]
fn endless_files_are_read_up_to_a_limit() {
    let folder = tempfile::tempdir().unwrap();
    let desk = folder.path();
    fs::write(desk.join("oyster.toml"), CHART).unwrap();
    let (text, bytes) = ("more than 4194304 bytes", "more than 67108864 bytes");
    refuses(desk, &["chart", "/dev/zero"], 2, &[text]);
    let weights = ["chart", "oyster.toml", "--weights", "/dev/zero"];
    refuses(desk, &weights, 2, &[text]);
    refuses(desk, &["check", "oyster.toml", "/dev/zero"], 2, &[bytes]);
    let record = ["ear", "oyster.toml", "--drill", "--record", "/dev/zero"];
    refuses(desk, &record, 3, &[bytes]);
    // A learner who never ends the line.
    let zeros = fs::File::open("/dev/zero").unwrap();
    let mut drill = Command::new(env!("CARGO_BIN_EXE_endpin"))
        .args(["ear", "oyster.toml", "--drill", "--record", "ear.jsonl"])
        .current_dir(desk)
        .stdin(zeros)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = Vec::new();
    let told = drill.stdout.take().unwrap().take(10_000);
    BufReader::new(told).read_to_end(&mut said).unwrap();
    drill.kill().unwrap();
    drill.wait().unwrap();
    assert!(String::from_utf8_lossy(&said).contains("Answer with one of the letters"));
}

#[test]
fn charts_that_cannot_be_read() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    fs::create_dir(here.join("drawer")).unwrap();
    refuses(
        here,
        &["write", "missing.toml", "-o", "out.mid"],
        2,
        &["missing.toml"],
    );
    refuses(here, &["write", "drawer", "-o", "out.mid"], 2, &["drawer"]);
    refuses(here, &["chart", "missing.toml"], 2, &["missing.toml"]);
    refuses(here, &["explain", "missing.toml"], 2, &["missing.toml"]);
}

#[test]
fn options_out_of_range() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    fs::write(here.join("oyster.toml"), CHART).unwrap();
    let refuse = |options: &[&str], words: &[&str]| {
        let arguments = [&["write", "oyster.toml", "-o", "out.mid"], options].concat();
        refuses(here, &arguments, 2, words);
    };
    refuse(&["--lowest", "C2", "--highest", "D2"], &["arrival-root"]);
    refuse(
        &["--lowest", "C3", "--highest", "C2"],
        &["lowest", "highest"],
    );
    refuse(&["--lowest", "X2"], &["X2"]);
    refuse(&["--key", "H"], &["H"]);
    refuse(&["--tempo", "0"], &["0"]);
    refuse(&["--tempo", "10000"], &["10000"]);
    refuse(&["--tempo", "NaN"], &["NaN"]);
    refuse(&["--level", "0"], &["0"]);
    refuse(&["--level", "7"], &["7"]);
    refuse(&["--choruses", "0"], &["a whole number from 1 to 100000"]);
    refuse(
        &["--choruses", "many"],
        &["a whole number from 1 to 100000"],
    );
    refuse(&["--from", "0"], &["a whole number from 1 to"]);
    refuse(&["--format", "2"], &["a whole number from 0 to 1"]);
    refuse(&["--seed", "tuesday"], &["tuesday", "a whole number"]);
    refuse(&["--feel", "samba"], &["samba"]);
    for (option, wrong, meant) in [
        ("--feel", "fuor", "four"),
        ("--palette", "altred", "altered"),
        ("--keys", "fourth", "fourths"),
        ("--arc", "wav", "wave"),
        ("--instrument", "bas", "bass"),
        ("--time", "brushs", "brushes"),
        ("--mute", "com", "comp"),
    ] {
        let hint = format!("(did you mean \"{meant}\"?)");
        refuse(&[option, wrong], &[&hint]);
    }
    refuse(&["--mute", "singer"], &["singer"]);
    refuse(&["--bars", "F7 | Bb7"], &["--bars"]); // beside a chart file
    refuse(&["--pin", "3.9=F2"], &["bar 3", "beat 9"]);
    refuse(&["--pin", "99.1=F2"], &["bar 99"]);
    refuse(&["--pin", "1.1=Z2"], &["Z2"]);
    refuse(&["--pin", "1.1"], &["1.1", "bar.beat=note"]);
    refuse(&["--pin", "1.1=E2"], &["E2", "arrival-root"]); // no root of F7
    refuse(&["--rest", "9-9"], &["9-9"]);
    refuse(&["--avoid", "H"], &["H"]);
    refuse(&["--arc", "up"], &["up", "rise"]);
    refuse(&["--weights", "missing.toml"], &["missing.toml"]);
    refuse(&["--palette", "purple"], &["purple"]);
    refuse(&["--density", "2"], &["2"]);
    refuse(&["--bars-range", "9-12"], &["9-12"]); // of four
    for (option, wrong, meant) in [
        ("--kind", "aproach", "approach"),
        ("--keys", "al", "all"),
        ("--audio", "wave", "wav"),
        ("--with", "tme", "time"),
    ] {
        let hint = format!("(did you mean \"{meant}\"?)");
        let ask = ["ear", "oyster.toml", "-o", "set", option, wrong];
        refuses(here, &ask, 2, &[&hint]);
    }
    refuse(&["--sede", "3"], &["--sede", "--seed"]);
    refuses(
        here,
        &["write", "-o", "out.mid", "--bars", "F7 | Hb7"],
        2,
        &["Hb7"],
    );
    refuses(here, &["write", "-o", "out.mid", "--bars", ""], 2, &[]);
    refuses(here, &["wriet", "oyster.toml"], 2, &["wriet", "write"]);
}
