//! The answers to a question, written into one excerpt.
//!
//! A question starts from an excerpt that knows nothing of its answer. For each answer of the kind this module
//! writes the notes in place that make it so, and gives up the excerpt if any answer cannot be written:
//! thus the rest of the excerpt, and the choice of the excerpt itself, say nothing of the answer.

use super::{
    approach::{self, Approaches},
    balance::{one_of, shuffle},
    excerpt::{Excerpt, tone},
    kind::{QuestionKind, WRONG_NOTE_BARS},
    phrase::QUALITIES,
};
use crate::players::random_streams::below;
use endpin_theory::{Chord, Interval, NoteName, Part, Pitch, Strength, spelling::told};
use rand_chacha::rand_core::Rng;
use std::ops::Range;

/// What the comp plays.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Colour {
    /// Third and seventh only, so that it fits whatever the bass does.
    #[default]
    Shell,
    /// Four notes, dominants with plain ninth and thirteenth.
    Plain,
    /// Four notes, dominants with altered ninth and thirteenth.
    Altered,
}

/// One answer, written out.
#[derive(Clone, Debug, PartialEq)]
pub struct Variant {
    /// As the key spells it.
    pub answer: String,
    /// The line.
    pub excerpt: Excerpt,
    /// The line the second time, where there are two.
    pub second: Option<Vec<Pitch>>,
    /// What the comp plays.
    pub colour: Colour,
    /// The beat of the answer, from 0, where it is at one.
    pub beat: Option<usize>,
    /// Why this is the answer, for the learner.
    pub why: String,
}

/// What holds for all questions of a set.
#[derive(Clone, Debug)]
pub struct QuestionBounds {
    /// The keys the bass may use.
    pub range: Range<i16>,
}

/// Every answer of `kind` written into `base`, in the order of its choices; `None` if one of them cannot be.
/// For kinds whose progression itself is the answer, the one that it is.
pub fn variants(
    kind: QuestionKind,
    base: &Excerpt,
    bounds: &QuestionBounds,
    rng: &mut impl Rng,
) -> Option<Vec<Variant>> {
    match kind {
        QuestionKind::Approach => approaches(base, bounds, rng),
        QuestionKind::ChordTone => chord_tones(base, bounds, rng),
        QuestionKind::Quality => qualities(base, bounds, rng),
        QuestionKind::WrongNote => wrong_notes(base, bounds, rng),
        QuestionKind::Same => same(base, bounds, rng),
        QuestionKind::Level => levels(base, bounds, rng),
        QuestionKind::Comp => colours(base),
        QuestionKind::Dictation => Some(vec![dictation(base)]),
        QuestionKind::Turnaround | QuestionKind::NextRoot => Some(vec![progression(kind, base)]),
    }
}

impl Variant {
    fn new(answer: &str, excerpt: Excerpt, beat: Option<usize>, why: String) -> Variant {
        Variant {
            answer: answer.to_owned(),
            excerpt,
            second: None,
            colour: Colour::default(),
            beat,
            why,
        }
    }
}

fn approaches(base: &Excerpt, bounds: &QuestionBounds, rng: &mut impl Rng) -> Option<Vec<Variant>> {
    let goal = base.goal();
    let written = Approaches::into(base, goal, bounds, rng)?;
    let variants = written.all().map(|(name, notes)| {
        let why = approach::why(base, goal, name, notes);
        Variant::new(name, base.with(goal - 2, &notes), Some(goal), why)
    });
    Some(variants.collect())
}

/// The beat of the last bar that a question of chord tones marks: the next strong one after the first, or
/// the second beat where there is none.
fn marked(base: &Excerpt) -> usize {
    let start = base.goal() - base.bar_beats();
    (start + 1..base.goal())
        .find(|&beat| base.is_stressed(beat))
        .unwrap_or(start + 1)
}

