//! Music in words, for those who hear it rather than see it.

use super::measure::{Measure, Music};
use crate::outputs::reading::chorus_words;
use endpin_theory::NoteName;

/// A bar in words: `Bar 3, F7: F2, root, keeps it; A2, third`.
pub fn bar(music: &Music, measure: &Measure) -> String {
    let name = match measure.is_ending {
        true => "Ending".to_owned(),
        false => format!("Bar {}", measure.number),
    };
    let chords = measure
        .chords
        .iter()
        .map(|mark| format!(", {}", said(&mark.symbol)));
    let heads = measure
        .events
        .iter()
        .filter_map(|event| event.note.as_ref());
    let notes = heads.filter(|head| !head.tied_back).map(|head| {
        let pitch = music.notes[head.index].pitch;
        let name = format!("{}{}", said(&pitch.name().to_string()), pitch.octave());
        match head.blank {
            true => "a note to write".to_owned(),
            false => format!("{name}, {}", music.marks[head.index].words()),
        }
    });
    let notes: Vec<String> = notes.collect();
    let notes = if notes.is_empty() {
        "rest".to_owned()
    } else {
        notes.join("; ")
    };
    format!("{name}{}: {notes}", chords.collect::<String>())
}

/// All bars in words, each a line, with a line for each chorus that opens.
pub fn lines(music: &Music) -> String {
    let mut text = String::new();
    for measure in &music.measures {
        if measure.opens_chorus {
            text.push_str(&format!("{}.\n", chorus_words(measure.chorus)));
        } else if measure.chorus == 0 && measure.number == 1 {
            text.push_str("Intro.\n");
        }
        text.push_str(&format!("{}.\n", bar(music, measure)));
    }
    text
}

/// A chord symbol or note name with its accidentals as words.
fn said(symbol: &str) -> String {
    let Some((name, rest)) = NoteName::read(symbol) else {
        return symbol.to_owned();
    };
    let word = match name.alteration() {
        ..=-2 => " double flat ",
        -1 => " flat ",
        0 => "",
        1 => " sharp ",
        2.. => " double sharp ",
    };
    format!("{}{word}{rest}", name.letter())
}
