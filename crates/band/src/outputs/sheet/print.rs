//! Paper: the music laid out on pages.
//!
//! Lines hold four bars, fewer where they would not fit, and start anew at each section; pages break between
//! sections where a section would otherwise be torn and fits on a page of its own.

use super::{
    engrave::{
        Levels, ShownBesides,
        bar::{EngravedBar, STRING_GAP, tablature_start},
        font::Face,
        glyph::Glyph,
        ink::{Picture, Rectangle, Shape, ShapeUse},
        signature,
    },
    measure::{Measure, Music},
};
use crate::outputs::marks::{LEGEND, Mark};
use std::ops::Range;

/// Most bars of a line; the ending may join the last one.
const BARS: usize = 4;
/// Clear space between lines of music, in staff spaces.
const BETWEEN_LINES: f64 = 2.2;
/// Clear space between a staff and its tablature.
const TO_TABLATURE: f64 = 1.8;

/// A sheet of paper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 by 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 by 11 inches (ANSI A).
    Letter,
}

impl Paper {
    /// Width and height in millimetres.
    pub fn millimetres(self) -> (f64, f64) {
        match self {
            Paper::A4 => (210.0, 297.0),
            Paper::Letter => (215.9, 279.4),
        }
    }

    /// Width and height in staff spaces.
    pub fn spaces(self) -> (f64, f64) {
        let (width, height) = self.millimetres();
        (width / SPACE, height / SPACE)
    }
}

/// A staff space in millimetres: a staff of 6.6 mm, a little smaller than most parts are printed.
pub const SPACE: f64 = 1.65;
/// Margins in millimetres.
const MARGIN: f64 = 15.0;

/// Lays pages out from top to bottom.
pub struct Pages {
    size: (f64, f64),
    margin: f64,
    pages: Vec<Picture>,
    y: f64,
}

impl Pages {
    /// Paper with its first page begun.
    pub fn new(paper: Paper) -> Pages {
        let mut pages = Pages {
            size: paper.spaces(),
            margin: MARGIN / SPACE,
            pages: Vec::new(),
            y: 0.0,
        };
        pages.next_page();
        pages
    }

    /// Width between the margins, in staff spaces.
    pub fn width(&self) -> f64 {
        self.size.0 - 2.0 * self.margin
    }

    /// Begins another page.
    pub fn next_page(&mut self) {
        self.pages.push(Picture {
            width: self.size.0,
            ..Picture::default()
        });
        self.y = self.margin;
    }

    /// Height that is left on this page.
    pub fn left(&self) -> f64 {
        self.size.1 - self.margin - self.y
    }

    /// Height of a whole page between its margins.
    pub fn height(&self) -> f64 {
        self.size.1 - 2.0 * self.margin
    }

    /// Whether nothing stands on this page yet.
    pub fn is_fresh(&self) -> bool {
        self.y <= self.margin
    }

    /// Puts a picture that reaches from `top` to `bottom` below what stands already, on the next page if it
    /// does not fit on this one.
    pub fn add(&mut self, picture: Picture, top: f64, bottom: f64) {
        if bottom - top > self.left() && !self.is_fresh() {
            self.next_page();
        }
        let (x, y) = (self.margin, self.y - top);
        // There is always a page: `new` begins one.
        if let Some(page) = self.pages.last_mut() {
            page.place(picture, x, y);
        }
        self.y += bottom - top;
    }

    /// Leaves a gap.
    pub fn skip(&mut self, height: f64) {
        self.y += height;
    }

    /// Adds lines of text, broken between words.
    pub fn words(&mut self, text: &str, size: f64, face: Face) {
        for line in wrapped(text, self.width() / size, face) {
            let mut picture = Picture::default();
            picture.text(ShapeUse::Words, None, &line, (0.0, 0.0), size, face);
            self.add(picture, -size, 0.4 * size);
        }
    }

    /// The pages, numbered at the foot if there are several.
    pub fn finish(mut self) -> Vec<Picture> {
        let count = self.pages.len();
        let (size, face) = (1.6, Face::Regular);
        let y = self.size.1 - self.margin / 2.0;
        for (index, page) in self.pages.iter_mut().enumerate().filter(|_| count > 1) {
            let text = format!("{} / {count}", index + 1);
            let x = (self.size.0 - face.width(&text) * size) / 2.0;
            page.text(ShapeUse::Words, None, &text, (x, y), size, face);
        }
        self.pages
    }
}

