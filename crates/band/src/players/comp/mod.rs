//! The comp: sparse rootless chords above the line, leaving the bass its octave.
//!
//! First the rhythm is drawn ([`rhythm`]), each attack only where and as long as some voicing can sound without
//! colliding with the bass; then the whole chorus is voiced at once ([`search`]). A chorus depends
//! on its chart, its line, the seed and its number only, so it can be made alone.

pub mod colour;
pub mod rhythm;
pub mod search;
pub mod voicing;

use crate::players::{
    collisions,
    random_streams::{Purpose, stream},
};
use colour::colours;
use endpin_theory::{
    Chord, Scale, Ticks,
    chart::{Chorus, Feel, Palette},
};
use endpin_walker::{ChorusLine, LineNote};
use rhythm::{Attack, Surroundings};
use search::{Moment, Taste, VoicingChoice};
use std::collections::BTreeMap;
use voicing::{Form, Fourths, Voicing};

/// What the user may settle about the comp.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CompOptions {
    /// Seed of the whole set.
    pub seed: u64,
    /// From 0 (an attack every other bar) to 1 (busy); 0.5 gives 1 to 2 attacks a bar.
    pub density: f64,
    /// Colours of dominants, for all sections; none leaves them to the chart, or else to the function of
    /// each chord.
    pub palette: Option<Palette>,
}

impl Default for CompOptions {
    fn default() -> Self {
        CompOptions {
            seed: 1,
            density: 0.5,
            palette: None,
        }
    }
}

/// One attack of the comp, at its notated place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CompAttack {
    /// Its bar within the chorus, from 1; the ending is one bar after the last.
    pub bar: u32,
    /// From the start of the chorus.
    pub start: Ticks,
    /// From the bar line.
    pub in_bar: Ticks,
    /// How long it is held.
    pub length: Ticks,
    /// Length of one beat of its bar.
    pub beat_length: Ticks,
    /// The span whose chord it sounds.
    pub span: usize,
    /// Whether it sounds that chord before its arrival.
    pub anticipates: bool,
    /// Its notes.
    pub voicing: Voicing,
    /// Where its colours come from.
    pub palette: Palette,
}

impl CompAttack {
    /// The beat on which it starts, from 1; off-beats have a fraction.
    pub fn beat(&self) -> f64 {
        1.0 + self.in_bar.0 as f64 / self.beat_length.0 as f64
    }

    /// Its notated length in beats.
    pub fn beats(&self) -> f64 {
        self.length.0 as f64 / self.beat_length.0 as f64
    }
}

/// One chorus of comping.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ChorusComp {
    /// Which chorus it is, from 1.
    pub chorus: u32,
    /// Its attacks in time.
    pub attacks: Vec<CompAttack>,
}

/// The seam of each span under a line: the chord's seventh above the highest root that the line sounds in
/// the span, over a slash bass without a root above the arrival note. None where the line
/// rests all through.
pub fn seams(chorus: &Chorus, line: &ChorusLine) -> Vec<Option<i16>> {
    let mut seams = vec![None; chorus.spans.len()];
    let mut first: Vec<Option<i16>> = seams.clone();
    for note in &line.notes {
        let Some(index) = note.span else { continue };
        let Some(chord) = chorus.spans.get(index).and_then(|span| span.chord.as_ref()) else {
            continue;
        };
        let key = note.pitch.midi();
        let seam = key + i16::from(chord.seventh());
        first[index] = first[index].or(Some(seam));
        let bar = chorus.bar_at(chorus.spans[index].start);
        let root = match bar.feel {
            // A pedal is what all is heard above, wherever its octave.
            Feel::Pedal => bar.pedal,
            _ => chord.root(),
        };
        if key.rem_euclid(12) == i16::from(root.chroma()) {
            seams[index] = seams[index].max(Some(seam));
        }
    }
    seams
        .into_iter()
        .zip(first)
        .map(|(seam, first)| seam.or(first))
        .collect()
}

/// How many notes the bass plays in each bar of a chorus.
pub fn notes_by_bar(line: &ChorusLine, bars: usize) -> Vec<usize> {
    let mut counts = vec![0; bars];
    for note in &line.notes {
        if let Some(count) = counts.get_mut((note.bar as usize).wrapping_sub(1)) {
            *count += 1;
        }
    }
    counts
}

