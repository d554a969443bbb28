//! Chord symbols: whatever is read prints back to itself; whatever is not is refused within its own length.
#![no_main]

use endpin_theory::Chord;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| match text.parse::<Chord>() {
    Ok(chord) => {
        let printed = chord.to_string();
        assert_eq!(
            printed.parse::<Chord>().as_ref(),
            Ok(&chord),
            "{text:?} printed as {printed:?}"
        );
        assert!(chord.chord_tones().len() <= chord.tones().len());
        assert!((9..=11).contains(&chord.seventh()));
    }
    Err(error) => {
        assert!((1..=text.chars().count() + 1).contains(&error.column()));
        if let Some(suggestion) = error.suggestion() {
            assert!(
                suggestion.parse::<Chord>().is_ok(),
                "{suggestion:?} suggested for {text:?}"
            );
        }
    }
});
