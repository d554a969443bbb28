//! Hearing on sounds whose notes are known because they are made here: strings of partials, noise, silence;
//! and on bytes that are no sound at all. What fluidsynth plays is in `tests/outside/test_hear.py`.

use endpin::inputs::sound::{Hearing, RATE, SoundProblem, decode::decode, hear, hear_file};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::{f32::consts::TAU, io::Cursor};

/// Samples of a string: eight partials, an attack of 4 ms, a decay that is quicker higher up, a stop of 10 ms.
struct Bass {
    samples: Vec<f32>,
    /// The frequency of A.
    tuning: f32,
    /// Partials below are left out, in hertz: what the microphone of a phone does.
    cut: f32,
}

impl Bass {
    fn new(seconds: f32) -> Bass {
        Bass {
            samples: vec![0.0; (seconds * RATE as f32) as usize],
            tuning: 440.0,
            cut: 0.0,
        }
    }

    /// A note from a time to another, on a key that may move while it sounds.
    fn note(&mut self, from: f32, to: f32, key: impl Fn(f32) -> f32) {
        let (rate, mut turns) = (RATE as f32, 0.0f32);
        let [first, last] = [from, to].map(|time| (time * rate) as usize);
        for at in first..last.min(self.samples.len()) {
            let time = (at - first) as f32 / rate;
            let frequency = self.tuning * ((key(time) - 69.0) / 12.0).exp2();
            turns = (turns + frequency / rate) % 1.0;
            let shape = (time / 0.004).min(1.0) * ((to - from - time) / 0.01).min(1.0);
            for partial in (1..=8u8).map(f32::from) {
                if frequency * partial > self.cut {
                    let height = 0.2 / partial * (-time * (0.8 + 0.3 * partial)).exp();
                    self.samples[at] += height * shape * (TAU * (turns * partial % 1.0)).sin();
                }
            }
        }
    }

    fn heard(&self) -> Hearing {
        hear(&self.samples)
    }
}

fn keys(heard: &Hearing) -> Vec<u8> {
    heard.notes.iter().map(|note| note.key).collect()
}

/// Notes of a third of a second, one after the other.
fn scale(keys: impl IntoIterator<Item = u8>, tuning: f32, cut: f32) -> Hearing {
    let keys: Vec<u8> = keys.into_iter().collect();
    let mut bass = Bass {
        tuning,
        cut,
        ..Bass::new(0.6 + keys.len() as f32 / 3.0)
    };
    for (number, key) in keys.iter().enumerate() {
        let from = 0.3 + number as f32 / 3.0;
        bass.note(from, from + 0.33, |_| f32::from(*key));
    }
    bass.heard()
}

#[test]
fn every_key_of_the_instruments_is_heard_where_it_is() {
    let heard = scale(23..=67, 440.0, 0.0);
    assert_eq!(keys(&heard), (23..=67).collect::<Vec<u8>>());
    for (number, note) in heard.notes.iter().enumerate() {
        let late = note.onset - (0.3 + number as f64 / 3.0);
        assert!(late.abs() < 0.025, "{note:?} is {late} late");
        assert!((note.length - 0.33).abs() < 0.05, "{note:?}");
        assert!(note.certainty > 0.5, "{note:?}");
    }
    assert!((heard.tuning_hz - 440.0).abs() < 1.0, "{}", heard.tuning_hz);
}

#[test]
fn a_bass_out_of_tune_is_heard_in_its_own_tuning() {
    for tuning in [429.0, 433.0, 437.0, 444.0, 448.0, 451.0] {
        let heard = scale((28..=55).step_by(3), tuning, 0.0);
        assert_eq!(
            keys(&heard),
            (28..=55).step_by(3).collect::<Vec<u8>>(),
            "{tuning}"
        );
        assert!(
            (heard.tuning_hz - f64::from(tuning)).abs() < 1.5,
            "{tuning}: {}",
            heard.tuning_hz
        );
    }
}

#[test]
fn without_what_lies_below_140_hertz_the_notes_are_the_same() {
    // From G1 on: of this string's lower keys, with eight partials, next to nothing would be left.
    let heard = scale(31..=55, 440.0, 140.0);
    assert_eq!(keys(&heard), (31..=55).collect::<Vec<u8>>());
}

#[test]
fn a_string_struck_again_is_two_notes_and_a_held_one_is_one() {
    let mut bass = Bass::new(4.0);
    bass.note(0.5, 1.0, |_| 40.0);
    bass.note(1.0, 1.5, |_| 40.0);
    bass.note(1.5, 3.5, |_| 45.0);
    assert_eq!(keys(&bass.heard()), [40, 40, 45]);
}

