//! The part that a note plays among its neighbours: role, approach, name and reason, of lines that are made as
//! of lines that are heard.

use super::{layout::Harmony, spelling::Towards};
use crate::{
    role::Role,
    rules::{Leads, Liberty, Onset, Within, is_double_chromatic, is_enclosure},
};
use endpin_theory::{NoteName, Strength};

/// What a note leads to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Goal {
    pub key: u8,
    pub name: NoteName,
    pub arrival: bool,
    pub stressed: bool,
}

/// The note before another.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Before<'a> {
    pub key: u8,
    pub onset: &'a Onset,
}

/// One note over a chord, among its neighbours.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Neighbours<'a> {
    pub key: u8,
    pub onset: &'a Onset,
    pub harmony: &'a Harmony,
    pub strength: Strength,
    pub before: Option<Before<'a>>,
    /// The note that follows.
    pub goal: Option<Goal>,
    /// The note after that.
    pub second_next: Option<Goal>,
    /// The name of the note that follows, if it is the same over the same chord.
    pub repeated: Option<NoteName>,
    /// Whether it may be the first of two notes that approach together.
    pub begins_pair: bool,
    /// Whether it may be the second.
    pub ends_pair: bool,
}

/// What a note is.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Part {
    /// None for what neither belongs nor leads.
    pub role: Option<Role>,
    /// The approach besides.
    pub approach: Option<Role>,
    pub name: NoteName,
    /// Whether it only repeats the note before, between the beats.
    pub ghost: bool,
}

