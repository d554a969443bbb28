//! A chart as typed, moved into another key where it stands: layout and comments stay.

use super::{super::Symbol, is_toml, lines, looks_like_bars, read, section_name};
use crate::{Interval, Key};

/// The text of a chart in another key of the same mode, nearest in steps; none if the text has a fault.
pub fn in_key(text: &str, key: Key) -> Option<String> {
    let chart = read(text).chart?;
    if is_toml(text) {
        return Some(chart.in_key(key).to_string());
    }
    let interval = Interval::up_between(chart.key.tonic, key.tonic);
    let moved = |word: &str| {
        let bare = word.trim_start_matches('(');
        let symbol = Symbol::read(bare).ok()?;
        let symbol = symbol.transposed(interval).respelled(key);
        Some(format!("{}{symbol}", &word[..word.len() - bare.len()]))
    };
    let mut out = String::with_capacity(text.len());
    let mut copied = 0;
    let (mut begun, mut told) = (false, false);
    for (line, at) in lines(text).filter(|(line, _)| !line.is_empty()) {
        let first = !std::mem::replace(&mut begun, true);
        let entry = super::header::Entry::of(line, &at);
        let (bars, is_ending) = match &entry {
            Some(entry) if entry.key == "key" => {
                out.push_str(&text[copied..entry.value_at.start]);
                out.push_str(&key.to_string());
                copied = entry.value_at.end;
                told = true;
                continue;
            }
            Some(entry) => (entry.value_at.clone(), entry.key == "ending"),
            None => (at, false),
        };
        let is_title = first && !looks_like_bars(line);
        if (entry.is_some() && !is_ending) || is_title || section_name(line).is_some() {
            continue;
        }
        let between = |c: char| c.is_whitespace() || matches!(c, '|' | ':' | ']');
        for word in text[bars.clone()].split(between) {
            let start = word.as_ptr() as usize - text.as_ptr() as usize;
            if let Some(moved) = moved(word) {
                out.push_str(&text[copied..start]);
                out.push_str(&moved);
                copied = start + word.len();
            }
        }
    }
    out.push_str(&text[copied..]);
    // A key that was found has to be said now, since the chords might be heard in another.
    match told {
        true => Some(out),
        false => {
            let line_end = out.find('\n').map_or(out.len(), |end| end + 1);
            let titled = out
                .lines()
                .next()
                .is_some_and(|line| !looks_like_bars(line));
            let at = if titled { line_end } else { 0 };
            let gap = if at > 0 && !out[..at].ends_with('\n') {
                "\n"
            } else {
                ""
            };
            out.insert_str(at, &format!("{gap}key: {key}\n"));
            Some(out)
        }
    }
}
