//! The long substitutions: chains of ii-Vs, and keys a major third apart.

use super::richer::halves;
use super::song::{Edit, Song, SongChord};
use crate::{
    chart::Symbol,
    chord::Family::{Dominant, HalfDiminished, Major, Minor},
};

/// ii-V over a root: minor seventh chord and the dominant a fourth above, half a bar each.
fn two_five(
    place: &SongChord,
    steps: i16,
    semitones: i16,
    bar: usize,
    minor: &str,
) -> Option<Vec<(Symbol, usize)>> {
    let two = place.chord_at(steps, semitones, minor)?;
    let five = place.chord_at(steps + 3, semitones + 5, "7")?;
    Some(halves(bar, two, five))
}

pub(super) fn by_half_steps(song: &Song, index: usize) -> Option<Edit> {
    let (three, six, two) = (song.at(index), song.next(index)?, song.second_next(index)?);
    let (bar, _) = song.bar(three.start);
    let stands = three.is_two_of(six) && six.falls_into(two) && two.is(2, &[Minor]) && bar > 1;
    if !stands || two.start < three.start {
        return None;
    }
    let start = if three.beats + six.beats == bar {
        // The bar before is home, and gives itself up.
        let one = song.before(index)?;
        if !one.is_tonic() || one.beats < bar || one.beats >= 3 * bar {
            return None;
        }
        three.start - bar
    } else if three.beats == bar && six.beats == bar {
        three.start
    } else {
        return None;
    };
    if start == 0 || !song.bar(start).1 {
        return None;
    }
    let mut chords = two_five(two, 1, 2, bar, "m7")?;
    chords.extend(two_five(two, 1, 1, bar, "m7")?);
    Some(Edit { start, chords })
}

pub(super) fn by_whole_steps(song: &Song, index: usize) -> Option<Edit> {
    let four = song.at(index);
    let (bar, aligned) = song.bar(four.start);
    let first = four.start.checked_sub(4 * bar)?;
    let one = song.sounding(first)?;
    let plain = |beat: usize| {
        song.sounding(beat).is_some_and(|place| {
            let into_four = place.is(6, &[Dominant]) || place.is(7, &[Minor, HalfDiminished]);
            place.is_tonic() || place.is_four() || into_four
        })
    };
    let start = first + bar;
    let same_meter = (0..4).all(|number| song.bar(first + number * bar) == (bar, true));
    if !four.is_four()
        || !aligned
        || bar < 2
        || !same_meter
        || !one.is_tonic()
        || !one.duty.major
        || !(start..four.start).all(plain)
    {
        return None;
    }
    let mut chords = two_five(one, 6, 11, bar, "m7b5")?;
    chords.extend(two_five(one, 5, 9, bar, "m7")?);
    chords.extend(two_five(one, 4, 7, bar, "m7")?);
    Some(Edit { start, chords })
}

pub(super) fn major_thirds(song: &Song, index: usize) -> Option<Edit> {
    let (two, five, one) = (song.at(index), song.next(index)?, song.second_next(index)?);
    let (bar, aligned) = song.bar(two.start);
    let stands =
        two.is(2, &[Minor]) && two.is_two_of(five) && five.falls_into(one) && one.is(0, &[Major]);
    let long = two.beats == bar && five.beats == bar && one.beats >= 2 * bar;
    if !stands || !long || !aligned || bar < 2 || one.start < two.start {
        return None;
    }
    let mut chords = halves(bar, two.itself()?, one.chord_at(2, 3, "7")?);
    chords.extend(halves(
        bar,
        one.chord_at(5, 8, "maj7")?,
        one.chord_at(6, 11, "7")?,
    ));
    chords.extend(halves(bar, one.chord_at(2, 4, "maj7")?, five.with("7")?));
    Some(Edit {
        start: two.start,
        chords,
    })
}
