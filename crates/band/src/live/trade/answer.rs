//! The answer to a phrase: what it takes up, and the lines it is chosen from.
//!
//! What is exact and what is choice: the answer's lattice is that of the bars it fills, with some of their notes
//! fixed (the first, near where the player stopped, and those of a motif that the rules allow there), and each line
//! drawn from it has exactly its weight's probability among all lines with these notes. Which of a handful of such
//! draws is played is a choice, by likeness to the phrase, its direction and its density; so the answer as a whole
//! follows no law that could be written down.

use endpin_theory::{Feel, NoteName, Pitch, Strength};
use endpin_walker::{ChorusLine, Level, WalkError, Walker, pins::Fixed};

use super::phrase::{Outline, Phrase, taken_up};
use crate::live::redraw::Stretch;

/// So many lines for each octave an answer may begin in, of which one is chosen.
const DRAWS: u32 = 64;
/// So often a bar is tried with a note less.
const TRIES: u32 = 5;
/// Below so many notes a beat an answer is as sparse.
const SPARSE: f64 = 0.6;

/// What an answer takes up, in words and figures.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TakenUp {
    /// Nothing was played.
    Nothing,
    /// Where the player stopped, and no more: there was no motif, or none that the harmony has room for.
    Place,
    /// A bar of the phrase (from 1), so many semitones higher.
    Motif {
        /// The bar, from 1.
        bar: u32,
        /// Semitones by which it stands higher.
        higher: i16,
    },
}

impl std::fmt::Display for TakenUp {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match *self {
            TakenUp::Nothing => f.write_str("nothing heard: alone, and sparse"),
            TakenUp::Place => f.write_str("from where you stopped"),
            TakenUp::Motif { bar, higher: 0 } => write!(f, "your bar {bar}, as it was"),
            TakenUp::Motif { bar, higher } => {
                let way = if higher > 0 { "higher" } else { "lower" };
                write!(f, "your bar {bar}, {} {way}", interval(higher))
            }
        }
    }
}

/// The name of a distance, as players say it.
fn interval(semitones: i16) -> &'static str {
    match semitones.abs() {
        0 => "nothing",
        1 => "a half step",
        2 => "a whole step",
        3 | 4 => "a third",
        5 => "a fourth",
        6 => "a tritone",
        7 => "a fifth",
        8 | 9 => "a sixth",
        10 | 11 => "a seventh",
        12 => "an octave",
        _ => "more than an octave",
    }
}

/// Lines that an answer is chosen from, drawn before the phrase has ended.
pub struct Prepared {
    stretch: Stretch,
    lines: Vec<Candidate>,
}

struct Candidate {
    line: ChorusLine,
    first: u8,
    outlines: Vec<Outline>,
    taken_up: TakenUp,
}

/// An answer.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The line, over the bars that it fills and one more, to which it leads.
    pub line: ChorusLine,
    /// The bars.
    pub stretch: Stretch,
    /// What it takes up.
    pub taken_up: TakenUp,
    /// How much of the phrase is in it; see [`taken_up`].
    pub likeness: f64,
    /// How loud it is, 1 for as usual.
    pub gain: f64,
}

