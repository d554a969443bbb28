//! Any bytes as a take: they are read or refused, and what is read gives a line in order, quantised in order.
//!
//! The reader's modules are built here on their own, so that the fuzzer builds in seconds.
#![no_main]

#[path = "../../../crates/band/src/inputs/take/file.rs"]
mod file;
#[path = "../../../crates/band/src/inputs/take/melody.rs"]
mod melody;
#[path = "../../../crates/band/src/inputs/take/pulse.rs"]
mod pulse;
#[path = "../../../crates/band/src/inputs/take/slots.rs"]
mod slots;
#[path = "../../../crates/band/src/inputs/take/tempo_map.rs"]
mod tempo_map;
#[path = "../../../crates/band/src/inputs/take/track.rs"]
mod track;
#[path = "../../../crates/band/src/inputs/take/voice.rs"]
mod voice;

use file::TakeFile;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Ok(file) = TakeFile::read(bytes) else {
        return;
    };
    assert!(file.voices.iter().all(|voice| !voice.notes.is_empty()));
    let Ok(choice) = voice::choose(&file, None) else {
        return;
    };
    let melody = melody::extract(choice.bass, &file.tempo_map);
    let pairs = || melody.notes.iter().zip(&melody.notes[1..]);
    assert!(melody.notes.is_empty() || pairs().all(|(a, b)| a.at < b.at && a.end <= b.at));
    let times: Vec<f64> = melody.notes.iter().map(|note| note.at * 2.0).collect();
    if let Some(pulse) = pulse::find(&times) {
        let places: Vec<f64> = times
            .iter()
            .zip(&pulse.lines)
            .map(|(&time, line)| line.place(time))
            .collect();
        assert_eq!(slots::quantise(&places).slots.len(), places.len());
    }
});
