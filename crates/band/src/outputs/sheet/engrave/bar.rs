//! One bar: staff, notes, signs, ties; then what stands above and below it.

use super::{
    Levels,
    columns::{Columns, TO_PARENTHESIS, head_glyph, sign_width},
    font::Face,
    glyph::Glyph,
    ink::{BowPart, Picture, Rectangle, Shape, ShapeUse},
    marks, position,
    signature::{lines, tablature_head, time, y_of},
    stem,
    symbol::chord_symbol,
};
use crate::outputs::{
    marks::{Grade, Mark},
    sheet::measure::{Barline, Head, Measure, WrittenEvent},
};
use endpin_theory::Ticks;
use endpin_walker::Tablature;

/// How far a ledger line sticks out of its head.
const LEDGER: f64 = 0.4;
/// Thickness of a bar line.
const THIN: f64 = 0.16;
const THICK: f64 = 0.5;
/// Distance of the lines of tablature.
pub const STRING_GAP: f64 = 1.4;

/// A bar, spaced and ready to be drawn at any width from its natural one upward.
#[derive(Debug)]
pub struct EngravedBar<'a> {
    measure: &'a Measure,
    /// The marks of all notes of the music; empty if they are not shown.
    marks: &'a [Mark],
    columns: Columns,
    time: Option<Picture>,
}

