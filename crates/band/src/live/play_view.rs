//! What there is to see of a play at one moment, before it is laid out.

use std::sync::Arc;

use super::passage::Passage;
use super::passage_supply::PassageKind;
use super::play_status::{PlaySettings, PlayStatus, QueuedBeat};
use crate::failure::printable_line;
use crate::performance::score::PartName;

/// One moment of play.
#[derive(Clone, Debug)]
pub struct PlayView {
    /// Title of the chart.
    pub title: String,
    /// The passage that plays.
    pub passage: Arc<Passage>,
    /// Its beat, as an index.
    pub beat: usize,
    /// What kind of passage it is.
    pub kind: PassageKind,
    /// The number of the chorus.
    pub chorus: u32,
    /// How many there will be, if that is settled.
    pub choruses: Option<u32>,
    /// The settings.
    pub settings: PlaySettings,
}

impl PlayView {
    /// The moment at which `reached` beats have begun; `None` before the first.
    pub fn at(
        status: &PlayStatus,
        reached: u64,
        title: &str,
        choruses: Option<u32>,
    ) -> Option<PlayView> {
        let QueuedBeat {
            passage,
            beat,
            request,
            ..
        } = status.beat(reached.checked_sub(1)?)?;
        Some(PlayView {
            title: title.into(),
            passage: passage.clone(),
            beat: *beat,
            kind: request.kind,
            chorus: request.chorus,
            choruses,
            settings: status.settings.clone(),
        })
    }

    fn bar_index(&self) -> usize {
        self.passage.beats[self.beat].bar
    }

    /// The bar's number in its chorus, from 1.
    pub fn bar(&self) -> u32 {
        self.passage.bars[self.bar_index()].number
    }

    /// The beat's number in its bar, from 1, and how many there are.
    pub fn beat_of(&self) -> (usize, usize) {
        let bar = self.bar_index();
        let first = self.passage.bars[bar].first_beat;
        let next = self.passage.bars.get(bar + 1);
        let end = next.map_or(self.passage.beats.len(), |next| next.first_beat);
        (self.beat - first + 1, end - first)
    }

    /// The section that plays.
    pub fn section(&self) -> &str {
        let section = self.passage.bars[self.bar_index()].section;
        &self.passage.sections[section].name
    }

    /// The chord that sounds.
    pub fn now(&self) -> &str {
        &self.passage.beats[self.beat].chord
    }

    /// The next chord that differs; past the end of the passage, how it begins.
    pub fn next(&self) -> Option<&str> {
        let beats = &self.passage.beats;
        let later = beats[self.beat..]
            .iter()
            .find(|beat| beat.chord != self.now());
        let again = match self.kind {
            PassageKind::Ending => None,
            _ => beats.first(),
        };
        later.or(again).map(|beat| beat.chord.as_str())
    }

    /// What the bass plays: note and role.
    pub fn bass(&self) -> Option<(&str, &str)> {
        let (note, role) = self.passage.beats[self.beat].bass.as_ref()?;
        Some((note, role))
    }

    /// The tempo in quarter notes a minute.
    pub fn tempo(&self) -> f64 {
        self.passage.bars[self.bar_index()].tempo * self.settings.pace
    }

    /// The parts that are silent or about to be.
    pub fn muted(&self) -> Vec<PartName> {
        let all = PartName::ALL.into_iter().zip(self.settings.muted);
        all.filter_map(|(part, muted)| muted.then_some(part))
            .collect()
    }

    /// How much of the passage has been played, 0 to 1.
    pub fn progress(&self) -> f64 {
        self.beat as f64 / self.passage.beats.len() as f64
    }

    /// How much of the section has been played, 0 to 1.
    pub fn section_progress(&self) -> f64 {
        let section = self.passage.bars[self.bar_index()].section;
        let first = self.passage.section_start(section);
        let end = match section + 1 {
            next if next < self.passage.sections.len() => self.passage.section_start(next),
            _ => self.passage.beats.len(),
        };
        (self.beat - first) as f64 / (end - first) as f64
    }

    /// Where play is, in words: `chorus 2 of 3`.
    pub fn place(&self) -> String {
        match (self.kind, self.choruses) {
            // Before the bars of an intro stand those that are counted.
            (PassageKind::CountIn, _) if !self.section().is_empty() => "intro".into(),
            (PassageKind::CountIn, _) => "count-in".into(),
            (PassageKind::Ending, _) => self.section().to_lowercase(),
            (PassageKind::Section(_), _) => format!("section {} again", self.section()),
            (PassageKind::Chorus, Some(choruses)) => {
                format!("chorus {} of {choruses}", self.chorus)
            }
            (PassageKind::Chorus, None) => format!("chorus {}", self.chorus),
        }
    }

    /// The moment as one line of text, for where there is no screen.
    pub fn line(&self) -> String {
        let bar = &self.passage.bars[self.bar_index()];
        let where_we_are = match self.kind {
            PassageKind::Chorus | PassageKind::Section(_) => {
                format!("{}, {}", self.place(), self.section())
            }
            PassageKind::CountIn | PassageKind::Ending => self.place(),
        };
        let line = format!("{where_we_are} bar {}: {}", bar.number, bar.chords);
        // What a chart calls its sections may hold anything.
        printable_line(&line)
    }
}
