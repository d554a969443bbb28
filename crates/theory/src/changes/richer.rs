//! Substitutions that make changes richer, one row each, from the plainest up.
//!
//! All are common practice, no source.

use super::Row;
use super::chains::{by_half_steps, by_whole_steps, major_thirds};
use super::song::{Edit, Song, SongChord};
use crate::{
    analysis::Reading,
    chart::Symbol,
    chord::Family::{self, *},
};

/// The rows in the order of the ladder.
#[rustfmt::skip]
pub(super) const ROWS: &[Row] = &[
    Row {
        name: "a ii before a V",
        when: "V of anything, two beats or longer, without its ii",
        why: "{is} come in the place of {was}: the ii shares the subdominant's sound and makes the V an arrival of its own. Its seventh falls by step into the third of the V.",
        find: two_before_five,
    },
    Row {
        name: "ii-V in the place of V-IV",
        when: "V7 IV7 I of a blues",
        why: "{is} in the place of {was}: the cadence runs on by falling fifths instead of stepping back. ii has two of IV's tones, so the subdominant is still heard, only earlier.",
        find: two_five_for_five_four,
    },
    Row {
        name: "the quick change",
        when: "I7 of a blues through its first four bars",
        why: "{is} for the second bar: IV is tasted once before it arrives in bar five. The third of I falls a half step to the seventh of IV.",
        find: quick_change,
    },
    Row {
        name: "a V before a chord",
        when: "any chord of two beats or longer in front of one, not I, that it does not lead to",
        why: "{is}: {next} gets a dominant of its own, a fifth above it. The new third is its leading tone and rises by a half step.",
        find: five_before,
    },
    Row {
        name: "the quick ii-V into the fourth degree",
        when: "a bar of I in front of IV, not the first of the form",
        why: "{is}: I turns into the V of IV, and its own ii comes before it. The major seventh or octave of I gives way to b7, which falls into the third of IV.",
        find: quick_two_five,
    },
    Row {
        name: "a passing diminished chord",
        when: "IV before I, I before ii, iii before ii",
        why: "{is}: the bass fills the whole step with a half step. A diminished chord is a rootless dominant with a flat ninth, so it leads on as a dominant would.",
        find: passing_diminished,
    },
    Row {
        name: "a turnaround",
        when: "a bar of I, then I, V or ii-V, at the end of a form that begins with I",
        why: "{is}: VI, ii and V lead back to the top by falling fifths. Where nothing happened for two bars, every half bar now asks for the next.",
        find: turnaround,
    },
    Row {
        name: "iii in the place of I",
        when: "I before VI7, within the form",
        why: "{is} for {was}: iii has the third, fifth and seventh of I and leaves out its root. It is the ii of the VI that follows, so a resting place turns into motion.",
        find: three_for_one,
    },
    Row {
        name: "the minor subdominant",
        when: "IV before I or iii, or the passing diminished chord in between",
        why: "{is}: the third of IV falls to its minor third, a note of the parallel key. It falls on to the fifth of I by another half step.",
        find: minor_subdominant,
    },
    Row {
        name: "the backdoor",
        when: "the minor subdominant before I or iii",
        why: "{is}: the minor subdominant brings its own dominant, a whole step below home. bVII7 has both of its moving tones, so home is reached from below without its leading tone.",
        find: backdoor,
    },
    Row {
        name: "a tritone substitute",
        when: "V of anything that falls a fifth",
        why: "{is} for {was}: both have the same third and seventh, changed about. The root falls by a half step into {next} where it fell by a fifth.",
        find: tritone_substitute,
    },
    Row {
        name: "ii-Vs falling by half steps",
        when: "a bar of I and a bar of iii-VI, or a bar each of iii and VI, before ii",
        why: "{is}: one ii-V stands a half step above the next, so every voice falls by half steps in parallel. The second pair is the ii-V of the tritone substitute.",
        find: by_half_steps,
    },
    Row {
        name: "ii-Vs falling by whole steps",
        when: "three bars of I, IV or the quick ii-V between a bar of I and IV",
        why: "{is}: three ii-Vs lead from home to IV, each a whole step below the one before. Each V is followed by the ii on its own goal, so that nothing rests before IV.",
        find: by_whole_steps,
    },
    Row {
        name: "a major seventh on I",
        when: "I7 of a blues before the ii-V of vi",
        why: "{is} for {was}: IV is still four bars away, so I need not be its dominant yet. The seventh rises by a half step, and home rests.",
        find: major_seventh,
    },
    Row {
        name: "an altered dominant",
        when: "a plain V of anything that falls a fifth",
        why: "{is} for {was}: ninths and fifths bend by a half step, and third and seventh stay. Each bent tone falls or rises by a half step into {next}.",
        find: altered,
    },
    Row {
        name: "keys a major third apart",
        when: "a bar of ii, a bar of V and two bars of I in major",
        why: "{is}: two more tonics, each a major third away and each with its own V, stand between ii and I. The roots rise by minor thirds and fall by fifths in turn, and the octave is parted in three.",
        find: major_thirds,
    },
];

