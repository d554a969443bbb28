//! Charts: whatever is read prints back to an equal chart, unrolls to whole bars and is understood throughout.
#![no_main]

use endpin_theory::{Chart, analyse, find_key};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let read = [
        Chart::parse(text).ok(),
        Chart::from_bars(text, "4/4".parse().expect("a meter")).ok(),
    ];
    for chart in read.into_iter().flatten() {
        let printed = chart.to_string();
        assert_eq!(Chart::parse(&printed).as_ref(), Ok(&chart), "{printed}");
        let chorus = chart.chorus();
        let beats: usize = chorus.spans.iter().map(|span| span.beats).sum();
        assert_eq!(beats, chorus.beats());
        if chorus.spans.len() <= 200 {
            assert_eq!(analyse(&chorus.spans, chart.key).len(), chorus.spans.len());
            find_key(&chorus.spans);
        }
    }
});