fn chord_tones(
    base: &Excerpt,
    bounds: &QuestionBounds,
    rng: &mut impl Rng,
) -> Option<Vec<Variant>> {
    let (start, beat) = (base.goal() - base.bar_beats(), marked(base));
    let placed = base.chord_at(beat);
    let chord = &placed.chord;
    let opens_on_root = base.notes[start].name() == chord.root() && chord.slash().is_none();
    // The neighbours must not lean on the note that is about to change.
    let free = base.spells(beat - 1, base.notes[beat - 1]) && stands_alone(base, beat + 1);
    if placed.start > start || !opens_on_root || !free || beat + 1 >= base.goal() {
        return None;
    }
    let named = [
        ("root", Part::Root),
        ("third", Part::Third),
        ("fifth", Part::Fifth),
        ("seventh", Part::Seventh),
    ];
    let write = |(answer, part): (&str, Part)| {
        let name = tone(chord, part)?;
        let mut pitches = pitches_of(&[name], &bounds.range);
        shuffle(rng, &mut pitches);
        let changed = pitches.iter().map(|&pitch| base.with(beat, &[pitch]));
        let excerpt = changed
            .into_iter()
            .find(|excerpt| excerpt.is_playable(&bounds.range))?;
        let why = format!(
            "{} is the {answer} of {}",
            as_told(excerpt.notes[beat], &[name]),
            placed.symbol
        );
        Some(Variant::new(answer, excerpt, Some(beat), why))
    };
    named.into_iter().map(write).collect()
}

/// Whether the note at `beat` spells its chord, or leads by step into the next without the one before.
fn stands_alone(base: &Excerpt, beat: usize) -> bool {
    let note = base.notes[beat];
    let leads = |next: &Pitch| (1..=2).contains(&(next.midi() - note.midi()).abs());
    base.spells(beat, note) || base.notes.get(beat + 1).is_some_and(leads)
}

fn qualities(base: &Excerpt, bounds: &QuestionBounds, rng: &mut impl Rng) -> Option<Vec<Variant>> {
    let (goal, chord) = (base.goal(), &base.chords[0].chord);
    let root = chord.root();
    // The last beat is the root again, which says nothing of the quality and is the dominant of the goal.
    let mut roots = pitches_of(&[root], &bounds.range);
    shuffle(rng, &mut roots);
    let degree = |pitch: &Pitch| (pitch.midi() - i16::from(root.chroma())).rem_euclid(12);
    let body = &base.notes[..goal - 1];
    let [third, fifth, seventh] = [4, 7, 10];
    let names_it = |wanted: i16| body.iter().any(|pitch| degree(pitch) == wanted);
    let tones_only = body
        .iter()
        .all(|pitch| [0, third, fifth, seventh].contains(&degree(pitch)));
    if degree(&body[0]) != 0 || !tones_only || ![third, fifth, seventh].into_iter().all(names_it) {
        return None;
    }
    let write = |&last: &Pitch| -> Option<Vec<Variant>> {
        let of_quality = |(answer, tones): (&str, [i16; 3])| {
            let suffix =
                ["maj7", "7", "m7", "m7b5"][QUALITIES.iter().position(|row| row.0 == answer)?];
            let mut excerpt = base.with(goal - 1, &[last]);
            excerpt.chords[0].symbol = format!("{root}{suffix}");
            excerpt.chords[0].chord = excerpt.chords[0].symbol.parse().ok()?;
            for note in &mut excerpt.notes[..goal - 1] {
                let at = [third, fifth, seventh]
                    .iter()
                    .position(|&tone| tone == degree(note));
                if let Some(at) = at {
                    let lowered = tones[at] - [third, fifth, seventh][at];
                    *note = *note + Interval::new(0, lowered);
                }
            }
            let spelled = tones_as_told(&excerpt.chords[0].chord);
            let why = format!("the line spells {}: {}", excerpt.chords[0].symbol, spelled);
            excerpt
                .is_playable(&bounds.range)
                .then(|| Variant::new(answer, excerpt, Some(0), why))
        };
        QUALITIES.into_iter().map(of_quality).collect()
    };
    let leads = |last: &&Pitch| matches!(base.notes[goal].midi() - last.midi(), 5 | -7);
    roots.iter().filter(leads).find_map(write)
}

