//! What the lines of a set are drawn from: charts and phrases in every key and register, each with its walker.

use super::{
    excerpt::Excerpt,
    kind::QuestionKind,
    phrase::{Phrase, phrases},
    set::Ask,
};
use endpin_theory::{Chart, Chorus, Feel, Key, Meter, Mode, Scale, analyse};
use endpin_walker::{Arc as Development, Level, LineNote, Options, Plan, WalkError, Walker};
use rayon::prelude::*;

/// Where on the instrument a line lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LineRegister {
    /// Without the highest fourth of the range: harder to hear.
    Low,
    /// Without the lowest fourth.
    High,
}

impl LineRegister {
    /// Both.
    pub const ALL: [LineRegister; 2] = [LineRegister::Low, LineRegister::High];
    /// Semitones that each leaves out.
    const LEFT_OUT: u8 = 5;
    /// The smallest range in semitones that is divided: two octaves and a little.
    const DIVISIBLE: u8 = 26;

    /// The part of a range that it keeps; a small range is not divided.
    pub fn of(self, (lowest, highest): (u8, u8)) -> (u8, u8) {
        if highest.saturating_sub(lowest) < Self::DIVISIBLE {
            return (lowest, highest);
        }
        match self {
            LineRegister::Low => (lowest, highest - Self::LEFT_OUT),
            LineRegister::High => (lowest + Self::LEFT_OUT, highest),
        }
    }
}

/// A chart or phrase in one key and register.
#[derive(Debug)]
pub struct Tune {
    /// Its title; none for a phrase of our own.
    pub title: Option<String>,
    /// Its home key.
    pub key: Key,
    /// Quarter notes a minute.
    pub tempo: f64,
    /// Where the line lies.
    pub register: LineRegister,
    /// Lowest and highest MIDI key.
    pub range: (u8, u8),
    /// Once through the form.
    pub chorus: Chorus,
    scales: Vec<Scale>,
    walker: Walker,
}

impl Tune {
    fn new(
        chart: &Chart,
        title: Option<String>,
        register: LineRegister,
        level: Level,
        ask: &Ask,
    ) -> Result<Tune, WalkError> {
        let range = register.of(ask.range);
        let options = Options {
            level,
            feel: Some(Feel::Four),
            range,
            arc: Some(Development::Flat),
            ..Options::default()
        };
        let chorus = chart.chorus();
        let understood = analyse(&chorus.spans, chart.key);
        Ok(Tune {
            title,
            key: chart.key,
            tempo: chart.tempo,
            register,
            range,
            scales: understood.into_iter().map(|span| span.scale).collect(),
            walker: Walker::new(Plan::of(chorus.clone(), &options), options)?,
            chorus,
        })
    }

    /// The first chorus of the line with this seed.
    pub fn line(&self, seed: u64) -> Vec<LineNote> {
        self.walker.line(seed, 1).notes
    }

    /// Some bars of a line, if they are fit to be asked about.
    pub fn cut(&self, line: &[LineNote], first: usize, bars: usize) -> Option<Excerpt> {
        Excerpt::cut(&self.chorus, &self.scales, line, first, bars)
    }
}

/// The tunes among which a question's answer chooses: one for all answers, or one for each.
pub type Family = Vec<Tune>;

/// Every family that questions of some kinds are drawn from.
#[derive(Debug)]
pub struct Families {
    charts: Vec<Family>,
    /// The same charts for the question of levels, which starts from a line by steps.
    stepwise: Vec<Family>,
    phrases: Vec<(QuestionKind, Vec<Family>)>,
}

