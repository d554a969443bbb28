//! A chart with all that is asked of its performance: what every command starts from.
//!
//! A session makes any chorus alone: the line, the comp over it and what the chart means there depend only
//! on the seed and the number of the chorus, so files, pages and live playing agree.

use crate::{
    failure::Failure,
    outputs::midi_file,
    performance::{
        arrangement::{self, ArrangeOptions, EndingBar, MadeChorus},
        practice::{self, StopTime},
        score::Score,
    },
    players::{
        collisions::{self, Collisions},
        comp::{self, ChorusComp, CompAttack, CompOptions},
        random_streams::{Purpose, stream, weighted},
    },
    progress::Progress,
};
use endpin_theory::{
    Chart, Chorus, Feel, Palette, Scale, Understood, analyse,
    chart::{Bar, Ending, Place},
};
use endpin_walker::{
    ChorusLine, Development, LineNote, Options, Plan, Tablature, Walker,
    pins::{Bars, Hold},
};
use rayon::prelude::*;
use std::{fmt, ops::Range};

/// What is asked of a performance.
#[derive(Clone, Debug)]
pub struct Wishes {
    /// Seed of everything that is drawn.
    pub seed: u64,
    /// The choruses to make, counted from 1.
    pub choruses: Range<u32>,
    /// What is asked of the line.
    pub line: Options,
    /// Bars kept as another chorus has them.
    pub holds: Vec<Hold>,
    /// Bars to vary, all else as the first of the choruses has it.
    pub vary: Option<Bars>,
    /// Which of the versions to make alone, from 1; none: as many as there are choruses.
    pub way: Option<u32>,
    /// Beats in which any two choruses differ at least.
    pub apart: u32,
    /// What is asked of the comp.
    pub comp: CompOptions,
    /// How the band plays it.
    pub arrange: ArrangeOptions,
    /// How the key changes from chorus to chorus.
    pub keys: Option<practice::KeyOrder>,
    /// The bars to play, if not all.
    pub bars: Option<practice::BarRange>,
    /// How the band ends; none leaves it to the chart, or else to the seed.
    pub ending: Option<Ending>,
    /// In which bars the band plays on the first beat alone, besides those that the chart names.
    pub stop_time: Option<StopTime>,
    /// Whether intro, tag and ending are left out.
    pub loop_ready: bool,
    /// Whether none of the choruses is known to be the last, so that none leads into a tag.
    pub endless: bool,
}

impl Wishes {
    /// So many choruses of a line, from the first, with nothing else asked for.
    pub fn plain(seed: u64, choruses: u32, line: Options) -> Wishes {
        Wishes {
            seed,
            choruses: 1..choruses + 1,
            line,
            holds: Vec::new(),
            vary: None,
            way: None,
            apart: 1,
            comp: CompOptions {
                seed,
                ..CompOptions::default()
            },
            arrange: ArrangeOptions {
                seed,
                ..ArrangeOptions::default()
            },
            keys: None,
            bars: None,
            ending: None,
            stop_time: None,
            loop_ready: false,
            endless: false,
        }
    }
}

/// The chart as a level plays it: levels 1 and 2 are two-feel, and the whole band plays so, unless a feel was
/// asked for.
pub fn chart_at_level(mut chart: Chart, line: &Options) -> Chart {
    if line.feel.is_none() && line.level.is_two_feel() {
        chart.set_feel_around_pedals(Feel::Two);
    }
    chart
}

/// How often each ending is chosen where none is named. One that adds bars has to be named, since a player who
/// reads along has to see it coming; slowing down is for slow tempi. Our choice.
const ENDINGS: [(Ending, u32); 3] = [(Ending::Held, 3), (Ending::Stop, 2), (Ending::Ritard, 2)];
/// Quarters a minute up to which the seed may choose to slow down.
const RITARD_UP_TO: f64 = 120.0;

/// The ending of a chart: as asked, as written, or as the seed chooses.
fn ending_of(chart: &Chart, wishes: &Wishes) -> Ending {
    let chosen = || {
        let mut rng = stream(wishes.seed, 0, Purpose::Ending);
        let weights = ENDINGS.map(|(ending, weight)| match ending {
            Ending::Ritard if chart.tempo > RITARD_UP_TO => 0,
            _ => weight,
        });
        weighted(&mut rng, &weights).map_or(Ending::Held, |chosen| ENDINGS[chosen].0)
    };
    wishes.ending.or(chart.ending).unwrap_or_else(chosen)
}

