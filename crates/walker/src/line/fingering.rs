//! Where a line lies on the neck: string, fret and finger of each note.
//!
//! The fingering that costs the hand least is found exactly, by dynamic programming over the shifts of the
//! hand and the crossings of strings.

use super::LineNote;
use crate::instrument::{Hand, Instrument};

/// How a note is fingered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fingering {
    /// The string, counted from 1, the highest.
    pub string: u8,
    /// Semitones above the open string, frets where there are frets; 0 is the open string.
    pub fret: u8,
    /// The finger of the left hand, 1 (index) to 4; 0 is the open string.
    pub finger: u8,
    /// The fret under the index finger, from 1.
    pub hand: u8,
}

/// What it costs to play an octave in another shape: as much as a shift by two frets.
const OUT_OF_SHAPE: u64 = 10;

impl Fingering {
    /// All ways to finger a key; on an open string the hand may be anywhere.
    pub fn all(instrument: &Instrument, key: u8) -> Vec<Fingering> {
        let mut ways = Vec::new();
        for (string, open) in (1..).zip(instrument.strings) {
            let Some(fret) = key
                .checked_sub(*open)
                .filter(|fret| *fret <= instrument.neck)
            else {
                continue;
            };
            let way = |finger, hand| Fingering {
                string,
                fret,
                finger,
                hand,
            };
            if fret == 0 {
                ways.extend((1..=instrument.positions()).map(|hand| way(0, hand)));
                continue;
            }
            for (above, &finger) in (0..).zip(instrument.fingers) {
                let hand = fret.checked_sub(above);
                let hand = hand.filter(|hand| (1..=instrument.positions()).contains(hand));
                ways.extend(hand.map(|hand| way(finger, hand)));
            }
        }
        ways
    }

    /// What it costs to come here from the fingering before, given how far the hand can shift meanwhile.
    ///
    /// Shifting is work, less so while an open string sounds; high positions and crossings are a little; a
    /// shift that there is no time for is taken only where there is no other way.
    fn cost(&self, from: &Fingering, shift: u8) -> u64 {
        let frets = u64::from(self.hand.abs_diff(from.hand));
        let work = match (frets, from.finger) {
            (0, _) => 0,
            (_, 0) => 2 + 2 * frets,
            _ => 4 + 3 * frets,
        };
        let too_far = frets.saturating_sub(u64::from(shift));
        let crossing = u64::from(self.string.abs_diff(from.string));
        let shape = if self.breaks_octave_shape(from) {
            OUT_OF_SHAPE
        } else {
            0
        };
        10_000 * too_far + work + crossing + shape + self.height()
    }

    /// Whether this is an octave from a stopped string to another, but not two strings and two frets away, where
    /// the hand finds it without looking (common practice, no source).
    fn breaks_octave_shape(&self, from: &Fingering) -> bool {
        let strings = i16::from(from.string) - i16::from(self.string);
        let frets = i16::from(self.fret) - i16::from(from.fret);
        // Strings are a fourth apart.
        let octave = (5 * strings + frets).abs() == 12;
        octave
            && self.fret > 0
            && from.fret > 0
            && (strings, frets) != (2, 2)
            && (strings, frets) != (-2, -2)
    }

    fn height(&self) -> u64 {
        u64::from(self.hand) - 1
    }
}

/// A line placed on the neck.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tablature {
    /// Open strings as MIDI keys, highest first.
    pub strings: &'static [u8],
    /// One place a note.
    pub places: Vec<Fingering>,
}

impl Tablature {
    /// The easiest fingering of choruses, each on its own, so that one is fingered alone as it is among
    /// others, and of an ending; none if the instrument does not have one of the notes.
    pub fn of<'a>(
        hand: &Hand,
        choruses: impl IntoIterator<Item = &'a [LineNote]>,
        ending: Option<&'a LineNote>,
    ) -> Option<Tablature> {
        let ending = ending.map(std::slice::from_ref);
        let places = choruses.into_iter().chain(ending).map(|notes| {
            let mut before = None;
            let step = |note: &LineNote| {
                let start = before.replace(note.start).unwrap_or(note.start);
                let key = u8::try_from(note.pitch.midi()).ok()?;
                Some((key, hand.shift_in(note.start - start)))
            };
            let steps: Vec<(u8, u8)> = notes.iter().map(step).collect::<Option<_>>()?;
            easiest(&hand.instrument, &steps)
        });
        Some(Tablature {
            strings: hand.instrument.strings,
            places: places.collect::<Option<Vec<_>>>()?.concat(),
        })
    }
}

/// A way to play a note, the least cost up to it, and the way to play the note before that has this cost.
struct Reached {
    way: Fingering,
    cost: u64,
    from: usize,
}

