//! What a page knows of one key: every chorus engraved, bar by bar, and its notes.

use crate::{
    failure::Failure,
    outputs::sheet::{
        engrave::{Levels, ShownBesides, bar::EngravedBar, ink::Picture, signature},
        measure::{Measure, Music},
        print::shows_meter,
        svg::{self, Lettering, number},
        xml::legal,
    },
    performance::session::Session,
    players::{drums::back_beats, swing::Swing},
};
use endpin_theory::NoteName;
use endpin_walker::LineNote;
use quick_xml::escape::escape;
use serde::Serialize;

/// Bars of a line; a narrow screen breaks it in the middle.
const BARS: usize = 4;
/// The least width of a bar in staff spaces, so that a simple line is not drawn too large.
const LEAST: f64 = 15.0;

/// One key of a page.
#[derive(Serialize)]
pub struct KeyData {
    /// Its name.
    pub key: String,
    /// Width of the head of a line and of a bar, in staff spaces.
    head: f64,
    bar: f64,
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
    role: String,
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
        let made = session.perform()?;
        let swing = session.wishes().arrange.swing != Swing::Straight;
        let last = made.choruses.len().saturating_sub(1);
        let ending = |index: usize| made.ending.as_ref().filter(|_| index == last);
        let written = |(index, (line, _)): (usize, &(_, _))| {
            let played = [(session.chorus(made.choruses[index].0.chorus), line)];
            Music::new(
                &played,
                ending(index).map(|(note, _)| note),
                swing,
                &session.wishes().line.hand,
            )
        };
        let music: Vec<Music> = made.choruses.iter().enumerate().map(written).collect();
        let layout = PageSizes::of(&music);
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
                        html: layout.html(music),
                        bars: layout.bars(music),
                        notes: notes(music),
                        comp: attacks
                            .map(|attack| {
                                (attack.start.0, attack.length.0, attack.voicing.keys.clone())
                            })
                            .collect(),
                    }
                });
        Ok(KeyData {
            key: session.chart().key.to_string(),
            head: layout.head,
            bar: layout.bar,
            strings: layout.strings,
            choruses: choruses.collect(),
        })
    }

    /// The markup of each chorus.
    pub fn markup(&self) -> impl Iterator<Item = &str> {
        self.choruses.iter().map(|chorus| chorus.html.as_str())
    }

    /// The first chorus as markup, with the sizes that its style needs.
    pub fn first_chorus(&self) -> String {
        let (head, bar) = (number(self.head), number(self.bar));
        let html = self.choruses.first().map_or("", |chorus| &chorus.html);
        format!("<div id=\"music\" style=\"--head:{head};--bar:{bar}\">{html}</div>")
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
        role: note.role.to_string(),
        ghost: note.ghost,
        why: note.why.clone(),
        tab: place(index).map(|place| (place.string, place.fret)),
    };
    music.notes.iter().enumerate().map(note).collect()
}

/// Sizes that all choruses of a key share, so that nothing jumps when another is chosen.
struct PageSizes {
    head: f64,
    bar: f64,
    levels: Levels,
    strings: usize,
}

impl PageSizes {
    fn of(music: &[Music]) -> PageSizes {
        let show = ShownBesides {
            roles: true,
            ..ShownBesides::default()
        };
        let bars: Vec<EngravedBar> = music.iter().flat_map(bars_of).collect();
        let measures = music.iter().flat_map(|music| &music.measures);
        let heads = measures.map(|measure| signature::head(measure.key.signature()).width);
        let strings = music
            .iter()
            .map(|music| Some(music.tablature.as_ref()?.strings.len()));
        // Tablature only if every chorus has one.
        let strings: Option<Vec<usize>> = strings.collect();
        PageSizes {
            head: heads.fold(0.0, f64::max),
            bar: bars.iter().map(EngravedBar::natural).fold(LEAST, f64::max),
            levels: Levels::of(&bars, show),
            strings: strings.and_then(|all| all.into_iter().max()).unwrap_or(0),
        }
    }

