//! Bars drawn anew while play goes on: so that the line leads to where play jumps, or so that it answers what was
//! heard. Each draw is exact, from a lattice over just these bars with some of their notes fixed.

use std::ops::Range;
use std::sync::Arc;

use endpin_theory::{Chorus, Ticks, chart::Span};
use endpin_walker::{
    ChorusLine, Development, LineNote, Options, Plan, WalkError, Walker, line::walker::admits,
    pins::Fixed, plan::Turn,
};

use super::passage::{Cue, Passage};
use super::passage_supply::{Bend, PassageKind, PassageRequest};
use super::repertoire::Repertoire;
use super::scheduler::EARLY;
use crate::failure::Failure;
use crate::performance::arrangement::{self, ArrangeOptions, MadeChorus};
use crate::performance::practice::BarRange;
use crate::performance::score::PartName;

/// The bass of some bars of a passage, as it is to sound after all.
#[derive(Clone, Debug, PartialEq)]
pub struct Amendment {
    /// The passage, by what it was asked for as.
    pub request: PassageRequest,
    /// The stretch that it replaces, notated, from the start of the passage.
    pub within: Range<Ticks>,
    /// The bass notes of the stretch.
    pub notes: Vec<Cue>,
    /// What the screen says of the bass from each moment on.
    pub labels: Vec<(Ticks, Option<(String, String)>)>,
}

impl Amendment {
    /// Puts it in its place.
    pub fn apply(&self, passage: &mut Passage) {
        // A note may sound a little early, but is of its beat all the same.
        let early = Ticks(EARLY);
        let (opens, closes) = (self.within.start - early, self.within.end - early);
        let replaced =
            |cue: &Cue| cue.part == PartName::Bass && (opens..closes).contains(&cue.start);
        passage.notes.retain(|cue| !replaced(cue));
        passage.notes.extend_from_slice(&self.notes);
        passage
            .notes
            .sort_by_key(|cue| (cue.start, cue.part, cue.key));
        for beat in &mut passage.beats {
            if self.within.contains(&beat.start) {
                let label = self.labels.iter().rfind(|(from, _)| *from <= beat.start);
                beat.bass = label.and_then(|(_, label)| label.clone());
            }
        }
    }
}

/// A bar of a passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BarPlace {
    /// What the passage was asked for as.
    pub request: PassageRequest,
    /// The bar, as an index.
    pub bar: usize,
}

/// Some bars, one after the other, as a chorus of their own. They may come from several passages.
#[derive(Clone, Debug)]
pub struct Stretch {
    /// The bars.
    pub chorus: Arc<Chorus>,
    /// Where each of them comes from.
    pub places: Vec<BarPlace>,
    /// Where each starts in its passage.
    starts: Vec<Ticks>,
    /// Level, feel and liveliness.
    pub development: Development,
    /// What is asked of the line.
    pub options: Options,
    arrange: ArrangeOptions,
}

impl Stretch {
    /// Where a bar of the stretch (from 0) starts in its passage.
    pub fn start_in_passage(&self, bar: usize) -> Ticks {
        self.starts[bar]
    }

    /// Whatever lines there are with these notes fixed; bars count from 1 in the stretch.
    ///
    /// # Errors
    /// When there are none.
    pub fn walker(&self, fixed: Vec<Fixed>) -> Result<Walker, WalkError> {
        Walker::new(self.plan(fixed), self.options.clone())
    }

    /// Whether every rule by itself lets a note stand on a beat, whatever stands around it.
    pub fn admits(&self, bar: u32, beat: u32, key: u8) -> bool {
        admits(&self.plan(Vec::new()), &self.options, bar, beat, key)
    }

    fn plan(&self, fixed: Vec<Fixed>) -> Plan {
        let turn = Turn {
            chorus: self.chorus.clone(),
            development: self.development,
            fixed,
        };
        Plan::of_turns(vec![turn], 0)
    }

    /// The notes of a line over the stretch that start `within` it, as amendments, one a passage; `gain` is how
    /// loud they are, 1 for as usual.
    pub fn amendments(
        &self,
        line: &ChorusLine,
        within: &Range<Ticks>,
        gain: f64,
    ) -> Vec<Amendment> {
        let made = MadeChorus {
            chorus: &self.chorus,
            development: self.development,
            line,
            comp: &Default::default(),
        };
        let score = arrangement::arrange(&[made], None, &self.arrange);
        let mut cues = Passage::cues(&score, Ticks::ZERO);
        cues.retain(|cue| cue.part == PartName::Bass);
        for cue in &mut cues {
            cue.velocity = (f64::from(cue.velocity) * gain).round().clamp(1.0, 127.0) as u8;
        }
        let early = Ticks(EARLY);
        let mut found: Vec<Amendment> = Vec::new();
        for (index, place) in self.places.iter().enumerate() {
            let bar = &self.chorus.bars[index];
            let (opens, closes) = (bar.start, bar.start + bar.meter.bar_ticks());
            let (from, until) = (opens.max(within.start), closes.min(within.end));
            if from >= until {
                continue;
            }
            let there = |at: Ticks| at - opens + self.starts[index];
            let sounding = cues
                .iter()
                .filter(|cue| (from - early..until - early).contains(&cue.start))
                .map(|cue| Cue {
                    start: there(cue.start),
                    ..*cue
                });
            let inside = line.notes.iter().filter(|note| {
                (from..until).contains(&note.start)
                    || (note.start < from && note.start + note.length > from)
            });
            let label = |note: &LineNote| {
                let words = (note.pitch.to_string(), note.role.to_string());
                (there(note.start), Some(words))
            };
            match found.last_mut() {
                Some(last) if last.request == place.request && last.within.end == there(from) => {
                    last.within.end = there(until);
                    last.notes.extend(sounding);
                    last.labels.extend(inside.map(label));
                }
                _ => found.push(Amendment {
                    request: place.request,
                    within: there(from)..there(until),
                    notes: sounding.collect(),
                    labels: inside.map(label).collect(),
                }),
            }
        }
        found
    }
}

