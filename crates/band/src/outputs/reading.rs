//! A line laid out for reading: under its chords, bar by bar, each note with its degree and its part.

use endpin_theory::{Chorus, Ticks};
use endpin_walker::{ChorusLine, LineNote};

/// What stands under a bar besides the line, such as the comp's attacks.
pub type Beneath<'a> = &'a dyn Fn(u32) -> Vec<String>;

/// The legend that a page of bars ends with.
pub const LEGEND: &str = "\
Reading a bar: chords on top, under each beat the note with its degree over the chord, and its part.
  root third fifth sixth seventh   chord tones; they stand on beats 1 and 3 and where a chord enters
  fourth   the fourth of a sus chord     bass   the note written after the slash
  scale    a note of the chord's scale on its way between chord tones
  chromatic-below, -above   a semitone from the note it leads to
  scale-below, -above       a whole step from the note it leads to
  dominant                  a fifth above or a fourth below the coming root
  enclosure, double-chromatic   two notes that lead in together
  >   this chord tone also leads in, as named behind it     (x)   a ghost note, felt more than heard
";

/// All bars of one chorus of a line, with what stands beneath each.
pub fn chorus(chorus: &Chorus, line: &ChorusLine, beneath: Beneath<'_>) -> String {
    let mut text = String::new();
    let mut section = "";
    for bar in &chorus.bars {
        if bar.opens_section && (bar.section != section || chorus.bars.len() > 16) {
            text.push_str(&format!("[{}]\n", crate::failure::printable(&bar.section)));
            section = &bar.section;
        }
        let symbols = chorus
            .spans
            .iter()
            .filter(|span| {
                (bar.first_beat..bar.first_beat + usize::from(bar.meter.beats()))
                    .contains(&span.start)
            })
            .map(|span| (chorus.ticks_at(span.start) - bar.start, span.symbol.clone()));
        let mut symbols: Vec<(Ticks, String)> = symbols.collect();
        if symbols.first().is_none_or(|(at, _)| *at > Ticks::ZERO) {
            symbols.insert(0, (Ticks::ZERO, "·".to_owned()));
        }
        let notes: Vec<&LineNote> = line
            .notes
            .iter()
            .filter(|note| note.bar == bar.number)
            .collect();
        text.push_str(&rows(&bar.number.to_string(), &symbols, &notes));
        for remark in beneath(bar.number) {
            text.push_str(&format!("     {remark}\n"));
        }
    }
    text
}

/// The ending: its one note under the chord it comes home to.
pub fn ending(number: u32, note: &LineNote) -> String {
    rows(
        &number.to_string(),
        &[(Ticks::ZERO, note.chord.clone())],
        &[note],
    )
}

/// One bar: chords, notes with degrees, parts, all in columns by their place in the bar.
fn rows(number: &str, symbols: &[(Ticks, String)], notes: &[&LineNote]) -> String {
    let mut places: Vec<Ticks> = symbols
        .iter()
        .map(|(at, _)| *at)
        .chain(notes.iter().map(|note| note.in_bar))
        .collect();
    places.sort_unstable();
    places.dedup();
    let [mut chords, mut names, mut parts] =
        [format!("{number:>4} "), " ".repeat(5), " ".repeat(5)];
    for place in places {
        let chord = symbols.iter().find(|(at, _)| *at == place);
        let note = notes.iter().find(|note| note.in_bar == place);
        let cells = [
            chord.map_or_else(String::new, |(_, symbol)| symbol.clone()),
            note.map_or_else(String::new, |note| name(note)),
            note.map_or_else(String::new, |note| part(note)),
        ];
        let widest = cells
            .iter()
            .map(|cell| cell.chars().count())
            .max()
            .unwrap_or(0);
        let width = widest.max(NARROWEST) + 2;
        for (row, cell) in [&mut chords, &mut names, &mut parts]
            .into_iter()
            .zip(&cells)
        {
            row.push_str(&format!("{cell:<width$}"));
        }
    }
    let rows = [chords, names, parts].map(|row| crate::failure::printable(row.trim_end()));
    match notes {
        [] => format!("{}\n     rest\n", rows[0]),
        _ => format!("{}\n", rows.join("\n")),
    }
}

/// Narrowest column: fits `Bb2 b7`, so that bars of quarter notes line up more often than not.
const NARROWEST: usize = 10;

fn name(note: &LineNote) -> String {
    let name = format!("{} {}", note.pitch, note.degree);
    if note.ghost {
        format!("({name})")
    } else {
        name
    }
}

fn part(note: &LineNote) -> String {
    match note.approach {
        Some(approach) => format!("{} >{approach}", note.role),
        None => note.role.to_string(),
    }
}
