//! A chart with all that is asked of its performance: what every command starts from.
//!
//! A session makes any chorus alone: the line, the comp over it and what the chart means there depend only
//! on the seed and the number of the chorus, so files, pages and live playing agree.

use crate::{
    failure::Failure,
    outputs::midi_file,
    performance::{
        arrangement::{self, ArrangeOptions, EndingBar, MadeChorus},
        practice,
        score::Score,
    },
    players::{
        collisions::{self, Collisions},
        comp::{self, ChorusComp, CompAttack, CompOptions},
    },
};
use endpin_theory::{Chart, Chorus, Feel, Palette, Scale, Understood, analyse};
use endpin_walker::{
    ChorusLine, Development, LineNote, Options, Plan, Tablature, Walker,
    pins::{Bars, Hold},
};
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
    /// Whether the ending bar is left out.
    pub loop_ready: bool,
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
            loop_ready: false,
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

/// A chart, understood and ready to be played.
#[derive(Debug)]
pub struct Session {
    chart: Chart,
    wishes: Wishes,
    walker: Walker,
    /// For each turn of the plan, what its chords mean.
    understood: Vec<Vec<Understood>>,
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
        let chorus = |number: u32| -> Result<Chorus, Failure> {
            let key = wishes.keys.map_or(chart.key, |order| {
                practice::key(chart.key, order, number, wishes.seed)
            });
            let chorus = chart.in_key(key).numbered_chorus(number);
            match wishes.bars {
                Some(bars) => bars.of(&chorus).map_err(Failure::input),
                None => Ok(chorus),
            }
        };
        // Feels settle in some chorus; keys come round after twelve.
        let settled = chart.settles_in();
        let round = settled..settled + wishes.keys.map_or(1, |_| 12);
        let first = (1..settled).map(chorus).collect::<Result<_, _>>()?;
        let then = round.map(chorus).collect::<Result<_, _>>()?;
        let plan = Plan::through(first, then, &wishes.line);
        let meaning =
            |turn: &endpin_walker::plan::Turn| analyse(&turn.chorus.spans, turn.chorus.key);
        let understood = plan.turns().iter().map(meaning).collect();
        let walker = Walker::holding(plan, wishes.line.clone(), &wishes.holds, wishes.seed);
        let walker = walker.map_err(Failure::input)?;
        Ok(Session {
            chart,
            wishes,
            walker,
            understood,
        })
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
        self.walker.plan().turn_of(u64::from(number) - 1)
    }

    /// What chorus `number` (from 1) plays: the form in its key.
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

    /// The lines of the choruses asked for.
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
        lines.map_err(Failure::input)
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
        let chorus = self.chorus(line.chorus);
        let mut comp = comp::comp(chorus, &scales, line, options);
        comp.attacks.retain(|attack| {
            let index = (attack.bar as usize).saturating_sub(1);
            let trade = arrangement::trade_bar(&self.wishes.arrange, chorus, line.chorus, index);
            // The student is left alone until the bar that leads back.
            trade.is_none_or(|trade| !trade.is_students || trade.is_last)
        });
        comp
    }

    /// The choruses asked for, made, with the ending behind them.
    ///
    /// # Errors
    /// More choruses, or versions of one, than there are.
    pub fn perform(&self) -> Result<Made<'_>, Failure> {
        let choruses: Vec<(ChorusLine, ChorusComp)> = self
            .lines()?
            .into_iter()
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

    /// The ending after a last chorus, unless the choruses are to loop: the held bass note and the chord
    /// above it.
    pub fn ending(&self, last: &ChorusLine) -> Option<(LineNote, Option<CompAttack>)> {
        if self.wishes.loop_ready {
            return None;
        }
        let note = self.walker.ending(self.wishes.seed, last);
        let chord = note.chord.parse().ok();
        let attack = chord.and_then(|chord| comp::ending(self.chorus(last.chorus), &chord, &note));
        Some((note, attack))
    }
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
            let lines = self.choruses.iter().map(|(line, _)| line);
            lines
                .map(|line| {
                    let comp = self.session.comp_as(line, &options);
                    collisions::rate(self.session.chorus(line.chorus), line, &comp)
                })
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