/// The first of two parts that a length falls into; three beats are two and one.
fn first_half(beats: usize) -> usize {
    beats.div_ceil(2)
}

pub(super) fn halves(beats: usize, first: Symbol, second: Symbol) -> Vec<(Symbol, usize)> {
    let half = first_half(beats);
    vec![(first, half), (second, beats - half)]
}

/// The second part of a chord: its last bar if it lasts longer than one, else its second half.
fn tail(song: &Song, place: &SongChord) -> usize {
    let (bar, _) = song.bar(place.end() - 1);
    match place.beats {
        beats if beats >= 2 * bar => bar,
        beats => beats - first_half(beats),
    }
}

fn two_before_five(song: &Song, index: usize) -> Option<Edit> {
    let five = song.at(index);
    let next = song.next(index)?;
    let substitute = matches!(five.duty.reading, Reading::Substitute(_)) && five.up_to(next) == 11;
    let known = five.is_five() && five.falls_into(next) || substitute;
    let has_two = song
        .before(index)
        .is_some_and(|before| before.is_two_of(five));
    // I that turns into V of IV has a row of its own.
    if !known || has_two || five.beats < 2 || five.duty.degree == 0 {
        return None;
    }
    let suffix = if next.is_minor() && !substitute {
        "m7b5"
    } else {
        "m7"
    };
    let two = five.chord_at(4, 7, suffix)?;
    five.replaced(halves(five.beats, two, five.itself()?))
}

fn two_five_for_five_four(song: &Song, index: usize) -> Option<Edit> {
    let (five, four, one) = (song.at(index), song.next(index)?, song.second_next(index)?);
    let stands = five.duty.blues && five.is(7, &[Dominant]) && four.is(5, &[Dominant]);
    if !stands || !one.is_tonic() || four.start < five.start {
        return None;
    }
    Some(Edit {
        start: five.start,
        chords: vec![
            (five.chord_at(4, 7, "m7")?, five.beats),
            (five.itself()?, four.beats),
        ],
    })
}

fn quick_change(song: &Song, index: usize) -> Option<Edit> {
    let one = song.at(index);
    let next = song.next(index)?;
    let (bar, first) = song.bar(one.start);
    let stands = one.duty.blues && one.is(0, &[Dominant]) && next.is(5, &[Dominant]);
    if !stands
        || !first
        || one.beats < 4 * bar
        || song.before(index).is_some_and(SongChord::is_tonic)
    {
        return None;
    }
    Some(Edit {
        start: one.start + bar,
        chords: vec![(one.chord_at(3, 5, "7")?, bar)],
    })
}

fn five_before(song: &Song, index: usize) -> Option<Edit> {
    let (place, next) = (song.at(index), song.next(index)?);
    let within = next.start > place.start;
    let leads = place.falls_into(next)
        || place.is_two_of(next)
        || matches!(place.up_to(next), 0 | 1 | 11)
        || matches!(place.chord.family(), Diminished | Augmented | Suspended);
    let goal = !next.is_tonic() && matches!(next.chord.family(), Major | Minor | Dominant);
    let rests = matches!(place.duty.reading, Reading::Own | Reading::Borrowed);
    if !within || leads || !goal || !rests || place.beats < 2 || place.is(7, &[Dominant]) {
        return None;
    }
    let suffix = if next.is_minor() { "7b9" } else { "7" };
    let beats = tail(song, place);
    place.at_end(beats, vec![(next.chord_at(4, 7, suffix)?, beats)])
}

fn quick_two_five(song: &Song, index: usize) -> Option<Edit> {
    let (one, four) = (song.at(index), song.next(index)?);
    let (bar, _) = song.bar(one.end() - 1);
    let has_two = song
        .before(index)
        .is_some_and(|before| before.is_two_of(one));
    let opens = one.end() <= bar;
    let stands = one.is_tonic() && one.up_to(four) == 5 && four.start > one.start && !opens;
    if !stands || has_two || bar < 2 || one.beats < bar || !song.bar(one.end() - bar).1 {
        return None;
    }
    let (two, five) = match four.is_minor() {
        true => ("m7b5", "7b9"),
        false => ("m7", "7"),
    };
    one.at_end(bar, halves(bar, one.chord_at(4, 7, two)?, one.with(five)?))
}

