//! Where in the chart a take begins: the place at which its notes spell the chords best.

use super::slots::{IN_A_BEAT, Slot};
use endpin_theory::{Chorus, Strength};

/// Where a take stands against its chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alignment {
    /// The slot of beat 1 of the first chorus.
    pub zero: Slot,
    /// Choruses that were begun.
    pub choruses: u32,
    /// How well the notes spell the chords there: 0 by chance, 1 all.
    pub fit: f64,
    /// Whether the intro of the chart was played before.
    pub has_intro: bool,
    /// Which of the last choruses was played, if one with more than its last chord.
    pub tag: Option<usize>,
}

/// What a chart plays around its choruses.
#[derive(Clone, Copy, Debug, Default)]
pub struct Around<'a> {
    /// The intro.
    pub intro: Option<&'a Chorus>,
    /// Last chorus with what may come behind it: the tag, the ways home of an ending; the longest first.
    pub lasts: &'a [Chorus],
}

/// What the bass is expected to do on a beat.
#[derive(Clone, Copy, Debug)]
struct Expected {
    /// Key of the octave to arrive on; none but at an arrival.
    bass: Option<u8>,
    /// Chord tones as bits.
    tones: u16,
    strong: bool,
    silent: bool,
}

/// Points for keeping the root at an arrival, a chord tone on a strong and on a weak beat; takes off for the
/// contrary. A line of chance scores near 0.
const ROOT: (f64, f64) = (2.0, -0.4);
const STRONG: (f64, f64) = (1.0, -0.5);
const WEAK: (f64, f64) = (0.4, -0.2);
/// A note outside the form, or where the band is silent.
const OUTSIDE: f64 = -0.5;
/// Most takes begin on beat 1 of the form; so much a note speaks for it.
const FROM_THE_TOP: f64 = 0.15;
/// Most takes begin on a bar line of the file's grid.
const ON_A_BAR: f64 = 0.05;
/// The most notes that are tried at all places together; beyond, only places near the top are.
const MOST_TRIED: usize = 20_000_000;
/// Bars before the form in which notes may lead into it.
const PICKUP_BARS: i64 = 2;

/// Finds where the first chorus begins, from slots and keys of a line. `beat_of_file` gives the beat of the
/// file at which a slot stands, if the file's grid is the one that was played to.
pub fn align(
    chorus: &Chorus,
    around: Around<'_>,
    slots: &[Slot],
    keys: &[u8],
    beat_of_file: impl Fn(Slot) -> Option<f64>,
) -> Alignment {
    let intro = around.intro.map_or_else(Vec::new, expected);
    let tags = around.lasts.iter().map(|last| {
        let mut whole = expected(last);
        whole.split_off(chorus.beats().min(whole.len()))
    });
    let expected = expected(chorus);
    let before = intro.len() as i64;
    let length = expected.len() as i64;
    let bar = i64::from(chorus.bars[0].meter.beats());
    let heard: Vec<(i64, u8)> = slots
        .iter()
        .zip(keys)
        .filter(|(slot, _)| slot.rem_euclid(IN_A_BEAT) == 0)
        .map(|(slot, key)| (slot.div_euclid(IN_A_BEAT), *key))
        .collect();
    let Some(&(first, _)) = heard.first() else {
        return Alignment {
            zero: slots.first().copied().unwrap_or(0).div_euclid(IN_A_BEAT) * IN_A_BEAT,
            choruses: 1,
            fit: 0.0,
            has_intro: false,
            tag: None,
        };
    };
    let (mut best, mut best_score) = (first, f64::MIN);
    let tried = (MOST_TRIED / heard.len()) as i64;
    for begin in -before - PICKUP_BARS * bar..length.min(tried) {
        let zero = first - begin;
        let mut score = fit(&intro, &expected, &heard, zero);
        if begin == 0 || begin == -before {
            score += FROM_THE_TOP;
        }
        let on_a_bar = |beat: f64| (beat / bar as f64 - (beat / bar as f64).round()).abs() < 0.01;
        if beat_of_file(zero * IN_A_BEAT).is_some_and(on_a_bar) {
            score += ON_A_BAR;
        }
        if score > best_score {
            (best, best_score) = (zero, score);
        }
    }
    let without = choruses(&heard, best, length, bar);
    let mut tags = tags.enumerate();
    let tag = tags.find_map(|(number, tag)| {
        let choruses = tagged(&expected, &tag, &heard, best, bar)?;
        Some((number, choruses))
    });
    let tagged = tag.map(|(_, choruses)| choruses);
    let choruses = tagged.unwrap_or(without);
    let end = tagged.map_or(i64::MAX, |choruses| i64::from(choruses) * length);
    let in_form = |beat: i64| before == 0 && beat < end || (0..end).contains(&beat);
    let of_form = heard.iter().copied();
    let of_form: Vec<(i64, u8)> = of_form.filter(|(beat, _)| in_form(beat - best)).collect();
    let all = of_form
        .iter()
        .map(|&(beat, _)| most(&expected, beat - best))
        .sum::<f64>();
    let spelled = fit(&[], &expected, &of_form, best) * of_form.len() as f64;
    Alignment {
        zero: best * IN_A_BEAT,
        choruses,
        has_intro: heard[0].0 - best < -before / 2,
        tag: tag.map(|(number, _)| number),
        fit: if all > 0.0 {
            (spelled / all).clamp(0.0, 1.0)
        } else {
            0.0
        },
    }
}

