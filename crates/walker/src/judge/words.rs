//! The part that a heard note plays, and what a teacher would say of it.

use super::{Device, Grade, Verdict, grade, played::Played};
use crate::{
    line::{
        parts::{Before, Goal, Neighbours, Part},
        spelling::{self, Naming, pitch_of_key},
    },
    role::Role,
    rules::{Fault, Onset, Within, seam},
};
use endpin_theory::{Degree, NoteName, Pitch, Strength, Ticks};
use std::ops::Range;

/// The verdicts on some notes, without mends, given the numbers of the rules that each breaks and the device
/// that explains it.
pub(super) fn verdicts(
    line: &Played<'_>,
    notes: Range<usize>,
    mut found: impl FnMut(usize) -> (Vec<usize>, Option<Device>),
) -> Vec<Verdict> {
    let mut verdicts: Vec<Verdict> = Vec::with_capacity(notes.len());
    // From the last note to the first: the name of a note may follow from that of its goal.
    let (mut goal, mut after): (Option<Goal>, Option<Goal>) = (None, None);
    for note in notes.rev() {
        let (rules, device) = found(note);
        let next = goal.filter(|next| next.key == line.heard[note].key && line.same_chord(note));
        let heard = Note {
            repeated: next.map(|next| next.name),
            ..Note::new(line, note, goal, after)
        };
        let grade = grade::of(line, note, &rules, device.as_ref());
        let mut verdict = heard.verdict(line.judge.names(&rules), device, grade);
        if !rules.is_empty() {
            verdict.why = heard.faults(&verdict, &rules);
        }
        let onset = &line.place(note).onset;
        after = goal;
        goal = Some(Goal {
            key: line.heard[note].key,
            name: verdict.pitch.name(),
            arrival: onset.arrival,
            stressed: onset.stressed,
        });
        verdicts.push(verdict);
    }
    verdicts.reverse();
    verdicts
}

/// A note of a line, with what follows it.
struct Note<'a> {
    line: &'a Played<'a>,
    number: usize,
    /// Its onset as words know it: off the beat, whatever the grid.
    onset: Onset,
    goal: Option<Goal>,
    after: Option<Goal>,
    /// The name of the note that follows, if it is the same over the same chord.
    repeated: Option<NoteName>,
}

