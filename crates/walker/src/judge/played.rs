//! A played line laid on the onsets of its chart: what each point of time asks for, and what sounds there.
//!
//! What starts off the grid gets an onset of its own, a weak one of the chord that sounds. Before the first
//! chorus, after the ending and while the band is silent every note belongs, and only the hand sets limits.

use super::{Heard, Judge};
use crate::{
    line::layout::{Harmony, Slot},
    rules::{Chromas, Keys, Leads, Liberties, Onset, Rule, Sound, Within},
};
use endpin_theory::{NoteName, Strength, Ticks};
use std::rc::Rc;

/// A line under judgement.
pub(super) struct Played<'a> {
    pub judge: &'a Judge,
    pub heard: &'a [Heard],
    pub places: Rc<[Place]>,
    /// One a note.
    pub stands: Rc<[Stand]>,
}

/// An onset of the line.
#[derive(Clone, Debug)]
pub(super) struct Place {
    pub onset: Onset,
    /// What would do as well: a last chorus leads home, or round again.
    pub or: Option<Onset>,
    pub time: Ticks,
    /// Number of the note that starts here.
    pub note: Option<usize>,
    /// Number of the last note that has started.
    pub last: Option<usize>,
    /// Whether nothing sounds where something could.
    pub left_out: bool,
    /// Whether it ends the line.
    pub ending: bool,
    /// Number of the span; none outside the choruses.
    pub span: Option<usize>,
}

impl Place {
    /// Whether a rule admits a key here.
    pub fn admits(&self, rule: &dyn Rule, key: u8) -> bool {
        self.onsets().any(|onset| rule.admits(onset, key))
    }

    /// The onset, and what would do as well.
    pub fn onsets(&self) -> impl Iterator<Item = &Onset> {
        [&self.onset].into_iter().chain(&self.or)
    }
}

/// Where a note stands.
#[derive(Clone, Debug)]
pub(super) struct Stand {
    /// From the start of the first chorus.
    pub time: Ticks,
    /// Bar of its chorus, from 1; 0 and below before the first chorus.
    pub bar: i64,
    pub in_bar: Ticks,
    pub beat_length: Ticks,
    pub strength: Strength,
    /// Number of the span; none outside the choruses.
    pub span: Option<usize>,
    /// After the last chorus.
    pub after_the_end: bool,
    /// Number of its place.
    pub place: usize,
}

impl Stand {
    pub fn on_beat(&self) -> bool {
        self.in_bar.0 % self.beat_length.0 == 0
    }
}

impl<'a> Played<'a> {
    /// Lays out a line of so many choruses.
    pub fn new(judge: &'a Judge, heard: &'a [Heard], choruses: u32) -> Played<'a> {
        let length = judge.chorus.length();
        let time = |note: &Heard| length * (i64::from(note.chorus) - 1) + note.start;
        let times: Vec<Ticks> = heard.iter().map(time).collect();
        let mut laying = Laying {
            judge,
            heard,
            places: Vec::new(),
            stands: Vec::with_capacity(heard.len()),
            run: 0,
            times: &times,
        };
        let turn = |time: &Ticks| time.0.div_euclid(length.0).clamp(0, choruses.into());
        let first = times.iter().map(turn).min().unwrap_or(0);
        // One more than was played: what was promised last has to be seen.
        let last = times.iter().map(turn).max().unwrap_or(0) + 2;
        for turn in first..last.min(choruses.into()) {
            let is_last = turn + 1 == i64::from(choruses);
            for slot in &judge.layout.slots {
                laying.lay_slot(slot, length * turn, is_last);
            }
            laying.lay_others_before(length * (turn + 1));
        }
        laying.lay_ending(length * i64::from(choruses));
        Played {
            places: laying.places.into(),
            stands: laying.stands.into(),
            judge,
            heard,
        }
    }

    /// The same line with other keys.
    pub fn with<'b>(&self, heard: &'b [Heard]) -> Played<'b>
    where
        'a: 'b,
    {
        Played {
            heard,
            places: self.places.clone(),
            stands: self.stands.clone(),
            ..*self
        }
    }

    pub fn key(&self, note: usize) -> i16 {
        i16::from(self.heard[note].key)
    }

    pub fn place(&self, note: usize) -> &Place {
        &self.places[self.stands[note].place]
    }

    /// What sounds over a note, unless it stands outside the choruses or the band is silent.
    pub fn harmony(&self, note: usize) -> Option<&'a Harmony> {
        self.harmony_at(self.place(note))
    }

    pub fn harmony_at(&self, place: &Place) -> Option<&'a Harmony> {
        let harmony = &self.judge.layout.harmonies[place.span?];
        harmony.chord.is_some().then_some(harmony)
    }

    /// Whether the note after it starts over the same chord of the same chorus.
    pub fn same_chord(&self, note: usize) -> bool {
        let span = |note: usize| Some((self.heard.get(note)?.chorus, self.stands.get(note)?.span));
        span(note) == span(note + 1)
    }

    /// The places over which a note is held.
    pub fn under(&self, note: usize) -> impl Iterator<Item = &Place> {
        let after = self.places[self.stands[note].place + 1..].iter();
        after.take_while(|place| place.note.is_none() && place.onset.sound == Sound::Held)
    }

    /// The name of the root that the last beat of a span leads into.
    pub fn coming(&self, note: usize) -> Option<NoteName> {
        let place = self.place(note);
        place.onset.coming?;
        let naming = self.judge.layout.harmonies[0].naming;
        let ends = self
            .stands
            .get(note + 1)
            .is_some_and(|next| next.after_the_end);
        let next = match place.onset.leads {
            Leads::IntoChorus if ends => return Some(naming.tone(self.judge.home)),
            Leads::IntoChorus => 0,
            _ => place.span? + 1,
        };
        let chord = self.judge.layout.harmonies.get(next)?.chord.as_ref()?;
        Some(naming.tone(chord.bass()))
    }
}

