//! What endpin does in its turn: it answers, echoes, or states what is to be repeated.

use std::ops::Range;
use std::time::Duration;

use endpin_theory::{Feel, Ticks};
use endpin_walker::{ChorusLine, Level, LineNote};

use super::{TradeAct, Trader};
use crate::live::passage::Cue;
use crate::live::redraw::{BarPlace, Stretch};
use crate::live::scheduler::EARLY;
use crate::live::trade::answer::{self, Answer};
use crate::live::trade::exchange::Told;
use crate::live::trade::phrase::Phrase;
use crate::performance::score::PartName;

impl Trader {
    fn told(&self, words: String, likeness: Option<f64>, notes: Vec<LineNote>) -> Told {
        let number = |place: &BarPlace| (place.request.chorus, place.bar as u32 + 1);
        let places = self.turn.as_ref().map(|turn| &turn.places);
        let first = places.and_then(|places| places.first()).map(number);
        let last = places.and_then(|places| places.last()).map(number);
        Told {
            heard_in: (first.unwrap_or_default(), last.unwrap_or_default()),
            words,
            likeness,
            notes,
            decided_in: Duration::ZERO,
        }
    }

    pub(super) fn play(&self, answer: &Answer, acts: &mut Vec<TradeAct>) -> Told {
        let within = own_bars(&answer.stretch);
        let amended = answer
            .stretch
            .amendments(&answer.line, &within, answer.gain);
        acts.extend(amended.into_iter().map(TradeAct::Amend));
        let notes = numbered(&answer.line, &answer.stretch, &within);
        self.told(answer.taken_up.to_string(), Some(answer.likeness), notes)
    }

    /// Plays back what was heard, bar for bar.
    pub(super) fn echo(&mut self, phrase: &Phrase, acts: &mut Vec<TradeAct>) -> Option<Told> {
        let places = self.next_turn()?;
        let stretch = self.repertoire.stretch(&places).ok()?;
        let within = own_bars(&stretch);
        let line = ChorusLine {
            chorus: places.first()?.request.chorus,
            notes: Vec::new(),
            phrases: Vec::new(),
        };
        for mut amendment in stretch.amendments(&line, &within, 1.0) {
            for (index, place) in stretch.places.iter().enumerate() {
                if place.request != amendment.request || index >= phrase.ground.bars.len() {
                    continue;
                }
                let there = stretch.start_in_passage(index);
                let heard = &phrase.ground.bars[index];
                let bar = heard.start..heard.start + heard.meter.bar_ticks();
                let early = Ticks(EARLY);
                let inside = phrase
                    .notes
                    .iter()
                    .filter(|note| (bar.start - early..bar.end - early).contains(&note.at));
                amendment.notes.extend(inside.map(|note| Cue {
                    start: note.at - heard.start + there,
                    length: note.length,
                    key: note.key,
                    velocity: note.velocity,
                    channel: PartName::Bass.channel(),
                    part: PartName::Bass,
                }));
            }
            acts.push(TradeAct::Amend(amendment));
        }
        let wrong = answer::wrong_notes(phrase, None);
        let words = match (phrase.notes.len(), wrong.first()) {
            (0, _) => "nothing heard".to_string(),
            (count, None) => format!("all {count} notes are in the harmony"),
            (count, Some(first)) => {
                let note = &phrase.notes[*first];
                let beat = phrase.beat_of(note);
                let bar = phrase.ground.bar_at(beat);
                let chord = &phrase.ground.spans[phrase.ground.span_at(beat)].symbol;
                format!(
                    "{} of {count} notes outside the harmony, the first in your bar {} on beat {}, over {chord}",
                    wrong.len(),
                    bar.number,
                    beat - bar.first_beat + 1
                )
            }
        };
        Some(self.told(words, None, Vec::new()))
    }

    /// Compares what was played with what was stated, and states the next.
    pub(super) fn call(&mut self, phrase: &Phrase, acts: &mut Vec<TradeAct>) -> Option<Told> {
        let third = phrase.ground.bars[0].meter.beat_ticks().0 / 3;
        let (group, stated) = &self.stated;
        let is_before = Some(*group + 1) == self.turn.as_ref().map(|turn| turn.group);
        let repeated = stated.iter().filter(|note| {
            phrase
                .notes
                .iter()
                .any(|heard| heard.key == note.key && (heard.at.0 - note.at.0).abs() <= third)
        });
        let (right, count) = (repeated.count(), stated.len());
        let places = self.next_turn()?;
        let level = self.level.unwrap_or(places.first()?.request.level);
        let share = right as f64 / count.max(1) as f64;
        let (next, how) = match share {
            _ if !is_before || count == 0 => (level, "the same again"),
            share if share >= 0.85 && level < 6 => (level + 1, "the next is harder"),
            share if share < 0.5 && level > 1 => (level - 1, "the next is easier"),
            _ => (level, "the next is as hard"),
        };
        self.level = Some(next);
        let mut stretch = self.repertoire.stretch(&places).ok()?;
        let level = Level::try_from(next).ok()?;
        stretch.options.level = level;
        stretch.development.level = level;
        if level.is_two_feel() && stretch.options.feel.is_none() {
            stretch.development.feel = Some(Feel::Two);
        }
        let line = stretch.walker(Vec::new()).ok()?.line(self.seed(), 1);
        let within = own_bars(&stretch);
        let amended = stretch.amendments(&line, &within, 1.0);
        acts.extend(amended.into_iter().map(TradeAct::Amend));
        let words = format!("{right} of {count} as stated; {how} (level {next})");
        Some(self.told(words, None, numbered(&line, &stretch, &within)))
    }
}

/// All bars of a stretch but the last, to which the answer leads.
fn own_bars(stretch: &Stretch) -> Range<Ticks> {
    let last = &stretch.chorus.bars[stretch.chorus.bars.len() - 1];
    Ticks::ZERO..last.start
}

/// The notes of a line over a stretch as they stand in their own choruses.
fn numbered(line: &ChorusLine, stretch: &Stretch, within: &Range<Ticks>) -> Vec<LineNote> {
    let inside = line
        .notes
        .iter()
        .filter(|note| within.contains(&note.start));
    inside
        .map(|note| {
            let place = &stretch.places[note.bar as usize - 1];
            LineNote {
                chorus: place.request.chorus,
                bar: place.bar as u32 + 1,
                ..note.clone()
            }
        })
        .collect()
}
