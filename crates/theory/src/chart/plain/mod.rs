//! Plain charts: a chart as one types it.
//!
//! The first line is the title. Then come lines such as `key: F` or `tempo: 138`, as far as wanted; `[A]` alone
//! on its line begins a section; all else is bars. Outer bar lines may be left out, and the end of a line ends
//! its last bar. Repeats are written as on paper, `|: F7 | Bb7 :|`, with endings `|1 F7 :|2 C7 |`, and are
//! played out as they are read. `#` after a space, or at the beginning of a line, begins a comment.
//!
//! All faults are told at once, each with its place and with what could stand there instead, so that a page can
//! offer it. A TOML chart is taken too, with its first fault only.
//!
//! ```
//! use endpin_theory::chart::plain;
//! let reading = plain::read("Two Bars of Rain\nkey: C\nDm7 G7 | C6\n");
//! assert_eq!(reading.chart.unwrap().chorus().spans.len(), 3);
//!
//! let reading = plain::read("Two Bars of Rain\n| dm7 G7 | C6/H |\n");
//! let mends: Vec<&str> = reading.faults.iter().map(|fault| &*fault.mends[0].text).collect();
//! assert_eq!(mends, ["Dm7", "C6/9"]);
//! ```

mod bar_lines;
mod header;
mod mend;
mod transpose;

pub use mend::Mend;
pub use transpose::in_key;

use super::{
    Chart, ChartError, ChartProblem, Remarks, Section, WrittenBar,
    bars::Placed,
    read::{self, COMMON_TIME, DEFAULT_TEMPO},
};
use crate::{Key, find_keys};
use bar_lines::Sheet;
use header::Header;
use std::ops::Range;

/// What a plain chart without a title is called.
pub const UNTITLED: &str = "Untitled";

/// A fault of a chart, its place, and what could stand there instead.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// What is wrong, with line and column.
    pub error: ChartError,
    /// The bytes of the text at which it stands.
    pub at: Range<usize>,
    /// What could be written instead, the likeliest first; each can be read.
    pub mends: Vec<Mend>,
}

/// A section as far as it could be read.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadSection {
    /// Its name.
    pub name: String,
    /// Its bars as they are written, none where one could not be read.
    pub bars: Vec<Option<WrittenBar>>,
}

/// What was read.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The chart, if nothing is wrong with it.
    pub chart: Option<Chart>,
    /// What is wrong, in the order of the text.
    pub faults: Vec<Fault>,
    /// The sections as written, faults or not; none of a TOML chart that has a fault.
    pub sections: Vec<ReadSection>,
}

/// Whether a text is a TOML chart: it has a table of a section, or a quoted title.
pub fn is_toml(text: &str) -> bool {
    text.lines().map(str::trim_start).any(|line| {
        let value = line.strip_prefix("title").map(str::trim_start);
        let value = value.and_then(|rest| rest.strip_prefix('='));
        let is_title = value.is_some_and(|value| value.trim_start().starts_with(['"', '\'']));
        is_title || line.starts_with("[section.") || line.starts_with("[section]")
    })
}

/// Reads a chart as typed; see the [module](self).
pub fn read(text: &str) -> Reading {
    if is_toml(text) {
        return read_toml(text);
    }
    let mut reader = Reader::default();
    for (line, at) in lines(text) {
        reader.line(text, line, at);
    }
    reader.finish(text)
}

fn read_toml(text: &str) -> Reading {
    match read::chart_placed(text) {
        Ok(chart) => {
            let sections = chart.sections.iter().map(|section| ReadSection {
                name: section.name.clone(),
                bars: section.bars.iter().cloned().map(Some).collect(),
            });
            Reading {
                sections: sections.collect(),
                faults: Vec::new(),
                chart: Some(chart),
            }
        }
        Err(placed) => Reading {
            chart: None,
            faults: vec![Fault::new(text, placed, Vec::new())],
            sections: Vec::new(),
        },
    }
}

impl Fault {
    fn new(text: &str, (problem, at): Placed, mends: Vec<Mend>) -> Fault {
        Fault {
            error: ChartError::new(problem, text, at.clone()),
            at,
            mends,
        }
    }
}

/// The lines of a text without their comments, each with its place.
fn lines(text: &str) -> impl Iterator<Item = (&str, Range<usize>)> {
    let mut start = 0;
    text.split_inclusive('\n').map(move |whole| {
        let from = start;
        start += whole.len();
        let comment = whole
            .match_indices('#')
            .map(|(at, _)| at)
            .find(|&at| at == 0 || whole[..at].ends_with(char::is_whitespace));
        let line = &whole[..comment.unwrap_or(whole.len())];
        let trimmed = line.trim();
        let from = from + (line.len() - line.trim_start().len());
        (trimmed, from..from + trimmed.len())
    })
}

/// A section while it is read.
struct Draft {
    name: String,
    header: Header,
    sheet: Sheet,
    /// Where its bars and the endings of its successive plays stand in the text.
    endings: Vec<Sheet>,
    at: Range<usize>,
}

impl Draft {
    fn new(name: &str, at: Range<usize>) -> Draft {
        Draft {
            name: name.to_owned(),
            header: Header::default(),
            sheet: Sheet::default(),
            endings: Vec::new(),
            at,
        }
    }
}

#[derive(Default)]
struct Reader {
    title: Option<String>,
    header: Header,
    sections: Vec<Draft>,
    /// Problems so far, each with its mends.
    problems: Vec<(Placed, Vec<Mend>)>,
    begun: bool,
}

