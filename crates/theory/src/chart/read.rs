//! Reading a chart file: TOML walked by hand, so that every mistake keeps its line and column.

use super::{
    Chart, ChartError, ChartProblem, Feel, Feels, MOST_BARS, Remarks, Section, TEMPO_RANGE,
    WrittenBar,
    bars::{self, Placed},
};
use crate::{Key, Meter, NoteName, nearest};
use std::{ops::Range, str::FromStr};
use toml::{
    Spanned,
    de::{DeString, DeTable, DeValue},
};

type Value<'i> = Spanned<DeValue<'i>>;

const CHART_KEYS: &[&str] = &[
    "title", "key", "meter", "grouping", "tempo", "feel", "palette", "intro", "form", "tag",
    "ending", "section",
];
const SECTION_KEYS: &[&str] = &[
    "bars",
    "endings",
    "meter",
    "grouping",
    "feel",
    "pedal",
    "tempo",
    "palette",
    "stop-time",
];

pub(super) fn chart(text: &str) -> Result<Chart, ChartError> {
    chart_placed(text).map_err(|(problem, at)| ChartError::new(problem, text, at))
}

/// The same, with the place of a mistake in bytes.
pub(super) fn chart_placed(text: &str) -> Result<Chart, Placed> {
    let file = DeTable::parse(text).map_err(|error| {
        let at = error.span().unwrap_or(0..0);
        (ChartProblem::Toml(error.message().replace('\n', ", ")), at)
    })?;
    read_chart(text, file.get_ref())
}

/// Columns and lines of the error count within `text`.
pub(super) fn bars_alone(text: &str, meter: Meter) -> Result<Chart, ChartError> {
    let bounded = format!("|{text}|");
    // A bar line in front moves every place by one.
    let bars = bars::read(&bounded, &meter, None).map_err(|(problem, at)| {
        let at = at.start.saturating_sub(1)..at.end.saturating_sub(1);
        ChartError::new(problem, text, at)
    })?;
    let sections = vec![Section {
        name: "A".to_owned(),
        bars,
        endings: Vec::new(),
        meter: None,
        feel: None,
        pedal: None,
        tempo: None,
        palette: None,
        stop_time: false,
    }];
    let chart = Chart {
        title: "Bars".to_owned(),
        key: Key::major(crate::NoteName::new(crate::Letter::C, 0)),
        meter,
        tempo: DEFAULT_TEMPO,
        feel: Feels::default(),
        palette: None,
        ending: None,
        form: vec!["A".to_owned()],
        intro: None,
        tag: None,
        sections,
        remarks: Remarks::default(),
    };
    check_length(&chart, 0..text.len())
        .map_err(|(problem, at)| ChartError::new(problem, text, at))?;
    Ok(chart)
}

/// Tempo of a chart that names none: a medium swing (our choice).
pub(super) const DEFAULT_TEMPO: f64 = 140.0;

/// A table of the file with what is needed to read and to complain about it.
struct Table<'a, 'i> {
    text: &'a str,
    entries: &'a DeTable<'i>,
}

fn read_chart(text: &str, entries: &DeTable<'_>) -> Result<Chart, Placed> {
    let file = Table { text, entries };
    file.known_keys("chart", CHART_KEYS)?;
    let title = file
        .string("title")?
        .ok_or((ChartProblem::Missing("title"), 0..0))?;
    let meter = file.meter(None)?.unwrap_or_else(|| COMMON_TIME.clone());
    let key = match file.string("key")? {
        Some((text, at)) => Some(Key::read(&text).map_err(|error| (ChartProblem::Key(error), at))?),
        None => None,
    };
    let key = key.ok_or((
        ChartProblem::Missing("key; write key = \"F\" or \"Bb minor\""),
        0..0,
    ))?;
    let sections = file.sections(&meter)?;
    let form_at = file.entries.get("form").map_or(0..0, Spanned::span);
    let intro = file.named_section("intro", &sections)?;
    let tag = file.named_section("tag", &sections)?;
    let form = match file.string("form")? {
        Some((form, at)) => read_form(&form, text, at, &sections)?,
        None => usual_form(&sections, [&intro, &tag]),
    };
    if form.is_empty() {
        let missing = ChartProblem::Missing("section besides its intro and its tag");
        return Err((missing, 0..0));
    }
    let chart = Chart {
        title: title.0,
        key: key.key,
        remarks: Remarks(key.word().into_iter().collect()),
        meter,
        tempo: file.tempo()?.unwrap_or(DEFAULT_TEMPO),
        feel: file.feels()?.unwrap_or_default(),
        palette: file.parsed("palette", ChartProblem::Palette)?,
        ending: file.parsed("ending", ChartProblem::Ending)?,
        form,
        intro,
        tag,
        sections,
    };
    check_length(&chart, form_at)?;
    Ok(chart)
}