impl<'a> EngravedBar<'a> {
    /// Spaces a bar; `shows_meter` puts its time signature in front; `marks` are those of the music, or none.
    pub fn new(measure: &'a Measure, shows_meter: bool, marks: &'a [Mark]) -> EngravedBar<'a> {
        let time = shows_meter.then(|| time(&measure.meter));
        let lead = time.as_ref().map_or(0.0, |time| 1.0 + time.width);
        EngravedBar {
            measure,
            marks,
            columns: Columns::new(measure, lead, marks),
            time,
        }
    }

    /// The least width at which nothing touches.
    pub fn natural(&self) -> f64 {
        self.columns.natural
    }

    /// The bar that is drawn.
    pub fn measure(&self) -> &'a Measure {
        self.measure
    }

    /// The moments of the bar with the middle of what stands there, for a cursor; the right edge last.
    pub fn places(&self, width: f64) -> Vec<(Ticks, f64)> {
        let half = Glyph::BlackHead.width() / 2.0;
        let mut places: Vec<(Ticks, f64)> = self
            .columns
            .moments()
            .map(|at| (at, self.columns.x(at, width) + half))
            .collect();
        places.push((self.measure.meter.bar_ticks(), width));
        places
    }

    fn x(&self, event: &WrittenEvent, width: f64) -> f64 {
        // The rest of a silent bar stands in its middle.
        if self.measure.is_empty() && self.measure.events.len() == 1 {
            return (width - Glyph::WholeRest.width()) / 2.0;
        }
        self.columns.x(event.start, width)
    }

    /// Staff and notes, without what stands above and below.
    pub fn staff(&self, width: f64) -> Picture {
        let mut picture = Picture {
            width,
            ..Picture::default()
        };
        lines(&mut picture, 5, 1.0);
        barline(&mut picture, self.measure.barline, width, (-2.0, 2.0));
        if let Some(time) = &self.time {
            picture.place(time.clone(), 0.6, 0.0);
        }
        let events = &self.measure.events;
        for event in events {
            let x = self.x(event, width);
            match &event.note {
                Some(head) => draw_note(&mut picture, event, head, x),
                None => draw_rest(&mut picture, event, x),
            }
        }
        for (index, event) in events.iter().enumerate() {
            self.draw_ties(&mut picture, index, event, width);
        }
        stem::draw(&mut picture, self.measure, &|event| self.x(event, width));
        picture
    }

    /// The whole bar: staff, chord symbols and the marks.
    pub fn draw(&self, width: f64, levels: &Levels) -> Picture {
        let mut picture = self.staff(width);
        for mark in &self.measure.chords {
            let x = self.columns.x(mark.at, width);
            picture.place(chord_symbol(&mark.symbol), x, levels.chords);
        }
        let middle = |(event, head): (&WrittenEvent, &Head)| {
            let middle = self.x(event, width) + head_glyph(event).width() / 2.0;
            (head.index, middle)
        };
        if !self.marks.is_empty() {
            let struck: Vec<(usize, f64)> = self.struck().map(middle).collect();
            marks::draw(&mut picture, self.marks, &struck, width, levels);
        }
        picture
    }

    /// Whether a rope of this bar passes under the figure of another note.
    pub fn has_ropes_around(&self) -> bool {
        let mut struck = self.struck();
        struck.any(|(_, head)| marks::goes_around(self.marks, head.index))
    }

    /// Whether a note of this bar is underlined.
    pub fn is_graded(&self) -> bool {
        let mut marks = self
            .struck()
            .filter_map(|(_, head)| self.marks.get(head.index));
        marks.any(|mark| mark.grade != Grade::Good)
    }

    /// The same bar in tablature, its lines centred on zero.
    pub fn tablature(&self, width: f64, tablature: &Tablature, fingers: bool) -> Picture {
        let count = tablature.strings.len();
        let half = (count as f64 - 1.0) / 2.0 * STRING_GAP;
        let mut picture = Picture {
            width,
            ..Picture::default()
        };
        let (size, face) = (1.7, Face::Strong);
        let y_of_string =
            |string: usize| (string as f64 - 1.0 - (count as f64 - 1.0) / 2.0) * STRING_GAP;
        // The lines leave room for the figures.
        let mut gaps: Vec<Vec<(f64, f64)>> = vec![Vec::new(); count];
        // What is left out on the staff is left out here, too.
        for (event, head) in self.struck().filter(|(_, head)| !head.blank) {
            let place = tablature.places[head.index];
            let fret = match head.ghost {
                true => "x".to_owned(),
                false => place.fret.to_string(),
            };
            let wide = face.width(&fret) * size;
            let x = self.x(event, width) + (head_glyph(event).width() - wide) / 2.0;
            let baseline = y_of_string(place.string.into()) + face.cap_height() * size / 2.0;
            let (kind, note) = (ShapeUse::Fret, Some(head.index));
            picture.text(kind, note, &fret, (x, baseline), size, face);
            gaps[usize::from(place.string) - 1].push((x - 0.15, x + wide + 0.15));
            if fingers && place.finger > 0 {
                // 8 points on a stand.
                let (size, face) = (1.5, Face::Regular);
                let finger = place.finger.to_string();
                let middle = self.x(event, width) + head_glyph(event).width() / 2.0;
                let left = middle - face.width(&finger) * size / 2.0;
                let below = (left, y_of_string(count) + 2.3);
                picture.text(kind, note, &finger, below, size, face);
            }
        }
        for (string, gaps) in (1..).zip(&gaps) {
            let y = y_of_string(string);
            let mut from = 0.0;
            for &(left, right) in gaps.iter().chain(&[(width, width)]) {
                picture.line(ShapeUse::Staff, None, (from, y), (left, y), 0.11);
                from = right;
            }
        }
        barline(&mut picture, self.measure.barline, width, (-half, half));
        picture
    }

    /// The notes that are struck in this bar, without what they are tied to.
    fn struck(&self) -> impl Iterator<Item = (&WrittenEvent, &Head)> {
        let events = self.measure.events.iter();
        let heads = events.filter_map(|event| Some((event, event.note.as_ref()?)));
        heads.filter(|(_, head)| !head.tied_back)
    }

    fn draw_ties(&self, picture: &mut Picture, index: usize, event: &WrittenEvent, width: f64) {
        let Some(head) = &event.note else { return };
        let events = &self.measure.events;
        let x = self.x(event, width);
        // Away from the stem.
        let position = position(head.pitch);
        let away = if position < 0 { 1.0 } else { -1.0 };
        let y = y_of(position) + away * 0.65;
        let mut bow = |from: f64, to: f64, part: BowPart| {
            let shape = Shape::Bow {
                from: (from, y),
                to: (to, y),
                height: away * 0.75,
                part,
            };
            picture.draw(ShapeUse::Tie, Some(head.index), shape);
        };
        let right = x + head_glyph(event).width() - 0.2;
        match events.get(index + 1) {
            Some(next) if head.tied_on => bow(right, self.x(next, width) + 0.2, BowPart::Whole),
            None if head.tied_on => bow(right, width, BowPart::Left),
            _ => {}
        }
        if head.tied_back && index == 0 {
            bow(0.0, x + 0.2, BowPart::Right);
        }
    }
}