/// Breaks a text into lines of at most `width` ems; a longer word is cut.
pub fn wrapped(text: &str, width: f64, face: Face) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let word = face.fit(word, width);
        match lines.last_mut() {
            Some(line) if face.width(line) + face.advance(' ') + face.width(&word) <= width => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// The whole music on pages: title, choruses, ending, and the legend of the marks if they are shown.
pub fn pages(music: &Music, subtitle: &str, paper: Paper, show: ShownBesides) -> Vec<Picture> {
    let mut pages = Pages::new(paper);
    heading(&mut pages, &music.title, subtitle);
    if show.marks {
        legend(&mut pages);
    }
    add_music(&mut pages, music, show);
    pages.finish()
}

/// Title and what is said of the piece.
pub fn heading(pages: &mut Pages, title: &str, subtitle: &str) {
    pages.words(title, 4.2, Face::Strong);
    pages.skip(0.4);
    pages.words(subtitle, 1.9, Face::Regular);
    pages.skip(2.0);
}

/// What the marks mean.
pub fn legend(pages: &mut Pages) {
    for line in LEGEND {
        pages.words(line, 1.7, Face::Regular);
        pages.skip(0.2);
    }
    pages.skip(1.4);
}

/// Height of the section of some music that opens with its line `first`, up to the next section.
fn section_height(music: &Music, lines: &[Range<usize>], first: usize, show: ShownBesides) -> f64 {
    let after = lines[first + 1..]
        .iter()
        .position(|line| opens_section(music, line));
    let end = after.map_or(lines.len(), |after| first + 1 + after);
    let heights = lines[first..end]
        .iter()
        .map(|line| MusicLine::new(music, line.clone(), show).height());
    heights.map(|height| height + BETWEEN_LINES).sum()
}

fn opens_section(music: &Music, line: &Range<usize>) -> bool {
    music.measures[line.start].section.is_some()
}

/// Begins another page where the first section of some music, under a heading of that height, would be torn
/// and fits on a page of its own.
pub fn keep_with_music(pages: &mut Pages, heading: f64, music: &Music, show: ShownBesides) {
    let lines = break_lines(pages.width(), music, show);
    keep_together(pages, heading + section_height(music, &lines, 0, show));
}

fn keep_together(pages: &mut Pages, height: f64) {
    if height > pages.left() + BETWEEN_LINES && height <= pages.height() && !pages.is_fresh() {
        pages.next_page();
    }
}

/// Adds all lines of some music.
pub fn add_music(pages: &mut Pages, music: &Music, show: ShownBesides) {
    let lines = break_lines(pages.width(), music, show);
    for (index, line) in lines.iter().enumerate() {
        if opens_section(music, line) {
            keep_together(pages, section_height(music, &lines, index, show));
        }
        let line = MusicLine::new(music, line.clone(), show);
        let (top, bottom) = (line.top, line.bottom);
        pages.add(line.draw(pages.width()), top, bottom);
        pages.skip(BETWEEN_LINES);
    }
}

/// Height of all lines of some music, with the gap after each.
pub fn music_height(width: f64, music: &Music, show: ShownBesides) -> f64 {
    let lines = break_lines(width, music, show).into_iter();
    let heights = lines.map(|line| MusicLine::new(music, line, show).height());
    heights.map(|height| height + BETWEEN_LINES).sum()
}

/// Which bars stand on which line.
fn break_lines(width: f64, music: &Music, show: ShownBesides) -> Vec<Range<usize>> {
    let bars = engraved(music, 0..music.measures.len(), show);
    let naturals: Vec<f64> = bars.iter().map(EngravedBar::natural).collect();
    let mut lines: Vec<Range<usize>> = Vec::new();
    for (index, measure) in music.measures.iter().enumerate() {
        let joins = lines.last().is_some_and(|line| {
            let head = signature::head(measure.key.signature()).width;
            let taken: f64 = naturals[line.clone()].iter().sum();
            let most = if measure.is_ending { BARS + 1 } else { BARS };
            measure.section.is_none()
                && line.len() < most
                && head + taken + naturals[index] <= width
        });
        match lines.last_mut() {
            Some(line) if joins => line.end = index + 1,
            _ => lines.push(index..index + 1),
        }
    }
    lines
}

/// These bars of some music, ready to be drawn.
pub fn engraved(music: &Music, range: Range<usize>, show: ShownBesides) -> Vec<EngravedBar<'_>> {
    let marks: &[Mark] = if show.marks { &music.marks } else { &[] };
    range
        .map(|index| EngravedBar::new(&music.measures[index], shows_meter(music, index), marks))
        .collect()
}

/// A time signature stands where the meter changes.
fn shows_meter(music: &Music, index: usize) -> bool {
    index == 0 || music.measures[index - 1].meter != music.measures[index].meter
}

/// A line of music.
struct MusicLine<'a> {
    music: &'a Music,
    bars: Vec<EngravedBar<'a>>,
    levels: Levels,
    show: ShownBesides,
    top: f64,
    bottom: f64,
    tablature: f64,
    /// Whether the line is one of several of equal width.
    is_full: bool,
}

