//! Weights, terms, control maps and records, each given every text: read or refused, and what is refused says where.
#![no_main]

use endpin::{
    live::control::ControlMap,
    outputs::ear::{record, term::Term},
};
use endpin_walker::Weights;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let (entries, damaged) = record::read(bytes);
    assert!(entries.len() + damaged <= bytes.len());
    let Ok(text) = str::from_utf8(bytes) else {
        return;
    };
    if let Ok(weights) = Weights::parse(text) {
        assert_eq!(Weights::parse(&weights.template()).ok(), Some(weights));
    }
    if let Ok(term) = Term::parse(text) {
        for week in &term.weeks {
            assert!(term.week(week.number).is_ok());
        }
    }
    if let Err(error) = ControlMap::parse(text) {
        assert!(error.line <= text.matches('\n').count() + 1, "{error}");
    }
});