    fn bars(&self, music: &Music) -> Vec<BarData> {
        let mut start = 0;
        let mut data = Vec::with_capacity(music.measures.len());
        for bar in bars_of(music) {
            let measure = bar.measure();
            let length = measure.meter.bar_ticks().0;
            let places = bar.places(self.bar).into_iter();
            // Thousandths of a bar are finer than any screen.
            let share = |x: f64| (x / self.bar * 1000.0).round() / 1000.0;
            data.push(BarData {
                start,
                length,
                beat: measure.meter.beat_ticks().0,
                tempo: measure.tempo,
                backs: back_beats(&measure.meter),
                places: places.map(|(at, x)| (at.0, share(x))).collect(),
                ending: measure.is_ending,
            });
            start += length;
        }
        data
    }

    /// Lines of four bars, each a button, with a heading at each section.
    fn html(&self, music: &Music) -> String {
        let bars: Vec<EngravedBar> = bars_of(music).collect();
        let opens = |bar: &EngravedBar| bar.measure().section.is_some() || bar.measure().is_ending;
        let mut html = String::new();
        let mut first = 0;
        while first < bars.len() {
            let more = bars[first + 1..]
                .iter()
                .take(BARS - 1)
                .take_while(|bar| !opens(bar));
            let end = first + 1 + more.count();
            if let Some(section) = &bars[first].measure().section {
                html.push_str(&format!("<h3>{}</h3>", escape(legal(section))));
            }
            html.push_str("<div class=\"line\">");
            for half in (first..end).step_by(BARS / 2) {
                html.push_str("<div class=\"half\">");
                html.push_str(&self.head_html(bars[half].measure(), half > first));
                let of_half = half..end.min(half + BARS / 2);
                for (bar, index) in bars[of_half.clone()].iter().zip(of_half) {
                    html.push_str(&self.bar_html(music, index, bar));
                }
                html.push_str("</div>");
            }
            html.push_str("</div>");
            first = end;
        }
        html
    }

    fn head_html(&self, measure: &Measure, narrow: bool) -> String {
        let mut head = signature::head(measure.key.signature());
        let start = head.width;
        head.width = self.head;
        let mut staff = Picture {
            width: self.head - start,
            ..Picture::default()
        };
        signature::lines(&mut staff, 5, 1.0);
        head.place(staff, start, 0.0);
        let class = if narrow { "head narrow" } else { "head" };
        let staff = self.staff_svg(&head, &[]);
        format!("<div class=\"{class}\">{staff}</div>")
    }

    fn bar_html(&self, music: &Music, index: usize, bar: &EngravedBar) -> String {
        let show = ShownBesides {
            roles: true,
            ..ShownBesides::default()
        };
        let picture = bar.draw(self.bar, &self.levels, show, &music.notes);
        let label = spoken(music, bar.measure());
        let label = escape(&label);
        let staff = self.staff_svg(&picture, &music.notes);
        format!(
            "<button type=\"button\" class=\"bar\" data-bar=\"{index}\" aria-pressed=\"false\" aria-label=\"{label}\">{staff}</button>"
        )
    }

    fn staff_svg(&self, picture: &Picture, notes: &[LineNote]) -> String {
        let (top, height) = (self.levels.top, self.levels.bottom - self.levels.top);
        let view = [0.0, top, picture.width, height].map(number).join(" ");
        let body = svg::body(picture, notes, Lettering::Text);
        format!("<svg class=\"staff\" viewBox=\"{view}\" aria-hidden=\"true\">{body}</svg>")
    }
}

fn bars_of(music: &Music) -> impl Iterator<Item = EngravedBar<'_>> {
    let measures = music.measures.iter().enumerate();
    measures.map(|(index, measure)| EngravedBar::new(measure, shows_meter(music, index)))
}

/// A bar in words, for those who hear the page: `Bar 3, F7: F2, A2`.
fn spoken(music: &Music, measure: &Measure) -> String {
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
        format!("{}{}", said(&pitch.name().to_string()), pitch.octave())
    });
    let notes: Vec<String> = notes.collect();
    let notes = if notes.is_empty() {
        "rest".to_owned()
    } else {
        notes.join(", ")
    };
    format!("{name}{}: {notes}", chords.collect::<String>())
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