/// A single note, or several of one bar, after the end of a chorus are the ending; more are a chorus.
fn choruses(heard: &[(i64, u8)], zero: i64, length: i64, bar: i64) -> u32 {
    let last = heard[heard.len() - 1].0 - zero;
    let begun = last.div_euclid(length).max(0);
    let in_it = heard
        .iter()
        .filter(|(beat, _)| beat - zero >= begun * length)
        .count();
    let ending = begun > 0 && last - begun * length < bar && in_it <= 2;
    let count = if ending { begun } else { begun + 1 };
    u32::try_from(count).unwrap_or(u32::MAX)
}

/// The choruses after which the rest spells the tag, and does so better than it spells the form once more.
fn tagged(
    form: &[Expected],
    tag: &[Expected],
    heard: &[(i64, u8)],
    zero: i64,
    bar: i64,
) -> Option<u32> {
    let (length, more) = (form.len() as i64, tag.len() as i64);
    let last = heard[heard.len() - 1].0 - zero;
    // The last chord may follow, and the end of the tag be missing.
    let reaches = |choruses: &i64| {
        let beyond = last - choruses * length;
        more > 0 && (more / 2..more + 2 * bar).contains(&beyond)
    };
    let spells = |choruses: &i64| {
        let end = choruses * length;
        let after = heard.iter().map(|&(beat, key)| (beat - zero - end, key));
        let after = after.filter(|(beat, _)| (0..more).contains(beat));
        let (of_tag, of_form) = after.fold((0.0, 0.0), |(of_tag, of_form), (beat, key)| {
            let of = |expected: &[Expected]| points(expected[beat as usize % expected.len()], key);
            (of_tag + of(tag), of_form + of(form))
        });
        of_tag > of_form && of_tag > 0.0
    };
    let mut choruses = (1..=last.div_euclid(length)).rev();
    let found = choruses.find(|choruses| reaches(choruses) && spells(choruses))?;
    u32::try_from(found).ok()
}

fn expected(chorus: &Chorus) -> Vec<Expected> {
    (0..chorus.beats())
        .map(|beat| {
            let span = &chorus.spans[chorus.span_at(beat)];
            let chord = span.chord.as_ref();
            let arrives = chord.filter(|_| span.start == beat);
            Expected {
                bass: arrives.map(|chord| chord.bass().chroma()),
                tones: chord.map_or(0, |chord| {
                    let tones = chord.chord_tones();
                    let chromas = tones.iter().map(|tone| tone.name.chroma());
                    chromas
                        .chain([chord.bass().chroma()])
                        .fold(0, |set, chroma| set | 1 << chroma)
                }),
                strong: chorus.strength(beat) != Strength::Weak,
                silent: chord.is_none(),
            }
        })
        .collect()
}