/// A head with its sign, its ledger lines and its dot.
fn draw_note(picture: &mut Picture, event: &WrittenEvent, head: &Head, x: f64) {
    let position = position(head.pitch);
    let (y, note, glyph) = (y_of(position), Some(head.index), head_glyph(event));
    if head.blank {
        let area = Rectangle {
            left: x - 0.3,
            top: -1.5,
            right: x + glyph.width() + 0.3,
            bottom: 1.5,
        };
        picture.draw(ShapeUse::Head, None, Shape::Frame { area, width: 0.12 });
        return;
    }
    for line in ledger_positions(position) {
        let (from, to) = (x - LEDGER, x + glyph.width() + LEDGER);
        picture.line(
            ShapeUse::Ledger,
            note,
            (from, y_of(line)),
            (to, y_of(line)),
            THIN,
        );
    }
    picture.sign(ShapeUse::Head, note, glyph, x, y);
    if event.value.dotted {
        let space = if position % 2 == 0 { y - 0.5 } else { y };
        let flag = if event.value.flags() > 0 { 0.6 } else { 0.0 };
        picture.sign(
            ShapeUse::Head,
            note,
            Glyph::Dot,
            x + glyph.width() + flag + 0.3,
            space,
        );
    }
    if let Some(sign) = head.sign {
        let accidental = Glyph::accidental(sign.alteration);
        let mut at = x - sign_width(event);
        if sign.courtesy {
            picture.sign(ShapeUse::Accidental, note, Glyph::ParenLeft, at, y);
            at += Glyph::ParenLeft.width() + TO_PARENTHESIS;
        }
        picture.sign(ShapeUse::Accidental, note, accidental, at, y);
        if sign.courtesy {
            picture.sign(
                ShapeUse::Accidental,
                note,
                Glyph::ParenRight,
                at + accidental.width() + TO_PARENTHESIS,
                y,
            );
        }
    }
}

/// Positions of the ledger lines that a note at `position` needs: every line beyond the staff up to it.
fn ledger_positions(position: i16) -> impl Iterator<Item = i16> {
    let above = (6..=position).filter(|line| line % 2 == 0);
    let below = (position..=-6).filter(|line| line % 2 == 0);
    above.chain(below)
}

fn draw_rest(picture: &mut Picture, event: &WrittenEvent, x: f64) {
    let glyph = head_glyph(event);
    let y = if glyph == Glyph::WholeRest { -1.0 } else { 0.0 };
    picture.sign(ShapeUse::Head, None, glyph, x, y);
    if event.value.dotted {
        picture.sign(
            ShapeUse::Head,
            None,
            Glyph::Dot,
            x + glyph.width() + 0.3,
            -0.5,
        );
    }
}

/// A bar line whose right edge is `width`, from a top to a bottom.
pub fn barline(picture: &mut Picture, barline: Barline, width: f64, (top, bottom): (f64, f64)) {
    let mut line = |right: f64, thickness: f64| {
        let x = right - thickness / 2.0;
        picture.line(ShapeUse::Barline, None, (x, top), (x, bottom), thickness);
    };
    match barline {
        Barline::Plain => line(width, THIN),
        Barline::Section => {
            line(width, THIN);
            line(width - 0.5, THIN);
        }
        Barline::Final => {
            line(width, THICK);
            line(width - THICK - 0.35, THIN);
        }
    }
}

/// The head of a line of tablature, as wide as that of the staff above it.
pub fn tablature_start(strings: usize, width: f64) -> Picture {
    tablature_head(strings, STRING_GAP, width)
}
