//! The lines of a plain chart that say something about it: `key: F`, `tempo: 138`.

use super::{
    super::{ChartProblem, Ending, Feels, Palette, Section, TEMPO_RANGE, bars::Placed, read},
    mend::{self, Mend},
};
use crate::{Key, Meter, NoteName, ReadKey, nearest};
use std::ops::Range;

/// What a chart has, and what a section of it has.
const CHART_KEYS: &[&str] = &[
    "title", "key", "meter", "grouping", "tempo", "feel", "palette", "intro", "form", "tag",
    "ending",
];
const SECTION_KEYS: &[&str] = &[
    "meter",
    "grouping",
    "feel",
    "pedal",
    "tempo",
    "palette",
    "stop-time",
    "ending",
];

/// A line `key: value`.
pub(super) struct Entry<'a> {
    /// The key in small letters.
    pub key: String,
    key_at: Range<usize>,
    pub value: &'a str,
    pub value_at: Range<usize>,
}

impl<'a> Entry<'a> {
    /// The entry that a line is, if it is one; `at` is the place of the line.
    pub fn of(line: &'a str, at: &Range<usize>) -> Option<Entry<'a>> {
        let colon = line.find([':', '='])?;
        let key = line[..colon].trim_end();
        let after = &line[colon + 1..];
        let letters = |c: char| c.is_ascii_alphabetic() || c == '-';
        let is_word =
            key.starts_with(|c: char| c.is_ascii_alphabetic()) && key.chars().all(letters);
        if !is_word || after.starts_with('|') {
            return None;
        }
        let value = after.trim();
        let start = at.start + colon + 1 + (after.len() - after.trim_start().len());
        Some(Entry {
            key: key.to_lowercase(),
            key_at: at.start..at.start + key.len(),
            value,
            value_at: start..start + value.len(),
        })
    }
}

/// Problems so far, each with its mends.
type Problems = Vec<(Placed, Vec<Mend>)>;

/// What the lines said.
#[derive(Default)]
pub(super) struct Header {
    pub key: Option<ReadKey>,
    pub tempo: Option<f64>,
    pub feel: Option<Feels>,
    pub pedal: Option<NoteName>,
    pub palette: Option<Palette>,
    pub stop_time: bool,
    /// How the chart ends.
    pub ending: Option<Ending>,
    intro: Option<(String, Range<usize>)>,
    tag: Option<(String, Range<usize>)>,
    meter: Option<(String, Range<usize>)>,
    grouping: Option<(String, Range<usize>)>,
    form: Option<(String, Range<usize>)>,
}

impl Header {
    /// Takes an entry, or tells what is wrong with it.
    pub fn take(&mut self, entry: Entry<'_>, place: &'static str, problems: &mut Problems) {
        let known = match place {
            "section" => SECTION_KEYS,
            _ => CHART_KEYS,
        };
        let Entry {
            key,
            key_at,
            value,
            value_at,
        } = entry;
        if !known.contains(&&*key) {
            let near = nearest(&key, known.iter().copied());
            let mends = near.iter().map(|near| Mend::new(key_at.clone(), near));
            let mends = mends.collect();
            let problem = ChartProblem::UnknownKey {
                found: key,
                suggestion: near,
                place,
                known: known.join(", "),
            };
            problems.push(((problem, key_at), mends));
            return;
        }
        let text = (value.to_owned(), value_at.clone());
        let problem = match &*key {
            "key" => Key::read(value)
                .map(|key| self.key = Some(key))
                .map_err(ChartProblem::Key),
            // One, or one a chorus: `two, four`.
            "feel" => value
                .split(',')
                .map(|feel| feel.trim().parse())
                .collect::<Result<_, _>>()
                .map(|feels| self.feel = Feels::new(feels))
                .map_err(ChartProblem::Feel),
            "pedal" => value
                .parse()
                .map(|pedal| self.pedal = Some(pedal))
                .map_err(|_| ChartProblem::Pedal(value.to_owned())),
            "palette" => value
                .parse()
                .map(|palette| self.palette = Some(palette))
                .map_err(ChartProblem::Palette),
            "ending" => value
                .parse()
                .map(|ending| self.ending = Some(ending))
                .map_err(ChartProblem::Ending),
            "stop-time" => match &*value.to_lowercase() {
                "yes" | "true" => {
                    self.stop_time = true;
                    Ok(())
                }
                "no" | "false" => Ok(()),
                _ => Err(ChartProblem::YesOrNo(value.to_owned())),
            },
            "intro" => {
                self.intro = Some(text);
                Ok(())
            }
            "tag" => {
                self.tag = Some(text);
                Ok(())
            }
            "tempo" => match value.parse() {
                Ok(tempo) if TEMPO_RANGE.contains(&tempo) => {
                    self.tempo = Some(tempo);
                    Ok(())
                }
                found => Err(ChartProblem::Tempo(found.unwrap_or(f64::NAN))),
            },
            "meter" => {
                self.meter = Some(text);
                Ok(())
            }
            "grouping" => {
                self.grouping = Some(text);
                Ok(())
            }
            "form" => {
                self.form = Some(text);
                Ok(())
            }
            _ => Ok(()),
        };
        if let Err(problem) = problem {
            problems.push(((problem, value_at.clone()), mends(&key, value, &value_at)));
        }
    }