fn wrong_notes(
    base: &Excerpt,
    bounds: &QuestionBounds,
    rng: &mut impl Rng,
) -> Option<Vec<Variant>> {
    if base.bars != WRONG_NOTE_BARS {
        return None;
    }
    let strong = strong_beats(base);
    let first = [-1, 1][below(rng, 2) as usize];
    let write = |(bar, beat_in_bar): (usize, usize)| {
        let beat = (bar - 1) * base.bar_beats() + beat_in_bar - 1;
        let (right, placed) = (base.notes[beat], base.chord_at(beat));
        let is_wrong = |pitch: Pitch| {
            let chroma = pitch.name().chroma();
            let in_chord = placed
                .chord
                .tones()
                .iter()
                .any(|(_, name)| name.chroma() == chroma);
            !in_chord && !base.spells(beat, pitch) && !placed.scale.contains(chroma)
        };
        let excerpt = [first, -first]
            .into_iter()
            .map(|semitones| right + Interval::new(0, semitones))
            .filter(|&pitch| is_wrong(pitch))
            .map(|pitch| base.with(beat, &[pitch]))
            .find(|excerpt| excerpt.is_playable(&bounds.range))?;
        let why = format!(
            "{} is not a tone of {} ({}); the line had {right}",
            as_told(excerpt.notes[beat], &[]),
            placed.symbol,
            tones_as_told(&placed.chord),
        );
        Some(Variant::new(
            &format!("{bar}.{beat_in_bar}"),
            excerpt,
            Some(beat),
            why,
        ))
    };
    (1..=WRONG_NOTE_BARS)
        .flat_map(|bar| strong.iter().map(move |&beat| (bar, beat)))
        .map(write)
        .collect()
}

/// The strong and medium beats of the excerpt's meter, from 1.
fn strong_beats(base: &Excerpt) -> Vec<usize> {
    let strong = |beat: &usize| base.meter.strength(beat - 1) != Strength::Weak;
    (1..=base.bar_beats()).filter(strong).collect()
}

/// How many notes of the other line differ.
const DIFFERENCES: usize = 2;

fn same(base: &Excerpt, bounds: &QuestionBounds, rng: &mut impl Rng) -> Option<Vec<Variant>> {
    let free = |&beat: &usize| {
        !base.is_arrival(beat)
            && base.spells(beat, base.notes[beat])
            && base.spells(beat - 1, base.notes[beat - 1])
            && !base.is_arrival(beat + 1)
            && stands_alone(base, beat + 1)
    };
    let mut beats: Vec<usize> = (1..base.goal()).filter(free).collect();
    shuffle(rng, &mut beats);
    let mut other = base.clone();
    let mut changed: Vec<usize> = Vec::new();
    for beat in beats {
        let near =
            |pitch: &Pitch| (1..=7).contains(&(pitch.midi() - base.notes[beat].midi()).abs());
        let mut pitches = chord_pitches(base, beat, &bounds.range);
        pitches.retain(near);
        shuffle(rng, &mut pitches);
        let playable = pitches
            .iter()
            .map(|&pitch| other.with(beat, &[pitch]))
            .find(|excerpt| excerpt.is_playable(&bounds.range));
        if let Some(excerpt) = playable {
            other = excerpt;
            changed.push(beat);
        }
        if changed.len() == DIFFERENCES {
            break;
        }
    }
    if changed.len() < DIFFERENCES {
        return None;
    }
    changed.sort_unstable();
    let told = |&beat: &usize| {
        let (bar, in_bar) = base.place(beat);
        format!(
            "bar {bar}, beat {in_bar}: {} for {}",
            other.notes[beat], base.notes[beat]
        )
    };
    let differences: Vec<String> = changed.iter().map(told).collect();
    let variant = |answer, second: &Excerpt, why| Variant {
        second: Some(second.notes.clone()),
        ..Variant::new(answer, base.clone(), None, why)
    };
    Some(vec![
        variant("same", base, "every note is the same".to_owned()),
        variant("different", &other, differences.join("; ")),
    ])
}

fn levels(base: &Excerpt, bounds: &QuestionBounds, rng: &mut impl Rng) -> Option<Vec<Variant>> {
    let beats = base.bar_beats();
    let mut changes: Vec<usize> = (1..=base.bars).map(|bar| bar * beats).collect();
    if !base.is_one_chord_a_bar()
        || !changes
            .iter()
            .all(|&change| approach::is_by_step(base, change))
    {
        return None;
    }
    shuffle(rng, &mut changes);
    let found = changes
        .into_iter()
        .find_map(|change| Some((change, Approaches::into(base, change, bounds, rng)?)));
    let (change, written) = found?;
    let two_notes = ["double-chromatic", "enclosure"];
    let two = *one_of(rng, &two_notes)?;
    let plain = Variant::new(
        "3",
        base.clone(),
        None,
        "every change is approached by step".to_owned(),
    );
    let write = |answer: &str, name: &str| {
        let notes = written.named(name)?;
        let excerpt = base.with(change - 2, &notes);
        let (bar, _) = base.place(change);
        let why = format!(
            "into bar {bar}: {}",
            approach::why(base, change, name, notes)
        );
        Some(Variant::new(answer, excerpt, None, why))
    };
    Some(vec![plain, write("4", "dominant")?, write("5", two)?])
}

