//! Options that most commands share, and the chart they speak of.

use crate::{failure::Failure, input, score::PartName};
use clap::Args;
use endpin_theory::{Chart, Feel, Key, Meter, Pitch, chart::TEMPO_RANGE, nearest};
use std::path::{Path, PathBuf};

/// Which chart, and how it is played.
#[derive(Args, Clone, Debug)]
pub struct ChartOptions {
    /// Bars in place of a chart file, such as "F7 | Bb7 | F7 | C7"
    #[arg(long, value_name = "BARS")]
    pub bars: Option<String>,
    /// Meter of --bars [default: 4/4]
    #[arg(long, requires = "bars")]
    pub meter: Option<Meter>,
    /// Key to play in; with --bars, the key the bars are in (found if not given)
    #[arg(long)]
    pub key: Option<Key>,
    /// Quarter notes a minute, 20 to 400
    #[arg(long, value_name = "BPM", value_parser = tempo)]
    pub tempo: Option<f64>,
    /// How the line moves: four, two, broken or pedal
    #[arg(long)]
    pub feel: Option<Feel>,
}

fn tempo(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(tempo) if TEMPO_RANGE.contains(&tempo) => Ok(tempo),
        _ => {
            let (slowest, fastest) = (TEMPO_RANGE.start(), TEMPO_RANGE.end());
            Err(format!(
                "write quarter notes a minute, {slowest} to {fastest}"
            ))
        }
    }
}

/// Which choruses of which line.
#[derive(Args, Clone, Debug)]
pub struct LineOptions {
    /// Any number; the same seed gives the same notes
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// How many choruses
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub choruses: u32,
    /// The first chorus to make
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..))]
    pub from: u32,
    /// The ladder from 1 (two-feel, roots) to 6 (skips, drops and ghost notes)
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u8).range(1..=6))]
    pub level: u8,
    /// Lowest note of the instrument [default: E1]
    #[arg(long, value_name = "NOTE")]
    pub lowest: Option<Pitch>,
    /// Highest note of the line [default: G3]
    #[arg(long, value_name = "NOTE")]
    pub highest: Option<Pitch>,
    /// Hold a note fixed, as in "3.1=Ab2" (bar.beat=note); may be given several times
    #[arg(long, value_name = "BAR.BEAT=NOTE")]
    pub pin: Vec<String>,
    /// No ending bar, so that the choruses loop
    #[arg(long)]
    pub loop_ready: bool,
}

/// How the parts sound.
#[derive(Args, Clone, Debug)]
pub struct BandOptions {
    /// Leave a part out; may be given several times
    #[arg(long, value_name = "PART", value_parser = part)]
    pub mute: Vec<PartName>,
    /// Notated positions, without swing
    #[arg(long)]
    pub straight: bool,
}

fn part(text: &str) -> Result<PartName, String> {
    let named = |part: &PartName| part.to_string().eq_ignore_ascii_case(text);
    let found = PartName::ALL.into_iter().find(named);
    found.ok_or_else(|| "write bass, comp or time".to_owned())
}

impl ChartOptions {
    /// The chart in the key, tempo and feel asked for.
    ///
    /// # Errors
    /// A chart that cannot be read, or none at all.
    pub fn chart(&self, file: Option<&Path>) -> Result<Chart, Failure> {
        let mut chart = match (file, &self.bars) {
            (Some(file), None) => read_chart(file)?,
            (None, Some(bars)) => self.chart_of_bars(bars)?,
            (Some(_), Some(_)) => {
                return Err(Failure::input("give a chart file or --bars, not both"));
            }
            (None, None) => {
                return Err(Failure::input(
                    "which chart? Name a chart file, or write --bars \"F7 | Bb7 | F7 | C7\"",
                ));
            }
        };
        if let (Some(key), None) = (self.key, &self.bars) {
            chart = chart.in_key(same_mode(key, chart.key)?);
        }
        if let Some(tempo) = self.tempo {
            chart.set_tempo(tempo);
        }
        if let Some(feel) = self.feel {
            chart.set_feel(feel);
        }
        Ok(chart)
    }

    fn chart_of_bars(&self, bars: &str) -> Result<Chart, Failure> {
        let common_time = || Meter::new(4, 4).map_err(Failure::input);
        let meter = self.meter.clone().map_or_else(common_time, Ok)?;
        let mut chart = Chart::from_bars(bars, meter)
            .map_err(|error| Failure::input(format!("--bars:{error}")))?;
        chart.key = self.key.unwrap_or_else(|| first_key(&chart));
        Ok(chart)
    }
}

/// The key asked for, in the chart's mode: `--key C` for a chart in G minor is C minor.
fn same_mode(asked: Key, chart: Key) -> Result<Key, Failure> {
    if asked.mode != chart.mode && asked.mode != endpin_theory::Mode::Major {
        let message =
            format!("this chart is in {chart}; --key takes a major key for it, such as \"F\"");
        return Err(Failure::input(message));
    }
    Ok(Key {
        mode: chart.mode,
        ..asked
    })
}

/// Reads a chart file, with its name in front of what is wrong with it.
///
/// # Errors
/// A file that cannot be read or is no chart. For a file that is missing, the nearest name beside it is
/// suggested.
pub fn read_chart(file: &Path) -> Result<Chart, Failure> {
    let text = input::text(file).map_err(|failure| match near_file(file) {
        Some(near) if !file.exists() => Failure::input(format!("{failure} (did you mean {near}?)")),
        _ => failure,
    })?;
    Chart::parse(&text)
        .map_err(|error| Failure::input(format!("{}:{error}", crate::failure::shown(file))))
}

/// A file beside a missing one whose name is close.
fn near_file(missing: &Path) -> Option<String> {
    let folder = missing.parent().filter(|parent| parent.as_os_str() != "");
    let beside = std::fs::read_dir(folder.unwrap_or(Path::new("."))).ok()?;
    let mut names: Vec<String> = beside
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .collect();
    names.sort();
    let wanted = missing.file_name()?.to_str()?;
    let near = nearest(wanted, names.iter().map(String::as_str))?;
    let path: PathBuf = folder.map_or_else(|| PathBuf::from(&near), |folder| folder.join(&near));
    Some(crate::failure::shown(&path))
}

/// The key of the first chord.
fn first_key(chart: &Chart) -> Key {
    let spans = chart.chorus().spans;
    let chord = spans.iter().find_map(|span| span.chord.as_ref());
    chord.map_or(chart.key, |chord| Key::major(chord.root()))
}