struct Laying<'a> {
    judge: &'a Judge,
    heard: &'a [Heard],
    /// When each note starts.
    times: &'a [Ticks],
    places: Vec<Place>,
    /// One for each note that was laid.
    stands: Vec<Stand>,
    /// Notes on the grid since an onset was left without one.
    run: usize,
}

impl Laying<'_> {
    /// An onset of the chart, and before it what starts between the last one and this.
    fn lay_slot(&mut self, slot: &Slot, chorus: Ticks, is_last: bool) {
        let time = chorus + slot.start;
        self.lay_others_before(time);
        let silent = slot.onset.sound == Sound::Rest;
        let note = self.next().filter(|&(_, at)| at == time && !silent);
        let held = self.stands.last().is_some_and(|stand| {
            let length = self.heard[self.stands.len() - 1].length;
            stand.time < time && stand.time + length > time
        });
        let sound = match (note, silent, held) {
            (Some(_), ..) => Sound::Note,
            (None, false, true) => Sound::Held,
            _ => Sound::Rest,
        };
        let onset = Onset {
            sound,
            no_triple: slot.onset.no_triple && self.run >= 2,
            ..slot.onset.clone()
        };
        let home = self.judge.home.chroma();
        let leads = is_last && onset.leads == Leads::IntoChorus && onset.coming != Some(home);
        self.run = match (note, slot.onset.sound) {
            (Some(_), _) => self.run + 1,
            (None, Sound::Note) => 0,
            _ => self.run,
        };
        self.places.push(Place {
            or: leads.then(|| Onset {
                coming: Some(home),
                ..onset.clone()
            }),
            left_out: sound == Sound::Rest && !silent,
            ..self.place(onset, time, Some(slot.span))
        });
        if note.is_some() {
            let strength = slot.strength;
            self.stand(
                time,
                slot.bar.into(),
                slot.in_bar,
                slot.beat_length,
                strength,
                Some(slot.span),
            );
        }
    }

    /// The next note that has no place yet.
    fn next(&self) -> Option<(usize, Ticks)> {
        let note = self.stands.len();
        Some((note, *self.times.get(note)?))
    }

    /// A place of the next note, if a note starts there.
    fn place(&self, onset: Onset, time: Ticks, span: Option<usize>) -> Place {
        let before = self.places.last().map_or(time, |before| before.time);
        let starts = onset.sound == Sound::Note;
        let note = starts.then_some(self.stands.len());
        Place {
            onset: Onset {
                since: (time - before).max(Ticks::ZERO),
                ..onset
            },
            or: None,
            time,
            note,
            last: note.or(self.stands.len().checked_sub(1)),
            left_out: false,
            ending: false,
            span,
        }
    }

    /// Where the next note stands, which starts at the last place.
    fn stand(
        &mut self,
        time: Ticks,
        bar: i64,
        in_bar: Ticks,
        beat_length: Ticks,
        strength: Strength,
        span: Option<usize>,
    ) {
        self.stands.push(Stand {
            time,
            bar,
            in_bar,
            beat_length,
            strength,
            span,
            after_the_end: false,
            place: self.places.len() - 1,
        });
    }

    /// Notes before a time that start at no onset of the chart.
    fn lay_others_before(&mut self, end: Ticks) {
        while let Some((_, time)) = self.next().filter(|&(_, time)| time < end) {
            self.run = 0;
            match time < Ticks::ZERO {
                true => self.lay_pickup(time),
                false => self.lay_other(time),
            }
        }
    }

    fn lay_pickup(&mut self, time: Ticks) {
        let meter = &self.judge.chorus.bars[0].meter;
        let (bar, beat) = (meter.bar_ticks(), meter.beat_ticks());
        let in_bar = Ticks(time.0.rem_euclid(bar.0));
        let number = time.0.div_euclid(bar.0) + 1;
        self.places.push(self.place(self.free(), time, None));
        self.stand(time, number, in_bar, beat, Strength::Weak, None);
    }

    /// A note within a chorus.
    fn lay_other(&mut self, time: Ticks) {
        let chorus = &self.judge.chorus;
        let into = Ticks(time.0.rem_euclid(chorus.length().0));
        let bar = &chorus.bars[chorus.bars.partition_point(|bar| bar.start <= into).max(1) - 1];
        let in_bar = into - bar.start;
        let beat_length = bar.meter.beat_ticks();
        let beat = bar.first_beat + (in_bar.0 / beat_length.0) as usize;
        let slots = &self.judge.layout.slots;
        let slot = &slots[slots.partition_point(|slot| slot.start <= into).max(1) - 1];
        let onset = match self.judge.layout.harmonies[slot.span].chord {
            None => self.free(),
            Some(_) => Onset {
                sound: Sound::Note,
                within: Within::Beat,
                leads: Leads::Nowhere,
                coming: None,
                arrival: false,
                stressed: false,
                opens_bar: false,
                no_triple: false,
                loose: Liberties::NONE,
                ..slot.onset.clone()
            },
        };
        let strength = match in_bar.0 % beat_length.0 {
            0 => chorus.strength(beat),
            _ => Strength::Weak,
        };
        let span = Some(slot.span);
        self.places.push(self.place(onset, time, span));
        self.stand(time, bar.number.into(), in_bar, beat_length, strength, span);
    }

    /// The note to end on, and what may come after it.
    fn lay_ending(&mut self, end: Ticks) {
        self.lay_others_before(end);
        let bars = &self.judge.chorus.bars;
        let last = &bars[bars.len() - 1];
        let (length, beat) = (last.meter.bar_ticks(), last.meter.beat_ticks());
        let first = self.judge.layout.slots.first().map(|slot| &slot.onset);
        let first = first.filter(|onset| onset.sound != Sound::Rest).cloned();
        while let Some((_, time)) = self.next() {
            let ending = time == end && self.places.last().is_none_or(|place| !place.ending);
            let onset = if ending { self.home() } else { self.free() };
            self.places.push(Place {
                ending,
                or: first.clone().filter(|_| ending),
                ..self.place(onset, time, None)
            });
            let into = (time - end).0;
            let in_bar = Ticks(into.rem_euclid(length.0));
            let bar = i64::from(last.number) + 1 + into.div_euclid(length.0);
            let strength = match in_bar {
                Ticks::ZERO => Strength::Strong,
                _ => Strength::Weak,
            };
            self.stand(time, bar, in_bar, beat, strength, None);
            if let Some(stand) = self.stands.last_mut() {
                stand.after_the_end = true;
            }
        }
    }

    /// An onset at which every note belongs.
    fn free(&self) -> Onset {
        let (lowest, highest) = self.judge.range;
        Onset {
            keys: Keys::between(lowest, highest),
            tones: Chromas::ALL,
            scale: Chromas::ALL,
            seventh: 127,
            ..Onset::default()
        }
    }

    /// The arrival at home.
    fn home(&self) -> Onset {
        let home = self.judge.home.chroma();
        let tones = Chromas::from_iter([home]);
        Onset {
            tones,
            scale: tones,
            root: home,
            fifth: home,
            bass: home,
            arrival: true,
            stressed: true,
            ..self.free()
        }
    }
}