#[expect(clippy::expect_used, reason = "4/4 is a meter")]
pub(super) static COMMON_TIME: std::sync::LazyLock<Meter> =
    std::sync::LazyLock::new(|| Meter::new(4, 4).expect("4/4 is a meter"));

/// The sections as written, but for those that are played around the choruses.
pub(super) fn usual_form(sections: &[Section], around: [&Option<String>; 2]) -> Vec<String> {
    let names = sections.iter().map(|section| &section.name);
    let in_form = names.filter(|name| around.iter().all(|other| other.as_ref() != Some(*name)));
    in_form.cloned().collect()
}

pub(super) fn check_length(chart: &Chart, at: Range<usize>) -> Result<(), Placed> {
    let around = [&chart.intro, &chart.tag].into_iter().flatten();
    let around = around.filter_map(|name| chart.section(name));
    let around: usize = around
        .map(|section| section.bars.len() + section.endings.first().map_or(0, Vec::len))
        .sum();
    let bars = super::chorus::bars_in_order(chart).count() + around;
    match bars {
        0..=MOST_BARS => Ok(()),
        _ => Err((ChartProblem::TooLong(bars), at)),
    }
}

fn read_form(
    form: &str,
    text: &str,
    at: Range<usize>,
    sections: &[Section],
) -> Result<Vec<String>, Placed> {
    let names: Vec<&str> = sections
        .iter()
        .map(|section| section.name.as_str())
        .collect();
    let body = string_body(text, &at, form);
    let mut played = Vec::new();
    for name in form.split_whitespace() {
        if !names.contains(&name) {
            let offset = name.as_ptr() as usize - form.as_ptr() as usize;
            let place = body.map_or(at, |start| start + offset..start + offset + name.len());
            return Err((no_section("form", name, sections), place));
        }
        played.push(name.to_owned());
    }
    if played.is_empty() {
        return Err((ChartProblem::Missing("section in its form"), at));
    }
    Ok(played)
}

/// That a form, an intro or a tag names a section that is not there.
pub(super) fn no_section(
    named_by: &'static str,
    found: &str,
    sections: &[Section],
) -> ChartProblem {
    let names: Vec<&str> = sections
        .iter()
        .map(|section| section.name.as_str())
        .collect();
    ChartProblem::NoSection {
        named_by,
        found: found.to_owned(),
        suggestion: nearest(found, names.iter().copied()),
        known: names.join(", "),
    }
}

/// Where the text of a string begins in the file, if it stands there letter by letter: not after escapes.
fn string_body(text: &str, at: &Range<usize>, value: &str) -> Option<usize> {
    let raw = &text[at.clone()];
    let quotes = raw.len() - raw.trim_start_matches(['"', '\'']).len();
    let after = &raw[quotes.min(3)..];
    let body = after
        .strip_prefix("\r\n")
        .or(after.strip_prefix('\n'))
        .unwrap_or(after);
    [body, after]
        .into_iter()
        .find(|candidate| candidate.starts_with(value))
        .map(|candidate| at.start + raw.len() - candidate.len())
}

