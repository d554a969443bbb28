//! How far and which way the line moves from note to note, beat by beat.

use super::{Taste, table::table};
use crate::rules::{Beat, Leads, Memory, Sound, Step};

table! {
    /// How far one note stands from the next, by the beat of the second; moves from the last beat before a
    /// change onto its arrival are approaches instead.
    Motion of Moves, 4 [
        /// Onto the first beat of a bar or of a group of beats, or onto an arrival.
        strong
        /// Onto the weak beat after it.
        second
        /// Onto the other stressed beat, such as the third in 4/4.
        medium
        /// Onto the weak beat before a strong one, such as the fourth.
        last
    ] {
        /// the same note again
        repeated = [21 94 23 132],
        /// a semitone up
        semitone_up = [200 154 200 186],
        /// a semitone down
        semitone_down = [165 155 176 155],
        /// a whole tone up
        tone_up = [46 193 39 152],
        /// a whole tone down
        tone_down = [120 200 55 117],
        /// a minor or major third up
        third_up = [20 120 36 145],
        /// a minor or major third down
        third_down = [36 81 38 125],
        /// a fourth up
        fourth_up = [55 50 25 120],
        /// a fourth down
        fourth_down = [17 62 17 65],
        /// a tritone either way
        tritone = [6 63 7 105],
        /// a fifth up
        fifth_up = [19 112 15 99],
        /// a fifth down
        fifth_down = [33 97 16 118],
        /// a sixth or a seventh up
        wide_up = [23 35 6 48],
        /// a sixth or a seventh down
        wide_down = [12 72 14 47],
        /// an octave up
        octave_up = [12 35 4 43],
        /// an octave down
        octave_down = [11 40 10 44],
    }
}

impl Moves {
    fn weight(&self, distance: i16) -> u32 {
        match distance {
            0 => self.repeated,
            1 => self.semitone_up,
            -1 => self.semitone_down,
            2 => self.tone_up,
            -2 => self.tone_down,
            3 | 4 => self.third_up,
            -4 | -3 => self.third_down,
            5 => self.fourth_up,
            -5 => self.fourth_down,
            6 | -6 => self.tritone,
            7 => self.fifth_up,
            -7 => self.fifth_down,
            12 => self.octave_up,
            -12 => self.octave_down,
            8.. => self.wide_up,
            _ => self.wide_down,
        }
    }
}

/// How much rarer leaps are where notes follow one another fast.
const HURRIED: u32 = 5;

impl Taste for Motion {
    fn name(&self) -> &'static str {
        "motion"
    }

    fn memory_bits(&self) -> u32 {
        1
    }

    /// Remembers whether the last beat before a change has come.
    fn weigh(&self, leading: Memory, step: &Step<'_>) -> (u32, Memory) {
        let leads: Memory = (step.onset.leads != Leads::Nowhere).into();
        if step.to.is_none() {
            // A pickup that is not played has its say too, or it would count for less than one that is.
            let option = step.onset.sound == Sound::Option;
            return (1, if option { leading | leads } else { leading });
        }
        let moves = match step.onset.beat {
            Beat::Strong => &self.strong,
            Beat::Second => &self.second,
            Beat::Medium => &self.medium,
            Beat::Last => &self.last,
        };
        let weight = match step.distance() {
            Some(_) if step.onset.arrival && leading == 1 => 1,
            // Wider than a third, at twice the pace: a fraction of it, whatever the row (common practice, no source).
            Some(distance) if step.onset.quick && distance.abs() > 4 => {
                (moves.weight(distance) / HURRIED).max(1)
            }
            Some(distance) => moves.weight(distance),
            None => 1,
        };
        (weight, leads)
    }
}