impl Repertoire {
    /// These bars as one stretch, played as the first of them is.
    ///
    /// # Errors
    /// A passage that cannot be made, or does not have the bar.
    pub fn stretch(&mut self, places: &[BarPlace]) -> Result<Stretch, Failure> {
        let mut pieces: Vec<(PassageRequest, BarRange)> = Vec::new();
        for place in places {
            let number = place.bar as u32 + 1;
            match pieces.last_mut() {
                Some((request, range)) if *request == place.request && range.last + 1 == number => {
                    range.last = number;
                }
                _ => pieces.push((
                    place.request,
                    BarRange {
                        first: number,
                        last: number,
                    },
                )),
            }
        }
        let mut whole: Option<Stretch> = None;
        for (request, range) in pieces {
            let (session, _) = self.session(&request)?;
            let chorus = session.chorus(request.chorus);
            let piece = range.of(chorus).map_err(Failure::input)?;
            let bars = range.first as usize - 1..range.last as usize;
            let starts = chorus.bars[bars.clone()].iter().map(|bar| bar.start);
            let places = bars.clone().map(|bar| BarPlace { request, bar });
            match &mut whole {
                None => {
                    let wishes = session.wishes();
                    let mut options = wishes.line.clone();
                    // Pins are for bars of the chart, which have other numbers here.
                    options.pins.clear();
                    options.rests.clear();
                    whole = Some(Stretch {
                        development: session.development(request.chorus),
                        starts: starts.collect(),
                        places: places.collect(),
                        chorus: Arc::new(piece),
                        options,
                        arrange: ArrangeOptions {
                            count_in: 0,
                            trade: None,
                            mute: Vec::new(),
                            ..wishes.arrange.clone()
                        },
                    });
                }
                Some(whole) => {
                    whole.chorus = Arc::new(joined(&whole.chorus, &piece));
                    whole.starts.extend(starts);
                    whole.places.extend(places);
                }
            }
        }
        whole.ok_or_else(|| Failure::input("a stretch of no bars"))
    }

    /// Draws the rest of a bar anew so that it leads to where play goes on.
    ///
    /// # Errors
    /// When no line does.
    pub fn bend(&mut self, bend: &Bend) -> Result<Amendment, Failure> {
        let nowhere = || Failure::input("no line leads there");
        let (session, _) = self.session(&bend.to)?;
        let entry = session.chorus(bend.to.chorus).bars.get(bend.entry_bar);
        let entry = entry.ok_or_else(nowhere)?.start;
        let target = session.line(bend.to.chorus);
        let target = target.notes.iter().find(|note| note.start == entry);
        let target = target.ok_or_else(nowhere)?.pitch;

        let (session, _) = self.session(&bend.from)?;
        let line = session.line(bend.from.chorus);
        let place = |request, bar| BarPlace { request, bar };
        let here = place(bend.from, bend.bar);
        let there = place(bend.to, bend.entry_bar);
        let before = bend.bar.checked_sub(1).map(|bar| place(bend.from, bar));
        // The last way leads to the root that comes in whatever octave: the one it comes in may be out of reach.
        for (with_before, strong_stays, exactly) in [
            (true, true, true),
            (true, false, true),
            (false, false, true),
            (false, false, false),
        ] {
            let places: Vec<BarPlace> = before
                .filter(|_| with_before)
                .into_iter()
                .chain([here, there])
                .collect();
            let stretch = self.stretch(&places)?;
            let at = places.len() as u32 - 1;
            let bar = &stretch.chorus.bars[at as usize - 1];
            // The comp is voiced around the strong beats, so these stay where the line has others to lead with.
            let strong =
                strong_stays && bar.meter.beats() > 2 && bend.keep < usize::from(bar.meter.beats());
            let mut fixed = Vec::new();
            for note in &line.notes {
                let beat = note.in_bar.0 / note.beat_length.0;
                let local = match note.bar as usize {
                    number if number == bend.bar + 1 => at,
                    number if number == bend.bar && with_before => at - 1,
                    _ => continue,
                };
                let kept = local < at
                    || (beat as usize) < bend.keep.max(1)
                    || (strong && beat + 1 < i64::from(bar.meter.beats()) && beat % 2 == 0);
                if kept && note.in_bar.0 % note.beat_length.0 == 0 {
                    fixed.push(Fixed::Note {
                        bar: local,
                        beat: beat as u32 + 1,
                        pitch: note.pitch,
                    });
                }
            }
            if exactly {
                fixed.push(Fixed::Note {
                    bar: at + 1,
                    beat: 1,
                    pitch: target,
                });
            }
            let Ok(walker) = stretch.walker(fixed) else {
                continue;
            };
            let drawn = walker.line(bend.from.seed, bend.from.chorus);
            let beat = bar.meter.beat_ticks();
            let within = bar.start + beat * bend.keep as i64..bar.start + bar.meter.bar_ticks();
            let mut amended = stretch.amendments(&drawn, &within, 1.0);
            if let Some(amendment) = amended.pop() {
                return Ok(amendment);
            }
        }
        Err(nowhere())
    }
}

