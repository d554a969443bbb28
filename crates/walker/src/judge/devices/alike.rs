//! Devices that take something up again: sequences and answers.

use crate::judge::played::Played;

/// Notes in a figure.
const FIGURE: [usize; 3] = [4, 3, 6];

/// Whether a note stands in a figure of three notes or more that came just before on other steps with the
/// same moves in the same rhythm, or comes again just after.
pub(super) fn in_sequence(line: &Played<'_>, note: usize) -> bool {
    let belongs = line.place(note).onset.connects(line.heard[note].key);
    // Three notes alike may be chance: they explain no stranger.
    let figures = FIGURE.into_iter().filter(|&size| belongs || size > 3);
    figures.into_iter().any(|size| {
        let mut starts = note.saturating_sub(size - 1)..=note;
        starts.any(|start| is_figure(line, start, size) && repeats(line, start, size))
    })
}

/// A figure moves, lies within chords, and is more than the tones of a chord.
fn is_figure(line: &Played<'_>, start: usize, size: usize) -> bool {
    let Some(stands) = line.stands.get(start..start + size) else {
        return false;
    };
    let notes = start..start + size;
    let spells = |note: usize| line.place(note).onset.spells(line.heard[note].key);
    let moves = distinct(line, notes.clone()) >= 3;
    moves && stands.iter().all(|stand| stand.span.is_some()) && !notes.into_iter().all(spells)
}

fn distinct(line: &Played<'_>, notes: std::ops::Range<usize>) -> usize {
    let mut keys: Vec<u8> = line.heard[notes].iter().map(|note| note.key).collect();
    keys.sort_unstable();
    keys.dedup();
    keys.len()
}

fn repeats(line: &Played<'_>, start: usize, size: usize) -> bool {
    let copies = |other: usize| {
        if other + size > line.heard.len() {
            return false;
        }
        let moved = line.key(other) - line.key(start);
        let later = line.stands[other].time - line.stands[start].time;
        moved != 0
            && (0..size).all(|note| {
                line.key(other + note) - line.key(start + note) == moved
                    && line.stands[other + note].time - line.stands[start + note].time == later
            })
    };
    let before = start.checked_sub(size).is_some_and(copies);
    before || copies(start + size)
}

/// Bars back in which an answer is still heard as one.
const REMEMBERED: i64 = 4;

/// Whether the bar of a note moves in the rhythm of one of the last bars of the chorus and the same ways, to within
/// a semitone a move, over other chords; the note belongs to its own.
pub(super) fn answers(line: &Played<'_>, note: usize) -> bool {
    let onset = &line.place(note).onset;
    let key = line.heard[note].key;
    let belongs = match onset.arrival {
        true => onset.tones.contains(key),
        false => onset.connects(key),
    };
    let Some(bar) = bar_of(line, note).filter(|_| belongs) else {
        return false;
    };
    let mut before = bar.start;
    for _ in 0..REMEMBERED {
        let earlier = before.checked_sub(1).and_then(|last| bar_of(line, last));
        let Some(earlier) = earlier.filter(|bar_before| {
            line.heard[bar_before.start].chorus == line.heard[bar.start].chorus
        }) else {
            return false;
        };
        if moves_alike(line, &earlier, &bar) {
            return true;
        }
        before = earlier.start;
    }
    false
}

/// The notes of the bar in which a note stands, within a chorus.
fn bar_of(line: &Played<'_>, note: usize) -> Option<std::ops::Range<usize>> {
    let place = |note: usize| (line.heard[note].chorus, line.stands[note].bar);
    line.stands[note].span?;
    let same = |other: &usize| place(*other) == place(note);
    let back = (0..note).rev().take_while(same).count();
    let on = (note..line.heard.len()).take_while(same).count();
    Some(note - back..note + on)
}

fn moves_alike(
    line: &Played<'_>,
    one: &std::ops::Range<usize>,
    other: &std::ops::Range<usize>,
) -> bool {
    if one.len() != other.len() || one.len() < 3 || distinct(line, other.clone()) < 3 {
        return false;
    }
    let other_chord = line.stands[one.start].span != line.stands[other.start].span;
    let pairs = one.clone().zip(other.clone());
    let rhythm = pairs
        .clone()
        .all(|(a, b)| line.stands[a].in_bar == line.stands[b].in_bar);
    let mut moves = pairs.skip(1).map(|(a, b)| {
        let into = |note: usize| line.key(note) - line.key(note - 1);
        (into(a), into(b))
    });
    other_chord && rhythm && moves.all(|(a, b)| a.signum() == b.signum() && (a - b).abs() <= 1)
}