/// A chart, understood and ready to be played.
#[derive(Debug)]
pub struct Session {
    chart: Chart,
    ending: Ending,
    wishes: Wishes,
    walker: Walker,
    /// For each turn of the plan, what its chords mean.
    understood: Vec<Vec<Understood>>,
    progress: Option<Progress>,
}

impl Session {
    /// Prepares a chart.
    ///
    /// # Errors
    /// A bar range beyond the chart, or an instrument or pins that leave no line.
    pub fn new(chart: Chart, mut wishes: Wishes) -> Result<Session, Failure> {
        // The hand has to be able to play it where the chart is fastest.
        let tempi = chart.chorus().bars.into_iter().map(|bar| bar.tempo);
        let quarter = midi_file::microseconds(tempi.fold(chart.tempo, f64::max));
        wishes.line.hand.quarter = Some(quarter.as_int());
        let in_key = |number: u32| {
            let key = wishes.keys.map_or(chart.key, |order| {
                practice::key(chart.key, order, number, wishes.seed)
            });
            chart.in_key(key)
        };
        let stop_time = |chorus: &mut Chorus, number: u32| {
            let stops = wishes.stop_time.filter(|stops| stops.includes(number));
            let of_form = |bar: &&mut Bar| bar.place == Place::Form;
            if stops.is_some() {
                let bars = chorus.bars.iter_mut().filter(of_form);
                bars.for_each(|bar| bar.stop_time = true);
            }
        };
        let chorus = |number: u32| -> Result<Chorus, Failure> {
            let mut chorus = in_key(number).numbered_chorus(number);
            stop_time(&mut chorus, number);
            match wishes.bars {
                Some(bars) => bars.of(&chorus).map_err(Failure::input),
                None => Ok(chorus),
            }
        };
        // Feels settle in some chorus; keys come round after twelve.
        let stops = wishes.stop_time.map_or(1, StopTime::settles_in);
        let settled = chart.settles_in().max(stops);
        let round = settled..settled + wishes.keys.map_or(1, |_| 12);
        let first = (1..settled).map(chorus).collect::<Result<_, _>>()?;
        let then = round.map(chorus).collect::<Result<_, _>>()?;
        let mut plan = Plan::through(first, then, &wishes.line);
        let ending = ending_of(&chart, &wishes);
        let is_whole = wishes.bars.is_none() && wishes.vary.is_none();
        if let Some(intro) = in_key(1).intro_chorus().filter(|_| is_whole) {
            plan = plan.with_intro(intro);
        }
        let ends = is_whole && !wishes.loop_ready && !wishes.endless;
        if ends && chart.has_bars_after(Some(ending)) {
            let number = wishes.choruses.end.saturating_sub(1).max(1);
            let chart = in_key(number);
            let mut last = chart.last_chorus(number, Some(ending));
            stop_time(&mut last, number);
            plan = plan.ending_with(number, last, chart.home_bar());
        }
        let opening = &plan.turns()[0].chorus.bars[0];
        wishes.arrange.keeping = wishes.arrange.keeping.settled(opening);
        let meaning =
            |turn: &endpin_walker::plan::Turn| analyse(&turn.chorus.spans, turn.chorus.key);
        let understood = plan.turns().iter().map(meaning).collect();
        let walker = Walker::holding(plan, wishes.line.clone(), &wishes.holds, wishes.seed);
        let walker = walker.map_err(Failure::input)?;
        Ok(Session {
            chart,
            ending,
            wishes,
            walker,
            understood,
            progress: None,
        })
    }

    /// Shows how far it is, where every chorus gets a comp so many times.
    pub fn showing_progress(self, comps: usize) -> Session {
        let Range { start, end } = self.wishes.choruses;
        let steps = u64::from(end.saturating_sub(start)) * comps as u64;
        Session {
            progress: Some(Progress::of("making choruses", steps)),
            ..self
        }
    }

    /// The chart as written.
    pub fn chart(&self) -> &Chart {
        &self.chart
    }

    /// What was asked.
    pub fn wishes(&self) -> &Wishes {
        &self.wishes
    }

    /// The walker over the chart.
    pub fn walker(&self) -> &Walker {
        &self.walker
    }

    /// The turn of the plan that a chorus plays; versions of one chorus all play its turn.
    fn turn(&self, number: u32) -> usize {
        let number = match self.wishes.vary {
            Some(_) => self.wishes.choruses.start,
            None => number,
        };
        let plan = self.walker.plan();
        plan.turn_of(plan.place_of(number))
    }

