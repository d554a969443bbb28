//! A line laid out for reading: under its chords, bar by bar, each note with its mark.

use super::marks::{Grade, Mark, grade_line};
use crate::failure::printable;
use endpin_theory::{
    Chorus, Ticks,
    chart::{Bar, Place},
};
use endpin_walker::{ChorusLine, LineNote};

/// What stands under a bar besides the line, such as the comp's attacks.
pub type Beneath<'a> = &'a dyn Fn(u32) -> Vec<String>;

/// `Chorus 2`; chorus 0 is the intro.
pub fn chorus_words(number: u32) -> String {
    match number {
        0 => "Intro".to_owned(),
        _ => format!("Chorus {number}"),
    }
}

/// A note as it stands in its bar: where, its name, and its number among the marks.
#[derive(Clone, Debug)]
pub struct Placed {
    /// From the start of the bar.
    pub at: Ticks,
    /// The name with its octave.
    pub name: String,
    /// Number among the marks.
    pub index: usize,
}

/// All bars of one chorus of a line with its marks, and what stands beneath each.
pub fn chorus(chorus: &Chorus, line: &ChorusLine, marks: &[Mark], beneath: Beneath<'_>) -> String {
    let mut text = String::new();
    let mut section = "";
    for bar in &chorus.bars {
        // Over an intro its name stands already.
        let is_named = bar.heading() != section || chorus.bars.len() > 16;
        if bar.opens_section && bar.place != Place::Intro && is_named {
            text.push_str(&format!("[{}]\n", printable(bar.heading())));
            section = bar.heading();
        }
        let notes = line.notes.iter().enumerate();
        let notes = notes.filter(|(_, note)| note.bar == bar.number);
        let notes: Vec<Placed> = notes.map(|(index, note)| placed(index, note)).collect();
        text.push_str(&rows(bar.number, &symbols(chorus, bar), &notes, marks));
        for remark in beneath(bar.number) {
            text.push_str(&format!("     {remark}\n"));
        }
    }
    text
}

fn placed(index: usize, note: &LineNote) -> Placed {
    Placed {
        at: note.in_bar,
        name: note.pitch.to_string(),
        index,
    }
}

/// The chord symbols of a bar, a dot where the chord before goes on.
pub fn symbols(chorus: &Chorus, bar: &Bar) -> Vec<(Ticks, String)> {
    let beats = bar.first_beat..bar.first_beat + usize::from(bar.meter.beats());
    let spans = chorus.spans.iter();
    let inside = spans.filter(|span| beats.contains(&span.start));
    let symbols = inside.map(|span| (chorus.ticks_at(span.start) - bar.start, span.symbol.clone()));
    let mut symbols: Vec<(Ticks, String)> = symbols.collect();
    if symbols.first().is_none_or(|(at, _)| *at > Ticks::ZERO) {
        symbols.insert(0, (Ticks::ZERO, "·".to_owned()));
    }
    symbols
}

/// The ending: its one note under the chord it comes home to.
pub fn ending(number: u32, note: &LineNote, mark: &Mark) -> String {
    rows(
        number,
        &[(Ticks::ZERO, note.chord.clone())],
        &[placed(0, note)],
        std::slice::from_ref(mark),
    )
}

/// Columns in front of the first: the number of the bar, or a rope out of the bar before.
const MARGIN: usize = 5;
/// Narrowest column: a figure and some rope, so that bars of quarter notes line up more often than not.
const NARROWEST: usize = 10;
/// How far a rope goes that ends nowhere.
const LOOSE: usize = 2;

/// One bar: chords, notes and marks in columns by their place in the bar, and grades below if there are any.
pub fn rows(number: u32, symbols: &[(Ticks, String)], notes: &[Placed], marks: &[Mark]) -> String {
    let mut places: Vec<Ticks> = symbols
        .iter()
        .map(|(at, _)| *at)
        .chain(notes.iter().map(|note| note.at))
        .collect();
    places.sort_unstable();
    places.dedup();
    let [mut chords, mut names, mut grades] = [
        format!("{number:>4} "),
        " ".repeat(MARGIN),
        " ".repeat(MARGIN),
    ];
    let mut columns: Vec<usize> = vec![0; notes.len()];
    for place in places {
        let chord = symbols.iter().find(|(at, _)| *at == place);
        let here = notes
            .iter()
            .enumerate()
            .filter(|(_, note)| note.at == place);
        let mut cells = [
            chord.map_or_else(String::new, |(_, symbol)| symbol.clone()),
            String::new(),
            String::new(),
        ];
        let mut width = NARROWEST;
        // Two notes share a place where a take is finer than its grid.
        for (index, note) in here {
            columns[index] = names.chars().count() + cells[1].chars().count();
            let mark = &marks[note.index];
            let wide = note
                .name
                .len()
                .max(mark.figure.len())
                .max(grade_line(mark.grade).len())
                + 2;
            cells[1].push_str(&format!("{:<wide$}", note.name));
            cells[2].push_str(&format!("{:<wide$}", grade_line(mark.grade)));
        }
        for cell in &cells {
            width = width.max(cell.chars().count() + 2);
        }
        for (row, cell) in [&mut chords, &mut names, &mut grades]
            .into_iter()
            .zip(&cells)
        {
            row.push_str(&format!("{cell:<width$}"));
        }
    }
    if notes.is_empty() {
        return format!("{}\n     rest\n", printable(chords.trim_end()));
    }
    let width = names.chars().count();
    let mut rows = vec![chords, names, mark_row(notes, marks, &columns, width)];
    if notes
        .iter()
        .any(|note| marks[note.index].grade != Grade::Good)
    {
        rows.push(grades);
    }
    let rows = rows.iter().map(|row| printable(row.trim_end()));
    rows.map(|row| row + "\n").collect()
}

/// Figures at their columns, ropes between them, posts in front of what keeps a promise.
fn mark_row(notes: &[Placed], marks: &[Mark], columns: &[usize], width: usize) -> String {
    let mut row = vec![' '; width];
    let column = |index: usize| {
        let number = notes.iter().position(|note| note.index == index)?;
        Some(columns[number])
    };
    let first = notes.first().map_or(0, |note| note.index);
    let mut draw = |from: usize, to: usize, sign: char| {
        let to = to.min(width);
        if from < to {
            row[from..to].fill(sign);
        }
    };
    // The ropes that come in, then those from left to right: what comes later lies on top.
    for promise in marks[first.saturating_sub(2)..first]
        .iter()
        .filter_map(|mark| mark.promise)
    {
        if let Some(to) = promise.to.and_then(column) {
            draw(1, to - 1, promise.rope.sign());
        }
    }
    for (number, note) in notes.iter().enumerate() {
        let mark = &marks[note.index];
        let Some(promise) = mark.promise else {
            continue;
        };
        let from = columns[number] + mark.figure.len();
        let to = match promise.to {
            Some(to) => column(to).unwrap_or(width),
            None if number + 1 < notes.len() => from + LOOSE,
            None => width,
        };
        draw(from, to, promise.rope.sign());
    }
    for (note, &column) in notes.iter().zip(columns) {
        let mark = &marks[note.index];
        if mark.keeps {
            row[column - 1] = '|';
        }
        for (place, sign) in (column..width).zip(mark.figure.chars()) {
            row[place] = sign;
        }
    }
    row.into_iter().collect()
}