impl<'a> Note<'a> {
    fn new(
        line: &'a Played<'a>,
        number: usize,
        goal: Option<Goal>,
        after: Option<Goal>,
    ) -> Note<'a> {
        let onset = line.place(number).onset.clone();
        let within = match onset.within {
            Within::Beat if !line.stands[number].on_beat() => Within::Eighth,
            within => within,
        };
        Note {
            onset: Onset { within, ..onset },
            goal: goal_of(line, number, goal),
            line,
            number,
            after,
            repeated: None,
        }
    }

    /// The note among its neighbours, if a chord sounds.
    fn neighbours(&self) -> Option<Neighbours<'_>> {
        let needs_another = |note: usize| {
            let (onset, key) = (&self.line.place(note).onset, self.line.heard[note].key);
            !onset.stressed && !onset.scale.contains(key) && !onset.is_bass(key)
        };
        let before = self.number.checked_sub(1);
        Some(Neighbours {
            key: self.line.heard[self.number].key,
            onset: &self.onset,
            harmony: self.line.harmony(self.number)?,
            strength: self.line.stands[self.number].strength,
            before: before.map(|before| Before {
                key: self.line.heard[before].key,
                onset: &self.line.place(before).onset,
            }),
            goal: self.goal,
            second_next: self.after,
            repeated: self.repeated,
            // A listener hears two notes as one approach only if the first needs the second.
            begins_pair: needs_another(self.number),
            ends_pair: before.is_some_and(needs_another),
        })
    }

    fn verdict(&self, broken: Vec<&'static str>, device: Option<Device>, grade: Grade) -> Verdict {
        let line = self.line;
        let (stand, heard) = (&line.stands[self.number], line.heard[self.number]);
        let neighbours = self.neighbours();
        let part = match &neighbours {
            Some(neighbours) => neighbours.part(),
            None => self.part_outside(),
        };
        let pitch = spelling::at(part.name, heard.key);
        let degree = match &neighbours {
            Some(neighbours) => Some(neighbours.harmony.degree(heard.key, pitch.name())),
            None => stand
                .after_the_end
                .then(|| Degree::of(line.judge.home, pitch.name())),
        };
        let beats = |ticks: Ticks| ticks.0 as f64 / stand.beat_length.0 as f64;
        let chord = self.symbol();
        let why = match (&neighbours, stand.span) {
            (Some(neighbours), _) => neighbours.why(&part, pitch.name()),
            (None, Some(_)) => "a fill while the band is silent".to_owned(),
            (None, None) if !stand.after_the_end => "before the first chorus".to_owned(),
            (None, None) if part.role.is_some() => format!("home: the root of {chord}"),
            (None, None) => "after the end".to_owned(),
        };
        Verdict {
            heard,
            bar: stand.bar,
            beat: beats(stand.in_bar) + 1.0,
            beats: beats(heard.length),
            pitch,
            span: stand.span,
            chord,
            degree,
            role: part.role,
            approach: part.approach,
            strength: stand.strength,
            broken,
            device,
            grade,
            why,
            mend: None,
        }
    }

    /// The part of a note over which no chord sounds: home at the end, or none.
    fn part_outside(&self) -> Part {
        let (key, home) = (self.line.heard[self.number].key, self.line.judge.home);
        let is_home = self.line.stands[self.number].after_the_end && key % 12 == home.chroma();
        Part {
            role: is_home.then_some(Role::Root),
            approach: None,
            name: match is_home {
                true => self.naming().tone(home),
                false => pitch_of_key(key).name(),
            },
            ghost: false,
        }
    }

    fn naming(&self) -> Naming {
        self.line.judge.layout.harmonies[0].naming
    }

    /// The chord symbol over the note; the chord to come home to over the ending.
    fn symbol(&self) -> String {
        let stand = &self.line.stands[self.number];
        let chorus = &self.line.judge.chorus;
        match (stand.span, stand.after_the_end) {
            (Some(span), _) => chorus.spans[span].symbol.clone(),
            (None, true) => match chorus.home_chord() {
                Some(_) => chorus.spans[0].symbol.clone(),
                None => self.line.judge.home.to_string(),
            },
            (None, false) => String::new(),
        }
    }

    /// What the rules say that it breaks, and the device that explains it.
    fn faults(&self, verdict: &Verdict, rules: &[usize]) -> String {
        let fault = self.fault(verdict);
        let rules = rules.iter().map(|&rule| &self.line.judge.rules[rule]);
        let mut said: Vec<String> = Vec::new();
        said.extend(
            verdict
                .device
                .iter()
                .map(|device| device.words().to_owned()),
        );
        said.extend(
            rules
                .filter(|rule| !rule.is_said_with(&verdict.broken))
                .map(|rule| rule.fault(&fault)),
        );
        said.join("; ")
    }

    fn fault<'b>(&self, verdict: &'b Verdict) -> Fault<'b> {
        let line = self.line;
        let (place, key) = (line.place(self.number), verdict.heard.key);
        let harmony = line.harmony(self.number);
        let bass = harmony.and_then(|harmony| Some(harmony.chord.as_ref()?.bass()));
        let arrives = bass.or(place.ending.then_some(line.judge.home));
        let arrives = arrives.filter(|bass| place.onset.arrival && bass.chroma() != key % 12);
        let arrives = arrives.map(|bass| self.naming().tone(bass));
        let under = line.under(self.number).filter(|place| place.onset.stressed);
        let under = under.filter_map(|place| Some((place, line.harmony_at(place)?)));
        let under: Vec<_> = under.collect();
        let tones = harmony.or(under.first().map(|(_, harmony)| *harmony));
        let held_over = under
            .into_iter()
            .find(|(place, _)| place.onset.arrival && !place.onset.is_bass(key));
        let name = verdict.pitch.name();
        let before = self.number.checked_sub(1);
        let (lowest, highest) = line.judge.range;
        Fault {
            note: verdict.pitch,
            is: match verdict.degree {
                Some(degree) => format!("{name} is {} of {}", degree_words(degree), verdict.chord),
                None => name.to_string(),
            },
            chord: &verdict.chord,
            tones: one_of(
                tones
                    .iter()
                    .flat_map(|harmony| &harmony.tones)
                    .map(|tone| self.naming().tone(tone.name)),
            ),
            beat: beat_words(verdict.strength),
            arrives,
            held_over: held_over.and_then(|(_, harmony)| {
                let chord = harmony.chord.as_ref()?;
                Some((chord.to_string(), self.naming().tone(chord.bass())))
            }),
            coming: line.coming(self.number),
            seam: self.seam(),
            moved: before.map_or(0, |before| line.key(self.number) - line.key(before)),
            outside: (!(lowest..=highest).contains(&key))
                .then(|| (pitch_of_key(lowest), pitch_of_key(highest))),
            keeps_bass: bass
                .filter(|_| place.onset.keeps_bass)
                .map(|bass| self.naming().tone(bass)),
            withheld: place.onset.withheld.contains(key),
            ending: place.ending,
        }
    }

    /// The highest note that the bass may play over its chord.
    fn seam(&self) -> Option<Pitch> {
        let line = self.line;
        let harmony = line.harmony(self.number)?;
        let here = |&note: &usize| {
            let (stand, this) = (&line.stands[note], &line.stands[self.number]);
            stand.span == this.span && line.heard[note].chorus == line.heard[self.number].chorus
        };
        let before = (0..self.number).rev().take_while(here);
        let after = (self.number..line.heard.len()).take_while(here);
        let first = before.last().unwrap_or(self.number);
        let notes = (first..self.number).chain(after);
        let key = seam(&self.onset, notes.map(|note| line.heard[note].key))?;
        Some(spelling::at(harmony.name(key, None), key))
    }
}

