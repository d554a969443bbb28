//! The chart file: a lead sheet as TOML.
//!
//! A [`Chart`] is what a musician writes: a title, a key, a meter, a tempo, sections of bars and the form in
//! which they are played. Unrolled, it is a [`Chorus`]: the bars in playing order and the [`Span`]s of beats
//! that each chord lasts, which is what the walker and the comp work from.
//!
//! ```
//! use endpin_theory::Chart;
//! let chart = Chart::parse(r#"
//! title = "Two Bars of Rain"
//! key = "C"
//! [section.A]
//! bars = "| Dm7 G7 | C6 |"
//! "#).unwrap();
//! let chorus = chart.chorus();
//! assert_eq!(chorus.spans.len(), 3);
//! assert_eq!(chorus.spans[1].beats, 2);
//! assert_eq!(Chart::parse(&chart.to_string()).unwrap(), chart);
//! ```

mod bars;
mod chorus;
mod error;
mod feel;
mod frame;
pub mod plain;
mod print;
mod read;
mod symbol;

pub(crate) use chorus::WrittenAt;
pub use chorus::{Bar, Chorus, Span};
pub use error::{ChartError, ChartProblem};
pub use feel::{Feel, FeelError, Feels};
pub use frame::{ENDING_SECTION, Ending, EndingError, Place};
pub use print::bars_text;
pub use symbol::Symbol;

use crate::{Interval, Key, Meter, NoteName, did_you_mean};
use std::{fmt, str::FromStr};

/// The most bars that a chart may have once unrolled.
pub const MOST_BARS: usize = 20_000;

/// Slowest and fastest tempo, in quarter notes a minute.
pub const TEMPO_RANGE: std::ops::RangeInclusive<f64> = 20.0..=400.0;

/// Colours that the comp may put on dominants, as a section of a chart can ask for them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Palette {
    /// Natural ninths and thirteenths.
    Plain,
    /// Flat and sharp ninths, flat thirteenths.
    Altered,
    /// Half-whole diminished: flat and sharp ninths with the natural thirteenth.
    Diminished,
    /// Voicings in fourths.
    Quartal,
    /// By what the chord does: VI7 to ii half-whole diminished, V mixolydian and so on.
    Function,
}

impl Palette {
    /// All palettes, as charts and the command line name them.
    pub const ALL: [Palette; 5] = [
        Palette::Plain,
        Palette::Altered,
        Palette::Diminished,
        Palette::Quartal,
        Palette::Function,
    ];
}

impl fmt::Display for Palette {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Palette::Plain => "plain",
            Palette::Altered => "altered",
            Palette::Diminished => "diminished",
            Palette::Quartal => "quartal",
            Palette::Function => "function",
        })
    }
}

/// A word that names no palette.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a palette{near}; write plain, altered, diminished, quartal or function", near = did_you_mean(.0, Palette::ALL))]
pub struct PaletteError(String);

impl FromStr for Palette {
    type Err = PaletteError;

    fn from_str(text: &str) -> Result<Palette, PaletteError> {
        Palette::ALL
            .into_iter()
            .find(|palette| palette.to_string() == text)
            .ok_or_else(|| PaletteError(text.to_owned()))
    }
}

/// A chart as written: sections and the form in which they are played.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// What the tune is called.
    pub title: String,
    /// The home key.
    pub key: Key,
    /// Time signature and grouping, where no section says otherwise.
    pub meter: Meter,
    /// Quarter notes a minute, within [`TEMPO_RANGE`].
    pub tempo: f64,
    /// Feels of its choruses, where no section says otherwise.
    pub feel: Feels,
    /// Colours of the comp's dominants, if the chart asks for some.
    pub palette: Option<Palette>,
    /// How it ends, if it says so; else the seed chooses.
    pub ending: Option<Ending>,
    /// Names of sections in playing order.
    form: Vec<String>,
    /// Name of the section that is played once before the first chorus.
    intro: Option<String>,
    /// Name of the section that is played once after the last chorus.
    tag: Option<String>,
    /// Sections in the order of the file; every name of form, intro and tag is among them.
    sections: Vec<Section>,
    /// What there was to say about the text.
    remarks: Remarks,
}

/// Words about the text from which a chart was read. They are no part of the chart: charts that were read
/// from different texts may be equal.
#[derive(Clone, Debug, Default)]
struct Remarks(Vec<String>);

impl PartialEq for Remarks {
    fn eq(&self, _: &Remarks) -> bool {
        true
    }
}

/// A section of a chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Its name, such as A.
    pub name: String,
    /// Its bars; `%` is written out.
    pub bars: Vec<WrittenBar>,
    /// Bars added at its successive plays in turn; empty if it always ends alike.
    pub endings: Vec<Vec<WrittenBar>>,
    /// A meter of its own.
    pub meter: Option<Meter>,
    /// Feels of its own.
    pub feel: Option<Feels>,
    /// The note that the bass holds all through it, in the feel `pedal`.
    pub pedal: Option<NoteName>,
    /// A tempo of its own, in quarter notes a minute.
    pub tempo: Option<f64>,
    /// A palette of its own.
    pub palette: Option<Palette>,
    /// Whether the band plays on the first beat of its bars alone.
    pub stop_time: bool,
}

