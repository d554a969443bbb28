//! Which chart each chorus plays, and at which stage of development.

use crate::{
    line::{ChorusLine, walker::WalkError},
    options::{self, Level, Options},
    pins::{Avoid, BarBeat, Bars, Fixed, Pin},
    rules::Liberties,
};
use endpin_theory::chart::{Chorus, Feel};
use std::sync::Arc;

/// How far the line has developed by a chorus: what changes from one to the next besides the chart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Development {
    /// The teacher's ladder.
    pub level: Level,
    /// A feel in place of the chart's.
    pub feel: Option<Feel>,
    /// Life of the rhythm, 0 to 3.
    pub busy: u8,
    /// Semitones by which the middle of the register is raised.
    pub lift: i8,
    /// What the line may do against the plain rules.
    pub loose: Liberties,
}

impl Development {
    /// A level, with the chart's own feel and nothing besides.
    pub fn plain(level: Level) -> Development {
        Development {
            level,
            feel: None,
            busy: 0,
            lift: 0,
            loose: Liberties::NONE,
        }
    }
}

/// What one chorus plays.
#[derive(Clone, Debug)]
pub struct Turn {
    /// The chart, unrolled, in the key and with the feel of this chorus.
    pub chorus: Arc<Chorus>,
    /// Level, feel and liveliness.
    pub development: Development,
    /// What is fixed before anything is drawn.
    pub fixed: Vec<Fixed>,
}

/// What every chorus plays, without end: some turns once, then others over and over. Before the first chorus
/// may come an intro, which is chorus 0; one chorus may be the last, after which the line comes home.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The intro if there is one, the choruses, and if there is a last chorus that and the chord it leads to.
    turns: Vec<Turn>,
    repeat_from: usize,
    has_intro: bool,
    /// The place of the last chorus in the order of playing, from 0.
    last: Option<u64>,
}

impl Plan {
    /// The same chart in every chorus, developing as the options ask.
    pub fn of(chorus: Chorus, options: &Options) -> Plan {
        Plan::through(Vec::new(), vec![chorus], options)
    }

    /// A chorus of each chart in turn, of the first ones once and of the others over and over: keys by
    /// chorus, feels by chorus.
    ///
    /// # Panics
    /// If no chart is to come over and over.
    pub fn through(first: Vec<Chorus>, then: Vec<Chorus>, options: &Options) -> Plan {
        assert!(!then.is_empty(), "a plan needs a chart");
        let charts_repeat_from = first.len();
        let charts: Vec<Arc<Chorus>> = first.into_iter().chain(then).map(Arc::new).collect();
        let round = |index: usize, count: usize, from: usize| match index < count {
            true => index,
            false => from + (index - from) % (count - from),
        };
        let bars = charts
            .iter()
            .map(|chart| chart.bars.len())
            .max()
            .unwrap_or(0);
        let (stages, stages_repeat_from) = stages(options, bars);
        // The shortest plan after which both charts and stages come round together.
        let cycle = lcm(
            charts.len() - charts_repeat_from,
            stages.len() - stages_repeat_from,
        );
        let repeat_from = stages_repeat_from.max(charts_repeat_from);
        let turns = (0..repeat_from + cycle)
            .map(|index| Turn {
                chorus: charts[round(index, charts.len(), charts_repeat_from)].clone(),
                development: stages[round(index, stages.len(), stages_repeat_from)],
                fixed: Vec::new(),
            })
            .collect();
        let mut plan = Plan::of_turns(turns, repeat_from);
        for pin in &options.pins {
            let BarBeat { chorus, bar, beat } = pin.place;
            let pitch = pin.pitch;
            plan.fix(chorus, &[Fixed::Note { bar, beat, pitch }]);
        }
        for avoid in &options.avoid {
            if let &Avoid::On(Pin { place, pitch }) = avoid {
                let BarBeat { chorus, bar, beat } = place;
                plan.fix(chorus, &[Fixed::Not { bar, beat, pitch }]);
            }
        }
        for &BarBeat { chorus, bar, beat } in &options.rests {
            plan.fix(chorus, &[Fixed::Rest { bar, beat }]);
        }
        plan
    }