impl Neighbours<'_> {
    /// Role, approach besides, and name.
    pub fn part(&self) -> Part {
        let approach = self.approach();
        let chroma = self.key % 12;
        let slash = self.harmony.chord.as_ref().and_then(|chord| chord.slash());
        let slash = slash.filter(|bass| bass.chroma() == chroma);
        let part = |role, approach, name| Part {
            role,
            approach,
            name,
            ghost: self.onset.within == Within::Eighth
                && !self.onset.full
                && self.before.is_some_and(|before| before.key == self.key),
        };
        let name = self.name();
        let mut tones = self.harmony.tones.iter();
        if let Some(tone) = tones.find(|tone| tone.name.chroma() == chroma) {
            return part(Some(tone.part.into()), approach, name);
        }
        if slash.is_some() {
            return part(Some(Role::Bass), approach, name);
        }
        let scale = self.harmony.scale.iter();
        let in_scale = scale
            .flat_map(|scale| scale.notes())
            .any(|name| name.chroma() == chroma);
        let leads = self.onset.leads != Leads::Nowhere;
        match approach {
            Some(_) if leads => part(approach, None, name),
            _ if in_scale => part(Some(Role::Scale), None, name),
            _ => part(approach, None, name),
        }
    }

    /// The name: by the note to which it leads; the same as long as it is repeated.
    fn name(&self) -> NoteName {
        let towards = self.towards();
        let repeated = self.repeated;
        repeated.unwrap_or_else(|| self.harmony.name(self.key, towards))
    }

    /// What it leads to: the note that follows, or the one after, which both of them surround or approach
    /// by half steps.
    fn towards(&self) -> Option<Towards> {
        let goal = self.goal?;
        let this = i16::from(self.key);
        let beyond = self.second_next.filter(|beyond| {
            let first = i16::from(goal.key) - this;
            let second = i16::from(beyond.key) - i16::from(goal.key);
            let together = is_double_chromatic(first, second) || is_enclosure(first, second);
            !goal.stressed && beyond.stressed && together
        });
        let goal = beyond.unwrap_or(goal);
        Some((goal.key, goal.name))
    }

    /// The approach that the note makes into what follows, if any.
    fn approach(&self) -> Option<Role> {
        let goal = self.goal?;
        self.pair().or_else(|| {
            if !goal.stressed || (self.onset.stressed && !goal.arrival) {
                return None;
            }
            let distance = i16::from(self.key) - i16::from(goal.key);
            Role::single_approach(distance, goal.arrival)
        })
    }

    /// The two-note approach to which the note belongs.
    fn pair(&self) -> Option<Role> {
        let goal = self.goal?;
        let this = i16::from(self.key);
        let before = self.before.filter(|_| self.ends_pair);
        let as_second = before.and_then(|before| {
            let fits = goal.stressed && !self.onset.stressed && !before.onset.arrival;
            fits.then(|| (this - i16::from(before.key), i16::from(goal.key) - this))
        });
        let second_next = self.second_next.filter(|_| self.begins_pair);
        let as_first = second_next.and_then(|second_next| {
            let fits = second_next.stressed && !goal.stressed && !self.onset.arrival;
            let to_goal = i16::from(goal.key) - this;
            fits.then(|| (to_goal, i16::from(second_next.key) - i16::from(goal.key)))
        });
        let mut ways = [as_second, as_first].into_iter().flatten();
        ways.find_map(|(first, second)| {
            if is_double_chromatic(first, second) {
                Some(Role::DoubleChromatic)
            } else {
                is_enclosure(first, second).then_some(Role::Enclosure)
            }
        })
    }

    /// The liberty that the note takes, if it takes one.
    pub fn liberty(&self, part: &Part) -> Option<Liberty> {
        let onset = self.onset;
        let takes = |liberty| match liberty {
            Liberty::Inverted => onset.arrival && !onset.is_bass(self.key),
            Liberty::Passing | Liberty::Leaning => {
                let around = self.before.zip(self.goal);
                let passes = around.is_some_and(|(before, goal)| {
                    let step = self.key.abs_diff(before.key) <= 2;
                    let may = onset.loose.allow(Liberty::Passing) && onset.scale.contains(self.key);
                    may && step && between(before.key, self.key, goal.key)
                });
                let stands = onset.arrival || onset.spells(self.key);
                onset.stressed && !stands && passes == (liberty == Liberty::Passing)
            }
            Liberty::Unannounced => {
                let change = self.goal.filter(|goal| goal.arrival);
                let stays = change.filter(|goal| {
                    let distance = i16::from(self.key) - i16::from(goal.key);
                    Role::single_approach(distance, true).is_none()
                });
                let role = part.role;
                onset.leads != Leads::Nowhere
                    && stays.is_some()
                    && !role.is_some_and(Role::is_approach)
            }
            Liberty::Repeated => {
                let before = self.before.map(|before| before.key);
                let after = self.goal.map(|goal| goal.key);
                onset.within == Within::Beat && before == Some(self.key) && after == Some(self.key)
            }
        };
        let mut all = Liberty::ALL.into_iter();
        all.find(|&liberty| onset.loose.allow(liberty) && takes(liberty))
    }

    /// The note that follows, or the one after if only that is on a strong beat.
    fn stressed_goal(&self) -> Option<Goal> {
        match (self.goal, self.second_next) {
            (Some(goal), Some(second_next)) if !goal.stressed => Some(second_next),
            (goal, _) => goal,
        }
    }

    /// The reason for a note of this part and name, in words for a student.
    pub fn why(&self, part: &Part, name: NoteName) -> String {
        let onset = self.onset;
        let chord = &self.harmony.symbol;
        if part.ghost {
            return format!("ghost of the {name} just played: rhythm, not harmony");
        }
        let falls = matches!(onset.within, Within::SecondTriplet | Within::ThirdTriplet);
        let stands = match () {
            () if onset.arrival => format!("on the arrival of {chord}"),
            () if falls => format!("of {chord}, in a falling triplet"),
            () if onset.within != Within::Beat => format!("of {chord}, between the beats"),
            () if self.strength == Strength::Weak => format!("of {chord} on a weak beat"),
            () => format!("of {chord} on a strong beat"),
        };
        let root = self.harmony.chord.as_ref().map(|chord| chord.root());
        let is_held = onset.is_bass(self.key) && onset.root == onset.bass;
        if is_held && root.is_some_and(|root| root.chroma() != onset.root) {
            return format!("{name}, held through the changes: the pedal, below {chord}");
        }
        match (part.role, part.approach) {
            (Some(Role::Bass), _) if onset.arrival => {
                format!("the bass note written in {chord}, on its arrival")
            }
            (Some(Role::Bass), _) => format!("the bass note written in {chord}"),
            (Some(Role::Scale), _) => {
                let scale = self.harmony.scale;
                let scale = scale.map_or_else(String::new, |scale| scale.to_string());
                match (self.before, self.goal) {
                    (Some(before), Some(goal)) if between(before.key, self.key, goal.key) => {
                        format!("scale note passing on to {} ({scale})", goal.name)
                    }
                    _ => format!("scale note of {chord} ({scale})"),
                }
            }
            (Some(role), _) if role.is_approach() => self.leading(role),
            (Some(role), None) => format!("{role} {stands}"),
            (Some(role), Some(approach)) => {
                format!("{role} {stands}; also {}", self.leading(approach))
            }
            (None, _) => format!("leads on from {chord}"),
        }
    }

    fn leading(&self, role: Role) -> String {
        let goal = self.goal.map(|goal| goal.name);
        let pair_goal = |before: &str| {
            let goal = self.stressed_goal();
            goal.map_or_else(String::new, |goal| format!("{before} {}", goal.name))
        };
        match (goal, role) {
            (Some(goal), Role::ChromaticBelow) => {
                format!("a semitone below {goal}, leading up into it")
            }
            (Some(goal), Role::ChromaticAbove) => {
                format!("a semitone above {goal}, leading down into it")
            }
            (Some(goal), Role::ScaleBelow) => {
                format!("a whole step below {goal}, leading up into it")
            }
            (Some(goal), Role::ScaleAbove) => {
                format!("a whole step above {goal}, leading down into it")
            }
            (Some(goal), Role::Dominant) => format!("the dominant of {goal}, which follows"),
            (_, Role::DoubleChromatic) => {
                format!("one of two semitone steps{}", pair_goal(" into"))
            }
            (_, Role::Enclosure) => {
                format!(
                    "one of two notes that surround{} before it sounds",
                    pair_goal("")
                )
            }
            _ => format!("leads on from {}", self.harmony.symbol),
        }
    }
}

fn between(before: u8, key: u8, after: u8) -> bool {
    (before < key && key < after) || (before > key && key > after)
}
