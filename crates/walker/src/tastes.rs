//! Tastes: what makes one admissible line likelier than another.
//!
//! A taste reads a line as a rule does, but answers with a weight instead of a verdict. Weights are whole
//! numbers from 1 to 1000 out of one table, [`Weights`]; the probability of a line is proportional to the
//! product of all the weights along it. No weight is 0, so no line that obeys the rules is impossible.

use crate::{
    options::Level,
    place::{Leads, Sound, Within},
    rules::{Memory, Step, is_double_chromatic, is_enclosure},
    weights::Weights,
};

/// A preference among the lines that obey the rules.
pub trait Taste: std::fmt::Debug + Send + Sync {
    /// Its name, that of its part of the table of weights.
    fn name(&self) -> &'static str;

    /// How many bits it remembers.
    fn memory_bits(&self) -> u32 {
        0
    }

    /// Whether it has a say where a note may start or not; elsewhere every taste has.
    ///
    /// A note that need not be there would otherwise count for more, or for less, than silence only because
    /// it is weighed by more tables.
    fn weighs_options(&self) -> bool {
        false
    }

    /// Takes one step: its weight, and what to remember from here on.
    fn weigh(&self, memory: Memory, step: &Step<'_>) -> (u32, Memory);
}

/// The tastes of a level, reading one table.
pub fn tastes(weights: &Weights, level: Level) -> Vec<Box<dyn Taste>> {
    let mut tastes: Vec<Box<dyn Taste>> = vec![
        Box::new(Motion(weights.motion)),
        Box::new(Approaches(weights.approach)),
        Box::new(Tones(weights.tone)),
        Box::new(Register(weights.register)),
        Box::new(Contour(weights.contour)),
        Box::new(Shapes(weights.shape)),
    ];
    if level >= Level::PAIRS {
        tastes.push(Box::new(Devices(weights.device)));
    }
    // Places where the rhythm has a choice: level 6 and `broken`.
    tastes.push(Box::new(Rhythm(weights.rhythm)));
    tastes
}

/// Steps over leaps.
#[derive(Debug)]
struct Motion(crate::weights::Motion);

impl Taste for Motion {
    fn name(&self) -> &'static str {
        "motion"
    }

    fn weigh(&self, _: Memory, step: &Step<'_>) -> (u32, Memory) {
        let Some(distance) = step.distance() else {
            return (1, 0);
        };
        let weight = match distance.abs() {
            0 => self.0.repeated,
            1 => self.0.semitone,
            2 => self.0.whole_tone,
            3 | 4 => self.0.third,
            5 => self.0.fourth,
            6 => self.0.tritone,
            7 => self.0.fifth,
            12 => self.0.octave,
            _ => self.0.sixth_or_seventh,
        };
        (weight, 0)
    }
}

/// How a change is approached: the kinds in the proportions of players, both sides in use.
#[derive(Debug)]
struct Approaches(crate::weights::Approach);

impl Taste for Approaches {
    fn name(&self) -> &'static str {
        "approach"
    }

    fn memory_bits(&self) -> u32 {
        1
    }

    /// Remembers whether the last note stood in the last beat before a change.
    fn weigh(&self, leading: Memory, step: &Step<'_>) -> (u32, Memory) {
        if step.to.is_none() {
            return (1, leading);
        }
        let leads = Memory::from(step.place.leads != Leads::Nowhere);
        let weight = match step.distance() {
            Some(distance) if step.place.arrival && leading == 1 => match distance {
                1 => self.0.chromatic_below,
                -1 => self.0.chromatic_above,
                2 => self.0.scale_below,
                -2 => self.0.scale_above,
                5 => self.0.dominant_below,
                -7 => self.0.dominant_above,
                _ => 1,
            },
            // A strong last beat need not approach; a chord tone that does is preferred.
            Some(distance) if step.place.arrival => match distance.abs() {
                1 | 2 => self.0.strong_by_step,
                _ => 1,
            },
            _ => 1,
        };
        (weight, leads)
    }
}

/// Which notes of the harmony stand where.
#[derive(Debug)]
struct Tones(crate::weights::Tone);