fn colours(base: &Excerpt) -> Option<Vec<Variant>> {
    let dominant = |chord: &Chord| chord.is_dominant();
    let is_plain = |chord: &Chord| {
        chord
            .tones()
            .iter()
            .all(|(degree, _)| match degree.number() {
                3 | 7 => true,
                number => number == 1 || degree.alteration() == 0,
            })
    };
    let mut symbols: Vec<&str> = base
        .chords
        .iter()
        .filter(|placed| placed.start < base.goal() && dominant(&placed.chord))
        .map(|placed| placed.symbol.as_str())
        .collect();
    let all_plain = base
        .chords
        .iter()
        .all(|placed| !dominant(&placed.chord) || is_plain(&placed.chord));
    symbols.dedup();
    if symbols.is_empty() || !all_plain {
        return None;
    }
    let list = symbols.join(", ");
    let variant = |answer, colour, why| Variant {
        colour,
        ..Variant::new(answer, base.clone(), None, why)
    };
    Some(vec![
        variant(
            "plain",
            Colour::Plain,
            format!("{list} with ninth and thirteenth"),
        ),
        variant(
            "altered",
            Colour::Altered,
            format!("{list} with flat ninth and flat thirteenth"),
        ),
    ])
}

fn dictation(base: &Excerpt) -> Variant {
    let start = base.goal() - base.bar_beats();
    let names: Vec<String> = base.notes[start..base.goal()]
        .iter()
        .map(Pitch::to_string)
        .collect();
    let over: Vec<&str> = base
        .chords
        .iter()
        .skip_while(|placed| placed.start < base.chord_at(start).start)
        .filter(|placed| placed.start < base.goal())
        .map(|placed| placed.symbol.as_str())
        .collect();
    let answer = names.join(" ");
    Variant::new(
        &answer,
        base.clone(),
        Some(start),
        format!("over {}", over.join(" ")),
    )
}

fn progression(kind: QuestionKind, base: &Excerpt) -> Variant {
    let symbols: Vec<&str> = base
        .chords
        .iter()
        .map(|placed| placed.symbol.as_str())
        .collect();
    let goal = base.goal();
    if kind == QuestionKind::NextRoot {
        let why = format!(
            "the next root is {}: {}",
            base.notes[goal].name(),
            symbols.join(" ")
        );
        return Variant::new("", base.clone(), Some(goal), why);
    }
    Variant::new("", base.clone(), None, symbols.join(" "))
}

/// A pitch by the name under which a learner is told it.
fn as_told(pitch: Pitch, tones: &[NoteName]) -> Pitch {
    let named = told(pitch.name(), tones).at_midi(pitch.midi());
    named.unwrap_or(pitch)
}

/// The tones that spell a chord, as a learner is told them.
fn tones_as_told(chord: &Chord) -> String {
    let tones: Vec<NoteName> = chord.chord_tones().iter().map(|tone| tone.name).collect();
    let told: Vec<String> = tones
        .iter()
        .map(|&name| told(name, &tones).to_string())
        .collect();
    told.join(" ")
}

/// Every key of the range that sounds one of the names, spelled so, from the bottom.
pub(super) fn pitches_of(names: &[NoteName], range: &Range<i16>) -> Vec<Pitch> {
    range
        .clone()
        .flat_map(|key| names.iter().filter_map(move |name| name.at_midi(key)))
        .collect()
}

/// Every chord tone at a beat, in range.
pub(super) fn chord_pitches(base: &Excerpt, beat: usize, range: &Range<i16>) -> Vec<Pitch> {
    let tones = base.chord_at(beat).chord.chord_tones();
    let names: Vec<_> = tones.iter().map(|tone| tone.name).collect();
    pitches_of(&names, range)
}