fn kind(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

fn wrong_kind(key: &str, value: &Value<'_>, wanted: &'static str) -> Placed {
    let problem = ChartProblem::WrongKind {
        key: key.to_owned(),
        found: kind(value.get_ref()),
        wanted,
    };
    (problem, value.span())
}

impl Table<'_, '_> {
    fn known_keys(&self, place: &'static str, known: &[&str]) -> Result<(), Placed> {
        match self
            .entries
            .keys()
            .find(|key| !known.contains(&key.get_ref().as_ref()))
        {
            None => Ok(()),
            Some(key) => Err((
                ChartProblem::UnknownKey {
                    found: key.get_ref().to_string(),
                    suggestion: nearest(key.get_ref(), known.iter().copied()),
                    place,
                    known: known.join(", "),
                },
                key.span(),
            )),
        }
    }

    fn string(&self, key: &str) -> Result<Option<(String, Range<usize>)>, Placed> {
        match self.entries.get(key) {
            None => Ok(None),
            Some(value) => match value.get_ref() {
                DeValue::String(text) => Ok(Some((text.to_string(), value.span()))),
                _ => Err(wrong_kind(key, value, "text in quotes")),
            },
        }
    }

    fn parsed<T: FromStr>(
        &self,
        key: &str,
        problem: fn(T::Err) -> ChartProblem,
    ) -> Result<Option<T>, Placed> {
        let Some((text, at)) = self.string(key)? else {
            return Ok(None);
        };
        text.parse().map(Some).map_err(|error| (problem(error), at))
    }

    /// The section that an entry names.
    fn named_section(
        &self,
        key: &'static str,
        sections: &[Section],
    ) -> Result<Option<String>, Placed> {
        let Some((name, at)) = self.string(key)? else {
            return Ok(None);
        };
        let mut names = sections.iter().map(|section| section.name.as_str());
        match names.any(|other| other == name) {
            true => Ok(Some(name)),
            false => Err((no_section(key, &name, sections), at)),
        }
    }

    /// `true` or `false`; nothing is `false`.
    fn yes(&self, key: &str) -> Result<bool, Placed> {
        match self.entries.get(key).map(|value| (value, value.get_ref())) {
            None => Ok(false),
            Some((_, DeValue::Boolean(yes))) => Ok(*yes),
            Some((value, _)) => Err(wrong_kind(key, value, "true or false")),
        }
    }

    /// A feel, or a list of them, one a chorus.
    fn feels(&self) -> Result<Option<Feels>, Placed> {
        let one = |text: &str, value: &Value<'_>| {
            let feel = text.parse::<Feel>();
            feel.map_err(|error| (ChartProblem::Feel(error), value.span()))
        };
        let Some(value) = self.entries.get("feel") else {
            return Ok(None);
        };
        let wanted = "a feel in quotes, or a list of them such as [\"two\", \"four\"]";
        match value.get_ref() {
            DeValue::String(text) => Ok(Some(one(text, value)?.into())),
            DeValue::Array(texts) => {
                let feels = texts.iter().map(|text| match text.get_ref() {
                    DeValue::String(feel) => one(feel, text),
                    _ => Err(wrong_kind("a feel", text, "text in quotes")),
                });
                let feels = Feels::new(feels.collect::<Result<_, _>>()?);
                feels
                    .map(Some)
                    .ok_or_else(|| wrong_kind("feel", value, wanted))
            }
            _ => Err(wrong_kind("feel", value, wanted)),
        }
    }

    /// The note that a section holds; it asks for the feel `pedal` by itself, and for no other.
    fn pedal(&self, feel: Option<&Feels>) -> Result<Option<NoteName>, Placed> {
        let Some((text, at)) = self.string("pedal")? else {
            return Ok(None);
        };
        let pedal = text
            .parse()
            .map_err(|_| (ChartProblem::Pedal(text), at.clone()))?;
        match feel {
            Some(feel) if feel.all().iter().any(|feel| *feel != Feel::Pedal) => {
                Err((ChartProblem::PedalInFeel(feel.to_string()), at))
            }
            _ => Ok(Some(pedal)),
        }
    }

    /// The meter in this table, grouped as it says; a grouping alone regroups the meter around it.
    fn meter(&self, around: Option<&Meter>) -> Result<Option<Meter>, Placed> {
        let meter: Option<Meter> = self.parsed("meter", ChartProblem::Meter)?;
        let Some((grouping, at)) = self.string("grouping")? else {
            return Ok(meter);
        };
        let meter = meter.as_ref().or(around).unwrap_or(&COMMON_TIME);
        let grouped = meter.grouped(&grouping);
        grouped
            .map(Some)
            .map_err(|error| (ChartProblem::Meter(error), at))
    }

    fn tempo(&self) -> Result<Option<f64>, Placed> {
        let Some(value) = self.entries.get("tempo") else {
            return Ok(None);
        };
        let number = match value.get_ref() {
            DeValue::Integer(number) => number.to_string().parse::<f64>(),
            DeValue::Float(number) => number.to_string().parse::<f64>(),
            _ => {
                return Err(wrong_kind(
                    "tempo",
                    value,
                    "a number of quarter notes a minute",
                ));
            }
        };
        match number {
            Ok(tempo) if TEMPO_RANGE.contains(&tempo) => Ok(Some(tempo)),
            found => Err((ChartProblem::Tempo(found.unwrap_or(f64::NAN)), value.span())),
        }
    }

    fn sections(&self, meter: &Meter) -> Result<Vec<Section>, Placed> {
        let missing = || {
            let what = "section; write one as [section.A] with bars = \"| F7 | Bb7 |\"";
            (ChartProblem::Missing(what), 0..0)
        };
        let value = self.entries.get("section").ok_or_else(missing)?;
        let DeValue::Table(named) = value.get_ref() else {
            return Err(wrong_kind("section", value, "a table, as in [section.A]"));
        };
        if named.is_empty() {
            return Err(missing());
        }
        let read = |(name, value): (&Spanned<DeString<'_>>, &Value<'_>)| match value.get_ref() {
            DeValue::Table(entries) => {
                let table = Table {
                    text: self.text,
                    entries,
                };
                table.section(name.get_ref(), value.span(), meter)
            }
            _ => Err(wrong_kind(
                name.get_ref(),
                value,
                "a table, as in [section.A]",
            )),
        };
        named.iter().map(read).collect()
    }

    fn section(&self, name: &str, at: Range<usize>, around: &Meter) -> Result<Section, Placed> {
        self.known_keys("section", SECTION_KEYS)?;
        let own_meter = self.meter(Some(around))?;
        let meter = own_meter.as_ref().unwrap_or(around);
        let missing = (ChartProblem::Missing("bars in this section"), at);
        let (bars, bars_at) = self.string("bars")?.ok_or(missing)?;
        let bars = self.bars(&bars, bars_at, meter, None)?;
        let mut endings = Vec::new();
        if let Some(value) = self.entries.get("endings") {
            let DeValue::Array(texts) = value.get_ref() else {
                return Err(wrong_kind(
                    "endings",
                    value,
                    "a list of bars, one text an ending",
                ));
            };
            for text in texts {
                let DeValue::String(ending) = text.get_ref() else {
                    return Err(wrong_kind("an ending", text, "text in quotes"));
                };
                endings.push(self.bars(ending, text.span(), meter, bars.last())?);
            }
        }
        let feel = self.feels()?;
        let pedal = self.pedal(feel.as_ref())?;
        Ok(Section {
            name: name.to_owned(),
            bars,
            endings,
            meter: own_meter,
            feel,
            pedal,
            tempo: self.tempo()?,
            palette: self.parsed("palette", ChartProblem::Palette)?,
            stop_time: self.yes("stop-time")?,
        })
    }

    fn bars(
        &self,
        bars: &str,
        at: Range<usize>,
        meter: &Meter,
        before: Option<&WrittenBar>,
    ) -> Result<Vec<WrittenBar>, Placed> {
        bars::read(bars, meter, before).map_err(|(problem, inside)| {
            match string_body(self.text, &at, bars) {
                Some(start) => (problem, start + inside.start..start + inside.end),
                None => (problem, at),
            }
        })
    }
}
