//! What stands around the choruses of a chart: its intro, its tag and its ending.

use super::{
    Bar, Chart, Chorus, Feel, Harmony, Section, Span, Symbol, WrittenBar, chorus::Unrolling,
};
use crate::{Chord, Interval, Key, Meter, Mode, Ticks, did_you_mean};
use std::{fmt, str::FromStr};

/// What a bar belongs to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// What is played once before the first chorus.
    Intro,
    /// The form, chorus for chorus.
    #[default]
    Form,
    /// The section that is played once after the last chorus.
    Tag,
    /// What an ending adds before the last chord.
    Ending,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Place::Intro => "intro",
            Place::Form => "form",
            Place::Tag => "tag",
            Place::Ending => "ending",
        })
    }
}

/// How the band ends. Common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ending {
    /// The last chord is held for a bar.
    Held,
    /// The last two bars slow down into the held chord.
    Ritard,
    /// The last chord is struck short, by all at once.
    Stop,
    /// The way home is played three times (twice more, by way of the third and the sixth degree), then the
    /// last chord is held.
    Thrice,
}

impl Ending {
    /// All endings, as charts and the command line name them.
    pub const ALL: [Ending; 4] = [Ending::Held, Ending::Ritard, Ending::Stop, Ending::Thrice];
}

impl fmt::Display for Ending {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Ending::Held => "held",
            Ending::Ritard => "ritard",
            Ending::Stop => "stop",
            Ending::Thrice => "thrice",
        })
    }
}

/// A word that names no ending.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not an ending{near}; write held, ritard, stop or thrice", near = did_you_mean(.0, Ending::ALL))]
pub struct EndingError(String);

impl FromStr for Ending {
    type Err = EndingError;

    fn from_str(text: &str) -> Result<Ending, EndingError> {
        Ending::ALL
            .into_iter()
            .find(|ending| ending.to_string() == text)
            .ok_or_else(|| EndingError(text.to_owned()))
    }
}

/// The name under which the bars of [`Ending::Thrice`] stand.
pub const ENDING_SECTION: &str = "ending";

impl Chart {
    /// The intro as a passage of its own, in the feels of the first chorus; none if the chart has none.
    pub fn intro_chorus(&self) -> Option<Chorus> {
        let section = self.section(self.intro.as_deref()?)?;
        let mut unrolling = Unrolling::of(self, 1);
        unrolling.add_section(section, Place::Intro);
        Some(unrolling.chorus())
    }

    /// A chorus as the last one is played: with the tag behind it, and with the bars that its ending adds.
    /// The bars go on counting where those of the form end.
    pub fn last_chorus(&self, number: u32, ending: Option<Ending>) -> Chorus {
        let mut unrolling = Unrolling::of(self, number);
        unrolling.add_form();
        if let Some(tag) = self.tag.as_deref().and_then(|tag| self.section(tag)) {
            unrolling.add_section(tag, Place::Tag);
        }
        if ending == Some(Ending::Thrice)
            && let Some(last) = unrolling.last()
        {
            let feel = match last.feel {
                // What is held through the form is let go here.
                Feel::Pedal => Feel::Four,
                feel => feel,
            };
            let section = Section {
                name: ENDING_SECTION.to_owned(),
                bars: ways_home(self.key, &last.meter),
                endings: Vec::new(),
                meter: Some(last.meter.clone()),
                feel: Some(feel.into()),
                pedal: None,
                tempo: Some(last.tempo),
                palette: None,
                stop_time: false,
            };
            unrolling.add_section(&section, Place::Ending);
        }
        unrolling.chorus()
    }

    /// The first chorus as the last one might be played, with what may come behind it, the longest first.
    pub fn last_choruses(&self) -> Vec<Chorus> {
        let plain = self.tag.as_ref().map(|_| None);
        let endings = [Some(Some(Ending::Thrice)), plain].into_iter().flatten();
        endings.map(|ending| self.last_chorus(1, ending)).collect()
    }

    /// The bar of the home chord into which a last chorus leads: the first chord if its root is the tonic, else
    /// the tonic, in the meter in which the chart ends.
    pub fn home_bar(&self) -> Chorus {
        let chorus = self.chorus();
        let tonic = self.key.tonic;
        let suffix = if self.key.mode == Mode::Minor {
            "m"
        } else {
            ""
        };
        let symbol = match chorus.home_chord() {
            Some(_) => chorus.spans[0].symbol.clone(),
            None => format!("{tonic}{suffix}"),
        };
        let last = &chorus.bars[chorus.bars.len() - 1];
        let beats = usize::from(last.meter.beats());
        let chord: Option<Chord> = symbol.parse().ok();
        let root = chord.as_ref().map_or(tonic, Chord::root);
        Chorus {
            bars: vec![Bar {
                number: 1,
                section: ENDING_SECTION.to_owned(),
                opens_section: true,
                feel: Feel::Pedal,
                pedal: root,
                place: Place::Ending,
                stop_time: false,
                first_beat: 0,
                start: Ticks::ZERO,
                ..last.clone()
            }],
            spans: vec![Span {
                symbol,
                chord,
                start: 0,
                beats,
                bar: 1,
                beat: 1,
            }],
            ..chorus
        }
    }

    /// Whether anything but a held chord comes after the last chorus.
    pub fn has_bars_after(&self, ending: Option<Ending>) -> bool {
        self.tag.is_some() || ending == Some(Ending::Thrice)
    }

    pub(super) fn section(&self, name: &str) -> Option<&Section> {
        self.sections.iter().find(|section| section.name == name)
    }
}

/// The way home twice: from the third degree by fifths to the dominant, two chords a bar where the meter gives
/// each two beats. Common practice, no source.
fn ways_home(key: Key, meter: &Meter) -> Vec<WrittenBar> {
    let suffixes = match key.mode {
        Mode::Major => ["m7", "7", "m7", "7"],
        Mode::Minor => ["m7b5", "7b9", "m7b5", "7b9"],
    };
    // Degrees above the tonic: 3, 6, 2, 5; in minor the sixth of the major scale, as the dominant of 2 wants it.
    let above = [(2, 4), (5, 9), (1, 2), (4, 7)];
    let chords: Vec<Harmony> = above
        .into_iter()
        .zip(suffixes)
        .filter_map(|((steps, semitones), suffix)| {
            let root = key.tonic + Interval::new(steps, semitones);
            let symbol = Symbol::read(&format!("{root}{suffix}")).ok()?;
            Some(Harmony::Chord(symbol.respelled(key)))
        })
        .collect();
    let beats = usize::from(meter.beats());
    let in_a_bar = if beats >= 4 && beats % 2 == 0 { 2 } else { 1 };
    let once = chords.chunks(in_a_bar).map(|chords| -> WrittenBar {
        let share = beats / chords.len();
        chords.iter().map(|chord| (chord.clone(), share)).collect()
    });
    let once: Vec<WrittenBar> = once.collect();
    once.iter().chain(&once).cloned().collect()
}

#[cfg(test)]
mod tests;
