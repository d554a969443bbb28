//! The rules of the line turned on a line that somebody played.
//!
//! The judge hears notes over a chart and says of each which rules it breaks, what part it plays, and what
//! deliberate device would explain it. It shares the names of rules and parts with the walker, not its
//! lattice: the rules of design section 6 are written here a second time, as a listener applies them, with
//! the whole line before him. So each checks the other: the walker's lines break none of these rules.
//!
//! One fault is reported once, at the note that makes it. An approach into a note that is wrong itself is
//! judged by what it could have led into, and a wrong root by the root that was meant.

mod devices;
mod figures;
mod ground;
mod part;
mod rules;
mod words;

pub use devices::Device;
pub use figures::{Figures, Kept};
/// A way to mend a note.
#[derive(Clone, Debug, PartialEq)]
pub struct Mend {
    /// The note to play in its place.
    pub pitch: Pitch,
    /// What that note would be, in words for a student.
    pub why: String,
    /// Other notes that have to change with it: their number in the line and what to play.
    pub others: Vec<(usize, Pitch)>,
}

use crate::{instrument::Hand, role::Role};
use endpin_theory::{Chorus, Degree, Pitch, Strength, Ticks, analysis::Understood};
use ground::{Ground, Stand};
use std::fmt;

/// A note that was heard, where it was meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Heard {
    /// Its chorus, from 1.
    pub chorus: u32,
    /// Where it starts, from the start of its chorus: negative before the first, beyond the length of the
    /// chorus for the ending.
    pub start: Ticks,
    /// How long it was meant to last.
    pub length: Ticks,
    /// MIDI key.
    pub key: u8,
}

/// A rule of the line that can be broken (design section 6).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Broken {
    /// The note at an arrival is not the root.
    ArrivalRoot,
    /// A strong beat does not hold a chord tone.
    StrongBeats,
    /// A weak beat holds a note that neither belongs nor leads.
    WeakBeats,
    /// The last beat before a change does not lead into it.
    Approach,
    /// A note lies above the seventh over the highest root.
    RootToSeventh,
    /// Out of range, a leap too wide or not answered, a pitch three times running, or out of the hand's reach.
    Playable,
    /// The last beat of a chorus does not lead into the next.
    Join,
}

impl Broken {
    /// All rules, in the order of the design.
    pub const ALL: [Broken; 7] = [
        Broken::ArrivalRoot,
        Broken::StrongBeats,
        Broken::WeakBeats,
        Broken::Approach,
        Broken::RootToSeventh,
        Broken::Playable,
        Broken::Join,
    ];

    /// The rule's name in every output.
    pub fn name(self) -> &'static str {
        match self {
            Broken::ArrivalRoot => "arrival-root",
            Broken::StrongBeats => "strong-beats",
            Broken::WeakBeats => "weak-beats",
            Broken::Approach => "approach",
            Broken::RootToSeventh => "root-to-seventh",
            Broken::Playable => "playable",
            Broken::Join => "join",
        }
    }
}

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// What the judge has to say of one note.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// The note as heard.
    pub heard: Heard,
    /// Its bar in the chorus, from 1; 0 and below before the first chorus.
    pub bar: i64,
    /// Its beat in the bar, from 1, in beats of the bar's meter.
    pub beat: f64,
    /// Its length in beats of the bar's meter.
    pub beats: f64,
    /// The note, spelled for the reader.
    pub pitch: Pitch,
    /// Which of the chorus's spans it starts in; none before the first chorus and in the ending.
    pub span: Option<usize>,
    /// The chord symbol of that span as written; empty before the first chorus.
    pub chord: String,
    /// Where it stands above the chord's root, if there is one.
    pub degree: Option<Degree>,
    /// The part it plays, if it plays any.
    pub role: Option<Role>,
    /// The approach it makes besides, if it also spells the chord.
    pub approach: Option<Role>,
    /// Strength of its beat; off the beat it is weak.
    pub strength: Strength,
    /// Rules that it breaks, in the order of the design.
    pub broken: Vec<Broken>,
    /// The deliberate device that explains it.
    pub device: Option<Device>,
    /// What a teacher would say about it.
    pub why: String,
    /// What would mend it, if it breaks a rule and a line goes through without it.
    pub mend: Option<Mend>,
}

impl Verdict {
    /// Whether the note stands as it is: no rule is broken, or a device explains it.
    pub fn stands(&self) -> bool {
        self.broken.is_empty() || self.device.is_some()
    }
}

/// Judges lines over one chart.
#[derive(Clone, Debug)]
pub struct Judge {
    ground: Ground,
    range: (u8, u8),
    hand: Option<Hand>,
}

/// A line that was judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// One verdict a note, in order.
    pub verdicts: Vec<Verdict>,
    /// What the line keeps and how it moves, in figures.
    pub figures: Figures,
}

impl Judge {
    /// A judge of lines over this chart, as understood, on an instrument from the lowest to the highest
    /// MIDI key.
    pub fn new(chorus: Chorus, understood: &[Understood], range: (u8, u8)) -> Judge {
        Judge {
            ground: Ground::new(chorus, understood),
            range,
            hand: None,
        }
    }

    /// The same judge of lines that nobody has played yet: this hand has to come to each note in time.
    pub fn with_hand(self, hand: Hand) -> Judge {
        Judge {
            hand: Some(hand),
            ..self
        }
    }

    /// The rules that each note of a line of so many choruses breaks, without parts, words and mends.
    pub fn broken(&self, heard: &[Heard], choruses: u32) -> Vec<Vec<Broken>> {
        rules::broken(&Line::new(self, heard, choruses))
    }

    /// Judges a line of so many choruses; its notes are in order of time.
    pub fn judge(&self, heard: &[Heard], choruses: u32) -> Judgement {
        let line = Line::new(self, heard, choruses);
        let broken = rules::broken(&line);
        let devices = devices::find(&line, &broken);
        let mut verdicts: Vec<Verdict> = Vec::with_capacity(heard.len());
        for (index, (broken, device)) in broken.into_iter().zip(devices).enumerate() {
            let mut verdict = part::verdict(&line, index, broken, device);
            verdict.why = words::why(&line, index, &verdict);
            verdicts.push(verdict);
        }
        let figures = figures::of(&line, &verdicts);
        Judgement { verdicts, figures }
    }
}

/// A line under judgement: its notes and where each stands.
struct Line<'a> {
    ground: &'a Ground,
    range: (u8, u8),
    hand: Option<Hand>,
    heard: &'a [Heard],
    stands: Vec<Stand>,
    choruses: u32,
}

impl<'a> Line<'a> {
    fn new(judge: &'a Judge, heard: &'a [Heard], choruses: u32) -> Line<'a> {
        let stands = heard
            .iter()
            .map(|note| judge.ground.stand(note, choruses))
            .collect();
        Line {
            ground: &judge.ground,
            range: judge.range,
            hand: judge.hand,
            heard,
            stands,
            choruses,
        }
    }

    fn key(&self, index: usize) -> i16 {
        i16::from(self.heard[index].key)
    }

    fn chroma(&self, index: usize) -> u8 {
        self.heard[index].key % 12
    }
}

#[cfg(test)]
mod tests;
