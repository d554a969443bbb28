//! Deliberate devices that break a rule with reason: they are described, not punished (common practice, no
//! source).
//!
//! Which rule a device excuses, the rule says ([`crate::rules::Rule::is_excused_by`]).

mod alike;
mod kept;
mod leading;
mod moving;

use super::played::Played;
use std::fmt;

/// A device that explains notes against the rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Device {
    /// One note held or repeated under changing chords: the tonic or the dominant of the key.
    Pedal,
    /// The coming root, struck early and kept, or taken up again.
    Anticipation,
    /// A note of two neighbouring chords that stays while they change.
    CommonTone,
    /// The same pitch again.
    Repeat,
    /// A chord that arrives on its third, fifth or seventh, reached by step.
    Inversion,
    /// A bass that falls by steps through chords over one root, as they are written.
    DescendingBass,
    /// Root and fifth in half notes, the fifth first.
    RootAndFifth,
    /// A note between two steps the same way: of the scale, or any between two semitones.
    Passing,
    /// A run of steps one way through chord and scale, from a root.
    Walk,
    /// The half step into the next root, in another octave.
    OctaveApproach,
    /// Fifth and root of the dominant a half step above the coming root, which stands for its own.
    TritoneDominant,
    /// A run of half steps from chord tone to chord tone.
    ChromaticRun,
    /// A figure taken up again on other steps.
    Sequence,
    /// A bar that moves as one shortly before it did, bent to its own chord.
    Answer,
}

impl Device {
    /// All devices, those that explain most first.
    pub const ALL: [Device; 14] = [
        Device::Pedal,
        Device::Anticipation,
        Device::CommonTone,
        Device::DescendingBass,
        Device::Inversion,
        Device::RootAndFifth,
        Device::Walk,
        Device::Passing,
        Device::ChromaticRun,
        Device::OctaveApproach,
        Device::TritoneDominant,
        Device::Repeat,
        Device::Sequence,
        Device::Answer,
    ];

    /// Its name in every output.
    pub fn name(&self) -> &'static str {
        match self {
            Device::Pedal => "pedal",
            Device::Anticipation => "anticipation",
            Device::CommonTone => "common-tone",
            Device::Repeat => "repeat",
            Device::Inversion => "inversion",
            Device::DescendingBass => "descending-bass",
            Device::RootAndFifth => "root-and-fifth",
            Device::Passing => "passing",
            Device::Walk => "walk",
            Device::OctaveApproach => "octave-approach",
            Device::TritoneDominant => "tritone-dominant",
            Device::ChromaticRun => "chromatic-run",
            Device::Sequence => "sequence",
            Device::Answer => "answer",
        }
    }

    /// What it is, for a student.
    pub fn words(&self) -> &'static str {
        match self {
            Device::Pedal => "a pedal: one note of the key kept while the chords move over it",
            Device::Anticipation => "an anticipation: the coming root, struck early",
            Device::CommonTone => "a common tone: it belongs to both chords and stays",
            Device::Repeat => "a repeated note: the same pitch again, for its rhythm",
            Device::Inversion => {
                "an inversion: the chord arrives on another of its notes, reached by step"
            }
            Device::DescendingBass => {
                "a descending bass: the line falls step by step under chords of one root"
            }
            Device::RootAndFifth => "root and fifth in half notes, the fifth first",
            Device::Passing => "a passing note between two steps the same way",
            Device::Walk => "a walk: steps one way through the scale, from a root",
            Device::OctaveApproach => {
                "an approach from another octave: a half step from the next root but for the octave"
            }
            Device::TritoneDominant => {
                "a dominant in place of another: fifth and root of the one a half step above the coming root"
            }
            Device::ChromaticRun => {
                "a chromatic run: half steps one way, from chord tone to chord tone"
            }
            Device::Sequence => "a sequence: the same figure taken up again on another step",
            Device::Answer => "an answer: this bar moves as an earlier one did",
        }
    }
}

impl fmt::Display for Device {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// The device that explains each note which breaks a rule, if any; rules are given by number.
pub(super) fn find(line: &Played<'_>, broken: &[Vec<usize>]) -> Vec<Option<Device>> {
    let pedal = kept::pedals(line);
    let is = |device: Device, note: usize| match device {
        Device::Pedal => pedal[note],
        Device::Anticipation => kept::anticipates(line, note),
        Device::CommonTone => kept::stays(line, note),
        Device::Repeat => kept::repeats(line, note),
        Device::Inversion => moving::inverts(line, note),
        Device::DescendingBass => moving::descends(line, note),
        Device::RootAndFifth => moving::fifth_first(line, note),
        Device::Passing => moving::passes(line, note),
        Device::Walk => moving::walks(line, note),
        Device::OctaveApproach => leading::leads_from_another_octave(line, note),
        Device::TritoneDominant => leading::spells_dominant(line, note),
        Device::ChromaticRun => leading::runs_by_half_steps(line, note),
        Device::Sequence => alike::in_sequence(line, note),
        Device::Answer => alike::answers(line, note),
    };
    let find = |(note, rules): (usize, &Vec<usize>)| {
        let excuses = |device: &Device| {
            let mut rules = rules.iter().map(|&rule| &line.judge.rules[rule]);
            rules.all(|rule| rule.is_excused_by(device))
        };
        let mut devices = Device::ALL.into_iter();
        devices.find(|device| !rules.is_empty() && excuses(device) && is(*device, note))
    };
    broken.iter().enumerate().map(find).collect()
}
