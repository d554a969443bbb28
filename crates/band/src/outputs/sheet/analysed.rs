//! The chart as understood, on paper: chords, and under each its function and its scale.

use super::{
    engrave::{
        font::Face,
        ink::{Picture, ShapeUse},
        symbol::chord_symbol,
    },
    print::{Pages, wrapped},
};
use crate::performance::session::Session;
use endpin_theory::{Chorus, Span, Understood, chart::Bar};
use std::ops::Range;

/// The chart with what each chord is and where it belongs: chord, function and scale.
pub fn chart(pages: &mut Pages, session: &Session) {
    let number = session.wishes().choruses.start;
    let (chorus, understood) = (session.chorus(number), session.understood(number));
    let mut lines: Vec<(&[Bar], usize)> = Vec::new();
    for section in chorus.bars.chunk_by(|_, bar| !bar.opens_section) {
        let bars_a_line = bars_a_line(chorus, section);
        lines.extend(section.chunks(bars_a_line).map(|bars| (bars, bars_a_line)));
    }
    for (bars, bars_a_line) in lines {
        let share = pages.width() / bars_a_line as f64;
        let mut picture = Picture {
            width: pages.width(),
            ..Picture::default()
        };
        if bars[0].opens_section {
            let name = Face::Strong.fit(&bars[0].section, share / 2.0);
            picture.text(ShapeUse::Words, None, &name, (0.3, -3.6), 1.8, Face::Strong);
        }
        let lefts = (0..).map(|index| share * f64::from(index));
        let cells: Vec<ChordCell<'_>> = bars
            .iter()
            .zip(lefts)
            .flat_map(|(bar, left)| cells(chorus, understood, bar, left..left + share))
            .collect();
        // The scales of a line stand level, below the longest function.
        let most = |lines: fn(&ChordCell<'_>) -> usize| cells.iter().map(lines).max().unwrap_or(0);
        let scales = 2.3 + 1.8 * most(|cell| cell.function.len()).max(1) as f64 + 0.2;
        let bottom = scales + 1.6 * most(|cell| cell.scale.len()).saturating_sub(1) as f64 + 0.3;
        for index in 0..bars.len() {
            for x in [index, index + 1].map(|edge| share * edge as f64) {
                picture.line(ShapeUse::Barline, None, (x, -2.6), (x, bottom), 0.16);
            }
        }
        for ChordCell {
            x,
            symbol,
            function,
            scale,
        } in cells
        {
            picture.place(chord_symbol(symbol), x, 0.0);
            for (lines, y, size, step, face) in [
                (function, 2.3, 1.6, 1.8, Face::Strong),
                (scale, scales, 1.4, 1.6, Face::Regular),
            ] {
                for (number, line) in (0..).zip(lines) {
                    let at = (x, y + step * f64::from(number));
                    picture.text(ShapeUse::Words, None, &line, at, size, face);
                }
            }
        }
        let top = if bars[0].opens_section { -5.4 } else { -3.2 };
        pages.add(picture, top, bottom + 1.0);
    }
}

/// Four bars, or two where a chord has less than a third of a bar for its words.
fn bars_a_line(chorus: &Chorus, section: &[Bar]) -> usize {
    let is_narrow = |bar: &Bar| {
        let beats = u32::from(bar.meter.beats());
        let starts = chorus.spans.iter().filter(|span| span.bar == bar.number);
        let starts: Vec<u32> = starts.map(|span| span.beat).chain([beats + 1]).collect();
        starts
            .windows(2)
            .any(|pair| (pair[1] - pair[0]) * 3 < beats)
    };
    match section.iter().any(is_narrow) {
        true => 2,
        false => 4,
    }
}

/// A chord of the chart with the words under it, broken into lines that fit.
struct ChordCell<'a> {
    x: f64,
    symbol: &'a str,
    function: Vec<String>,
    scale: Vec<String>,
}

/// The chords of a bar between two bar lines, each at its beat.
fn cells<'a>(
    chorus: &'a Chorus,
    understood: &[Understood],
    bar: &Bar,
    room: Range<f64>,
) -> Vec<ChordCell<'a>> {
    let beats = f64::from(bar.meter.beats());
    let at = |beat: u32| {
        let width = room.end - room.start - 0.6;
        room.start + 0.6 + width * f64::from(beat - 1) / beats
    };
    let here: Vec<(&Span, &Understood)> = chorus
        .spans
        .iter()
        .zip(understood)
        .filter(|(span, _)| span.bar == bar.number)
        .collect();
    let nexts = here.iter().skip(1).map(|(span, _)| at(span.beat));
    let nexts = nexts.chain([room.end]);
    here.iter()
        .zip(nexts)
        .map(|((span, understood), next)| {
            let x = at(span.beat);
            let words = |text: &str, size: f64, face: Face| match &span.chord {
                Some(_) => wrapped(text, (next - x - 0.5) / size, face),
                None => Vec::new(),
            };
            ChordCell {
                x,
                symbol: &span.symbol,
                function: words(&understood.function, 1.6, Face::Strong),
                scale: words(understood.scale.name(), 1.4, Face::Regular),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{outputs::sheet::print::Paper, performance::session::Wishes};
    use endpin_theory::Chart;
    use endpin_walker::Options;

    #[test]
    fn bars_of_many_chords_have_more_room() {
        for (bars, meter, a_line) in [
            ("F7 | Dm7 G7", "4/4", 4),
            ("F7 / / D7 | Gm7 C7", "4/4", 2),
            ("Cmaj7 A7 Dm7 G7 | C6", "4/4", 2),
            ("Dm7 / G7", "3/4", 4),
        ] {
            let chart = Chart::from_bars(bars, meter.parse().unwrap()).unwrap();
            let chorus = chart.chorus();
            assert_eq!(bars_a_line(&chorus, &chorus.bars), a_line, "{bars}");
        }
    }

    #[test]
    fn the_longest_name_of_a_scale_is_broken_not_cut() {
        // VI7 half-way through a bar, on its way to ii.
        let bars = "Bb6 G7 | Cm7 F7 | Bb6 G7 | Cm7 F7";
        let mut chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
        chart.key = "Bb".parse().unwrap();
        let wishes = Wishes::plain(1, 1, Options::default());
        let session = Session::new(chart, wishes).unwrap();
        let (chorus, understood) = (session.chorus(1), session.understood(1));
        let share = Pages::new(Paper::A4).width() / 4.0;
        let cells = cells(chorus, understood, &chorus.bars[0], 0.0..share);
        assert_eq!(cells[0].scale, ["major"]);
        assert_eq!(cells[1].function, ["VI7 (V7/ii)"]);
        assert_eq!(cells[1].scale, ["half-whole", "diminished"]);
    }
}
