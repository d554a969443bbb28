//! The way back: steps that make changes plainer, the richest first.
//!
//! All are common practice, no source.

use super::Row;
use super::song::{Edit, Song};
use crate::{
    analysis::Reading,
    chord::Family::{Diminished, Dominant, Major, Minor},
};

/// The rows in the order in which they are taken off.
#[rustfmt::skip]
pub(super) const ROWS: &[Row] = &[
    Row {
        name: "a plain dominant",
        when: "a dominant with altered or added tones",
        why: "{is} for {was}: the colours go, root, third and seventh stay. What the chord does is the same.",
        find: plain_dominant,
    },
    Row {
        name: "a substitute without its ii",
        when: "the ii of a tritone substitute in front of it",
        why: "{is} for {was}: the substitute falls by its half step without help. Its ii lay farthest from the key.",
        find: no_two_of_substitute,
    },
    Row {
        name: "V in the place of its tritone substitute",
        when: "a dominant that falls a half step",
        why: "{is} for {was}: third and seventh stay and change places. The root falls by a fifth again, the plainest way into {next}.",
        find: five_for_substitute,
    },
    Row {
        name: "the backdoor closed",
        when: "bVII7 after the minor subdominant",
        why: "{is} through: the minor subdominant needs no dominant of its own. Its two moving tones are the same.",
        find: no_backdoor,
    },
    Row {
        name: "the major subdominant",
        when: "the minor subdominant after the major one, or alone before I",
        why: "{is} through: the third of IV stays major, as the key has it. Nothing is borrowed from the parallel key.",
        find: major_subdominant,
    },
    Row {
        name: "no passing diminished chord",
        when: "a diminished chord after another chord",
        why: "{is} through: the bass leaves the half step to the line. The chord only joined its neighbours.",
        find: no_diminished,
    },
    Row {
        name: "V without its ii",
        when: "a ii in front of its V",
        why: "{is} for {was}: the V says by itself where it goes. The ii had put it off.",
        find: no_two,
    },
    Row {
        name: "I in the place of iii",
        when: "iii before a dominant or ii",
        why: "{is} for {was}: home sounds with its root. The other tones were there already.",
        find: one_for_three,
    },
    Row {
        name: "no V before a chord",
        when: "a secondary dominant after another chord",
        why: "{is} through: {next} arrives without a dominant of its own. The foreign leading tone goes.",
        find: no_secondary,
    },
    Row {
        name: "no quick change",
        when: "one bar of IV7 in the second bar of a blues",
        why: "{is} through: home lasts four bars, and IV is heard first in bar five. That arrival is the stronger for it.",
        find: no_quick_change,
    },
    Row {
        name: "I in the place of vi",
        when: "vi after I",
        why: "{is} through: vi shares two tones with I. Home simply lasts.",
        find: one_for_six,
    },
];

/// The chord before goes on through this one.
fn held_through(song: &Song, index: usize) -> Option<Edit> {
    let (before, place) = (song.before(index)?, song.at(index));
    place.replaced(vec![(before.itself()?, place.beats)])
}

fn plain_dominant(song: &Song, index: usize) -> Option<Edit> {
    let place = song.at(index);
    let coloured = place.chord.family() == Dominant && place.chord.suffix() != "7";
    if !coloured || place.chord.slash().is_some() {
        return None;
    }
    place.replaced(vec![(place.with("7")?, place.beats)])
}

fn no_two_of_substitute(song: &Song, index: usize) -> Option<Edit> {
    let (two, five) = (song.at(index), song.next(index)?);
    let substitute = matches!(five.duty.reading, Reading::Substitute(_));
    if !substitute || !two.is_two_of(five) || five.start < two.start {
        return None;
    }
    Some(Edit {
        start: two.start,
        chords: vec![(five.itself()?, two.beats + five.beats)],
    })
}

fn five_for_substitute(song: &Song, index: usize) -> Option<Edit> {
    let (place, next) = (song.at(index), song.next(index)?);
    if place.chord.family() != Dominant
        || place.up_to(next) != 11
        || !matches!(place.duty.reading, Reading::Substitute(_))
    {
        return None;
    }
    place.replaced(vec![(next.chord_at(4, 7, "7")?, place.beats)])
}

fn no_backdoor(song: &Song, index: usize) -> Option<Edit> {
    let after_four = song.before(index)?.is(5, &[Minor]);
    let stands = song.at(index).is(10, &[Dominant]) && after_four;
    stands.then(|| held_through(song, index))?
}

fn major_subdominant(song: &Song, index: usize) -> Option<Edit> {
    let place = song.at(index);
    if !place.is(5, &[Minor]) || !place.duty.major {
        return None;
    }
    let after_major = song
        .before(index)
        .filter(|before| before.is_four() && before.chord.root() == place.chord.root());
    match after_major {
        Some(_) => held_through(song, index),
        None => place.replaced(vec![(
            place.with(if place.duty.blues { "7" } else { "maj7" })?,
            place.beats,
        )]),
    }
}

fn no_diminished(song: &Song, index: usize) -> Option<Edit> {
    let stands = song.at(index).chord.family() == Diminished;
    stands.then(|| held_through(song, index))?
}

fn no_two(song: &Song, index: usize) -> Option<Edit> {
    let (two, five) = (song.at(index), song.next(index)?);
    let stands = two.is_two_of(five) && five.chord.family() == Dominant && five.start > two.start;
    // iii before VI7 is home, not only a ii.
    if !stands || two.is(4, &[Minor]) {
        return None;
    }
    Some(Edit {
        start: two.start,
        chords: vec![(five.itself()?, two.beats + five.beats)],
    })
}

fn one_for_three(song: &Song, index: usize) -> Option<Edit> {
    let (three, next) = (song.at(index), song.next(index)?);
    let goes_on = next.is(9, &[Dominant])
        || next.is(2, &[Minor])
        || next.is(3, &[Dominant, Diminished, Minor]);
    if !three.is(4, &[Minor]) || !goes_on || !three.duty.major {
        return None;
    }
    let suffix = if three.duty.blues { "7" } else { "maj7" };
    three.replaced(vec![(three.chord_at(-2, -4, suffix)?, three.beats)])
}

fn no_secondary(song: &Song, index: usize) -> Option<Edit> {
    let place = song.at(index);
    let before = song.before(index)?;
    let stands = matches!(place.duty.reading, Reading::Secondary(_)) && place.duty.degree != 0;
    if !stands || before.is_two_of(place) || before.chord.family() == Diminished {
        return None;
    }
    held_through(song, index)
}

fn no_quick_change(song: &Song, index: usize) -> Option<Edit> {
    let (four, next) = (song.at(index), song.next(index)?);
    let (bar, first) = song.bar(four.start);
    let before = song.before(index)?;
    let stands = four.duty.blues && four.is(5, &[Dominant]) && before.is(0, &[Dominant, Major]);
    if !stands || !first || four.beats != bar || before.beats != bar || !next.is_tonic() {
        return None;
    }
    held_through(song, index)
}

fn one_for_six(song: &Song, index: usize) -> Option<Edit> {
    let stands = song.at(index).is(9, &[Minor]) && song.before(index)?.is_tonic();
    stands.then(|| held_through(song, index))?
}