/// Draws lines that answer a phrase over `stretch`, whose last bar is the one after the answer. The phrase may
/// still go on: what is settled later, by [`choose`], is only where it stops and how loud it was.
///
/// # Errors
/// When there is no line even with nothing fixed.
pub fn prepare(phrase: &Phrase, mut stretch: Stretch, seed: u64) -> Result<Prepared, WalkError> {
    let sparse = phrase.density() < SPARSE;
    if sparse {
        stretch.development.feel = Some(Feel::Two);
        if phrase.notes.is_empty() {
            // The plainest two-feel, which has hardly a note between.
            (stretch.development.level, stretch.options.level) = (Level::TWO_FEEL, Level::TWO_FEEL);
        }
    } else {
        stretch.development.busy = match phrase.density() {
            dense if dense > 1.4 => 3,
            dense if dense > 1.1 => 2,
            _ => stretch.development.busy.min(1),
        };
    }
    let bars = stretch.chorus.bars.len() - 1;
    let sources = match sparse {
        true => Vec::new(),
        false => motifs(phrase),
    };
    let mut lines = Vec::new();
    let usual = match phrase.notes.is_empty() {
        true => TakenUp::Nothing,
        false => TakenUp::Place,
    };
    // Each octave in which it may begin, so that where the player stops can decide at the end.
    // Two plans: the bars that the chords have most room for, or one bar, what followed it, and that bar again.
    let plans = firsts(&stretch)
        .into_iter()
        .flat_map(|first| [(first, false), (first, true)]);
    for (first, in_order) in plans.filter(|(_, in_order)| !in_order || !sources.is_empty()) {
        let mut wishes: Vec<(u32, u32, u8)> = Vec::new();
        let (mut motif, mut higher) = (None, 0);
        // Each bar but the last, which leads on, states the bar of the phrase that its chords have most room for;
        // of equals the one that follows in the phrase.
        for bar in 0..bars.saturating_sub(1).max(1) {
            let follows = motif.map(|motif| motif + bar);
            let near = wishes.last().map_or(first, |(.., key)| *key);
            let candidates = sources.iter().map(|&(moves, source)| {
                let (mut notes, by) = stated(phrase, source, &stretch, bar, near);
                notes.retain(|note| stretch.admits(note.0, note.1, note.2));
                let again = bar == 2 && motif == Some(source);
                let next = (follows == Some(source) && bar < 2) || again;
                let worth = match in_order {
                    true if bar > 0 => (usize::from(next), false, notes.len(), source),
                    _ => (notes.len(), next, moves, source),
                };
                (worth, notes, by)
            });
            let Some((best, notes, by)) = candidates.max_by_key(|(worth, ..)| *worth) else {
                break;
            };
            wishes.extend(notes);
            if bar == 0 {
                (motif, higher) = (Some(best.3), by);
            }
        }
        let Some((walker, held)) = narrowed(&stretch, first, wishes) else {
            continue;
        };
        let taken_up = match motif {
            Some(motif) if held >= 2 => TakenUp::Motif {
                bar: motif as u32 + 1,
                higher,
            },
            _ => usual.clone(),
        };
        let drawn = walker.lines(seed, 1, DRAWS);
        lines.extend(drawn.into_iter().map(|line| Candidate {
            first: line.notes.first().map_or(first, |note| key(note.pitch)),
            outlines: outlines(&line, &stretch, bars),
            taken_up: taken_up.clone(),
            line,
        }));
    }
    if lines.is_empty() {
        let drawn = stretch.walker(Vec::new())?.lines(seed, 1, DRAWS);
        lines.extend(drawn.into_iter().map(|line| Candidate {
            first: line.notes.first().map_or(0, |note| key(note.pitch)),
            outlines: outlines(&line, &stretch, bars),
            taken_up: usual.clone(),
            line,
        }));
    }
    Ok(Prepared { stretch, lines })
}

/// Chooses the answer once the phrase has ended: among the lines that begin nearest to where it stopped, the one
/// most like it.
pub fn choose(prepared: Prepared, phrase: &Phrase) -> Option<Answer> {
    let heard = phrase.outlines();
    let Prepared { stretch, lines } = prepared;
    let stopped = phrase.last().map(|note| note.key);
    let distance = |first: u8| stopped.map_or(0, |key| key.abs_diff(first));
    let nearest = lines.iter().map(|line| distance(line.first)).min()?;
    let rises = |outlines: &[Outline]| {
        let mut keys = outlines.iter().flatten().flatten();
        let first = keys.next().copied().unwrap_or(0);
        let last = keys.next_back().copied().unwrap_or(first);
        (i16::from(last) - i16::from(first)).signum()
    };
    let way = rises(&heard);
    let mut best: Option<(f64, f64, Candidate)> = None;
    for candidate in lines {
        if distance(candidate.first) != nearest {
            continue;
        }
        let likeness = taken_up(&candidate.outlines, &heard);
        let same_way = rises(&candidate.outlines) == way;
        let worth = likeness + if same_way { 0.05 } else { 0.0 };
        if best.as_ref().is_none_or(|(most, ..)| worth > *most) {
            best = Some((worth, likeness, candidate));
        }
    }
    let (
        _,
        likeness,
        Candidate {
            line, mut taken_up, ..
        },
    ) = best?;
    if phrase.notes.is_empty() {
        taken_up = TakenUp::Nothing;
    } else if let TakenUp::Motif { bar, .. } = taken_up {
        // How much higher it stands depends on the octave that was chosen.
        let source = phrase.outline(bar as usize - 1).first().copied().flatten();
        let first = line.notes.first().map(|note| key(note.pitch));
        if let (Some(source), Some(first)) = (source, first) {
            let higher = i16::from(first) - i16::from(source);
            taken_up = TakenUp::Motif { bar, higher };
        }
    }
    // A usual note of the line has about this velocity; see the arrangement.
    const USUAL: f64 = 88.0;
    let gain = phrase
        .loudness()
        .map_or(0.8, |heard| (heard / USUAL).clamp(0.6, 1.3));
    Some(Answer {
        line,
        stretch,
        taken_up,
        likeness,
        gain,
    })
}

