//! The rules that no line of the walker breaks, one file each.
//!
//! A rule reads a line note by note, as a teacher listens: it knows the onset of the coming note, the note
//! that sounded last and what it chose to remember, and it answers with what to remember from here on, or
//! says no. It is stated once: the lattice runs all rules side by side to find the lines, the judge runs each
//! of them over a line that was played, and whoever says what is in the way asks them by name.
//!
//! They are common practice of jazz bass teaching, without a single source.

mod approach;
mod arrival_root;
mod between_beats;
mod in_time;
pub mod liberties;
pub mod onset;
pub mod planting;
mod playable;
mod root_to_seventh;
pub mod shares;
mod strong_beats;
mod weak_beats;

pub(crate) use in_time::InTime;
pub use liberties::{Chances, Liberties, Liberty};
pub use onset::{Beat, Chromas, Ground, Keys, Leads, Onset, Sound, Vocabulary, Within};
pub use planting::Spot;
pub use root_to_seventh::seam;
pub use shares::{Loose, Shares};
pub(crate) use weak_beats::{is_double_chromatic, is_enclosure};

use crate::{judge::Device, options::Level};
use endpin_theory::{NoteName, Pitch};
use std::sync::Arc;

/// What a rule keeps in mind between two onsets; 0 at the start.
pub type Memory = u32;

/// One step of a line: the coming onset, the note before, and the note that starts there, if one does.
#[derive(Clone, Copy, Debug)]
pub struct Step<'a> {
    /// The coming onset.
    pub onset: &'a Onset,
    /// MIDI key of the last note that started; none at the start of a line.
    pub from: Option<u8>,
    /// MIDI key of the note that starts here; none if nothing does.
    pub to: Option<u8>,
}

impl Step<'_> {
    /// Semitones from the note before to the coming one, upwards positive.
    pub fn distance(&self) -> Option<i16> {
        Some(i16::from(self.to?) - i16::from(self.from?))
    }
}

/// A rule of the line.
///
/// Unless it says that it [reads keys](Rule::reads_keys), a rule may look at notes only against one another
/// and against the root of the chord, so that a line transposed with its chart is read alike; what varies
/// along the form ([`Onset::centre`], [`Onset::busy`], [`Onset::ground`]) it never looks at. The keys to choose from
/// ([`Onset::keys`]) are always obeyed.
pub trait Rule: std::fmt::Debug + Send + Sync {
    /// Its name in every output; rules that are parts of one share a name.
    fn name(&self) -> &'static str;

    /// What it asks and why, in words for a student.
    fn words(&self) -> &'static str;

    /// How many bits it remembers.
    fn memory_bits(&self) -> u32 {
        0
    }

    /// Whether it needs to know more of a note than where it lies against the note before and its chord.
    fn reads_keys(&self) -> bool {
        false
    }

    /// The widest move, in semitones, that it lets pass.
    fn widest_move(&self) -> u8 {
        u8::MAX
    }

    /// Whether a note may start here, whatever came before.
    fn admits(&self, _onset: &Onset, _key: u8) -> bool {
        true
    }

    /// Takes one step with a note that it [admits](Rule::admits), or with none: what to remember from here
    /// on, or `None` if the step breaks the rule.
    fn read(&self, memory: Memory, _step: &Step<'_>) -> Option<Memory> {
        Some(memory)
    }

    /// Of a step that it lets pass: the liberties that have a place here, and those that it takes. Of each
    /// liberty one rule tells, once for each of its places.
    fn chances(&self, _memory: Memory, _step: &Step<'_>) -> Chances {
        Chances::default()
    }

    /// Whether, with this in mind, something has still to come: if it does not, the note that made the
    /// promise is at fault, not the one that breaks it.
    fn owes(&self, _memory: Memory) -> bool {
        false
    }

    /// What a teacher would say of a note that breaks it.
    fn fault(&self, _fault: &Fault<'_>) -> String {
        self.words().to_owned()
    }

