//! Where a line lies on the neck: string, fret and finger of each note.
//!
//! The instrument is tuned in fourths, E1 A1 D2 G2, with a low B0 added where a line goes below E1 (tuning
//! from memory). One finger serves one fret, four frets under the hand; the placing that moves the hand
//! least is found exactly, by dynamic programming.

use endpin_theory::Pitch;

/// Open strings as MIDI keys, highest first, as tablature draws them.
const FOUR_STRINGS: [i16; 4] = [43, 38, 33, 28];
const FIVE_STRINGS: [i16; 5] = [43, 38, 33, 28, 23];
/// Frets of the neck.
const FRETS: i16 = 20;

/// A place on the neck.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The string, counted from 1, the highest.
    pub string: u8,
    /// The fret; 0 is the open string.
    pub fret: u8,
    /// The finger of the left hand, 1 (index) to 4; 0 is the open string.
    pub finger: u8,
}

/// A line placed on the neck.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tablature {
    /// Open strings as MIDI keys, highest first.
    pub strings: &'static [i16],
    /// One place a note.
    pub places: Vec<Place>,
}

/// Places a line on four strings, or five if it needs the fifth; none if the instrument does not reach it.
pub fn place(line: &[Pitch]) -> Option<Tablature> {
    let lowest = line.iter().map(|pitch| pitch.midi()).min();
    let strings: &[i16] = match lowest {
        Some(lowest) if lowest < FOUR_STRINGS[3] => &FIVE_STRINGS,
        _ => &FOUR_STRINGS,
    };
    let places = easiest(strings, line)?;
    Some(Tablature { strings, places })
}

/// A way to play a note: its place, and the fret under the index finger.
#[derive(Clone, Copy)]
struct Hold {
    place: Place,
    hand: i16,
    cost: i64,
    from: usize,
}

fn easiest(strings: &[i16], line: &[Pitch]) -> Option<Vec<Place>> {
    let mut layers: Vec<Vec<Hold>> = Vec::with_capacity(line.len());
    for pitch in line {
        let before = layers.last();
        let mut layer = Vec::new();
        for (place, hand) in ways(strings, pitch.midi()) {
            let hands: Vec<i16> = match (hand, before) {
                (Some(hand), _) => vec![hand],
                // An open string leaves the hand where it was.
                (None, Some(before)) => before.iter().map(|hold| hold.hand).collect(),
                (None, None) => vec![1],
            };
            for hand in hands {
                let effort = |from: &Hold| from.cost + move_cost(from, hand, place);
                let (from, cost) = match before {
                    None => (0, i64::from(hand)),
                    Some(before) => before
                        .iter()
                        .enumerate()
                        .map(|(index, hold)| (index, effort(hold)))
                        .min_by_key(|&(_, cost)| cost)?,
                };
                layer.push(Hold {
                    place,
                    hand,
                    cost,
                    from,
                });
            }
        }
        if layer.is_empty() {
            return None;
        }
        layers.push(layer);
    }
    let mut places = Vec::with_capacity(line.len());
    let last = layers.last().map_or(0, |layer| {
        let costs = layer.iter().enumerate();
        costs
            .min_by_key(|(_, hold)| hold.cost)
            .map_or(0, |(index, _)| index)
    });
    let mut at = last;
    for layer in layers.iter().rev() {
        places.push(layer[at].place);
        at = layer[at].from;
    }
    places.reverse();
    Some(places)
}

/// Shifting the hand is work, high positions too, crossing strings a little.
fn move_cost(from: &Hold, hand: i16, place: Place) -> i64 {
    let shift = i64::from((hand - from.hand).abs());
    let crossing = i64::from(from.place.string.abs_diff(place.string));
    let start = if shift > 0 { 4 } else { 0 };
    start + 3 * shift + crossing + i64::from(hand - 1)
}

/// All places of a key, with the fret under the index finger (none for an open string).
fn ways(strings: &[i16], midi: i16) -> Vec<(Place, Option<i16>)> {
    let mut ways = Vec::new();
    for (index, open) in strings.iter().enumerate() {
        let fret = midi - open;
        let string = index as u8 + 1;
        if fret == 0 {
            let place = Place {
                string,
                fret: 0,
                finger: 0,
            };
            ways.push((place, None));
        }
        if !(1..=FRETS).contains(&fret) {
            continue;
        }
        for finger in 1..=4.min(fret) {
            let place = Place {
                string,
                fret: fret as u8,
                finger: finger as u8,
            };
            ways.push((place, Some(fret - finger + 1)));
        }
    }
    ways
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(text: &str) -> Vec<Pitch> {
        text.split_whitespace()
            .map(|note| note.parse().unwrap())
            .collect()
    }

    #[test]
    fn places_sound_their_notes() {
        let notes = line("F1 A1 C2 Eb2 E2 Bb2 G3 D3 Ab2 E1");
        let tab = place(&notes).unwrap();
        for (place, pitch) in tab.places.iter().zip(&notes) {
            let open = tab.strings[usize::from(place.string) - 1];
            assert_eq!(open + i16::from(place.fret), pitch.midi());
            assert_eq!(place.fret == 0, place.finger == 0);
        }
    }

    #[test]
    fn the_hand_stays_where_it_can() {
        // Bb major in first position, one finger a fret: frets 1 to 4 (common practice, no source).
        let tab = place(&line("Bb1 D2 F2 A2")).unwrap();
        let frets: Vec<u8> = tab.places.iter().map(|place| place.fret).collect();
        assert_eq!(frets, [1, 0, 3, 2]);
    }

    #[test]
    fn a_fifth_string_only_where_needed() {
        assert_eq!(place(&line("E1 G3")).unwrap().strings.len(), 4);
        assert_eq!(place(&line("D1 G3")).unwrap().strings.len(), 5);
        assert_eq!(place(&line("A0")), None);
        assert_eq!(place(&[]).unwrap().places, []);
    }
}