/// A bar as written: what sounds in it and for how many beats, adding up to the meter.
pub type WrittenBar = Vec<(Harmony, usize)>;

/// What a stretch of beats stands on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Harmony {
    /// A chord.
    Chord(Symbol),
    /// `N.C.`: no chord, and the bass rests.
    Silence,
}

impl Chart {
    /// Reads a chart file.
    ///
    /// # Errors
    /// The first mistake, with its line and column (see [`ChartError`]).
    pub fn parse(text: &str) -> Result<Chart, ChartError> {
        read::chart(text)
    }

    /// A chart of one section out of bars alone, such as `F7 | Bb7 | F7`; bounding bar lines may be left
    /// out. The key is C until it is set.
    ///
    /// # Errors
    /// The first mistake; its line and column count within `bars`.
    pub fn from_bars(bars: &str, meter: Meter) -> Result<Chart, ChartError> {
        read::bars_alone(bars, meter)
    }

    /// What a reader of the file should be told, such as that its key was read as its twin; mostly nothing.
    pub fn remarks(&self) -> &[String] {
        &self.remarks.0
    }

    /// Names of sections in playing order.
    pub fn form(&self) -> &[String] {
        &self.form
    }

    /// Name of the section that is played once before the first chorus, if there is one.
    pub fn intro(&self) -> Option<&str> {
        self.intro.as_deref()
    }

    /// Name of the section that is played once after the last chorus, if there is one.
    pub fn tag(&self) -> Option<&str> {
        self.tag.as_deref()
    }

    /// Sections in the order of the file.
    pub fn sections(&self) -> &[Section] {
        &self.sections
    }

    /// Once through the form, as the first chorus plays it.
    pub fn chorus(&self) -> Chorus {
        self.numbered_chorus(1)
    }

    /// Once through the form, in the feels of a chorus counted from 1.
    pub fn numbered_chorus(&self, number: u32) -> Chorus {
        chorus::unroll(self, number)
    }

    /// The first chorus, counted from 1, from which on all are in the same feels.
    pub fn settles_in(&self) -> u32 {
        let own = self
            .sections
            .iter()
            .filter_map(|section| section.feel.as_ref());
        let lists = own.chain([&self.feel]);
        lists.map(Feels::settles_in).max().unwrap_or(1)
    }

    /// Every chord and the key moved by `interval`, spelling kept: moving back gives the same chart.
    pub fn transposed(&self, interval: Interval) -> Chart {
        self.moved(
            Key {
                tonic: self.key.tonic + interval,
                ..self.key
            },
            |note| note + interval,
            |symbol| symbol.transposed(interval),
        )
    }

    /// The chart in another key of the same mode, nearest in steps, each chord spelled as a reader expects
    /// (see [`Symbol::respelled`]); in its own key it stays as written.
    pub fn in_key(&self, key: Key) -> Chart {
        if key == self.key {
            return self.clone();
        }
        let interval = Interval::up_between(self.key.tonic, key.tonic);
        self.moved(
            key,
            |note| symbol::plain_name(note + interval, key),
            |symbol| symbol.transposed(interval).respelled(key),
        )
    }

    /// Plays the chart at another tempo; sections with a tempo of their own keep their ratio to it.
    pub fn set_tempo(&mut self, tempo: f64) {
        let (slowest, fastest) = (*TEMPO_RANGE.start(), *TEMPO_RANGE.end());
        for own in self
            .sections
            .iter_mut()
            .filter_map(|section| section.tempo.as_mut())
        {
            *own = (*own * tempo / self.tempo).clamp(slowest, fastest);
        }
        self.tempo = tempo;
    }

    /// Plays the whole chart in one feel. Pedals that sections write are held only where it is `pedal`.
    pub fn set_feel(&mut self, feel: Feel) {
        self.feel = feel.into();
        for section in &mut self.sections {
            section.feel = None;
            section.pedal = section.pedal.filter(|_| feel == Feel::Pedal);
        }
    }

    /// Plays the chart in one feel, save where it holds a pedal.
    pub fn set_feel_around_pedals(&mut self, feel: Feel) {
        self.feel = self.feel.around_pedals(feel);
        for own in self
            .sections
            .iter_mut()
            .filter_map(|section| section.feel.as_mut())
        {
            *own = own.around_pedals(feel);
        }
    }

    fn moved(
        &self,
        key: Key,
        note: impl Fn(NoteName) -> NoteName,
        chord: impl Fn(&Symbol) -> Symbol,
    ) -> Chart {
        let mut moved = self.clone();
        moved.key = key;
        for pedal in moved
            .sections
            .iter_mut()
            .filter_map(|section| section.pedal.as_mut())
        {
            *pedal = note(*pedal);
        }
        let written = moved.sections.iter_mut().flat_map(|section| {
            section
                .bars
                .iter_mut()
                .chain(section.endings.iter_mut().flatten())
        });
        for (harmony, _) in written.flatten() {
            if let Harmony::Chord(symbol) = harmony {
                *symbol = chord(symbol);
            }
        }
        moved
    }
}

#[cfg(test)]
mod tests;