/// The note to which another leads: what follows, or the root that should.
fn goal_of(line: &Played<'_>, number: usize, next: Option<Goal>) -> Option<Goal> {
    let Some(coming) = line.coming(number) else {
        return next;
    };
    if next.is_some_and(|next| next.arrival && next.key % 12 == coming.chroma()) {
        return next;
    }
    let ahead = [1, -1, 2, -2, 5, -7].into_iter();
    let mut keys = ahead.filter_map(|ahead| line.heard[number].key.checked_add_signed(ahead));
    let key = keys.find(|key| key % 12 == coming.chroma())?;
    Some(Goal {
        key,
        name: coming,
        arrival: true,
        stressed: true,
    })
}

/// Words for a strength, as in "on a strong beat".
fn beat_words(strength: Strength) -> &'static str {
    match strength {
        Strength::Strong => "a strong beat",
        Strength::Medium => "a medium beat, which counts as strong",
        Strength::Weak => "a weak beat",
    }
}

/// Chord tones, as "F, A, C or Eb".
fn one_of(tones: impl Iterator<Item = NoteName>) -> String {
    let names: Vec<String> = tones.map(|name| name.to_string()).collect();
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => names.concat(),
    }
}

/// A degree as musicians say it: the second of a chord is its ninth, and a root is never sharp.
fn degree_words(degree: Degree) -> String {
    let name = match degree.number() {
        1 => "root",
        2 => "ninth",
        3 => "third",
        4 => "eleventh",
        5 => "fifth",
        6 => "thirteenth",
        _ => "seventh",
    };
    let quality = match (degree.number(), degree.alteration()) {
        (3 | 7, 0) => "major ",
        (3 | 7, -1) => "minor ",
        (7, -2) => "diminished ",
        (_, 0) => "",
        (1 | 3 | 7, up) if up > 0 => return format!("a half step above the {name}"),
        (1, _) => return format!("a half step below the {name}"),
        (_, down) if down < 0 => "flat ",
        _ => "sharp ",
    };
    format!("the {quality}{name}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_root_is_sharp() {
        let said = |number, alteration| degree_words(Degree::new(number, alteration));
        assert_eq!(said(1, 1), "a half step above the root");
        assert_eq!(said(3, -1), "the minor third");
        assert_eq!(said(4, 1), "the sharp eleventh");
    }
}
