//! The notation of bars: `| F7 | Bb7 / / Bdim7 | % | N.C. |`.

use super::{ChartProblem, Harmony, Symbol, WrittenBar};
use crate::Meter;
use std::ops::Range;

/// A problem and the bytes of the bars' text at which it stands.
pub(super) type Placed = (ChartProblem, Range<usize>);

/// Reads bars; `before` is what a leading `%` or `/` repeats.
pub(super) fn read(
    text: &str,
    meter: &Meter,
    before: Option<&WrittenBar>,
) -> Result<Vec<WrittenBar>, Placed> {
    let mut bars: Vec<WrittenBar> = Vec::new();
    let mut start = None;
    for (bar_line, _) in text.match_indices('|').chain([(text.len(), "")]) {
        let inside = start.map_or(0, |line: usize| line + 1)..bar_line;
        let words = words(text, inside.clone());
        if let Some((_, first)) = words.first() {
            // Words before the first bar line or after the last stand in a bar that is not closed.
            let closed = start.is_some() && bar_line < text.len();
            if !closed {
                let last = words.last().map_or(first.end, |(_, at)| at.end);
                return Err((ChartProblem::OpenBar, first.start..last));
            }
            let bar = read_bar(&words, meter, bars.last().or(before))?;
            bars.push(bar);
        }
        start = Some(bar_line);
    }
    if bars.is_empty() {
        return Err((ChartProblem::NoBars, 0..text.len()));
    }
    Ok(bars)
}

/// The words between two places of the text, each with its own place.
pub(super) fn words(text: &str, inside: Range<usize>) -> Vec<(&str, Range<usize>)> {
    text[inside.clone()]
        .split_whitespace()
        .map(|word| {
            let start = word.as_ptr() as usize - text.as_ptr() as usize;
            (word, start..start + word.len())
        })
        .collect()
}

pub(super) fn read_bar(
    words: &[(&str, Range<usize>)],
    meter: &Meter,
    before: Option<&WrittenBar>,
) -> Result<WrittenBar, Placed> {
    let place = words[0].1.start..words[words.len() - 1].1.end;
    let beats = usize::from(meter.beats());
    if let Some((_, at)) = words.iter().find(|(word, _)| *word == "%") {
        let nothing = || (ChartProblem::NothingBefore('%'), at.clone());
        return match words.len() {
            1 => before.cloned().ok_or_else(nothing),
            _ => Err((ChartProblem::RepeatNotAlone, at.clone())),
        };
    }
    let mut bar: WrittenBar = Vec::new();
    for (word, at) in words {
        if *word != "/" {
            bar.push((harmony(word, at)?, 1));
        } else if let Some((_, length)) = bar.last_mut() {
            *length += 1;
        } else {
            let held = before.and_then(|bar| bar.last()).map(|(held, _)| held);
            let held = held.ok_or((ChartProblem::NothingBefore('/'), at.clone()))?;
            bar.push((held.clone(), 1));
        }
    }
    let explicit = words.iter().any(|(word, _)| *word == "/");
    if !explicit {
        if beats % bar.len() != 0 {
            let chords = bar.len();
            return Err((ChartProblem::Uneven { chords, beats }, place));
        }
        let share = beats / bar.len();
        bar.iter_mut().for_each(|(_, length)| *length = share);
    }
    let found = bar.iter().map(|(_, length)| length).sum();
    if found != beats {
        let wanted = beats;
        return Err((ChartProblem::BeatCount { found, wanted }, place));
    }
    Ok(bar)
}

/// A chord, or `N.C.`. Brackets around a whole symbol mark it as optional, and it is played.
fn harmony(word: &str, at: &Range<usize>) -> Result<Harmony, Placed> {
    if matches!(word, "N.C." | "NC" | "N.C" | "n.c.") {
        return Ok(Harmony::Silence);
    }
    let bare = word.strip_prefix('(').unwrap_or(word);
    let offset = word.len() - bare.len();
    let unmatched = bare.matches(')').count() > bare.matches('(').count();
    let bare = match bare.strip_suffix(')') {
        Some(inner) if unmatched => inner,
        _ => bare,
    };
    Symbol::read(bare).map(Harmony::Chord).map_err(|error| {
        let into: usize = bare
            .chars()
            .take(error.column() - 1)
            .map(char::len_utf8)
            .sum();
        let start = at.start + offset + into;
        let end = (at.start + offset + bare.len()).max(start);
        (ChartProblem::Chord(error), start..end)
    })
}