fn passing_diminished(song: &Song, index: usize) -> Option<Edit> {
    let (place, next) = (song.at(index), song.next(index)?);
    if next.start < place.start || place.beats < 2 {
        return None;
    }
    let rises = place.is_four() && next.is_tonic()
        || place.is_tonic() && place.duty.major && next.is(2, &[Minor]);
    let falls = place.is(4, &[Minor]) && next.is(2, &[Minor]);
    let diminished = match (rises, falls) {
        (true, _) => place.chord_at(0, 1, "dim7")?,
        (_, true) => place.chord_at(0, -1, "dim7")?,
        _ => return None,
    };
    let beats = tail(song, place);
    place.at_end(beats, vec![(diminished, beats)])
}

fn turnaround(song: &Song, index: usize) -> Option<Edit> {
    let last = song.places.len() - 1;
    let (bar, first) = song.bar(song.chorus.beats() - 1);
    let start = song.chorus.beats().checked_sub(2 * bar)?;
    let one = song.at(index);
    let stands =
        one.is_tonic() && song.at(0).is_tonic() && one.chord.root() == song.at(0).chord.root();
    let (whole, aligned) = song.bar(start);
    if !stands
        || first
        || bar < 2
        || !aligned
        || whole != bar
        || start < one.start
        || start >= one.end()
    {
        return None;
    }
    let five = song.at(last).is(7, &[Dominant]);
    let enters = |place: usize| song.at(place).start == start + bar;
    let rest = match last - index {
        0 => true,
        1 => five && enters(last),
        2 => five && song.at(last - 1).is_two_of(song.at(last)) && enters(last - 1),
        _ => false,
    };
    if !rest || song.at(last).end() != song.chorus.beats() {
        return None;
    }
    let (six, two, five) = match one.duty.major {
        true => ("7", "m7", "7"),
        false => ("m7b5", "m7b5", "7b9"),
    };
    let mut chords = halves(bar, one.itself()?, one.chord_at(5, 9, six)?);
    chords.extend(halves(
        bar,
        one.chord_at(1, 2, two)?,
        one.chord_at(4, 7, five)?,
    ));
    Some(Edit { start, chords })
}

fn three_for_one(song: &Song, index: usize) -> Option<Edit> {
    let (one, six) = (song.at(index), song.next(index)?);
    let (bar, _) = song.bar(one.start);
    let stands = one.is_tonic() && one.duty.major && one.up_to(six) == 9;
    let two = song
        .second_next(index)
        .is_some_and(|two| six.falls_into(two) && two.is_minor());
    if !stands || !two || index == 0 || one.beats > bar || song.before(index)?.falls_into(one) {
        return None;
    }
    one.replaced(vec![(one.chord_at(2, 4, "m7")?, one.beats)])
}

/// Home again, or iii in its place.
fn goes_home(next: &SongChord) -> bool {
    next.is_tonic() || next.is(4, &[Minor])
}

fn minor_subdominant(song: &Song, index: usize) -> Option<Edit> {
    let (four, next) = (song.at(index), song.next(index)?);
    if four.is(6, &[Diminished]) && goes_home(next) {
        let before = song.before(index).filter(|before| before.is_four())?;
        return four.replaced(vec![(before.with("m6")?, four.beats)]);
    }
    if !four.is_four() || !four.duty.major || !goes_home(next) || four.beats < 2 {
        return None;
    }
    let beats = tail(song, four);
    four.at_end(beats, vec![(four.with("m6")?, beats)])
}

fn backdoor(song: &Song, index: usize) -> Option<Edit> {
    let (four, next) = (song.at(index), song.next(index)?);
    if !four.is(5, &[Minor]) || !four.duty.major || !goes_home(next) || four.beats < 2 {
        return None;
    }
    four.replaced(halves(
        four.beats,
        four.with("m7")?,
        four.chord_at(3, 5, "7")?,
    ))
}

fn tritone_substitute(song: &Song, index: usize) -> Option<Edit> {
    let (five, next) = (song.at(index), song.next(index)?);
    let has_two = song
        .before(index)
        .is_some_and(|before| before.is_two_of(five));
    if !five.is_five() || !five.falls_into(next) || five.duty.degree == 0 && !has_two {
        return None;
    }
    five.replaced(vec![(next.chord_at(1, 1, "7")?, five.beats)])
}

fn major_seventh(song: &Song, index: usize) -> Option<Edit> {
    let (one, next) = (song.at(index), song.next(index)?);
    let stands = one.duty.blues && one.is(0, &[Dominant]) && next.is(11, &[HalfDiminished]);
    stands.then(|| one.replaced(vec![(one.with("maj7")?, one.beats)]))?
}

fn altered(song: &Song, index: usize) -> Option<Edit> {
    let (five, next) = (song.at(index), song.next(index)?);
    if !five.is_five()
        || !five.falls_into(next)
        || five.chord.suffix() != "7"
        || five.duty.degree == 0
    {
        return None;
    }
    let suffix = match next.chord.family() {
        Family::Minor | HalfDiminished => "7b9",
        _ => "7alt",
    };
    five.replaced(vec![(five.with(suffix)?, five.beats)])
}