/// Whether a passage goes on into another as its line was drawn to.
pub fn leads_by_itself(from: &PassageRequest, to: &PassageRequest) -> bool {
    let next = PassageRequest {
        chorus: from.chorus.saturating_add(1),
        ..*from
    };
    match from.kind {
        PassageKind::CountIn => true,
        PassageKind::Chorus | PassageKind::Section(_) => next == *to,
        PassageKind::Ending => true,
    }
}

/// One stretch of bars after another, counted through.
fn joined(first: &Chorus, second: &Chorus) -> Chorus {
    let (beats, bars, length) = (first.beats(), first.bars.len() as u32, first.length());
    let mut whole = first.clone();
    whole
        .bars
        .extend(second.bars.iter().cloned().map(|mut bar| {
            bar.number += bars;
            bar.first_beat += beats;
            bar.start += length;
            bar
        }));
    let spans = second.spans.iter().map(|span| Span {
        start: span.start + beats,
        bar: span.bar + bars,
        ..span.clone()
    });
    whole.spans.extend(spans);
    whole
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::performance::session::Wishes;
    use endpin_theory::Chart;

    const CHART: &str = include_str!("../../../../scenarios/breakwater-blues.toml");

    fn repertoire() -> Repertoire {
        let chart = Chart::parse(CHART).unwrap();
        Repertoire::new(chart, Wishes::plain(7, 1, Options::default()))
    }

    /// The key of the bass note on, or sounding at, a beat of a passage.
    fn key_at(passage: &Passage, beat: usize) -> u8 {
        let at = passage.beats[beat].start + Ticks(EARLY);
        let mut bass = passage
            .notes
            .iter()
            .filter(|cue| cue.part == PartName::Bass);
        bass.rfind(|cue| cue.start <= at).unwrap().key
    }

    #[test]
    fn a_bar_drawn_anew_leads_to_where_play_goes() {
        let mut repertoire = repertoire();
        let first = repertoire.first_request();
        let (mut led, mut near) = (0, 0);
        for (transpose, seed) in [(0, 7), (3, 7), (-4, 7), (0, 8), (6, 9)] {
            let to = PassageRequest {
                chorus: 2,
                transpose,
                seed,
                ..first
            };
            let target = repertoire.make(&to).unwrap();
            for bar in 0..12 {
                for entry_bar in [0, 4, 8] {
                    for keep in 0..4 {
                        let mut passage = repertoire.make(&first).unwrap();
                        let before = passage.clone();
                        let bend = Bend {
                            from: first,
                            bar,
                            keep,
                            to,
                            entry_bar,
                        };
                        let amendment = repertoire.bend(&bend).unwrap();
                        amendment.apply(&mut passage);
                        let last = key_at(&passage, bar * 4 + 3);
                        let root = key_at(&target, entry_bar * 4);
                        // Within a whole step of it, or its dominant: the rule for the last beat before a change.
                        let step = i16::from(last) - i16::from(root);
                        near += usize::from([-2, -1, 1, 2, 7, -5].contains(&step));
                        assert!(
                            [10, 11, 1, 2, 7].contains(&step.rem_euclid(12)),
                            "{bend:?}: {last} to {root}"
                        );
                        let others = |p: &Passage| -> Vec<Cue> {
                            let from = p.beats[bar * 4 + keep].start - Ticks(EARLY);
                            let until = p.beats[bar * 4 + 3].start + Ticks(800);
                            let outside = |cue: &&Cue| !(from..until).contains(&cue.start);
                            p.notes.iter().filter(outside).copied().collect()
                        };
                        assert_eq!(others(&passage), others(&before), "{bend:?}");
                        led += 1;
                    }
                }
            }
        }
        assert_eq!(led, 720);
        assert!(
            near * 10 >= led * 8,
            "{near} of {led} in the octave that comes"
        );
    }
}