    /// Whether an intro comes before the first chorus.
    pub fn has_intro(&self) -> bool {
        let Wishes {
            choruses,
            loop_ready,
            ..
        } = &self.wishes;
        choruses.start == 1 && !loop_ready && self.walker.plan().has_intro()
    }

    /// How the band ends.
    pub fn how_it_ends(&self) -> Ending {
        self.ending
    }

    /// What chorus `number` (from 1; 0 is the intro) plays: the form in its key, and as the last of those asked
    /// for what comes after it.
    pub fn chorus(&self, number: u32) -> &Chorus {
        &self.walker.plan().turns()[self.turn(number)].chorus
    }

    /// Level and feel at which chorus `number` is played.
    pub fn development(&self, number: u32) -> Development {
        self.walker.plan().turns()[self.turn(number)].development
    }

    /// What the chords of chorus `number` mean, one for each span.
    pub fn understood(&self, number: u32) -> &[Understood] {
        &self.understood[self.turn(number)]
    }

    /// The lines of the choruses asked for, with the intro before the first.
    ///
    /// # Errors
    /// More choruses, or versions of one, than there are.
    pub fn lines(&self) -> Result<Vec<ChorusLine>, Failure> {
        let Wishes {
            seed,
            apart,
            choruses: Range { start, end },
            ..
        } = self.wishes;
        let count = end - start;
        let lines = match &self.wishes.vary {
            None => self.walker.distinct(seed, start, count, apart),
            Some(bars) => self
                .walker
                .vary(seed, start, bars, self.wishes.way.unwrap_or(count))
                .map(|mut versions| {
                    if let Some(way) = self.wishes.way {
                        versions.drain(..versions.len().min(way as usize) - 1);
                    }
                    let numbered = (start..).zip(&mut versions);
                    numbered.for_each(|(number, version)| version.renumber(number));
                    versions
                }),
        };
        let intro = self.has_intro().then(|| self.walker.line(seed, 0));
        let lines = lines.map_err(Failure::input)?;
        Ok(intro.into_iter().chain(lines).collect())
    }

    /// The line of one chorus.
    pub fn line(&self, number: u32) -> ChorusLine {
        self.walker.line(self.wishes.seed, number)
    }

    /// The comp over a line.
    pub fn comp(&self, line: &ChorusLine) -> ChorusComp {
        self.comp_as(line, &self.wishes.comp)
    }

    fn comp_as(&self, line: &ChorusLine, options: &CompOptions) -> ChorusComp {
        let scales: Vec<Option<Scale>> = self
            .understood(line.chorus)
            .iter()
            .zip(&self.chorus(line.chorus).spans)
            .map(|(understood, span)| span.chord.as_ref().map(|_| understood.scale))
            .collect();
        let options = CompOptions {
            density: grown(options.density, self.development(line.chorus).busy),
            ..*options
        };
        let chorus = self.chorus(line.chorus);
        let mut comp = comp::comp(chorus, &scales, line, &options);
        comp.attacks.retain(|attack| {
            let index = (attack.bar as usize).saturating_sub(1);
            let trade = arrangement::trade_bar(&self.wishes.arrange, chorus, line.chorus, index);
            // The student is left alone until the bar that leads back.
            trade.is_none_or(|trade| !trade.is_students || trade.is_last)
        });
        self.progress.iter().for_each(Progress::step);
        comp
    }

    /// The choruses asked for, made, with the ending behind them.
    ///
    /// # Errors
    /// More choruses, or versions of one, than there are.
    pub fn perform(&self) -> Result<Made<'_>, Failure> {
        let choruses: Vec<(ChorusLine, ChorusComp)> = self
            .lines()?
            .into_par_iter()
            .map(|line| {
                let comp = self.comp(&line);
                (line, comp)
            })
            .collect();
        let ending = choruses.last().and_then(|(line, _)| self.ending(line));
        Ok(Made {
            session: self,
            choruses,
            ending,
        })
    }

    /// The ending after a last chorus, unless the choruses are to loop: the last bass note, held for a bar or
    /// struck short, and the chord above it.
    pub fn ending(&self, last: &ChorusLine) -> Option<(LineNote, Option<CompAttack>)> {
        if self.wishes.loop_ready {
            return None;
        }
        let mut note = self.walker.ending(self.wishes.seed, last);
        if self.ending == Ending::Stop {
            note.length = note.beat_length;
            note.why = format!("home: the root of {}, struck short", note.chord);
        }
        let chord = note.chord.parse().ok();
        let attack = chord.and_then(|chord| {
            comp::ending(
                self.chorus(last.chorus),
                &chord,
                &note,
                self.wishes.comp.comping,
            )
        });
        Some((note, attack))
    }
}