/// The bars (from 0) that are worth stating back, with how often each moves: all of a bar in the harmony, and not
/// one note repeated. The last bar may still go on and is taken only if it is the only one.
pub fn motifs(phrase: &Phrase) -> Vec<(usize, usize)> {
    let bars = phrase.ground.bars.len();
    let candidates = 0..bars.saturating_sub(1).max(1);
    candidates
        .filter(|bar| wrong_notes(phrase, Some(*bar)).is_empty())
        .filter_map(|bar| {
            let keys: Vec<u8> = phrase.outline(bar).into_iter().flatten().collect();
            let moves = keys.windows(2).filter(|pair| pair[0] != pair[1]).count();
            let starts = phrase.outline(bar).first().is_some_and(Option::is_some);
            (moves >= 1 && starts).then_some((moves, bar))
        })
        .collect()
}

/// The notes, by number, that are in neither the chord nor its scale and do not lead into the next one; in one bar
/// (from 0) or in all.
pub fn wrong_notes(phrase: &Phrase, bar: Option<usize>) -> Vec<usize> {
    let ground = &phrase.ground;
    let understood = endpin_theory::analyse(&ground.spans, ground.key);
    let is_wrong = |(index, note): &(usize, &super::phrase::HeardNote)| {
        let beat = phrase.beat_of(note);
        let here = ground.bar_at(beat).number as usize - 1;
        if bar.is_some_and(|bar| bar != here) {
            return false;
        }
        let span = ground.span_at(beat);
        let Some(chord) = &ground.spans[span].chord else {
            return false;
        };
        let chroma = note.key % 12;
        let in_chord = chord
            .chord_tones()
            .iter()
            .any(|tone| tone.name.chroma() == chroma);
        let bar = ground.bar_at(beat);
        let is_weak = bar.meter.strength(beat - bar.first_beat) == Strength::Weak;
        // The approaches of the rules: by a half or a whole step, or the dominant, on a weak beat.
        let leads = phrase.notes.get(index + 1).is_some_and(|next| {
            let step = i16::from(note.key) - i16::from(next.key);
            step.abs() == 1 || (is_weak && (step.abs() == 2 || step == 7 || step == -5))
        });
        !in_chord && !understood[span].scale.contains(chroma) && !leads
    };
    let notes = phrase.notes.iter().enumerate();
    notes.filter(is_wrong).map(|(index, _)| index).collect()
}

/// The keys on which a stretch can begin: its first chord's bass note in each octave of the range.
fn firsts(stretch: &Stretch) -> Vec<u8> {
    let (lowest, highest) = stretch.options.range;
    let bass = stretch.chorus.spans[0].chord.as_ref();
    let chroma = bass.map(|chord| chord.bass().chroma());
    (lowest..=highest)
        .filter(|key| chroma == Some(key % 12))
        .collect()
}