    /// Plays an intro before the first chorus, developed as far as that; it is chorus 0.
    pub fn with_intro(mut self, chorus: Chorus) -> Plan {
        let intro = Turn {
            chorus: Arc::new(chorus),
            development: self.turns[0].development,
            fixed: Vec::new(),
        };
        self.turns.insert(0, intro);
        self.repeat_from += 1;
        self.has_intro = true;
        self
    }

    /// Makes a chorus (from 1) the last: it plays `chorus`, the form with what comes after it, fixed where the
    /// form is, and leads into `home`.
    pub fn ending_with(mut self, number: u32, chorus: Chorus, home: Chorus) -> Plan {
        let at = self.place_of(number);
        let like = self.turns[self.turn_of(at)].clone();
        self.turns.push(Turn {
            chorus: Arc::new(chorus),
            ..like.clone()
        });
        self.turns.push(Turn {
            chorus: Arc::new(home),
            fixed: Vec::new(),
            ..like
        });
        self.last = Some(at);
        self
    }

    /// Fixes something in a chorus (from 1), or in every chorus.
    pub fn fix(&mut self, chorus: Option<u32>, fixed: &[Fixed]) {
        let turns: Vec<usize> = match chorus {
            None => self.chorus_turns().collect(),
            Some(chorus) => {
                let own = self.own_turn(chorus);
                let last = self.last_turn().filter(|_| self.is_last(chorus));
                [own].into_iter().chain(last).collect()
            }
        };
        for turn in turns {
            self.turns[turn].fixed.extend_from_slice(fixed);
        }
    }

    /// The turns that choruses play: neither an intro nor what the last chorus leads to.
    fn chorus_turns(&self) -> impl Iterator<Item = usize> + use<> {
        let choruses = usize::from(self.has_intro)..self.endless();
        choruses.chain(self.last_turn())
    }

    /// How many turns there are besides the last chorus and what it leads to.
    pub(crate) fn endless(&self) -> usize {
        match self.last {
            Some(_) => self.turns.len() - 2,
            None => self.turns.len(),
        }
    }

    /// The turn of the last chorus, if there is one.
    pub fn last_turn(&self) -> Option<usize> {
        self.last.map(|_| self.turns.len() - 2)
    }

    /// The turn in whose place the last chorus is played: both begin alike.
    pub(crate) fn in_place_of_last(&self) -> Option<usize> {
        self.last.map(|at| self.endless_turn_of(at))
    }

    fn is_last(&self, number: u32) -> bool {
        self.last == Some(self.place_of(number))
    }

    /// Whether an intro comes before the first chorus.
    pub fn has_intro(&self) -> bool {
        self.has_intro
    }

    /// The turn of the first chorus.
    pub fn first_turn(&self) -> usize {
        usize::from(self.has_intro)
    }

    /// The place in the order of playing, from 0, of a chorus (from 1; 0 is the intro).
    pub fn place_of(&self, number: u32) -> u64 {
        (u64::from(number) + u64::from(self.has_intro)).saturating_sub(1)
    }

    /// The chorus (from 1; 0 is the intro) at a place in the order of playing, from 0.
    pub fn number_at(&self, place: u64) -> u32 {
        let number = place + 1 - u64::from(self.has_intro);
        u32::try_from(number).unwrap_or(u32::MAX)
    }

    /// Keeps bars of a chorus through all choruses, and that chorus as it is.
    ///
    /// # Errors
    /// Bars beyond the chart.
    pub fn hold(&mut self, source: &ChorusLine, bars: &Bars) -> Result<(), WalkError> {
        let own = self.own_turn(source.chorus);
        let last = self.turns[own].chorus.bars.len() as u32;
        let own_as_last = self.last_turn().filter(|_| self.is_last(source.chorus));
        if *bars.0.end() > last {
            return Err(WalkError::NoBar {
                bar: *bars.0.end(),
                last,
            });
        }
        let held = Fixed::bars_of(source, last, |bar| bars.0.contains(&bar));
        for turn in self.chorus_turns() {
            let fixed = &mut self.turns[turn].fixed;
            match turn == own || Some(turn) == own_as_last {
                true => *fixed = Fixed::bars_of(source, last, |_| true),
                false => fixed.extend_from_slice(&held),
            }
        }
        Ok(())
    }

