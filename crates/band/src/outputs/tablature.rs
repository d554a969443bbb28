//! A line as tablature to read on a screen: the strings as lines, on them the frets, above them the chords.

use crate::failure::printable;
use endpin_theory::{Chorus, Ticks};
use endpin_walker::{LineNote, line::fingering::Fingering, pitch_of_key};

/// Columns of a page.
const PAGE: usize = 80;
/// Columns in front of the first bar: the number of the bar, or the name of the string.
const MARGIN: usize = 5;
/// Columns of a beat, and of one with notes off the beat.
const BEAT: usize = 4;
const BUSY_BEAT: usize = 9;

/// What tablature ends with.
pub const LEGEND: &str = "\
A line is a string, a number the fret on it (0 open, x a ghost note), a beat four columns or nine.
";

/// A note on the neck.
pub type NoteOnNeck<'a> = (&'a LineNote, &'a Fingering);

/// One bar: a row of chord symbols and one a string, all of one width without the bar line behind them.
struct TablatureBar {
    number: u32,
    symbols: String,
    strings: Vec<String>,
}

/// The bars of a chorus and the notes in them, on these open strings (MIDI keys, highest first).
pub fn chorus(chorus: &Chorus, notes: &[NoteOnNeck<'_>], strings: &[u8]) -> String {
    let bars: Vec<TablatureBar> = chorus
        .bars
        .iter()
        .map(|bar| {
            let length = bar.meter.bar_ticks();
            let inside = |at: &Ticks| (Ticks::ZERO..length).contains(at);
            let symbols = chorus.spans.iter().map(|span| {
                let at = chorus.ticks_at(span.start) - bar.start;
                (at, printable(&span.symbol))
            });
            let symbols: Vec<(Ticks, String)> = symbols.filter(|(at, _)| inside(at)).collect();
            let notes: Vec<NoteOnNeck<'_>> = notes
                .iter()
                .filter(|(note, _)| note.bar == bar.number)
                .copied()
                .collect();
            let beats = (bar.meter.beat_ticks(), usize::from(bar.meter.beats()));
            TablatureBar::new(bar.number, beats, &symbols, &notes, strings.len())
        })
        .collect();
    systems(&bars, strings)
}

/// The ending: its one note under the chord it comes home to.
pub fn ending(number: u32, placed: NoteOnNeck<'_>, strings: &[u8]) -> String {
    let symbols = [(Ticks::ZERO, printable(&placed.0.chord))];
    let beats = (placed.0.beat_length, 4);
    let bar = TablatureBar::new(number, beats, &symbols, &[placed], strings.len());
    systems(&[bar], strings)
}

impl TablatureBar {
    fn new(
        number: u32,
        (beat, beats): (Ticks, usize),
        symbols: &[(Ticks, String)],
        notes: &[NoteOnNeck<'_>],
        strings: usize,
    ) -> TablatureBar {
        let is_busy = notes.iter().any(|(note, _)| note.in_bar.0 % beat.0 != 0);
        let wide = match is_busy && beats * BUSY_BEAT < PAGE - MARGIN {
            true => BUSY_BEAT,
            false => BEAT,
        };
        let mut places: Vec<Ticks> = symbols.iter().map(|(at, _)| *at).collect();
        places.extend(notes.iter().map(|(note, _)| note.in_bar));
        places.sort_unstable();
        places.dedup();
        let mut chords = String::new();
        let mut frets = vec!["-".to_owned(); strings];
        for place in places {
            // A column of its own behind the bar line; further on where what came before needs the room.
            let mut column = 1 + (place.0 * wide as i64 / beat.0) as usize;
            let note = notes.iter().find(|(note, _)| note.in_bar == place);
            let symbol = symbols.iter().find(|(at, _)| *at == place);
            if note.is_some() {
                column = column.max(widest(&frets));
            }
            if symbol.is_some() && !chords.is_empty() {
                column = column.max(widest(&[&chords]) + 1);
            }
            if let Some((_, symbol)) = symbol {
                pad(&mut chords, column, ' ');
                chords.push_str(symbol);
            }
            if let Some((note, fingering)) = note {
                let fret = match note.ghost {
                    true => "x".to_owned(),
                    false => fingering.fret.to_string(),
                };
                let end = column + fret.len() + 1;
                let string = usize::from(fingering.string) - 1;
                pad(&mut frets[string], column, '-');
                frets[string].push_str(&fret);
                frets.iter_mut().for_each(|row| pad(row, end, '-'));
            }
        }
        let width = (1 + beats * wide)
            .max(widest(&frets))
            .max(widest(&[&chords]));
        pad(&mut chords, width, ' ');
        frets.iter_mut().for_each(|row| pad(row, width, '-'));
        TablatureBar {
            number,
            symbols: chords,
            strings: frets,
        }
    }

    fn width(&self) -> usize {
        widest(&[&self.symbols]) + 1
    }
}

fn widest(rows: &[impl AsRef<str>]) -> usize {
    let widths = rows.iter().map(|row| row.as_ref().chars().count());
    widths.max().unwrap_or(0)
}

fn pad(row: &mut String, width: usize, with: char) {
    let missing = width.saturating_sub(row.chars().count());
    row.extend(std::iter::repeat_n(with, missing));
}

/// Bars side by side as far as the page goes, four at most.
fn systems(bars: &[TablatureBar], strings: &[u8]) -> String {
    let mut text = String::new();
    let mut left = bars;
    while !left.is_empty() {
        let mut width = MARGIN;
        let fitting = left.iter().take(4).take_while(|bar| {
            width += bar.width();
            width <= PAGE
        });
        let (row, rest) = left.split_at(fitting.count().max(1));
        let symbols: String = row.iter().map(|bar| format!("{} ", bar.symbols)).collect();
        let top = format!("{:<MARGIN$}{symbols}", row[0].number);
        text.push_str(&format!("{}\n", top.trim_end()));
        for (string, &key) in strings.iter().enumerate() {
            let bars = row.iter().map(|bar| format!("{}|", bar.strings[string]));
            let bars: String = bars.collect();
            let open = pitch_of_key(key).name().to_string();
            text.push_str(&format!("{open:>3} |{bars}\n"));
        }
        text.push('\n');
        left = rest;
    }
    text
}

#[cfg(test)]
mod tests {
    use crate::performance::session::{Session, Wishes};
    use endpin_theory::Chart;
    use endpin_walker::{Instrument, Level, Options, Tablature};

    fn printed(bars: &str, meter: &str, level: u8, instrument: Instrument) -> (String, Tablature) {
        let chart = Chart::from_bars(bars, meter.parse().unwrap()).unwrap();
        let mut line = Options {
            level: Level::try_from(level).unwrap(),
            range: instrument.range,
            ..Options::default()
        };
        line.hand.instrument = instrument;
        let session = Session::new(chart, Wishes::plain(1, 1, line)).unwrap();
        let line = session.line(1);
        let hand = session.wishes().line.hand;
        let tablature = Tablature::of(&hand, [&line.notes[..]], None).unwrap();
        let notes: Vec<_> = line.notes.iter().zip(&tablature.places).collect();
        let text = super::chorus(session.chorus(1), &notes, tablature.strings);
        (text, tablature)
    }

    #[test]
    fn every_fret_stands_on_its_string_and_nothing_is_wider_than_a_page() {
        let bars = "Dm7 G7sus4 / Db7#11 | Cmaj7#11 / Ebdim7 / | F#m7b5 | B7alt";
        for instrument in Instrument::ALL {
            for level in 1..=6 {
                for meter in ["4/4", "7/4"] {
                    let bars = if meter == "4/4" { bars } else { "C7 | F7" };
                    let (text, tablature) = printed(bars, meter, level, instrument);
                    assert!(
                        text.lines().all(|line| line.chars().count() <= 80),
                        "{text}"
                    );
                    assert!(text.is_ascii());
                    let mut on_strings = vec![Vec::new(); tablature.strings.len()];
                    for (row, line) in text.lines().filter(|line| line.ends_with('|')).enumerate() {
                        let figures = line[5..].split(['-', '|']).filter(|cell| !cell.is_empty());
                        on_strings[row % tablature.strings.len()].extend(figures);
                    }
                    for (string, figures) in (1..).zip(on_strings) {
                        let places = tablature.places.iter();
                        let meant = places.filter(|place| place.string == string);
                        let meant: Vec<String> =
                            meant.map(|place| place.fret.to_string()).collect();
                        assert_eq!(figures.len(), meant.len(), "{text}");
                        let same =
                            |(figure, fret): (&&str, &String)| *figure == "x" || figure == fret;
                        assert!(figures.iter().zip(&meant).all(same), "{text}");
                    }
                }
            }
        }
    }

    #[test]
    fn four_bars_of_quarters_fill_a_line() {
        let (text, _) = printed("C7 | F7 | C7 | G7", "4/4", 4, Instrument::BASS);
        assert_eq!(text.trim_end().lines().count(), 5, "{text}");
        assert!(text.starts_with("1     C7                F7"), "{text}");
    }
}
