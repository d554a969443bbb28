//! Rows of strokes, written as a drummer's chart: four beats apart by blanks, each of one to six equal parts.
//!
//! `X` is an accent, `x` a plain stroke, `o` a soft one, `-` none: `x Xo x Xo` is a stroke on each beat, and soft ones
//! half way after the second and the fourth, which swing where the feel swings.

use super::kit::Stress;
use endpin_theory::{Meter, Ticks};

/// A bar of four beats; of meters and groups with fewer the first ones are played.
pub type Row = &'static str;

/// A stroke of a row: the beat, from 0, how far behind it, in twelfths of a beat, and how hard.
pub type RowStroke = (usize, i64, Stress);

/// The strokes of a row.
pub fn strokes(row: Row) -> impl Iterator<Item = RowStroke> {
    row.split(' ').enumerate().flat_map(|(beat, parts)| {
        let part = 12 / parts.len().max(1) as i64;
        let strokes = parts.chars().enumerate();
        strokes.filter_map(move |(index, mark)| {
            let stress = match mark {
                'o' => Stress::Soft,
                'x' => Stress::Plain,
                'X' => Stress::Accent,
                _ => return None,
            };
            Some((beat, part * index as i64, stress))
        })
    })
}

/// Whether all beats of a row are cut into parts that a feel plays: thirds in compound meters, halves and quarters
/// where eighths are even, halves and thirds where they swing.
pub fn suits(row: Row, is_compound: bool, is_even: bool) -> bool {
    row.split(' ').all(|beat| match beat.len() {
        1 => true,
        2 => !is_compound,
        3 => is_compound || !is_even,
        _ => is_even && !is_compound,
    })
}

/// A row over the groups of a meter, each from its own first beat: places from the bar line. `threes` is played in
/// groups of three, if it is given. Where there is no room between the beats only those are played.
pub fn lay(row: Row, threes: Option<Row>, meter: &Meter, room: bool) -> Vec<(Ticks, Stress)> {
    let beat = meter.beat_ticks().0;
    let mut laid = Vec::new();
    let mut head = 0;
    for &group in meter.grouping() {
        let row = threes.filter(|_| group == 3).unwrap_or(row);
        for from in (0..usize::from(group)).step_by(4) {
            let left = usize::from(group) - from;
            let here = strokes(row).filter(|&(at, into, _)| at < left && (room || into == 0));
            laid.extend(here.map(|(at, into, stress)| {
                let beats = (head + from + at) as i64;
                (Ticks(beat * beats + beat * into / 12), stress)
            }));
        }
        head += usize::from(group);
    }
    laid
}

/// The last beats of a row as the last of a bar.
pub fn lay_at_the_end(row: Row, meter: &Meter) -> Vec<(Ticks, Stress)> {
    let beat = meter.beat_ticks().0;
    let shift = i64::from(meter.beats()) - 4;
    let all = strokes(row).map(|(at, into, stress)| {
        let beats = at as i64 + shift;
        (Ticks(beat * beats + beat * into / 12), stress)
    });
    all.filter(|(at, _)| at.0 >= 0).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_reads_as_it_is_written() {
        let read: Vec<RowStroke> = strokes("x Xo - x-o").collect();
        use Stress::{Accent, Plain, Soft};
        let written = [
            (0, 0, Plain),
            (1, 0, Accent),
            (1, 6, Soft),
            (3, 0, Plain),
            (3, 8, Soft),
        ];
        assert_eq!(read, written);
    }

    #[test]
    fn groups_begin_the_row_anew() {
        let places = |meter: &str, threes| -> Vec<f64> {
            let meter: Meter = meter.parse().unwrap();
            let laid = lay("x - x -", threes, &meter, true);
            laid.iter().map(|(at, _)| at.quarters() + 1.0).collect()
        };
        assert_eq!(places("4/4", None), [1.0, 3.0]);
        assert_eq!(places("3/4", Some("x - - -")), [1.0]);
        assert_eq!(places("5/4", None), [1.0, 3.0, 4.0]);
        let three: Meter = "3/4".parse().unwrap();
        let end = lay_at_the_end("x - - xx", &three);
        assert_eq!(
            end.iter().map(|(at, _)| at.quarters()).collect::<Vec<_>>(),
            [2.0, 2.5]
        );
    }
}