/// The easiest fingering of these keys, each with the frets that the hand can shift before it.
fn easiest(instrument: &Instrument, steps: &[(u8, u8)]) -> Option<Vec<Fingering>> {
    let mut layers: Vec<Vec<Reached>> = Vec::with_capacity(steps.len());
    for &(key, shift) in steps {
        let reach = |way: Fingering| {
            let Some(before) = layers.last() else {
                let cost = way.height();
                return Some(Reached { way, cost, from: 0 });
            };
            let costs = before
                .iter()
                .map(|from| from.cost + way.cost(&from.way, shift));
            let (from, cost) = costs.enumerate().min_by_key(|&(_, cost)| cost)?;
            Some(Reached { way, cost, from })
        };
        let layer: Vec<Reached> = Fingering::all(instrument, key)
            .into_iter()
            .filter_map(reach)
            .collect();
        if layer.is_empty() {
            return None;
        }
        layers.push(layer);
    }
    let last = layers.last().and_then(|layer| {
        let costs = layer.iter().enumerate();
        costs.min_by_key(|(_, reached)| reached.cost)
    });
    let mut at = last.map_or(0, |(index, _)| index);
    let mut line = Vec::with_capacity(steps.len());
    for layer in layers.iter().rev() {
        line.push(layer[at].way);
        at = layer[at].from;
    }
    line.reverse();
    Some(line)
}

#[cfg(test)]
mod tests {
    use super::*;
    use endpin_theory::Pitch;
    use proptest::prelude::*;

    fn easiest_of(text: &str) -> Vec<Fingering> {
        let key = |name: &str| name.parse::<Pitch>().unwrap().midi() as u8;
        let steps: Vec<(u8, u8)> = text
            .split_whitespace()
            .map(|name| (key(name), u8::MAX))
            .collect();
        easiest(&Instrument::BASS, &steps).unwrap()
    }

    fn frets(text: &str) -> Vec<u8> {
        easiest_of(text).iter().map(|way| way.fret).collect()
    }

    #[test]
    fn the_hand_stays_where_it_can() {
        // Bb major in first position, one finger a fret: frets 1 to 4 (common practice, no source).
        assert_eq!(frets("Bb1 D2 F2 A2"), [1, 0, 3, 2]);
        // C major over an octave in second position: 2-4, 1-2-4, 1-3-4 (common practice, no source).
        let scale = easiest_of("C2 D2 E2 F2 G2 A2 B2 C3");
        let shifts = scale.windows(2).filter(|two| two[0].hand != two[1].hand);
        assert!(shifts.count() <= 1);
    }

    #[test]
    fn a_note_beyond_the_neck_has_no_fingering() {
        assert_eq!(easiest(&Instrument::BASS, &[(23, 0)]), None);
        assert_eq!(easiest(&Instrument::BASS, &[(64, 0)]), None);
        assert_eq!(easiest(&Instrument::BASS, &[]), Some(Vec::new()));
    }

    fn total(line: &[Fingering], steps: &[(u8, u8)]) -> u64 {
        let moves = line.windows(2).zip(&steps[1..]);
        let moves = moves.map(|(two, &(_, shift))| two[1].cost(&two[0], shift));
        line[0].height() + moves.sum::<u64>()
    }

    /// The least cost of all fingerings, each tried.
    fn least(instrument: &Instrument, steps: &[(u8, u8)]) -> u64 {
        let mut lines: Vec<Vec<Fingering>> = vec![Vec::new()];
        for &(key, _) in steps {
            let ways = Fingering::all(instrument, key);
            lines = lines
                .iter()
                .flat_map(|line| ways.iter().map(|&way| [&line[..], &[way]].concat()))
                .collect();
        }
        lines.iter().map(|line| total(line, steps)).min().unwrap()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn it_is_the_easiest_of_all_and_sounds_the_notes(
            instrument in proptest::sample::select(&Instrument::ALL[..]),
            steps in proptest::collection::vec((0u8..=22, 0u8..8), 1..4),
        ) {
            let steps: Vec<(u8, u8)> =
                steps.iter().map(|&(above, shift)| (28 + above, shift)).collect();
            let line = easiest(&instrument, &steps).unwrap();
            for (way, (key, _)) in line.iter().zip(&steps) {
                let open = instrument.strings[usize::from(way.string) - 1];
                prop_assert_eq!(open + way.fret, *key);
                prop_assert_eq!(way.fret == 0, way.finger == 0);
                let above = usize::from(way.fret.saturating_sub(way.hand));
                prop_assert!(way.fret == 0 || instrument.fingers[above] == way.finger);
            }
            prop_assert_eq!(total(&line, &steps), least(&instrument, &steps));
        }
    }
}
