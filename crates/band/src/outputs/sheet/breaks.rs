//! Where lines and pages break: the cheapest way through all of them.
//!
//! Lines hold phrases of four bars, of eight on wide paper, of two where bars are dense; they start anew at
//! each section, and no bar stands alone where it has neighbours. Pages are filled, and turn at the end of a
//! section where that costs little room (E. Gould, *Behind Bars*, 2011, on casting off; from memory).

use super::{
    engrave::{ShownBesides, bar::EngravedBar, signature},
    measure::Music,
    print::engraved,
    system::courtesy,
};
use std::ops::Range;

/// Bars of a line, and of one on wide paper.
const PHRASE: usize = 4;
/// Width from which eight bars of quarter notes stand in a line, in staff spaces.
const WIDE: f64 = 150.0;
/// The most bars of a line: two phrases on wide paper, and the ending.
const MOST: usize = 2 * PHRASE + 1;

/// Bars that a line of that width, in staff spaces, holds where they fit.
pub fn usual(width: f64) -> usize {
    if width < WIDE { PHRASE } else { 2 * PHRASE }
}

/// Whether a section opens with this bar.
pub fn opens_section(music: &Music, index: usize) -> bool {
    music.measures[index].section.is_some()
}

/// The section of a bar: from the bar that opens it to the one before the next.
fn section_of(music: &Music, index: usize) -> Range<usize> {
    let opens = |&at: &usize| opens_section(music, at);
    let start = (0..=index).rev().find(opens).unwrap_or(0);
    let end = (index + 1..music.measures.len()).find(opens);
    start..end.unwrap_or(music.measures.len())
}

/// Whether a line must begin with this bar: a section does, unless it or the one before it is a single bar.
fn begins_line(music: &Music, index: usize) -> bool {
    let Some(before) = index.checked_sub(1) else {
        return true;
    };
    opens_section(music, index)
        && (music.measures[before].key != music.measures[index].key
            || (section_of(music, index).len() > 1 && section_of(music, before).len() > 1))
}

/// Which bars stand on which line, in lines of that width in staff spaces.
pub fn lines(width: f64, music: &Music, show: ShownBesides) -> Vec<Range<usize>> {
    let count = music.measures.len();
    let bars = engraved(music, 0..count, show);
    let naturals: Vec<f64> = bars.iter().map(EngravedBar::natural).collect();
    let usual = usual(width);
    // For the first bars of the music: the least cost of their lines, and where the last line starts.
    let mut best: Vec<(f64, usize)> = vec![(0.0, 0)];
    for end in 1..=count {
        let mut least = (f64::INFINITY, end - 1);
        for start in (end.saturating_sub(MOST)..end).rev() {
            let head = signature::head(music.measures[start].key.signature()).width;
            let taken: f64 = naturals[start..end].iter().sum();
            let room = width - head - courtesy(music, end).map_or(0.0, |picture| picture.width);
            let cost = match taken > room {
                // A bar that is too wide for a line of its own still needs one.
                true if end - start == 1 => 1000.0,
                true => break,
                false => line_cost(music, start..end, usual),
            };
            let total = best[start].0 + cost;
            if total < least.0 {
                least = (total, start);
            }
            if begins_line(music, start) {
                break;
            }
        }
        best.push(least);
    }
    follow_back(count, |end| best[end].1)
}

/// The ranges that end at `count`, each starting where `start_of` its end says.
fn follow_back(count: usize, start_of: impl Fn(usize) -> usize) -> Vec<Range<usize>> {
    let mut ranges = Vec::new();
    let mut end = count;
    while end > 0 {
        let start = start_of(end);
        ranges.push(start..end);
        end = start;
    }
    ranges.reverse();
    ranges
}

/// How far a line is from a phrase; the weights are our own choice.
fn line_cost(music: &Music, line: Range<usize>, usual: usize) -> f64 {
    // The ending and a section of one bar join a line without making it longer than a phrase.
    let joined = line
        .clone()
        .skip(1)
        .filter(|&at| music.measures[at].is_ending || opens_section(music, at))
        .count();
    let bars = (line.len() - joined.min(line.len() - 1)).min(line.len());
    let length = match bars {
        _ if line.len() == 1 && music.measures.len() > 1 => 60.0,
        bars if bars == usual => 0.0,
        bars if bars > usual => 6.0 + (bars - usual) as f64,
        2 => 3.0,
        PHRASE => 1.0,
        _ => 4.0,
    };
    let within = line.start - section_of(music, line.start).start;
    let start = match within {
        _ if within.is_multiple_of(PHRASE) => 0.0,
        _ if within.is_multiple_of(2) => 0.5,
        _ => 6.0,
    };
    length + start
}

/// Which lines stand on which page: `first` is the height left on a page that is begun, which may take none of
/// them, `height` that of each further page; each line takes its height with the space `between` below it,
/// which the last line of a page need not have.
pub fn pages(
    first: Option<f64>,
    height: f64,
    between: f64,
    heights: &[f64],
    opens: &[bool],
) -> Vec<Range<usize>> {
    let count = heights.len();
    // As above; the mark says that the lines stand on the page that is begun.
    let mut best: Vec<(f64, usize, bool)> = vec![(f64::INFINITY, 0, false)];
    let cost = |lines: Range<usize>, room: f64| {
        let taken: f64 = heights[lines.clone()].iter().sum::<f64>() - between;
        if taken > room {
            return None;
        }
        let empty = ((room - taken) / room).max(0.0);
        let is_last = lines.end == count;
        let lone = if is_last && lines.len() == 1 && count > 1 {
            1.5
        } else {
            0.0
        };
        let torn = if is_last || opens[lines.end] {
            0.0
        } else {
            0.5
        };
        Some(if is_last {
            lone
        } else {
            10.0 * empty * empty + torn + 0.01
        })
    };
    // A begun page that takes nothing is only as empty as it is.
    let fresh = first.map_or(0.0, |left| 10.0 * (left / height) * (left / height) + 0.5);
    for end in 1..=count {
        let mut least = (f64::INFINITY, end - 1, false);
        if let Some(cost) = first.and_then(|left| cost(0..end, left)) {
            least = (cost, 0, true);
        }
        for start in (0..end).rev() {
            let before = if start == 0 { fresh } else { best[start].0 };
            // A line that is higher than a page stands on one of its own.
            let alone = (end - start == 1).then_some(1000.0);
            let Some(cost) = cost(start..end, height).or(alone) else {
                break;
            };
            if before + cost < least.0 {
                least = (before + cost, start, false);
            }
        }
        best.push(least);
    }
    let mut ranges = follow_back(count, |end| best[end].1);
    // Nothing on the begun page.
    let is_begun = ranges.first().is_some_and(|range| best[range.end].2);
    if first.is_some() && !is_begun {
        ranges.insert(0, 0..0);
    }
    ranges
}
