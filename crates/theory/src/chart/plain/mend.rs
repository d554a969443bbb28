//! What could stand in the place of a fault.

use super::super::{ChartProblem, Ending, Feel, Palette, Symbol, TEMPO_RANGE, bars::Placed};
use crate::{Key, nearest};
use std::ops::Range;

/// A piece of text to put in the place of another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mend {
    /// The bytes to replace.
    pub at: Range<usize>,
    /// What to write there.
    pub text: String,
}

impl Mend {
    pub(super) fn new(at: Range<usize>, text: impl Into<String>) -> Mend {
        let text = text.into();
        Mend { at, text }
    }
}

/// What could stand instead of the bar with this fault; the bar's words are given with their places.
pub(super) fn of_bar(placed: &Placed, words: &[(&str, Range<usize>)]) -> Vec<Mend> {
    let (problem, at) = placed;
    let (Some((_, first)), Some((_, last))) = (words.first(), words.last()) else {
        return ["%", "N.C."]
            .map(|text| Mend::new(at.clone(), format!(" {text} ")))
            .into();
    };
    let bar = first.start..last.end;
    let written: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
    match problem {
        ChartProblem::Chord(error) => {
            let word = words
                .iter()
                .find(|(_, word)| word.start <= at.start && at.start <= word.end);
            let Some((word, place)) = word else {
                return Vec::new();
            };
            let known = error.suggestion().map(str::to_owned);
            let mut mends: Vec<Mend> = capital(word)
                .into_iter()
                .chain(known)
                .filter(|text| text != word && Symbol::read(text).is_ok())
                .map(|text| Mend::new(place.clone(), text))
                .collect();
            mends.dedup();
            mends
        }
        ChartProblem::Uneven { chords, beats } if chords < beats => {
            let more = " /".repeat(beats - chords);
            // The first chord longest, or the last.
            let long_first = format!("{}{more} {}", written[0], written[1..].join(" "));
            let long_last = format!("{}{more}", written.join(" "));
            vec![
                Mend::new(bar.clone(), long_first),
                Mend::new(bar, long_last),
            ]
        }
        ChartProblem::BeatCount { found, wanted } if found < wanted => {
            let more = " /".repeat(wanted - found);
            vec![Mend::new(bar, format!("{}{more}", written.join(" ")))]
        }
        ChartProblem::BeatCount { found, wanted } => {
            let over = found - wanted;
            let slashes = written.iter().rev().take_while(|word| **word == "/");
            let kept = &written[..written.len() - over.min(slashes.count())];
            match written.len() - kept.len() == over {
                true => vec![Mend::new(bar, kept.join(" "))],
                false => Vec::new(),
            }
        }
        ChartProblem::RepeatNotAlone => {
            let others: Vec<&str> = written.into_iter().filter(|word| *word != "%").collect();
            vec![
                Mend::new(bar.clone(), "%"),
                Mend::new(bar, others.join(" ")),
            ]
        }
        _ => Vec::new(),
    }
}

/// The same with a capital in front; H is the German name of B.
fn capital(word: &str) -> Option<String> {
    let first = word.chars().next()?;
    let root = match first.to_ascii_uppercase() {
        'H' => 'B',
        other => other,
    };
    Some(format!("{root}{}", &word[first.len_utf8()..]))
}

/// What could stand instead of a value of the header.
pub(super) fn of_value(key: &str, value: &str) -> Vec<String> {
    let near = |known: Vec<String>| {
        let near = nearest(value, known.iter().map(String::as_str));
        near.map_or(known, |near| vec![near])
    };
    match key {
        "key" => {
            let spoken = capital(value).map(|key| {
                let tonic = key.trim_end_matches(['m', ' ']);
                match tonic.len() < key.len() {
                    true => format!("{tonic} minor"),
                    false => key,
                }
            });
            let readable = |text: &String| Key::read(text).is_ok();
            spoken.into_iter().filter(readable).collect()
        }
        "feel" => near(Feel::ALL.map(|feel| feel.to_string()).into()),
        "palette" => near(Palette::ALL.map(|palette| palette.to_string()).into()),
        "ending" => near(Ending::ALL.map(|ending| ending.to_string()).into()),
        "stop-time" => ["yes", "no"].map(str::to_owned).into(),
        "meter" => ["4/4", "3/4"].map(str::to_owned).into(),
        "tempo" => {
            let (slowest, fastest) = (*TEMPO_RANGE.start(), *TEMPO_RANGE.end());
            let digits: String = value.chars().filter(char::is_ascii_digit).collect();
            let number: Option<f64> = digits.parse().ok();
            let number = number.map_or(120.0, |number| number.clamp(slowest, fastest));
            vec![number.to_string()]
        }
        _ => Vec::new(),
    }
}