impl Taste for Tones {
    fn name(&self) -> &'static str {
        "tone"
    }

    fn weigh(&self, _: Memory, step: &Step<'_>) -> (u32, Memory) {
        let place = step.place;
        let Some(to) = step.to else { return (1, 0) };
        let chroma = to % 12;
        if place.arrival && place.loose {
            let root = chroma == place.bass;
            return (
                if root {
                    self.0.loose_root
                } else {
                    self.0.loose_other
                },
                0,
            );
        }
        if place.arrival || place.leads != Leads::Nowhere {
            return (1, 0);
        }
        let weight = if !place.tones.contains(to) {
            match place.scale.contains(to) {
                true => self.0.weak_scale,
                false => self.0.weak_chromatic,
            }
        } else {
            let table = match place.stressed {
                true => [self.0.strong_root, self.0.strong_fifth, self.0.strong_other],
                false => [self.0.weak_root, self.0.weak_fifth, self.0.weak_other],
            };
            match chroma {
                _ if chroma == place.root => table[0],
                _ if chroma == place.fifth => table[1],
                _ => table[2],
            }
        };
        (weight, 0)
    }
}

/// Around the middle of the instrument, drifting back to it.
#[derive(Debug)]
struct Register(crate::weights::Register);

impl Taste for Register {
    fn name(&self) -> &'static str {
        "register"
    }

    fn weigh(&self, _: Memory, step: &Step<'_>) -> (u32, Memory) {
        let Some(to) = step.to else { return (1, 0) };
        let weight = match to.abs_diff(step.place.centre) {
            0..=4 => self.0.within_third,
            5..=7 => self.0.within_fifth,
            8..=10 => self.0.within_seventh,
            _ => self.0.beyond,
        };
        (weight, 0)
    }
}

/// Long arcs rather than see-sawing on two notes.
#[derive(Debug)]
struct Contour(crate::weights::Contour);

impl Contour {
    /// A move as it is remembered: up to a major third exactly, beyond that only its direction.
    fn class(distance: i16) -> i16 {
        distance.clamp(-5, 5)
    }

    fn pack(distance: i16, run: u32) -> Memory {
        (Self::class(distance) + 6) as Memory | run << 4
    }
}

impl Taste for Contour {
    fn name(&self) -> &'static str {
        "contour"
    }

    fn memory_bits(&self) -> u32 {
        6
    }

    /// Remembers the last move, and how many moves have gone the same way (up to 3).
    fn weigh(&self, memory: Memory, step: &Step<'_>) -> (u32, Memory) {
        let Some(distance) = step.distance() else {
            return (1, if step.to.is_some() { 0 } else { memory });
        };
        if memory == 0 || distance == 0 {
            return (1, Self::pack(distance, 0));
        }
        let last = (memory & 15) as i16 - 6;
        let run = memory >> 4;
        let leapt = last.abs() == 5;
        let onward = last.signum() == distance.signum();
        let weight = match (onward, leapt) {
            _ if last == 0 => self.0.onward,
            (true, true) => self.0.onward_after_leap,
            (true, false) if distance.abs() > 4 => self.0.leap_onward,
            (true, false) => [
                self.0.onward,
                self.0.onward,
                self.0.onward_late,
                self.0.onward_late,
            ][run.min(3) as usize],
            (false, _) if Self::class(distance) == -last => self.0.back_and_forth,
            (false, true) => self.0.turn_after_leap,
            (false, false) if run == 0 => self.0.turn_early,
            (false, false) => self.0.turn,
        };
        let run = if onward { (run + 1).min(2) } else { 0 };
        (weight, Self::pack(distance, run))
    }
}

/// A bar is answered with another bar: its first move differs from that of the bar before.
#[derive(Debug)]
struct Shapes(crate::weights::Shape);

