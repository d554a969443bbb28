//! A count-in at the beginning of a take: one pitch struck evenly before the first chorus.
//!
//! Four beats, eight, or two half notes and four beats ("one, two, one two three four"; common practice, no
//! source).

use super::{align, pulse::Fit, slots};
use endpin_theory::Chorus;

/// A count-in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CountIn {
    /// Notes that count, which are none of the line.
    pub notes: usize,
    /// When it makes the first beat of the first chorus come, in the unit of the times given.
    pub downbeat: f64,
}

/// Beats from each note of a count-in to the next, the first of the line included.
const KINDS: [&[f64]; 3] = [&[1.0; 8], &[2.0, 2.0, 1.0, 1.0, 1.0, 1.0], &[1.0; 4]];

/// The most that a beat of a count-in differs from their mean, as a part of it.
const UNEVEN: f64 = 0.08;
/// The same for the first note of the line.
const LATE: f64 = 0.4;
/// Notes of the line that tell whether it begins after the count-in.
const HEARD: usize = 64;

/// The count-in of a line struck at these times, if it has one: evenly struck notes of one pitch after which the line is at the top of
/// the form.
pub fn find(chorus: &Chorus, times: &[f64], keys: &[u8]) -> Option<CountIn> {
    KINDS
        .into_iter()
        .filter_map(|beats| counted(times, keys, beats))
        .find(|count_in| begins_after(chorus, times, keys, count_in))
}

fn counted(times: &[f64], keys: &[u8], beats: &[f64]) -> Option<CountIn> {
    let count = beats.len();
    let next = *times.get(count)?;
    if keys[..count].iter().any(|&key| key != keys[0]) {
        return None;
    }
    // The line through the counting notes, by least squares.
    let mut place = 0.0;
    let mut pairs = Vec::with_capacity(count);
    for (&time, beat) in times.iter().zip(beats) {
        pairs.push((place, time));
        place += beat;
    }
    let fit = Fit::through(pairs.iter().copied())?;
    let off = |&(place, at): &(f64, f64)| (at - fit.time(place)).abs() / fit.period;
    let even = pairs.iter().all(|pair| off(pair) <= UNEVEN);
    let follows = off(&(place, next)) <= LATE;
    (even && follows).then_some(CountIn {
        notes: count,
        downbeat: fit.time(place),
    })
}

/// Whether the notes after the count-in are at the top of the form, and fit it there no worse than the whole does
/// anywhere.
fn begins_after(chorus: &Chorus, times: &[f64], keys: &[u8], count_in: &CountIn) -> bool {
    let beat = (count_in.downbeat - times[0])
        / match count_in.notes {
            6 => 8.0,
            notes => notes as f64,
        };
    let laid = |from: usize| {
        let end = times.len().min(from + HEARD);
        let places = times[from..end]
            .iter()
            .map(|time| (time - times[from]) / beat);
        let slots = slots::quantise(&places.collect::<Vec<f64>>()).slots;
        let around = align::Around::default();
        align::align(chorus, around, &slots, &keys[from..end], |_| None)
    };
    let (rest, whole) = (laid(count_in.notes), laid(0));
    rest.zero == 0 && rest.fit >= whole.fit
}

#[cfg(test)]
mod tests {
    use super::*;
    use endpin_theory::Chart;

    const BLUES: &str = "F7 | Bb7 | F7 | F7 | Bb7 | Bb7 | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7";

    /// Count and line, a note each beat of half a second, by key.
    fn found(keys: &[u8]) -> Option<CountIn> {
        let chorus = Chart::from_bars(BLUES, "4/4".parse().unwrap())
            .unwrap()
            .chorus();
        let times: Vec<f64> = (0..keys.len())
            .map(|beat| 1.0 + 0.5 * beat as f64)
            .collect();
        find(&chorus, &times, keys)
    }

    const LINE: [u8; 16] = [
        41, 45, 48, 47, 46, 50, 53, 42, 41, 45, 48, 50, 51, 48, 45, 47,
    ];

    #[test]
    fn four_equal_notes_before_the_form_count_it_in() {
        for key in [41, 48] {
            let counted = [&[key; 4][..], &LINE].concat();
            let count_in = found(&counted).unwrap();
            assert_eq!(count_in.notes, 4);
            assert!((count_in.downbeat - 3.0).abs() < 1e-9, "{count_in:?}");
        }
        assert_eq!(found(&[&[41; 8][..], &LINE].concat()).unwrap().notes, 8);
    }

    #[test]
    fn a_root_that_is_repeated_counts_nothing_in() {
        let mut repeated = LINE;
        repeated[..4].fill(41);
        assert_eq!(found(&repeated), None);
        assert_eq!(found(&LINE), None);
        assert_eq!(found(&[41; 3]), None);
        assert_eq!(found(&[]), None);
    }
}
