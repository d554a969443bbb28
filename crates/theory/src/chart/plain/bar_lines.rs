//! Bars between bar lines as on paper: repeats and their endings.

use super::{
    super::{
        ChartProblem, WrittenBar,
        bars::{Placed, read_bar, words},
    },
    mend::{self, Mend},
};
use crate::Meter;
use std::ops::Range;

/// A bar line as written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct BarLine {
    at: Range<usize>,
    /// `:|`, the end of what is repeated.
    closes: bool,
    /// `|:`, its beginning.
    opens: bool,
    /// `|1`, the number of an ending.
    ending: Option<u32>,
    /// The end of a line of text where no bar line is written.
    unwritten: bool,
}

/// What stands between two bar lines, and the second of them.
#[derive(Clone, Debug)]
struct RawBar {
    inside: Range<usize>,
    opened_by: BarLine,
    closed_by: BarLine,
}

/// The bars of a section as they stand in the text.
#[derive(Clone, Debug, Default)]
pub(super) struct Sheet {
    bars: Vec<RawBar>,
}

/// Bars that were read.
pub(super) struct Bars {
    /// As they are written, none where one cannot be read.
    pub written: Vec<Option<WrittenBar>>,
    /// As they are played, repeats played out.
    pub played: Vec<WrittenBar>,
}

impl Sheet {
    /// Takes a line of bars that stands at this place of the text.
    pub fn add_line(&mut self, text: &str, at: Range<usize>) {
        let lines = bar_lines(&text[at.clone()], at.start);
        let mut from = BarLine {
            at: at.start..at.start,
            unwritten: true,
            ..BarLine::default()
        };
        let end = BarLine {
            at: at.end..at.end,
            unwritten: true,
            ..BarLine::default()
        };
        for line in lines.into_iter().chain([end]) {
            let inside = from.at.end..line.at.start;
            let is_empty = text[inside.clone()].trim().is_empty();
            // Nothing stands outside the outer bar lines, nor between the two strokes of a double one.
            let stands = !is_empty || !(from.unwritten || line.unwritten || inside.is_empty());
            if stands {
                self.bars.push(RawBar {
                    inside,
                    opened_by: from.clone(),
                    closed_by: line.clone(),
                });
            } else if line.unwritten || from.unwritten {
                // An outer bar line belongs to the bar beside it.
            } else if let Some(last) = self.bars.last_mut() {
                last.closed_by.closes |= line.closes;
            }
            let opens = is_empty && !stands && from.opens;
            from = line;
            from.opens |= opens;
        }
    }

    /// The bars of these lines; `before` is what a leading `%` or `/` repeats.
    pub fn bars(
        &self,
        text: &str,
        meter: &Meter,
        before: Option<&WrittenBar>,
        problems: &mut Vec<(Placed, Vec<Mend>)>,
    ) -> Bars {
        let mut written: Vec<Option<WrittenBar>> = Vec::new();
        let mut last = before.cloned();
        for raw in &self.bars {
            let words = words(text, raw.inside.clone());
            let read = match words.is_empty() {
                true => Err((ChartProblem::EmptyBar, raw.inside.clone())),
                false => read_bar(&words, meter, last.as_ref()),
            };
            match read {
                Ok(bar) => {
                    last = Some(bar.clone());
                    written.push(Some(bar));
                }
                Err(placed) => {
                    let mends = mend::of_bar(&placed, &words);
                    // What repeats a bar that cannot be read is not to blame for it.
                    let follows = matches!(placed.0, ChartProblem::NothingBefore(_));
                    if !(follows && matches!(written.last(), Some(None))) {
                        problems.push((placed, mends));
                    }
                    written.push(None);
                }
            }
        }
        let played = self.play(&written, problems);
        Bars { written, played }
    }

    /// The bars in the order in which they are played.
    fn play(
        &self,
        written: &[Option<WrittenBar>],
        problems: &mut Vec<(Placed, Vec<Mend>)>,
    ) -> Vec<WrittenBar> {
        let mut played: Vec<usize> = Vec::new();
        // Where what is repeated begins, where its first ending does, and where the sign of its opening stands.
        let (mut from, mut ending, mut open) = (0, None, None);
        for (index, raw) in self.bars.iter().enumerate() {
            if raw.opened_by.opens {
                (from, ending) = (index, None);
                open = Some(raw.opened_by.at.clone());
            }
            if raw.opened_by.ending == Some(1) {
                ending = Some(index);
            }
            played.push(index);
            if raw.closed_by.closes {
                let body = from..ending.unwrap_or(index + 1);
                played.extend(body);
                open = None;
                let next = raw.closed_by.ending.or_else(|| {
                    let next = self.bars.get(index + 1)?;
                    next.opened_by.ending
                });
                if next.is_none() {
                    (from, ending) = (index + 1, None);
                }
            }
        }
        if let Some(at) = open {
            problems.push(((ChartProblem::OpenRepeat, at), Vec::new()));
        }
        played
            .into_iter()
            .filter_map(|index| written[index].clone())
            .collect()
    }
}

/// The bar lines of a line of text that begins at `start`.
fn bar_lines(line: &str, start: usize) -> Vec<BarLine> {
    let bytes = line.as_bytes();
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(stroke) = line[at..].find('|').map(|into| at + into) {
        let closes = stroke > at && bytes[stroke - 1] == b':';
        let from = if closes { stroke - 1 } else { stroke };
        let mut end = stroke + 1;
        let mut opens = false;
        while let Some(sign @ (b'|' | b':' | b']')) = bytes.get(end) {
            opens |= *sign == b':';
            end += 1;
        }
        let digits = bytes[end..].iter().take_while(|byte| byte.is_ascii_digit());
        let digits = digits.count();
        let ending = line[end..end + digits].parse().ok();
        end += digits;
        if digits > 0 && bytes.get(end) == Some(&b'.') {
            end += 1;
        }
        found.push(BarLine {
            at: start + from..start + end,
            closes,
            opens,
            ending,
            unwritten: false,
        });
        at = end;
    }
    found
}