impl Families {
    /// Builds the walkers of all tunes.
    ///
    /// # Errors
    /// A range that leaves a chart no line.
    pub fn new(ask: &Ask) -> Result<Families, WalkError> {
        let charts = |level: Level| {
            let settings: Vec<(Chart, LineRegister)> = transposed(ask)
                .into_iter()
                .flat_map(|chart| LineRegister::ALL.map(|register| (chart.clone(), register)))
                .collect();
            let build = |(chart, register): &(Chart, LineRegister)| {
                Ok(vec![Tune::new(
                    chart,
                    Some(chart.title.clone()),
                    *register,
                    level,
                    ask,
                )?])
            };
            settings
                .par_iter()
                .map(build)
                .collect::<Result<Vec<Family>, WalkError>>()
        };
        let asks_charts =
            |kind: &QuestionKind| phrases(*kind).is_empty() && *kind != QuestionKind::Level;
        let some = |wanted: bool, level: Level| {
            if wanted {
                charts(level)
            } else {
                Ok(Vec::new())
            }
        };
        let of_kind = |&kind: &QuestionKind| Ok((kind, families_of(kind, ask)?));
        Ok(Families {
            charts: some(ask.kinds.iter().any(asks_charts), ask.level)?,
            stepwise: some(ask.kinds.contains(&QuestionKind::Level), Level::CHORD_TONES)?,
            phrases: ask
                .kinds
                .par_iter()
                .map(of_kind)
                .collect::<Result<_, WalkError>>()?,
        })
    }

    /// Those for a kind of question.
    pub fn of(&self, kind: QuestionKind) -> &[Family] {
        match kind {
            QuestionKind::Level => &self.stepwise,
            _ if phrases(kind).is_empty() => &self.charts,
            _ => self
                .phrases
                .iter()
                .find(|(found, _)| *found == kind)
                .map_or(&[], |(_, families)| families),
        }
    }
}

/// Every chart in every key asked for.
fn transposed(ask: &Ask) -> Vec<Chart> {
    ask.charts
        .iter()
        .flat_map(|chart| {
            let keys: Vec<Key> = if ask.tonics.is_empty() {
                vec![chart.key]
            } else {
                ask.tonics
                    .iter()
                    .map(|key| Key {
                        mode: chart.key.mode,
                        ..*key
                    })
                    .collect()
            };
            keys.into_iter().map(|key| chart.in_key(key))
        })
        .collect()
}

/// A phrase for each answer, in every key that the charts are asked in (the relative major of minor ones)
/// and both registers.
#[expect(
    clippy::expect_used,
    reason = "the phrases are constants, and a test of this module reads all"
)]
fn families_of(kind: QuestionKind, ask: &Ask) -> Result<Vec<Family>, WalkError> {
    let phrases = phrases(kind);
    if phrases.is_empty() {
        return Ok(Vec::new());
    }
    // A quality is spelled by chord tones.
    let level = match kind {
        QuestionKind::Quality => Level::CHORD_TONES,
        _ => ask.level,
    };
    let mut places: Vec<(Key, Meter, u16)> = transposed(ask)
        .iter()
        .map(|chart| {
            let key = match chart.key.mode {
                Mode::Major => chart.key,
                Mode::Minor => chart.key.relative(),
            };
            (key, chart.meter.clone(), chart.tempo as u16)
        })
        .collect();
    places.sort_by_key(|(key, meter, tempo)| (*key, meter.to_string(), *tempo));
    places.dedup_by(|a, b| (a.0, &a.1) == (b.0, &b.1));
    let mut families = Vec::new();
    for (key, meter, tempo) in places {
        for register in LineRegister::ALL {
            let tune = |phrase: &Phrase| -> Result<Tune, WalkError> {
                let mut chart = Chart::from_bars(phrase.bars, meter.clone())
                    .expect("the phrases are our own and a test reads them all");
                chart.set_tempo(f64::from(tempo));
                Tune::new(&chart.in_key(key), None, register, level, ask)
            };
            families.push(
                phrases
                    .iter()
                    .map(tune)
                    .collect::<Result<Family, WalkError>>()?,
            );
        }
    }
    Ok(families)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_phrase_reads() {
        for phrase in QuestionKind::ALL.into_iter().flat_map(phrases) {
            for meter in ["4/4", "3/4", "5/4", "7/8"] {
                let chart = Chart::from_bars(phrase.bars, meter.parse().unwrap());
                assert!(chart.is_ok(), "{phrase:?} in {meter}");
            }
        }
    }

    #[test]
    fn registers_overlap_and_small_ranges_stay_whole() {
        assert_eq!(
            LineRegister::ALL.map(|register| register.of((28, 55))),
            [(28, 50), (33, 55)]
        );
        assert_eq!(
            LineRegister::ALL.map(|register| register.of((28, 50))),
            [(28, 50); 2]
        );
    }
}