/// Points a note if the form begins at beat `zero`, with the intro before it.
fn fit(intro: &[Expected], expected: &[Expected], heard: &[(i64, u8)], zero: i64) -> f64 {
    let points = heard.iter().map(|&(beat, key)| {
        let beat = beat - zero;
        let in_intro = usize::try_from(beat + intro.len() as i64);
        match (in_intro, beat) {
            (Ok(at), ..0) => points(intro[at], key),
            (Err(_), _) => OUTSIDE,
            (Ok(_), _) => points(expected[beat as usize % expected.len()], key),
        }
    });
    points.sum::<f64>() / heard.len().max(1) as f64
}

/// What a note brings on a beat.
fn points(expected: Expected, key: u8) -> f64 {
    let choose = |(kept, missed), keeps: bool| if keeps { kept } else { missed };
    let spells = expected.tones >> (key % 12) & 1 == 1;
    match expected.bass {
        _ if expected.silent => OUTSIDE,
        Some(bass) => choose(ROOT, key % 12 == bass),
        None if expected.strong => choose(STRONG, spells),
        None => choose(WEAK, spells),
    }
}

/// The most points that a beat of the form can bring.
fn most(expected: &[Expected], beat: i64) -> f64 {
    let expected = expected[beat.rem_euclid(expected.len() as i64) as usize];
    match expected.bass {
        Some(_) => ROOT.0,
        None if expected.strong => STRONG.0,
        None => WEAK.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use endpin_theory::Chart;

    fn blues() -> Chorus {
        let bars = "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | D7b9 | Gm7 | C7 | F7 D7 | Gm7 C7";
        Chart::from_bars(bars, "4/4".parse().unwrap())
            .unwrap()
            .chorus()
    }

    /// Root, fifth, root, seventh in every chord: enough to know it.
    fn plain_line(chorus: &Chorus, times: usize) -> Vec<(Slot, u8)> {
        let mut line = Vec::new();
        for beat in 0..chorus.beats() * times {
            let span = &chorus.spans[chorus.span_at(beat % chorus.beats())];
            let tones = span.chord.as_ref().unwrap().chord_tones();
            let tone = match (beat % chorus.beats() - span.start) % 4 {
                1 => &tones[2],
                3 => &tones[tones.len() - 1],
                _ => &tones[0],
            };
            line.push((beat as i64 * IN_A_BEAT, tone.name.chroma() + 36));
        }
        line
    }

    #[test]
    fn takes_begin_where_their_notes_fit() {
        let chorus = blues();
        let line = plain_line(&chorus, 3);
        // From the top, without the first notes, after a lead-in, with an ending.
        for (skip, shift, extra) in [(0, 0, 0), (1, 0, 0), (3, 48, 0), (0, 30, 1), (17, -12, 0)] {
            let mut shifted: Vec<(Slot, u8)> = line[skip..]
                .iter()
                .map(|&(slot, key)| (slot + shift, key))
                .collect();
            for _ in 0..extra {
                shifted.push((144 * IN_A_BEAT + shift, 41));
            }
            let (slots, keys): (Vec<_>, Vec<_>) = shifted.into_iter().unzip();
            let found = align(&chorus, Around::default(), &slots, &keys, |_| None);
            assert_eq!((found.zero, found.choruses), (shift, 3), "{skip} {shift}");
            assert!(found.fit > 0.9, "{}", found.fit);
        }
    }

    #[test]
    fn nothing_to_go_by_is_no_panic() {
        let zero = |slots: &[Slot], keys: &[u8]| {
            align(&blues(), Around::default(), slots, keys, |_| None).zero
        };
        assert_eq!(zero(&[], &[]), 0);
        assert_eq!(zero(&[15], &[40]), 12);
        assert_eq!(zero(&[12], &[41]), 12);
    }
}
