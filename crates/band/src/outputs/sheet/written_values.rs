//! From ticks to written values: which notes, dots, ties and triplets a reader sees.
//!
//! Values follow common practice (no source): a note that starts on a beat and ends on one is written
//! whole where a single value exists; all else is cut at the beats and tied, except a dotted beat from the
//! beat. A beat that holds thirds is a triplet.

use endpin_theory::{Meter, Ticks};

/// A written value: a whole note or a fraction of it, dotted or in a triplet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Value {
    /// 1 is a whole note, 2 a half, 4 a quarter, down to 64.
    pub fraction: u8,
    /// Whether an augmentation dot follows.
    pub dotted: bool,
    /// Whether three stand in the time of two.
    pub triplet: bool,
}

const WHOLE: i64 = 3840;

impl Value {
    /// How long it lasts.
    pub fn ticks(self) -> Ticks {
        let mut ticks = WHOLE / i64::from(self.fraction);
        if self.dotted {
            ticks += ticks / 2;
        }
        if self.triplet {
            ticks = ticks * 2 / 3;
        }
        Ticks(ticks)
    }

    /// The name that MusicXML and aria texts give it.
    pub fn name(self) -> &'static str {
        match self.fraction {
            1 => "whole",
            2 => "half",
            4 => "quarter",
            8 => "eighth",
            16 => "16th",
            32 => "32nd",
            _ => "64th",
        }
    }

    /// Flags of a lone note, or beams of a group.
    pub fn flags(self) -> u8 {
        match self.fraction {
            8 => 1,
            16 => 2,
            32 => 3,
            64 => 4,
            _ => 0,
        }
    }

    /// Plain and dotted values, longest first.
    fn ladder() -> impl Iterator<Item = Value> {
        [1, 2, 4, 8, 16, 32, 64].into_iter().flat_map(|fraction| {
            [true, false].map(|dotted| Value {
                fraction,
                dotted,
                triplet: false,
            })
        })
    }

    /// The longest value that is not longer than `ticks`.
    fn longest(ticks: i64, dots: bool) -> Option<Value> {
        Value::ladder().find(|value| value.ticks().0 <= ticks && (dots || !value.dotted))
    }

    fn exact(ticks: i64) -> Option<Value> {
        Value::ladder().find(|value| value.ticks().0 == ticks)
    }
}

/// Something that sounds in a bar: from, to (ticks within the bar) and which note it is.
pub type SoundingSpan = (Ticks, Ticks, usize);

/// One written note or rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WrittenPiece {
    /// Where it starts within the bar.
    pub start: Ticks,
    /// How it is written.
    pub value: Value,
    /// Which note it is or belongs to; none is a rest.
    pub note: Option<usize>,
    /// Whether it is tied to the piece that follows.
    pub tied: bool,
}

/// Writes a bar: the notes in order, rests between them, all of it filled.
pub fn notate(meter: &Meter, sounding: &[SoundingSpan]) -> Vec<WrittenPiece> {
    let beat = meter.beat_ticks().0;
    let bar = meter.bar_ticks().0;
    let grid = BarPlaces::of(meter.is_compound(), beat, bar, sounding);
    let mut pieces = Vec::new();
    let mut at = 0;
    for &(from, to, note) in sounding {
        let from = grid.nearest(from.0).max(at);
        let to = grid.nearest(to.0).min(bar);
        if to <= from {
            continue;
        }
        grid.write(at, from, None, &mut pieces);
        grid.write(from, to, Some(note), &mut pieces);
        at = to;
    }
    grid.write(at, bar, None, &mut pieces);
    pieces
}

/// The places within a bar at which a note may start or end.
struct BarPlaces {
    beat: i64,
    /// Whether beats are dotted notes, of three parts each.
    compound: bool,
    /// For each beat, whether it is cut in three rather than in four.
    thirds: Vec<bool>,
}