#[test]
fn a_slide_has_no_notes_on_its_way() {
    let mut bass = Bass::new(2.0);
    let slide = |time: f32| 40.0 + 5.0 * ((time - 0.4) / 0.08).clamp(0.0, 1.0);
    bass.note(0.3, 1.4, slide);
    assert_eq!(keys(&bass.heard()), [40, 45]);
}

#[test]
fn vibrato_is_one_note() {
    let mut bass = Bass::new(2.0);
    bass.note(0.3, 1.8, |time| 43.0 + 0.3 * (time * TAU * 5.0).sin());
    assert_eq!(keys(&bass.heard()), [43]);
}

#[test]
fn silence_and_noise_have_no_sure_notes() {
    assert_eq!(hear(&[]).notes, []);
    assert_eq!(hear(&vec![0.0; 3 * RATE as usize]).notes, []);
    let mut draw = ChaCha8Rng::seed_from_u64(18);
    let noise: Vec<f32> = (0..5 * RATE)
        .map(|_| draw.random_range(-0.3..0.3))
        .collect();
    let heard = hear(&noise);
    let sure = heard.notes.iter().filter(|note| note.certainty > 0.7);
    assert_eq!(sure.count(), 0, "{:?}", heard.notes);
}

#[test]
fn a_dead_note_between_two_notes_is_none() {
    let mut bass = Bass::new(2.0);
    let mut draw = ChaCha8Rng::seed_from_u64(4);
    bass.note(0.3, 0.7, |_| 36.0);
    bass.note(1.0, 1.5, |_| 41.0);
    // A finger on a damped string: 30 ms of noise.
    let from = (0.85 * RATE as f32) as usize;
    for (number, sample) in bass.samples[from..from + 240].iter_mut().enumerate() {
        *sample += draw.random_range(-0.05..0.05) * (-(number as f32) / 60.0).exp();
    }
    assert_eq!(keys(&bass.heard()), [36, 41]);
}

fn wav(samples: &[f32]) -> Vec<u8> {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for sample in samples {
        let sample = (sample * 30_000.0) as i16;
        writer.write_sample(sample).unwrap();
        writer.write_sample(sample / 2).unwrap();
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

/// Whatever the bytes, there is an answer or one message of one line.
fn answers(bytes: Vec<u8>) -> bool {
    match hear_file(Box::new(Cursor::new(bytes))) {
        Ok(_) => true,
        Err(problem) => {
            let message = problem.to_string();
            assert!(
                !message.is_empty() && !message.contains('\n'),
                "{message:?}"
            );
            false
        }
    }
}

#[test]
fn random_and_broken_files_get_an_answer() {
    let mut draw = ChaCha8Rng::seed_from_u64(18);
    let heads: [&[u8]; 8] = [
        b"",
        b"RIFF\0\0\0\0WAVEfmt ",
        b"fLaC\0\0\0\x22",
        b"OggS\0\x02",
        b"ID3\x04\0\0\0\0\0\0",
        b"\xff\xfb\x90\x64",
        b"\0\0\0\x18ftypM4A ",
        b"FORM\0\0\0\0AIFFCOMM",
    ];
    for round in 0..400 {
        let mut bytes = heads[round % heads.len()].to_vec();
        let length = draw.random_range(0..3000);
        bytes.extend((0..length).map(|_| draw.random_range(0..=255u8)));
        answers(bytes);
    }
    let tone: Vec<f32> = (0..9000)
        .map(|i| (i as f32 * TAU * 82.4 / 44_100.0).sin() * 0.5)
        .collect();
    let whole = wav(&tone);
    assert!(answers(whole.clone()));
    let mut read = 0;
    for _ in 0..300 {
        let mut bytes = whole.clone();
        for _ in 0..draw.random_range(1..8) {
            let place = draw.random_range(0..60);
            bytes[place] = draw.random_range(0..=255);
        }
        bytes.truncate(draw.random_range(0..=bytes.len()));
        read += usize::from(answers(bytes));
    }
    assert!(read > 0, "none of the broken files had sound left");
}

#[test]
fn a_recording_cut_short_is_heard_as_far_as_it_goes() {
    let tone: Vec<f32> = (0..88_200)
        .map(|i| (i as f32 * TAU * 82.4 / 44_100.0).sin() * 0.5)
        .collect();
    let mut bytes = wav(&tone);
    bytes.truncate(bytes.len() / 2);
    let heard = decode(Box::new(Cursor::new(bytes))).unwrap();
    assert!(heard.len().abs_diff(RATE as usize) < 400, "{}", heard.len());
    assert_eq!(
        hear_file(Box::new(Cursor::new(b"no sound".to_vec()))).unwrap_err(),
        SoundProblem::Kind
    );
}