impl<'a> MusicLine<'a> {
    fn new(music: &'a Music, range: Range<usize>, show: ShownBesides) -> MusicLine<'a> {
        let is_full = range.len() >= BARS;
        let bars = engraved(music, range, show);
        let levels = Levels::of(&bars, show);
        let strings = music
            .tablature
            .as_ref()
            .map_or(0, |tablature| tablature.strings.len());
        let half = (strings as f64 - 1.0) / 2.0 * STRING_GAP;
        let tablature = levels.bottom + TO_TABLATURE + half;
        let has_tablature = show.tablature && strings > 0;
        let fingers = if show.fingers { 2.2 } else { 0.3 };
        let bottom = if has_tablature {
            tablature + half + fingers
        } else {
            levels.bottom
        };
        let first = bars[0].measure();
        let words = if first.section.is_some() || first.opens_chorus {
            3.2
        } else {
            0.0
        };
        MusicLine {
            music,
            bars,
            levels,
            show,
            top: levels.top - words,
            bottom,
            tablature,
            is_full,
        }
    }

    fn height(&self) -> f64 {
        self.bottom - self.top
    }

    fn draw(&self, width: f64) -> Picture {
        let first = self.bars[0].measure();
        let mut picture = signature::head(first.key.signature());
        let head = picture.width;
        let tablature = self
            .music
            .tablature
            .as_ref()
            .filter(|_| self.show.tablature);
        if let Some(tablature) = tablature {
            let start = tablature_start(tablature.strings.len(), head);
            picture.place(start, 0.0, self.tablature);
        }
        // Short lines keep the measure of full ones.
        let share =
            (width - head) / self.bars.len().max(if self.is_full { 1 } else { BARS }) as f64;
        let mut x = head;
        for (bar, wide) in self.bars.iter().zip(self.widths(width - head, share)) {
            picture.place(bar.draw(wide, &self.levels), x, 0.0);
            if let Some(tablature) = tablature {
                let bar = bar.tablature(wide, tablature, self.show.fingers);
                picture.place(bar, x, self.tablature);
            }
            x += wide;
        }
        picture.line(ShapeUse::Barline, None, (0.08, -2.0), (0.08, 2.0), 0.16);
        self.words(&mut picture, first);
        picture.width = width;
        picture
    }

    /// Equal shares where all bars fit into them, else each its natural width and the rest in proportion.
    fn widths(&self, width: f64, share: f64) -> Vec<f64> {
        let naturals = self.bars.iter().map(EngravedBar::natural);
        if naturals.clone().all(|natural| natural <= share) {
            return vec![share; self.bars.len()];
        }
        let total: f64 = naturals.clone().sum();
        let room = if self.is_full {
            width
        } else {
            width.min(total.max(share * self.bars.len() as f64))
        };
        let stretch = (room / total).max(1.0);
        naturals.map(|natural| natural * stretch).collect()
    }

    /// Section, chorus and bar number above the start of the line.
    fn words(&self, picture: &mut Picture, first: &Measure) {
        let number = first.number.to_string();
        picture.text(
            ShapeUse::Words,
            None,
            &number,
            (0.2, -2.7),
            1.4,
            Face::Regular,
        );
        let (size, face, y) = (2.3, Face::Strong, self.top + 2.3);
        let mut x = 0.3;
        if let Some(section) = &first.section {
            let section = face.fit(section, 20.0);
            let wide = face.width(&section) * size;
            picture.text(ShapeUse::Words, None, &section, (x + 0.5, y), size, face);
            let area = Rectangle {
                left: x,
                top: y - 2.1,
                right: x + wide + 1.0,
                bottom: y + 0.6,
            };
            picture.draw(ShapeUse::Words, None, Shape::Frame { area, width: 0.16 });
            x += wide + 2.4;
        }
        if first.opens_chorus {
            let chorus = format!("Chorus {}", first.chorus);
            picture.text(ShapeUse::Words, None, &chorus, (x, y), 2.0, Face::Regular);
            x += Face::Regular.width(&chorus) * 2.0 + 2.4;
        }
        if first.number == 1 && (first.opens_chorus || first.chorus == 0) {
            let quarter = Shape::Sign {
                glyph: Glyph::MetQuarter,
                x,
                y,
                size: 0.75,
            };
            picture.draw(ShapeUse::Words, None, quarter);
            let tempo = format!("= {}", first.tempo);
            picture.text(
                ShapeUse::Words,
                None,
                &tempo,
                (x + 1.5, y),
                2.0,
                Face::Regular,
            );
        }
    }
}