/// A bar of the phrase as it stands over a bar of the stretch: each note as far above its chord's root as it was,
/// in the octave nearest to `near`, and by how many semitones it stands higher.
fn stated(
    phrase: &Phrase,
    source: usize,
    stretch: &Stretch,
    bar: usize,
    near: u8,
) -> (Vec<(u32, u32, u8)>, i16) {
    let root = |chorus: &endpin_theory::Chorus, bar: usize| {
        let span = chorus.span_at(chorus.bars[bar].first_beat);
        let chord = chorus.spans[span].chord.as_ref();
        chord.map(|chord| i16::from(chord.bass().chroma()))
    };
    let outline = phrase.outline(source);
    let (Some(from), Some(to), Some(Some(first))) = (
        root(&phrase.ground, source),
        root(&stretch.chorus, bar),
        outline.first().copied(),
    ) else {
        return (Vec::new(), 0);
    };
    let up = (to - from).rem_euclid(12);
    // What is outside the instrument's range there is left out, since another octave would break the motif.
    let away = |by: i16| (i16::from(first) + by - i16::from(near)).abs();
    let octaves = [up - 24, up - 12, up, up + 12];
    let by = octaves.into_iter().min_by_key(|by| away(*by)).unwrap_or(up);
    let notes = outline.iter().zip(1u32..).filter_map(|(heard, beat)| {
        let key = u8::try_from(i16::from((*heard)?) + by).ok()?;
        Some((bar as u32 + 1, beat, key))
    });
    (notes.collect(), by)
}

/// The lines that begin on `first` and hold as many of the wishes (bar, beat, key) as the rules allow, and how many
/// they hold. Bar after bar joins those that are held already; a wish that is in the way is given up, weak beats
/// first.
fn narrowed(
    stretch: &Stretch,
    first: u8,
    mut wishes: Vec<(u32, u32, u8)>,
) -> Option<(Walker, usize)> {
    wishes.retain(|(bar, beat, _)| (*bar, *beat) != (1, 1));
    let fixed = |&(bar, beat, key): &(u32, u32, u8)| Fixed::Note {
        bar,
        beat,
        pitch: pitch(key),
    };
    let mut held = vec![fixed(&(1, 1, first))];
    let mut walker = stretch.walker(held.clone()).ok()?;
    for bar in 1..=stretch.chorus.bars.len() as u32 {
        let mut wanted: Vec<_> = wishes
            .iter()
            .filter(|wish| wish.0 == bar)
            .copied()
            .collect();
        for _ in 0..TRIES {
            if wanted.is_empty() {
                break;
            }
            let mut all = held.clone();
            all.extend(wanted.iter().map(fixed));
            let (at_bar, at_beat) = match stretch.walker(all.clone()) {
                Ok(narrower) => {
                    (walker, held) = (narrower, all);
                    break;
                }
                Err(WalkError::NoLine { bar, beat, .. } | WalkError::Pin { bar, beat, .. }) => {
                    (bar, beat)
                }
                // No other fault is left: each wish is allowed where it stands.
                Err(_) => break,
            };
            // The wish nearest to where no line goes through, a weak beat before a strong one.
            let meter = &stretch.chorus.bars[bar as usize - 1].meter;
            let far = |wish: &(u32, u32, u8)| {
                let beats = 8 * (i64::from(wish.0) - i64::from(at_bar)) + i64::from(wish.1)
                    - i64::from(at_beat);
                let strong = meter.strength(wish.1 as usize - 1) != Strength::Weak;
                (beats.abs() + 2 * i64::from(strong), beats)
            };
            if let Some(index) = (0..wanted.len()).min_by_key(|index| far(&wanted[*index])) {
                wanted.remove(index);
            }
        }
    }
    Some((walker, held.len() - 1))
}

/// The outlines of a line's first bars.
pub fn outlines(line: &ChorusLine, stretch: &Stretch, bars: usize) -> Vec<Outline> {
    let of_bar = |bar: usize| {
        let bar = &stretch.chorus.bars[bar];
        let beat = bar.meter.beat_ticks();
        let on = |index: i64| {
            let at = bar.start + beat * index;
            let note = line.notes.iter().find(|note| note.start == at);
            note.map(|note| key(note.pitch))
        };
        (0..i64::from(bar.meter.beats())).map(on).collect()
    };
    (0..bars).map(of_bar).collect()
}

fn key(pitch: Pitch) -> u8 {
    u8::try_from(pitch.midi()).unwrap_or(0)
}

/// A pitch of this key, by the plainest of its names; the walker spells it as the chord asks.
fn pitch(key: u8) -> Pitch {
    const NAMES: [&str; 12] = [
        "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
    ];
    let name = NAMES[usize::from(key % 12)];
    let name = NoteName::read(name).map(|(name, _)| name);
    let at = name.and_then(|name| name.at_midi(i16::from(key)));
    // Every key has one of the twelve names.
    at.unwrap_or_else(|| Pitch::new(NoteName::new(endpin_theory::Letter::C, 0), 0))
}