    /// Makes the turn of a chorus (from 1) its own, played by no other, and gives it.
    pub fn own_turn(&mut self, chorus: u32) -> usize {
        let turn = self.place_of(chorus.max(1)) as usize;
        while self.repeat_from <= turn {
            // One more play of the first repeated turn before the repeats begin; the others move round.
            let first = self.turns[self.repeat_from].clone();
            self.turns.insert(self.endless(), first);
            self.repeat_from += 1;
        }
        turn
    }

    /// Turns as given, those from `repeat_from` on over and over.
    ///
    /// # Panics
    /// If nothing is left to repeat.
    pub fn of_turns(turns: Vec<Turn>, repeat_from: usize) -> Plan {
        assert!(repeat_from < turns.len(), "a plan needs turns to repeat");
        Plan {
            turns,
            repeat_from,
            has_intro: false,
            last: None,
        }
    }

    /// The different turns.
    pub fn turns(&self) -> &[Turn] {
        &self.turns
    }

    /// Which turn is played at a place in the order of playing, from 0: the intro if there is one, then the
    /// choruses.
    pub fn turn_of(&self, place: u64) -> usize {
        match self.last {
            Some(last) if place == last => self.endless(),
            Some(last) if place > last => self.endless() + 1,
            _ => self.endless_turn_of(place),
        }
    }

    /// The same as if there were no last chorus.
    fn endless_turn_of(&self, place: u64) -> usize {
        let count = self.endless() as u64;
        if place < count {
            return place as usize;
        }
        let period = count - self.repeat_from as u64;
        self.repeat_from + ((place - self.repeat_from as u64) % period) as usize
    }

    /// The turn after a turn; home stays home.
    pub fn after(&self, turn: usize) -> usize {
        match turn + 1 {
            next if turn >= self.endless() => next.min(self.turns.len() - 1),
            next if next < self.endless() => next,
            _ => self.repeat_from,
        }
    }
}

/// Bars from which on choruses are alike unless an arc is asked for: a form so long develops within itself.
const LONG_FORM: usize = 256;

/// Stages of development of the choruses, and from which on they repeat.
fn stages(options: &Options, bars: usize) -> (Vec<Development>, usize) {
    let plain = Development {
        feel: options.feel,
        loose: options.loose,
        ..Development::plain(options.level)
    };
    let level = |below: u8| {
        let number = options.level.number().saturating_sub(below).max(1);
        Level::try_from(number).unwrap_or(options.level)
    };
    let at = |below: u8, busy: u8, lift: i8| Development {
        level: level(below),
        busy,
        lift,
        ..plain
    };
    let (mut stages, repeat_from) = match options.arc {
        Some(options::Arc::Flat) => (vec![plain], 0),
        None if options.level < Level::DOMINANTS || bars >= LONG_FORM => (vec![plain], 0),
        None => (vec![plain, at(0, 1, 0), at(0, 2, 1)], 2),
        Some(options::Arc::Rise) => (
            vec![
                at(2, 0, -2),
                at(1, 0, -1),
                at(1, 1, 0),
                at(0, 2, 2),
                at(0, 3, 4),
            ],
            4,
        ),
        Some(options::Arc::Wave) => (
            vec![
                at(2, 0, -2),
                at(1, 1, 0),
                at(0, 2, 2),
                at(0, 3, 4),
                at(0, 2, 2),
                at(1, 1, 0),
            ],
            0,
        ),
    };
    if !options.loose.is_none() {
        // The first chorus states every root; whatever repeats comes after it.
        let first = Development {
            loose: Liberties::NONE,
            ..stages[0]
        };
        match repeat_from {
            0 => stages.insert(0, first),
            _ => stages[0] = first,
        }
        return (stages, repeat_from.max(1));
    }
    (stages, repeat_from)
}

fn lcm(a: usize, b: usize) -> usize {
    let (mut x, mut y) = (a, b);
    while y > 0 {
        (x, y) = (y, x % y);
    }
    a / x * b
}
