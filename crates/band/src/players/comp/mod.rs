//! The comp: sparse rootless chords above the line, leaving the bass its octave.
//!
//! First the rhythm is drawn ([`rhythm`]), each attack only where and as long as some voicing can sound without
//! colliding with the bass; then the whole chorus is voiced at once ([`search`]). A chorus depends
//! on its chart, its line, the seed and its number only, so it can be made alone.

mod cells;
pub mod colour;
pub mod comping;
mod context;
mod phrase;
pub mod rhythm;
pub mod search;
pub mod voicing;

use crate::players::{
    collisions,
    random_streams::{Purpose, stream},
};
use colour::colours;
use comping::Comping;
use context::CompContext;
use endpin_theory::{
    Chord, Scale, Ticks,
    chart::{Chorus, Feel, Palette},
};
use endpin_walker::{ChorusLine, LineNote};
use search::{Moment, Taste, VoicingChoice};
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
    /// What it plays with.
    pub comping: Comping,
}

impl Default for CompOptions {
    fn default() -> Self {
        CompOptions {
            seed: 1,
            density: 0.5,
            palette: None,
            comping: Comping::Auto,
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
    let context = CompContext::new(chorus, scales, line, options);
    let mut rng = stream(options.seed, line.chorus, Purpose::CompRhythm);
    let attacks = rhythm::chorus(chorus, line.chorus, options, &context, &mut rng);
    let mut rng = stream(options.seed, line.chorus, Purpose::CompVoicing);
    let taste = Taste::draw(&mut rng);
    let voiced = context.voice(&attacks, taste, &mut rng);
    ChorusComp {
        chorus: line.chorus,
        attacks: voiced,
    }
}

/// The held chord of the ending bar over its held bass note, in the taste of the handbook; none where nothing
/// is comped.
pub fn ending(
    chorus: &Chorus,
    chord: &Chord,
    bass: &LineNote,
    comping: Comping,
) -> Option<CompAttack> {
    let colours = colours(chord, Palette::Plain, |semitones| {
        // The home chord's own scale: major, or minor with its ninth.
        [0, 2, 4, 5, 7, 9, 11].contains(&semitones)
    })?;
    let forms = comping.of(voicing::forms(&colours, Fourths::No));
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

#[cfg(test)]
mod tests;