    /// The meter, grouped as it says; a grouping alone regroups the meter around it.
    pub fn meter(&self, around: Option<&Meter>, problems: &mut Problems) -> Option<Meter> {
        let mut told = |problem, at: &Range<usize>, value: &str| {
            let placed = (ChartProblem::Meter(problem), at.clone());
            problems.push((placed, mends("meter", value, at)));
        };
        let mut meter: Option<Meter> = None;
        if let Some((value, at)) = &self.meter {
            match value.parse() {
                Ok(read) => meter = Some(read),
                Err(problem) => told(problem, at, value),
            }
        }
        let Some((value, at)) = &self.grouping else {
            return meter;
        };
        let whole = meter.as_ref().or(around).unwrap_or(&read::COMMON_TIME);
        match whole.grouped(value) {
            Ok(grouped) => Some(grouped),
            Err(problem) => {
                let placed = (ChartProblem::Meter(problem), at.clone());
                problems.push((placed, Vec::new()));
                meter
            }
        }
    }

    /// The section that is played before the first chorus, and the one after the last.
    pub fn around(&self, sections: &[Section], problems: &mut Problems) -> [Option<String>; 2] {
        let names: Vec<&str> = sections.iter().map(|section| &*section.name).collect();
        [("intro", &self.intro), ("tag", &self.tag)].map(|(key, written)| {
            let (name, at) = written.as_ref()?;
            if names.contains(&&**name) {
                return Some(name.clone());
            }
            let problem = read::no_section(key, name, sections);
            let mends = sections_instead(name, at, &names);
            problems.push(((problem, at.clone()), mends));
            None
        })
    }

    /// The names of the sections in playing order; `AABA` is `A A B A`.
    pub fn form(
        &self,
        sections: &[Section],
        around: [&Option<String>; 2],
        problems: &mut Problems,
    ) -> Vec<String> {
        let names: Vec<&str> = sections.iter().map(|section| &*section.name).collect();
        let Some((form, at)) = &self.form else {
            let form = read::usual_form(sections, around);
            if form.is_empty() && !sections.is_empty() {
                let problem = ChartProblem::Missing("section besides its intro and its tag");
                problems.push(((problem, 0..0), Vec::new()));
            }
            return form;
        };
        let mut played = Vec::new();
        for word in form
            .split([' ', '\t', ',', '-'])
            .filter(|word| !word.is_empty())
        {
            if names.contains(&word) {
                played.push(word.to_owned());
                continue;
            }
            let letters: Vec<String> = word.chars().map(String::from).collect();
            if letters.iter().all(|letter| names.contains(&&**letter)) {
                played.extend(letters);
                continue;
            }
            let start = at.start + (word.as_ptr() as usize - form.as_ptr() as usize);
            let place = start..start + word.len();
            let mends = sections_instead(word, &place, &names);
            let problem = read::no_section("form", word, sections);
            problems.push(((problem, place), mends));
        }
        if played.is_empty() && problems.is_empty() {
            let problem = ChartProblem::Missing("section in its form");
            problems.push(((problem, at.clone()), Vec::new()));
        }
        played
    }
}

/// The nearest section, or the first few.
fn sections_instead(word: &str, at: &Range<usize>, names: &[&str]) -> Vec<Mend> {
    let options = match nearest(word, names.iter().copied()) {
        Some(near) => vec![near],
        None => names.iter().take(3).map(|&name| name.to_owned()).collect(),
    };
    let options = options.into_iter();
    options.map(|name| Mend::new(at.clone(), name)).collect()
}

fn mends(key: &str, value: &str, at: &Range<usize>) -> Vec<Mend> {
    let texts = mend::of_value(key, value).into_iter();
    texts.map(|text| Mend::new(at.clone(), text)).collect()
}
