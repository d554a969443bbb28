//! The rules of the line turned on a line that somebody played.
//!
//! The judge hears notes over a chart and says of each which rules it breaks, what part it plays, and what
//! deliberate device would explain it. The rules are those by which lines are made, each read by itself over
//! the whole line ([`crate::rules`]); what starts off the grid is read as a weak beat of its chord.
//!
//! One fault is reported once, at the note that makes it. An approach into a note that is wrong itself is
//! judged by what it could have led into, and a wrong root by the root that was meant.

mod devices;
mod faults;
mod figures;
mod grade;
mod mend;
mod played;
mod words;

pub use devices::Device;
pub use figures::{Figures, Kept};
pub use grade::Grade;
pub use mend::Mend;

use crate::{
    instrument::Hand,
    line::{
        LineNote,
        feels::arrives_on,
        layout::Layout,
        walker::{Grammars, WalkError, layouts},
    },
    options::{self, Level, Options},
    plan::{Development, Plan},
    role::Role,
    rules::{Conditions, InTime, Rule, rules},
};
use endpin_theory::{
    Degree, NoteName, Pitch, Spelling, Strength, Ticks, analysis::Understood, chart::Chorus,
    chord::Chord,
};
use played::Played;
use std::sync::Arc;

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

impl From<&LineNote> for Heard {
    /// A note played as it was written.
    fn from(note: &LineNote) -> Heard {
        Heard {
            chorus: note.chorus,
            start: note.start,
            length: note.length,
            key: note.pitch.midi() as u8,
        }
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
    /// Names of the rules that it breaks, in the order in which outputs list them.
    pub broken: Vec<&'static str>,
    /// The deliberate device that explains it.
    pub device: Option<Device>,
    /// How it stands before a listener.
    pub grade: Grade,
    /// What a teacher would say about it.
    pub why: String,
    /// What would mend it, if it breaks a rule and a line goes through without it.
    pub mend: Option<Mend>,
}

impl Verdict {
    /// Whether the note stands as it is: no rule is broken, or a device explains it.
    pub fn stands(&self) -> bool {
        self.grade <= Grade::Choice
    }
}

/// Judges lines over one chart.
#[derive(Clone, Debug)]
pub struct Judge {
    chorus: Chorus,
    /// The name of the root to end on.
    home: NoteName,
    layout: Layout,
    rules: Vec<Arc<dyn Rule>>,
    range: (u8, u8),
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
    /// MIDI key: by the rules of the last level, in the feels of the chart, with or without a note on any beat.
    pub fn new(chorus: Chorus, understood: &[Understood], range: (u8, u8)) -> Judge {
        let development = Development::plain(Level::TOP);
        let options = Options {
            range,
            ..Options::default()
        };
        let next = arrives_on(&chorus, 0, development).map(NoteName::chroma);
        let layout = Layout::of(&chorus, understood, development, &options, next, true);
        let rules = rules(Conditions::of(Level::TOP));
        Judge::of(chorus, layout, rules, range)
    }

    /// A judge of first choruses as a walker makes them with these options, by rules of your own besides
    /// those of the level.
    ///
    /// # Errors
    /// Pins and rests that the chart does not have.
    pub fn as_asked(
        chorus: Chorus,
        options: &Options,
        own: Vec<Arc<dyn Rule>>,
    ) -> Result<Judge, WalkError> {
        let options = Options {
            arc: Some(options::Arc::Flat),
            ..options.clone()
        };
        let plan = Plan::of(chorus.clone(), &options);
        let (mut layouts, in_time) = layouts(&plan, &options)?;
        let rules = Grammars {
            tells_chances: false,
            in_time,
            own,
        }
        .rules(plan.turns()[0].development.level);
        Ok(Judge::of(
            chorus,
            layouts.swap_remove(0),
            rules,
            options.range,
        ))
    }

    fn of(chorus: Chorus, layout: Layout, rules: Vec<Arc<dyn Rule>>, range: (u8, u8)) -> Judge {
        Judge {
            home: chorus.home_chord().map_or(chorus.key.tonic, Chord::root),
            chorus,
            layout,
            rules,
            range,
        }
    }

    /// The same judge, naming notes for somebody else.
    pub fn spelled(mut self, spelling: Spelling) -> Judge {
        for harmony in &mut self.layout.harmonies {
            harmony.naming.spelling = spelling;
        }
        self
    }

    /// The same judge of lines whose last chorus leads to another root than home: to that of a tag.
    pub fn leading_to(mut self, root: NoteName) -> Judge {
        self.home = root;
        self
    }

    /// The same judge of lines that nobody has played yet: this hand has to come to each note in time.
    pub fn with_hand(mut self, hand: Hand) -> Judge {
        let layout = std::slice::from_ref(&self.layout);
        if let Some(rule) = InTime::needed(&hand, self.range, layout, |turn| turn) {
            self.rules.push(Arc::new(rule));
        }
        self
    }

    /// The rules that each note of a line of so many choruses breaks, in the order in which outputs list
    /// them, without parts, words and mends.
    pub fn broken(&self, heard: &[Heard], choruses: u32) -> Vec<Vec<&'static str>> {
        let line = Played::new(self, heard, choruses);
        let broken = faults::of(&line).into_iter();
        broken.map(|rules| self.names(&rules)).collect()
    }

    /// Judges a line of so many choruses; its notes are in order of time.
    pub fn judge(&self, heard: &[Heard], choruses: u32) -> Judgement {
        let line = Played::new(self, heard, choruses);
        let mut broken = faults::of(&line);
        let mut devices = devices::find(&line, &broken);
        let mut verdicts = words::verdicts(&line, 0..heard.len(), |note| {
            (std::mem::take(&mut broken[note]), devices[note].take())
        });
        mend::all(&line, &mut verdicts);
        let figures = figures::of(&line, &verdicts);
        Judgement { verdicts, figures }
    }

    /// The names of rules given by number, each once.
    fn names(&self, rules: &[usize]) -> Vec<&'static str> {
        let mut names: Vec<&'static str> = Vec::new();
        for &rule in rules {
            let name = self.rules[rule].name();
            if !names.contains(&name) {
                names.push(name);
            }
        }
        names
    }
}

#[cfg(test)]
mod tests;