impl Reader {
    fn line(&mut self, text: &str, line: &str, at: Range<usize>) {
        if line.is_empty() {
            return;
        }
        let first = !std::mem::replace(&mut self.begun, true);
        if let Some(name) = section_name(line) {
            self.open_section(name, at);
            return;
        }
        if let Some(entry) = header::Entry::of(line, &at) {
            if entry.key == "title" && self.sections.is_empty() {
                self.title = Some(entry.value.to_owned());
                return;
            }
            if entry.key == "ending"
                && let Some(section) = self.sections.last_mut()
            {
                let mut sheet = Sheet::default();
                sheet.add_line(text, entry.value_at);
                section.endings.push(sheet);
                return;
            }
            let in_section = self.sections.last_mut();
            let place = if in_section.is_some() {
                "section"
            } else {
                "chart"
            };
            let header = in_section.map_or(&mut self.header, |section| &mut section.header);
            header.take(entry, place, &mut self.problems);
            return;
        }
        if first && !looks_like_bars(line) {
            self.title = Some(line.to_owned());
            return;
        }
        if self.sections.is_empty() {
            self.sections.push(Draft::new("A", at.clone()));
        }
        if let Some(section) = self.sections.last_mut() {
            section.sheet.add_line(text, at);
        }
    }

    fn open_section(&mut self, name: &str, at: Range<usize>) {
        if self.sections.iter().any(|section| section.name == name) {
            let problem = ChartProblem::SectionTwice(name.to_owned());
            let free = ('A'..='Z').map(String::from);
            let free = free
                .filter(|free| self.sections.iter().all(|section| section.name != *free))
                .take(1)
                .map(|free| Mend::new(at.clone(), format!("[{free}]")));
            self.problems.push(((problem, at.clone()), free.collect()));
        }
        self.sections.push(Draft::new(name, at));
    }

    fn finish(mut self, text: &str) -> Reading {
        let meter = self.header.meter(None, &mut self.problems);
        let around = meter.unwrap_or_else(|| COMMON_TIME.clone());
        let mut sections = Vec::new();
        let mut read_sections = Vec::new();
        for draft in std::mem::take(&mut self.sections) {
            let own = draft.header.meter(Some(&around), &mut self.problems);
            let meter = own.as_ref().unwrap_or(&around);
            let bars = draft.sheet.bars(text, meter, None, &mut self.problems);
            if bars.written.is_empty() {
                self.problems
                    .push(((ChartProblem::NoBars, draft.at), Vec::new()));
            }
            let endings = draft.endings.iter().map(|sheet| {
                let before = bars.played.last();
                sheet.bars(text, meter, before, &mut self.problems).played
            });
            sections.push(Section {
                name: draft.name.clone(),
                endings: endings.collect(),
                bars: bars.played,
                meter: own,
                feel: draft.header.feel,
                pedal: draft.header.pedal,
                tempo: draft.header.tempo,
                palette: draft.header.palette,
                stop_time: draft.header.stop_time,
            });
            read_sections.push(ReadSection {
                name: draft.name,
                bars: bars.written,
            });
        }
        if sections.is_empty() {
            let problem = ChartProblem::NoBars;
            self.problems
                .push(((problem, text.len()..text.len()), Vec::new()));
        }
        let [intro, tag] = self.header.around(&sections, &mut self.problems);
        let form = self
            .header
            .form(&sections, [&intro, &tag], &mut self.problems);
        let chart = self.problems.is_empty().then(|| {
            let mut chart = Chart {
                title: self.title.unwrap_or_else(|| UNTITLED.to_owned()),
                key: Key::major(crate::NoteName::new(crate::Letter::C, 0)),
                meter: around,
                tempo: self.header.tempo.unwrap_or(DEFAULT_TEMPO),
                feel: self.header.feel.unwrap_or_default(),
                palette: self.header.palette,
                ending: self.header.ending,
                form,
                intro,
                tag,
                sections,
                remarks: Remarks::default(),
            };
            set_key(&mut chart, self.header.key);
            chart
        });
        let chart = match chart.map(|chart| (read::check_length(&chart, 0..0), chart)) {
            Some((Err(placed), _)) => {
                self.problems.push((placed, Vec::new()));
                None
            }
            Some((Ok(()), chart)) => Some(chart),
            None => None,
        };
        self.problems.sort_by_key(|((_, at), _)| (at.start, at.end));
        let faults = self.problems.into_iter();
        Reading {
            chart,
            faults: faults
                .map(|(placed, mends)| Fault::new(text, placed, mends))
                .collect(),
            sections: read_sections,
        }
    }
}

/// The key as given, else the one that the chords are in, which a remark tells.
fn set_key(chart: &mut Chart, given: Option<crate::ReadKey>) {
    if let Some(read) = given {
        chart.key = read.key;
        chart.remarks.0.extend(read.word());
        return;
    }
    let found = find_keys(&chart.chorus().spans);
    chart.key = found.key;
    let or = found
        .runner_up
        .map_or_else(String::new, |other| format!("; {other} is close"));
    chart.remarks.0.push(format!(
        "no key is given; the chords are in {}{or}",
        found.key
    ));
}

/// `A` of `[A]`.
fn section_name(line: &str) -> Option<&str> {
    let name = line.strip_prefix('[')?.strip_suffix(']')?.trim();
    (!name.is_empty() && !name.contains(['[', ']', '|'])).then_some(name)
}

/// Whether a first line is bars rather than a title: a bar line, or nothing but chords.
fn looks_like_bars(line: &str) -> bool {
    let chord =
        |word: &str| super::Symbol::read(word).is_ok() || matches!(word, "%" | "/" | "N.C.");
    line.contains('|') || line.split_whitespace().all(chord)
}

#[cfg(test)]
mod tests;