impl BarPlaces {
    fn of(compound: bool, beat: i64, bar: i64, sounding: &[SoundingSpan]) -> BarPlaces {
        let mut thirds = vec![false; (bar / beat) as usize];
        let edges = sounding.iter().flat_map(|&(from, to, _)| [from.0, to.0]);
        for edge in edges.filter(|edge| (0..bar).contains(edge)) {
            let into = edge % beat;
            let off = |part: i64| {
                let rest = into % part;
                rest.min(part - rest)
            };
            if off(beat / 4) > off(beat / 3) {
                thirds[(edge / beat) as usize] = true;
            }
        }
        BarPlaces {
            beat,
            compound,
            thirds,
        }
    }

    /// The step of the grid at a place.
    fn step(&self, at: i64) -> i64 {
        if self.compound {
            return self.beat / 6;
        }
        match self.thirds.get((at / self.beat) as usize) {
            Some(true) => self.beat / 3,
            _ => self.beat / 4,
        }
    }

    fn nearest(&self, at: i64) -> i64 {
        let step = self.step(at);
        (at + step / 2).div_euclid(step) * step
    }

    /// Writes one sound or silence as pieces.
    fn write(&self, mut from: i64, to: i64, note: Option<usize>, pieces: &mut Vec<WrittenPiece>) {
        while from < to {
            let value = self.next_value(from, to, note.is_some());
            let until = from + value.ticks().0;
            pieces.push(WrittenPiece {
                start: Ticks(from),
                value,
                note,
                tied: note.is_some() && until < to,
            });
            from = until;
        }
    }

    fn next_value(&self, from: i64, to: i64, dots: bool) -> Value {
        let next_beat = (from / self.beat + 1) * self.beat;
        let fallback = Value {
            fraction: 64,
            dotted: false,
            triplet: false,
        };
        if self.compound {
            let whole_beats = |value: &Value| value.ticks().0 % self.beat == 0;
            let longest = Value::ladder()
                .filter(whole_beats)
                .find(|value| value.ticks().0 <= to - from && from % self.beat == 0);
            let within = to.min(next_beat) - from;
            return longest
                .or_else(|| Value::longest(within, dots))
                .unwrap_or(fallback);
        }
        if from % self.beat == 0 {
            let beats = (to - from) / self.beat * self.beat;
            let dotted_beat = to - from == self.beat * 3 / 2;
            if dots
                && dotted_beat
                && self.step(to) == self.beat / 4
                && let Some(value) = Value::exact(to - from)
            {
                return value;
            }
            if beats > 0 {
                return Value::longest(beats, dots).unwrap_or(fallback);
            }
        }
        let length = to.min(next_beat) - from;
        if self.step(from) == self.beat / 3 {
            let plain = length * 3 / 2;
            let value = Value::longest(plain, false).unwrap_or(fallback);
            return Value {
                triplet: true,
                ..value
            };
        }
        Value::longest(length, dots).unwrap_or(fallback)
    }
}

/// Runs of pieces that are joined by a beam: flagged notes within one beat (one group of a meter in
/// eighths or shorter), rests excluded. Each run has two pieces or more.
pub fn beams(meter: &Meter, pieces: &[WrittenPiece]) -> Vec<std::ops::Range<usize>> {
    let group_of = |at: Ticks| -> i64 {
        let beat = at.0 / meter.beat_ticks().0;
        if meter.unit() < 8 || meter.is_compound() {
            return beat;
        }
        let mut end = 0;
        let groups = meter.grouping().iter().position(|&group| {
            end += i64::from(group);
            beat < end
        });
        groups.map_or(beat, |group| group as i64)
    };
    runs(pieces, |a, b| {
        let beamed = |piece: &WrittenPiece| piece.note.is_some() && piece.value.flags() > 0;
        beamed(a) && beamed(b) && group_of(a.start) == group_of(b.start)
    })
    .into_iter()
    .filter(|run| run.len() > 1)
    .collect()
}

/// Runs of pieces that stand under one figure 3: the triplet pieces of one beat.
pub fn triplets(meter: &Meter, pieces: &[WrittenPiece]) -> Vec<std::ops::Range<usize>> {
    let beat = meter.beat_ticks().0;
    runs(pieces, |a, b| {
        a.value.triplet && b.value.triplet && a.start.0 / beat == b.start.0 / beat
    })
    .into_iter()
    .filter(|run| pieces[run.start].value.triplet)
    .collect()
}