impl Taste for Shapes {
    fn name(&self) -> &'static str {
        "shape"
    }

    fn memory_bits(&self) -> u32 {
        4
    }

    /// Remembers how the last bar set off (up or down, by step or skip), and whether a bar has just opened.
    fn weigh(&self, memory: Memory, step: &Step<'_>) -> (u32, Memory) {
        let Some(distance) = step.distance() else {
            return (1, 0);
        };
        let (opened, last) = (memory >> 3 == 1, memory & 7);
        let shape = match distance {
            _ if !opened => last,
            0 => 5,
            1 | 2 => 1,
            3.. => 2,
            -2 | -1 => 3,
            _ => 4,
        };
        let weight = match (opened, shape == last) {
            (false, _) => 1,
            (true, true) => self.0.as_before,
            (true, false) => self.0.otherwise,
        };
        let opens = step.place.opens_bar && step.place.within == Within::Beat;
        (weight, shape | Memory::from(opens) << 3)
    }
}

/// Two-note approaches and octave shifts.
#[derive(Debug)]
struct Devices(crate::weights::Device);

impl Devices {
    /// Moves up to a major third are remembered exactly, wider ones not at all.
    fn remember(distance: i16) -> Memory {
        match distance.abs() {
            1..=4 => (distance + 8) as Memory,
            _ => 0,
        }
    }
}

impl Taste for Devices {
    fn name(&self) -> &'static str {
        "device"
    }

    fn memory_bits(&self) -> u32 {
        4
    }

    /// Remembers the move onto the last beat before a change, from which a pair may go on.
    fn weigh(&self, memory: Memory, step: &Step<'_>) -> (u32, Memory) {
        let Some(distance) = step.distance() else {
            return (1, if step.to.is_some() { 0 } else { memory });
        };
        let first = memory as i16 - 8;
        let weight = match distance.abs() {
            12 => self.0.octave_shift,
            _ if !step.place.arrival => 1,
            _ if memory > 0 && is_double_chromatic(first, distance) => self.0.double_chromatic,
            _ if memory > 0 && is_enclosure(first, distance) => self.0.enclosure,
            _ => self.0.single,
        };
        let onto_last_beat = step.place.leads != Leads::Nowhere && !step.place.arrival;
        (
            weight,
            if onto_last_beat {
                Self::remember(distance)
            } else {
                0
            },
        )
    }
}

/// Where the line skips, drops, holds or goes on plainly.
#[derive(Debug)]
struct Rhythm(crate::weights::Rhythm);

impl Rhythm {
    /// Nothing lively of late.
    const CALM: Memory = 0;
    /// Something lively since the last weak beat began.
    const HERE: Memory = 1;
    /// Something lively before that, and nothing yet since.
    const BEFORE: Memory = 2;

    /// What a beat that begins leaves of the memory.
    fn on_beat(memory: Memory, stressed: bool) -> Memory {
        match (memory, stressed) {
            (Self::HERE, true) => Self::HERE,
            (Self::HERE, false) => Self::BEFORE,
            _ => Self::CALM,
        }
    }
}

impl Taste for Rhythm {
    fn name(&self) -> &'static str {
        "rhythm"
    }

    fn memory_bits(&self) -> u32 {
        2
    }

    fn weighs_options(&self) -> bool {
        true
    }

    /// Remembers whether something lively was just played: a figure is answered, or goes on, and then the
    /// line walks plainly again for a while.
    fn weigh(&self, memory: Memory, step: &Step<'_>) -> (u32, Memory) {
        let place = step.place;
        let memory = match place.within {
            Within::Beat => Self::on_beat(memory, place.stressed),
            _ => memory,
        };
        if place.sound != Sound::Option {
            return (1, memory);
        }
        let again = match memory {
            Self::CALM => 1,
            _ => self.0.again,
        };
        let life = (1 + u32::from(place.busy)) * again;
        let distance = step.distance().map_or(0, i16::abs);
        let near = |weight: u32| match distance {
            0..=2 => weight * 2,
            3..=5 => weight,
            _ => 1,
        };
        let weight = match (place.within, step.to) {
            (Within::Beat, Some(_)) => near(self.0.strike) * life,
            (Within::Beat, None) => self.0.hold,
            (Within::Eighth, Some(_)) if distance == 0 => self.0.ghost * life,
            (Within::Eighth, Some(_)) => near(self.0.skip) * life,
            (Within::SecondTriplet, Some(_)) => self.0.drop * life,
            (Within::ThirdTriplet, Some(_)) => 1,
            (_, None) => self.0.plain,
        };
        let lively = step.to.is_some();
        (weight, if lively { Self::HERE } else { memory })
    }
}