/// The comp of one chorus over its line. `scales` holds the scale of each span's chord.
pub fn comp(
    chorus: &Chorus,
    scales: &[Option<Scale>],
    line: &ChorusLine,
    options: &CompOptions,
) -> ChorusComp {
    let context = CompContext::new(chorus, scales, line, options.palette);
    let mut rng = stream(options.seed, line.chorus, Purpose::CompRhythm);
    let attacks = rhythm::chorus(chorus, line.chorus, options.density, &context, &mut rng);
    let mut rng = stream(options.seed, line.chorus, Purpose::CompVoicing);
    let taste = Taste::draw(&mut rng);
    let voiced = context.voice(&attacks, taste, &mut rng);
    ChorusComp {
        chorus: line.chorus,
        attacks: voiced,
    }
}

/// The held chord of the ending bar over its held bass note, in the taste of the handbook.
pub fn ending(chorus: &Chorus, chord: &Chord, bass: &LineNote) -> Option<CompAttack> {
    let colours = colours(chord, Palette::Plain, |semitones| {
        // The home chord's own scale: major, or minor with its ninth.
        [0, 2, 4, 5, 7, 9, 11].contains(&semitones)
    })?;
    let forms = voicing::forms(&colours, Fourths::No);
    let moment = Moment {
        forms: &forms,
        root: chord.root().chroma(),
        floor: bass.pitch.midi() + i16::from(chord.seventh()),
        forbidden: collisions::forbidden([bass], chord),
        same_chord: false,
    };
    let mut rng = stream(0, 0, Purpose::CompVoicing);
    let choices = search::choices(&moment, Taste::HANDBOOK, &mut rng);
    let choice = choices.first()?;
    Some(CompAttack {
        bar: bass.bar,
        start: bass.start,
        in_bar: bass.in_bar,
        length: bass.length,
        beat_length: bass.beat_length,
        span: chorus.spans.len(),
        anticipates: false,
        voicing: voicing_of(&forms, choice),
        palette: Palette::Plain,
    })
}

/// Voices chords one after the other with no bass below them, in the taste of the handbook: what a table of
/// voicings or a lesson shows. None for a chord over which the comp lays out.
pub fn lead(chords: &[(Chord, Scale)], palette: Palette) -> Vec<Option<Voicing>> {
    let forms: Vec<Vec<Form>> = chords
        .iter()
        .map(|(chord, scale)| chord_forms(chord, Some(*scale), palette, Fourths::No))
        .collect();
    let moments: Vec<Moment> = chords
        .iter()
        .zip(&forms)
        .enumerate()
        .map(|(index, ((chord, _), forms))| Moment {
            forms,
            root: chord.root().chroma(),
            floor: 0,
            forbidden: 0,
            same_chord: index > 0 && chords[index - 1].0 == *chord,
        })
        .collect();
    let mut rng = stream(0, 0, Purpose::CompVoicing);
    let choices: Vec<Vec<VoicingChoice>> = moments
        .iter()
        .map(|moment| search::choices(moment, Taste::HANDBOOK, &mut rng))
        .collect();
    let path = search::cheapest(&moments, &choices);
    let voiced = path.iter().zip(&moments);
    voiced
        .map(|(choice, moment)| {
            choice
                .as_ref()
                .map(|choice| voicing_of(moment.forms, choice))
        })
        .collect()
}

fn voicing_of(forms: &[Form], choice: &VoicingChoice) -> Voicing {
    let form = &forms[choice.form];
    Voicing {
        kind: form.kind,
        tones: form.tones.clone(),
        keys: choice.keys.as_slice().to_vec(),
    }
}

fn chord_forms(
    chord: &Chord,
    scale: Option<Scale>,
    palette: Palette,
    fourths: Fourths,
) -> Vec<Form> {
    let made = chord.as_suspended();
    let chord = made.as_ref().unwrap_or(chord);
    let root = i16::from(chord.root().chroma());
    let in_scale = |semitones: i16| {
        scale.is_some_and(|scale| scale.contains((root + semitones).rem_euclid(12) as u8))
    };
    colours(chord, palette, in_scale)
        .map_or(Vec::new(), |colours| voicing::forms(&colours, fourths))
}

/// Everything around the comp of one chorus.
struct CompContext<'a> {
    chorus: &'a Chorus,
    line: &'a ChorusLine,
    seams: Vec<Option<i16>>,
    palette: Option<Palette>,
    forms: BTreeMap<(usize, Palette), Vec<Form>>,
    bass_notes: Vec<usize>,
}

impl<'a> CompContext<'a> {
    fn new(
        chorus: &'a Chorus,
        scales: &[Option<Scale>],
        line: &'a ChorusLine,
        palette: Option<Palette>,
    ) -> Self {
        let mut context = CompContext {
            chorus,
            line,
            seams: seams(chorus, line),
            palette,
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
                    chord_forms(chord, scale, palette, fourths(chorus, index, palette))
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

    fn voice(
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

#[cfg(test)]
mod tests;