/// Splits pieces into maximal runs whose neighbours belong together.
fn runs(
    pieces: &[WrittenPiece],
    together: impl Fn(&WrittenPiece, &WrittenPiece) -> bool,
) -> Vec<std::ops::Range<usize>> {
    let mut found: Vec<std::ops::Range<usize>> = Vec::new();
    for (index, piece) in pieces.iter().enumerate() {
        match found.last_mut() {
            Some(run) if together(&pieces[index - 1], piece) => run.end = index + 1,
            _ => found.push(index..index + 1),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn shown(meter: &str, sounding: &[(i64, i64)]) -> String {
        let meter: Meter = meter.parse().unwrap();
        let sounding: Vec<SoundingSpan> = sounding
            .iter()
            .enumerate()
            .map(|(index, &(from, to))| (Ticks(from), Ticks(to), index))
            .collect();
        let pieces = notate(&meter, &sounding);
        let total: i64 = pieces.iter().map(|piece| piece.value.ticks().0).sum();
        assert_eq!(total, meter.bar_ticks().0);
        let shown = pieces.iter().map(|piece| {
            let rest = if piece.note.is_none() { "r" } else { "" };
            let dot = if piece.value.dotted { "." } else { "" };
            let three = if piece.value.triplet { "t" } else { "" };
            let tie = if piece.tied { "~" } else { "" };
            format!("{rest}{}{dot}{three}{tie}", piece.value.fraction)
        });
        shown.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn values_read_well() {
        for (meter, sounding, wanted) in [
            (
                "4/4",
                &[(0, 960), (960, 1920), (1920, 2880), (2880, 3840)][..],
                "4 4 4 4",
            ),
            ("4/4", &[(0, 1920), (1920, 2880), (2880, 3840)], "2 4 4"),
            ("4/4", &[(0, 3840)], "1"),
            ("4/4", &[], "r1"),
            ("3/4", &[(0, 2880)], "2."),
            ("4/4", &[(0, 1440), (1440, 1920), (1920, 3840)], "4. 8 2"),
            ("4/4", &[(0, 640), (640, 960), (960, 3840)], "4t 8t 2."),
            ("4/4", &[(640, 960), (960, 1920)], "r4t 8t 4 r2"),
            ("4/4", &[(0, 960), (1440, 2880)], "4 r8 8~ 4 r4"),
            ("5/4", &[(0, 4800)], "1~ 4"),
            ("6/8", &[(0, 1440), (1440, 1920)], "4. 8 r4"),
            (
                "12/8",
                &[(0, 1440), (1440, 2400), (2400, 2880), (2880, 5760)],
                "4. 4 8 2.",
            ),
            ("12/8", &[(0, 5760)], "1."),
            ("12/8", &[(0, 4320)], "2.~ 4. r4."),
            ("4/4", &[(0, 320), (320, 640), (640, 960)], "8t 8t 8t r2 r4"),
        ] {
            assert_eq!(shown(meter, sounding), wanted, "{meter} {sounding:?}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]
        /// Whatever sounds, the bar is filled exactly and each note is written.
        #[test]
        fn bars_are_filled(mut edges in proptest::collection::btree_set(0i64..48, 2..12), unit in 0usize..3) {
            let meter: Meter = ["4/4", "12/8", "7/4"][unit].parse().unwrap();
            edges.retain(|edge| edge * 80 <= meter.bar_ticks().0);
            let edges: Vec<i64> = edges.into_iter().map(|edge| edge * 80).collect();
            let sounding: Vec<SoundingSpan> = edges.windows(2).enumerate()
                .map(|(index, pair)| (Ticks(pair[0]), Ticks(pair[1]), index)).collect();
            let pieces = notate(&meter, &sounding);
            let mut at = 0;
            for piece in &pieces {
                prop_assert_eq!(piece.start.0, at);
                at += piece.value.ticks().0;
            }
            prop_assert_eq!(at, meter.bar_ticks().0);
        }
    }
}
