//! What is around the comp of one chorus: chords and their forms, the line below, the seams.

use super::{
    CompAttack, CompOptions, chord_forms, notes_by_bar,
    rhythm::{Attack, Surroundings},
    seams,
    search::{self, Moment, Taste},
    voicing::{Form, Fourths},
    voicing_of,
};
use crate::players::collisions;
use endpin_theory::{
    Scale, Ticks,
    chart::{Chorus, Palette},
};
use endpin_walker::ChorusLine;
use std::collections::BTreeMap;

/// Everything around the comp of one chorus.
pub(super) struct CompContext<'a> {
    chorus: &'a Chorus,
    line: &'a ChorusLine,
    seams: Vec<Option<i16>>,
    palette: Option<Palette>,
    forms: BTreeMap<(usize, Palette), Vec<Form>>,
    bass_notes: Vec<usize>,
}

impl<'a> CompContext<'a> {
    pub(super) fn new(
        chorus: &'a Chorus,
        scales: &[Option<Scale>],
        line: &'a ChorusLine,
        options: &CompOptions,
    ) -> Self {
        let mut context = CompContext {
            chorus,
            line,
            seams: seams(chorus, line),
            palette: options.palette,
            forms: BTreeMap::new(),
            bass_notes: notes_by_bar(line, chorus.bars.len()),
        };
        for (index, span) in chorus.spans.iter().enumerate() {
            let Some(chord) = &span.chord else { continue };
            let bars = chorus.bars.iter().skip(span.bar as usize - 1);
            let mut palettes: Vec<Palette> = bars
                .take_while(|bar| bar.first_beat < span.start + span.beats)
                .map(|bar| context.palette_of(bar.palette))
                .collect();
            palettes.dedup();
            for palette in palettes {
                context.forms.entry((index, palette)).or_insert_with(|| {
                    let scale = scales.get(index).copied().flatten();
                    let fourths = fourths(chorus, index, palette);
                    options
                        .comping
                        .of(chord_forms(chord, scale, palette, fourths))
                });
            }
        }
        context
    }

    fn palette_of(&self, of_bar: Option<Palette>) -> Palette {
        self.palette.or(of_bar).unwrap_or(Palette::Function)
    }

    /// The palette of an attack: that of its bar, or of the coming chord's.
    fn palette(&self, attack: &Attack) -> Palette {
        let arrival = self.chorus.spans[attack.span].bar as usize - 1;
        self.palette_of(self.chorus.bars[attack.bar.max(arrival)].palette)
    }

    fn moment(&self, attack: &Attack, same_chord: bool) -> Option<Moment<'_>> {
        let chord = self.chorus.spans[attack.span].chord.as_ref()?;
        let forms = self.forms.get(&(attack.span, self.palette(attack)))?;
        // An anticipation sounds in the span before its own too.
        let first = attack.span - usize::from(attack.anticipates && attack.span > 0);
        let floor = self.seams[first..=attack.span].iter().flatten().max();
        let below = collisions::sounding(self.line, attack.start, attack.end());
        let made = chord.as_suspended();
        let chord = made.as_ref().unwrap_or(chord);
        Some(Moment {
            forms,
            root: chord.root().chroma(),
            floor: floor.copied().unwrap_or(0),
            forbidden: collisions::forbidden(below, chord) | self.withheld(attack),
            same_chord,
        })
    }

    /// The thirds that suspended chords leave open while the attack sounds, a bit for each MIDI key.
    fn withheld(&self, attack: &Attack) -> u128 {
        let at = |beat: usize| self.chorus.ticks_at(beat);
        // Spans stand in order, none over another.
        let spans = &self.chorus.spans;
        let first = spans.partition_point(|span| at(span.start + span.beats) <= attack.start);
        let sounds = spans[first..]
            .iter()
            .take_while(|span| at(span.start) < attack.end());
        let thirds = sounds.filter_map(|span| span.chord.as_ref()?.withheld_third());
        thirds
            .flat_map(|third| (third.chroma()..128).step_by(12))
            .fold(0, |keys, key| keys | 1 << key)
    }

    pub(super) fn voice(
        &self,
        attacks: &[Attack],
        taste: Taste,
        rng: &mut impl rand_chacha::rand_core::Rng,
    ) -> Vec<CompAttack> {
        let mut moments = Vec::with_capacity(attacks.len());
        let mut choices = Vec::with_capacity(attacks.len());
        let mut sounding = Vec::with_capacity(attacks.len());
        let mut last_span = None;
        for attack in attacks {
            let same_chord = last_span == Some(attack.span);
            last_span = Some(attack.span);
            if let Some(moment) = self.moment(attack, same_chord) {
                choices.push(search::choices(&moment, taste, rng));
                moments.push(moment);
                sounding.push(attack);
            }
        }
        let path = search::cheapest(&moments, &choices);
        path.iter()
            .zip(moments.iter().zip(sounding))
            .filter_map(|(choice, (moment, attack))| {
                let bar = &self.chorus.bars[attack.bar];
                Some(CompAttack {
                    bar: bar.number,
                    start: attack.start,
                    in_bar: attack.start - bar.start,
                    length: attack.length,
                    beat_length: bar.meter.beat_ticks(),
                    span: attack.span,
                    anticipates: attack.anticipates,
                    voicing: voicing_of(moment.forms, choice.as_ref()?),
                    palette: self.palette(attack),
                })
            })
            .collect()
    }
}

/// Forms in fourths: preferred by the quartal palette and on sus chords, offered on chords that last four
/// bars or more, as modal tunes have them (common practice, no source).
fn fourths(chorus: &Chorus, span: usize, palette: Palette) -> Fourths {
    let here = &chorus.spans[span];
    let bar = chorus.bar_at(here.start);
    let is_suspended = here
        .chord
        .as_ref()
        .is_some_and(|chord| chord.withheld_third().is_some());
    if palette == Palette::Quartal || is_suspended {
        Fourths::Preferred
    } else if here.beats >= 4 * usize::from(bar.meter.beats()) {
        Fourths::Offered
    } else {
        Fourths::No
    }
}

impl Surroundings for CompContext<'_> {
    /// Clear of every bass note under it, weak beats included; where it would brush a later one, it is let
    /// go before. An anticipation is held past its arrival by half a beat, or is none.
    fn fit(&self, attack: Attack) -> Option<Attack> {
        let shortest = if attack.anticipates {
            let arrival = self.chorus.ticks_at(self.chorus.spans[attack.span].start);
            arrival + (arrival - attack.start)
        } else {
            attack.start
        };
        let below = collisions::sounding(self.line, attack.start, attack.end());
        let mut ends: Vec<Ticks> = below
            .map(|note| note.start)
            .filter(|&start| start > attack.start)
            .collect();
        ends.push(attack.end());
        let ends = ends.into_iter().rev().take_while(|&end| end >= shortest);
        ends.map(|end| Attack {
            length: end - attack.start,
            ..attack
        })
        .find(|attack| {
            self.moment(attack, false)
                .is_some_and(|moment| search::any(&moment))
        })
    }

    fn bass_notes(&self, bar: usize) -> usize {
        self.bass_notes[bar]
    }
}