    /// Whether a fault of it needs no words of its own beside those of the others that the note breaks.
    fn is_said_with(&self, _broken: &[&str]) -> bool {
        false
    }

    /// Whether this key, played at a spot of a good line, breaks this rule and no other: how many notes later
    /// the fault is heard, 0 for the note itself. None if it does not, or goes wrong in other ways too.
    fn plant(&self, _spot: &Spot<'_>, _key: u8) -> Option<usize> {
        None
    }

    /// Whether a fault of it is heard as a wrong note, if the note is from outside chord and scale.
    fn is_about_harmony(&self) -> bool {
        true
    }

    /// Whether a deliberate device is reason enough to break it.
    fn is_excused_by(&self, _device: &Device) -> bool {
        true
    }
}

/// A note that breaks a rule, as far as there are words for it.
#[derive(Clone, Debug)]
pub struct Fault<'a> {
    /// The note.
    pub note: Pitch,
    /// What it is, such as "A is the thirteenth of Cm7".
    pub is: String,
    /// The symbol of the chord that sounds.
    pub chord: &'a str,
    /// The tones that spell it, such as "F, A, C or Eb".
    pub tones: String,
    /// Its beat, such as "a strong beat".
    pub beat: &'static str,
    /// The note that the room listens for, if a chord arrives here.
    pub arrives: Option<NoteName>,
    /// The chord that arrives while the note is held, and the note on which it does.
    pub held_over: Option<(String, NoteName)>,
    /// The note on which the next chord arrives.
    pub coming: Option<NoteName>,
    /// The highest note that the bass may play over this chord.
    pub seam: Option<Pitch>,
    /// Semitones from the note before, upwards positive.
    pub moved: i16,
    /// Lowest and highest note of the instrument, if this one lies outside.
    pub outside: Option<(Pitch, Pitch)>,
    /// The written bass that strong beats keep, where it makes a suspended chord.
    pub keeps_bass: Option<NoteName>,
    /// Whether it is the third that a suspended chord leaves open.
    pub withheld: bool,
    /// Whether it ends the line.
    pub ending: bool,
}

impl Fault<'_> {
    /// Of a note that does not lead into the coming root; `what` wants it to.
    pub(crate) fn leads_nowhere(&self, what: &str) -> String {
        let coming = self
            .coming
            .map_or_else(String::new, |root| root.to_string());
        format!(
            "{} and does not lead into {coming}: {what} wants a note a semitone or a whole step from \
             {coming}, or its dominant",
            self.is
        )
    }
}

/// What decides which rules hold, and how much they let pass.
#[derive(Clone, Copy, Debug)]
pub struct Conditions<'a> {
    /// The teacher's ladder.
    pub level: Level,
    /// The rule of the hand, where it is in a hurry.
    pub(crate) in_time: Option<&'a InTime>,
}

impl Conditions<'_> {
    /// A level, with all the time that the hand needs.
    pub fn of(level: Level) -> Self {
        Conditions {
            level,
            in_time: None,
        }
    }
}

/// Makes a rule for a level, or says that it does not hold there.
type Entry = fn(Conditions<'_>) -> Option<Arc<dyn Rule>>;

/// Every rule, in the order in which outputs list them.
const REGISTRY: [Entry; 9] = [
    arrival_root::rule,
    strong_beats::rule,
    weak_beats::rule,
    between_beats::rule,
    approach::change,
    root_to_seventh::rule,
    playable::rule,
    in_time::rule,
    approach::join,
];

/// The rules that hold under these conditions, in the order in which outputs list them.
pub fn rules(conditions: Conditions<'_>) -> Vec<Arc<dyn Rule>> {
    REGISTRY
        .iter()
        .filter_map(|rule| rule(conditions))
        .collect()
}

/// The name of every rule, in the order in which outputs list them.
pub fn names() -> Vec<&'static str> {
    let mut names = Vec::new();
    for rule in rules(Conditions::of(Level::TOP)) {
        if !names.contains(&rule.name()) {
            names.push(rule.name());
        }
    }
    names
}