/// The density of the comp in a chorus that is so lively, 0 to 3: a tenth of an attack a bar more for each.
fn grown(density: f64, busy: u8) -> f64 {
    (density + 0.04 * f64::from(busy)).min(1.0)
}

/// Choruses made: notes on the page, ready to be arranged.
#[derive(Debug)]
pub struct Made<'a> {
    session: &'a Session,
    /// Line and comp of each chorus.
    pub choruses: Vec<(ChorusLine, ChorusComp)>,
    /// The ending, unless the choruses are to loop.
    pub ending: Option<(LineNote, Option<CompAttack>)>,
}

impl Made<'_> {
    /// All notes of the line, ending included.
    pub fn notes(&self) -> impl Iterator<Item = &LineNote> {
        let choruses = self.choruses.iter().flat_map(|(line, _)| &line.notes);
        choruses.chain(self.ending.iter().map(|(note, _)| note))
    }

    /// What chorus `number` (from 1; 0 is the intro) plays.
    pub fn chorus(&self, number: u32) -> &Chorus {
        self.session.chorus(number)
    }

    /// Each chorus as played: its form and the line over it.
    pub fn played(&self) -> Vec<(&Chorus, &ChorusLine)> {
        let lines = self.choruses.iter().map(|(line, _)| line);
        lines
            .map(|line| (self.session.chorus(line.chorus), line))
            .collect()
    }

    /// Where all notes lie on the neck; none if the instrument does not have one of them.
    pub fn tablature(&self) -> Option<Tablature> {
        let choruses = self.choruses.iter().map(|(line, _)| &line.notes[..]);
        let ending = self.ending.as_ref().map(|(note, _)| note);
        Tablature::of(&self.session.wishes.line.hand, choruses, ending)
    }

    /// Where bass and comp meet.
    pub fn collisions(&self) -> Collisions {
        let rate = |(line, comp): &(ChorusLine, ChorusComp)| {
            collisions::rate(self.session.chorus(line.chorus), line, comp)
        };
        self.choruses
            .iter()
            .map(rate)
            .fold(Collisions::default(), Collisions::and)
    }

    /// Where bass and comp meet when the same line is comped with each palette in turn.
    pub fn under_every_palette(&self) -> Vec<(Palette, Collisions)> {
        let rate = |palette| {
            let options = CompOptions {
                palette: Some(palette),
                ..self.session.wishes.comp
            };
            let rate = |line: &ChorusLine| {
                let comp = self.session.comp_as(line, &options);
                collisions::rate(self.session.chorus(line.chorus), line, &comp)
            };
            let rated: Vec<Collisions> = self
                .choruses
                .par_iter()
                .map(|(line, _)| rate(line))
                .collect();
            rated
                .into_iter()
                .fold(Collisions::default(), Collisions::and)
        };
        let palettes = Palette::ALL.into_iter();
        palettes.map(|palette| (palette, rate(palette))).collect()
    }

    /// All parts in performed time.
    pub fn score(&self) -> Score {
        let choruses: Vec<MadeChorus<'_>> = self
            .choruses
            .iter()
            .map(|(line, comp)| MadeChorus {
                chorus: self.session.chorus(line.chorus),
                development: self.session.development(line.chorus),
                line,
                comp,
            })
            .collect();
        let ending = self.ending.as_ref().map(|(bass, comp)| EndingBar {
            bass,
            comp: comp.as_ref(),
            how: self.session.ending,
        });
        arrangement::arrange(&choruses, ending, &self.session.wishes.arrange)
    }
}

impl fmt::Display for Session {
    /// `Breakwater Blues, choruses 1 to 3, in F at 138`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Range { start, end } = self.wishes.choruses;
        let choruses = match end - start {
            1 => format!("chorus {start}"),
            _ => format!("choruses {start} to {}", end - 1),
        };
        let (title, key) = (&self.chart.title, self.chart.key);
        write!(f, "{title}, {choruses}, in {key} at {}", self.chart.tempo)
    }
}
