//! Charts printed as chart files.

use super::{Chart, Harmony, Section, WrittenBar};
use crate::Meter;
use std::fmt;

impl fmt::Display for Harmony {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Harmony::Chord(symbol) => symbol.fmt(f),
            Harmony::Silence => f.pad("N.C."),
        }
    }
}

/// Text as a TOML string.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A table key, quoted only where TOML wants it.
fn key(name: &str) -> String {
    let bare = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if !name.is_empty() && name.chars().all(bare) {
        name.to_owned()
    } else {
        quoted(name)
    }
}

fn bar_text(bar: &WrittenBar) -> String {
    let even = bar.iter().all(|(_, beats)| *beats == bar[0].1);
    let chords = bar.iter().map(|(harmony, beats)| {
        let more = if even { 0 } else { beats - 1 };
        format!("{harmony}{}", " /".repeat(more))
    });
    chords.collect::<Vec<_>>().join(" ")
}

/// Bars as a chart file has them: four to a line, each line bounded by bar lines.
pub fn bars_text(bars: &[WrittenBar]) -> String {
    let lines = bars.chunks(4).map(|line| {
        let bars: Vec<String> = line.iter().map(bar_text).collect();
        format!("| {} |\n", bars.join(" | "))
    });
    lines.collect()
}

fn write_meter(f: &mut fmt::Formatter<'_>, meter: &Meter) -> fmt::Result {
    writeln!(f, "meter = \"{meter}\"")?;
    let usual = Meter::new(meter.upper(), meter.unit());
    if usual.as_ref() != Ok(meter) {
        writeln!(f, "grouping = \"{}\"", meter.grouping_text())?;
    }
    Ok(())
}

impl fmt::Display for Chart {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "title = {}", quoted(&self.title))?;
        writeln!(f, "key = \"{}\"", self.key)?;
        write_meter(f, &self.meter)?;
        writeln!(f, "tempo = {}", self.tempo)?;
        writeln!(f, "feel = {}", self.feel)?;
        if let Some(palette) = self.palette {
            writeln!(f, "palette = \"{palette}\"")?;
        }
        if let Some(intro) = &self.intro {
            writeln!(f, "intro = {}", quoted(intro))?;
        }
        writeln!(f, "form = {}", quoted(&self.form.join(" ")))?;
        if let Some(tag) = &self.tag {
            writeln!(f, "tag = {}", quoted(tag))?;
        }
        if let Some(ending) = self.ending {
            writeln!(f, "ending = \"{ending}\"")?;
        }
        self.sections.iter().try_for_each(|section| section.fmt(f))
    }
}

impl fmt::Display for Section {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "\n[section.{}]", key(&self.name))?;
        if let Some(meter) = &self.meter {
            write_meter(f, meter)?;
        }
        if let Some(feel) = &self.feel {
            writeln!(f, "feel = {feel}")?;
        }
        if let Some(pedal) = self.pedal {
            writeln!(f, "pedal = \"{pedal}\"")?;
        }
        if let Some(tempo) = self.tempo {
            writeln!(f, "tempo = {tempo}")?;
        }
        if let Some(palette) = self.palette {
            writeln!(f, "palette = \"{palette}\"")?;
        }
        if self.stop_time {
            writeln!(f, "stop-time = true")?;
        }
        writeln!(f, "bars = \"\"\"\n{}\"\"\"", bars_text(&self.bars))?;
        if !self.endings.is_empty() {
            let endings: Vec<String> = self
                .endings
                .iter()
                .map(|bars| format!("  {},\n", quoted(bars_text(bars).trim_end())))
                .collect();
            writeln!(f, "endings = [\n{}]", endings.concat())?;
        }
        Ok(())
    }
}
