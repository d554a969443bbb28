//! What a page knows of one key: every chorus engraved, bar by bar, and its notes.

use crate::{
    failure::Failure,
    outputs::{
        marks,
        sheet::{
            measure::Music,
            staves::{AroundBar, Staves, bars_of},
        },
    },
    performance::session::{Made, Session},
    players::{
        drums::back_beats,
        swing::{Swing, own_ratio},
    },
};
use endpin_walker::LineNote;
use serde::Serialize;

/// One key of a page.
#[derive(Serialize)]
pub struct KeyData {
    /// Its name.
    pub key: String,
    /// Width of the head of a line and of a bar, in staff spaces.
    #[serde(flatten)]
    staves: Staves,
    /// Strings of the tablature, which the page draws; none if the instrument does not reach every note.
    strings: usize,
    choruses: Vec<ChorusData>,
}

/// One chorus, its ending with it if it is the last.
#[derive(Serialize)]
struct ChorusData {
    /// Its number in the set.
    number: u32,
    /// The lines of music as markup, which is packed apart.
    #[serde(skip)]
    html: String,
    bars: Vec<BarData>,
    notes: Vec<NoteData>,
    /// Start and length in ticks from the start of the chorus, and MIDI keys.
    comp: Vec<(i64, i64, Vec<u8>)>,
}

/// A bar as the player needs it; times in ticks, 960 to the quarter.
#[derive(Serialize)]
struct BarData {
    start: i64,
    length: i64,
    beat: i64,
    tempo: f64,
    /// The swing ratio, where its feel has one of its own.
    ratio: Option<f64>,
    /// Beats, from 0, on which the hi-hat closes.
    backs: Vec<usize>,
    /// Moments of the bar with their place, from 0 at its left edge to 1 at its right one.
    places: Vec<(i64, f64)>,
    /// Whether it is the ending.
    ending: bool,
}

/// A note as the player and the reader of reasons need it.
#[derive(Serialize)]
struct NoteData {
    start: i64,
    length: i64,
    midi: i16,
    bar: u32,
    name: String,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    ghost: bool,
    why: String,
    /// String, from 1, and fret.
    #[serde(skip_serializing_if = "Option::is_none")]
    tab: Option<(u8, u8)>,
}

impl KeyData {
    /// Engraves the choruses of a session.
    ///
    /// # Errors
    /// Choruses that cannot be made.
    pub fn new(session: &Session) -> Result<KeyData, Failure> {
        Ok(KeyData::of(session, &session.perform()?, &button))
    }

    /// Engraves choruses that were made; `around` is what the page puts around a bar.
    pub fn of(session: &Session, made: &Made<'_>, around: AroundBar<'_>) -> KeyData {
        let swing = session.wishes().arrange.swing != Swing::Straight;
        let last = made.choruses.len().saturating_sub(1);
        let ending = |index: usize| made.ending.as_ref().filter(|_| index == last);
        let all_marks = marks::of(made.notes());
        let firsts: Vec<usize> = made
            .choruses
            .iter()
            .scan(0, |sum, (line, _)| {
                let first = *sum;
                *sum += line.notes.len();
                Some(first)
            })
            .collect();
        let written = |(index, (line, _)): (usize, &(_, _))| {
            let played = [(session.chorus(made.choruses[index].0.chorus), line)];
            // The last note may promise the first of the next chorus, which is shown by itself.
            let first = firsts[index];
            let mut music = Music::new(
                &played,
                ending(index).map(|(note, _)| note),
                swing,
                &session.wishes().line.hand,
            );
            music.marks = marks::part(&all_marks, first..first + music.notes.len());
            music
        };
        let music: Vec<Music> = made.choruses.iter().enumerate().map(written).collect();
        let staves = Staves::of(&music);
        let choruses =
            music
                .iter()
                .zip(&made.choruses)
                .enumerate()
                .map(|(index, (music, (line, comp)))| {
                    let last_attack = ending(index).and_then(|(_, attack)| attack.as_ref());
                    let attacks = comp.attacks.iter().chain(last_attack);
                    ChorusData {
                        number: line.chorus,
                        html: staves.html(music, around, &|_| String::new()),
                        bars: bars(music, staves.bar),
                        notes: notes(music),
                        comp: attacks
                            .map(|attack| {
                                (attack.start.0, attack.length.0, attack.voicing.keys.clone())
                            })
                            .collect(),
                    }
                });
        KeyData {
            key: session.chart().key.to_string(),
            strings: strings(&music),
            choruses: choruses.collect(),
            staves,
        }
    }

    /// The number of each chorus; 0 is the intro.
    pub fn numbers(&self) -> impl Iterator<Item = u32> {
        self.choruses.iter().map(|chorus| chorus.number)
    }

    /// The markup of each chorus.
    pub fn markup(&self) -> impl Iterator<Item = &str> {
        self.choruses.iter().map(|chorus| chorus.html.as_str())
    }

    /// The first chorus as markup, with the sizes that its style needs.
    pub fn first_chorus(&self) -> String {
        let html = self.choruses.first().map_or("", |chorus| &chorus.html);
        self.staves.within("music", html)
    }
}

fn notes(music: &Music) -> Vec<NoteData> {
    let place = |index: usize| Some(music.tablature.as_ref()?.places[index]);
    let note = |(index, note): (usize, &LineNote)| NoteData {
        start: note.start.0,
        length: note.length.0,
        midi: note.pitch.midi(),
        bar: note.bar,
        name: note.pitch.to_string(),
        ghost: note.ghost,
        why: note.why.clone(),
        tab: place(index).map(|place| (place.string, place.fret)),
    };
    music.notes.iter().enumerate().map(note).collect()
}

/// Strings of the tablature; none unless every chorus has one.
fn strings(music: &[Music]) -> usize {
    let strings = music
        .iter()
        .map(|music| Some(music.tablature.as_ref()?.strings.len()));
    let strings: Option<Vec<usize>> = strings.collect();
    strings.and_then(|all| all.into_iter().max()).unwrap_or(0)
}

/// The bars of some music, drawn so wide.
fn bars(music: &Music, width: f64) -> Vec<BarData> {
    let mut start = 0;
    let mut data = Vec::with_capacity(music.measures.len());
    for bar in bars_of(music) {
        let measure = bar.measure();
        let length = measure.meter.bar_ticks().0;
        let places = bar.places(width).into_iter();
        // Thousandths of a bar are finer than any screen.
        let share = |x: f64| (x / width * 1000.0).round() / 1000.0;
        data.push(BarData {
            start,
            length,
            beat: measure.meter.beat_ticks().0,
            tempo: measure.tempo,
            ratio: own_ratio(measure.feel),
            backs: back_beats(&measure.meter),
            places: places.map(|(at, x)| (at.0, share(x))).collect(),
            ending: measure.is_ending,
        });
        start += length;
    }
    data
}

/// Each bar is a button.
fn button(index: usize, words: &str, picture: &str) -> String {
    format!(
        "<button type=\"button\" class=\"bar\" data-bar=\"{index}\" aria-pressed=\"false\" aria-label=\"{words}\">{picture}</button>"
    )
}
