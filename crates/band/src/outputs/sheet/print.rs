//! Paper: the music laid out on pages of a size, at a size of staff.
//!
//! Where its lines and pages break is settled by [`breaks`]; a line is drawn by
//! [`system`](super::system).

use super::{
    breaks,
    engrave::{
        ShownBesides,
        bar::EngravedBar,
        font::Face,
        ink::{Picture, ShapeUse},
    },
    measure::Music,
    system::MusicLine,
};
use crate::outputs::marks::{LEGEND, Mark};
use endpin_theory::{Key, Mode};
use std::ops::Range;

/// Clear space between lines of music, in staff spaces.
pub const BETWEEN_LINES: f64 = 2.2;
/// The most that is added between lines to bring the last one to the foot of a full page.
const MOST_ADDED: f64 = 3.0;

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
}

/// How large staves are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum StaffSize {
    /// A staff of 6.6 mm: a book that is held.
    Small,
    /// A staff of 7.6 mm: a part on a music stand, where staves of 7 to 8 mm are usual (E. Gould, *Behind
    /// Bars*, 2011, on the preparing of parts; from memory).
    #[default]
    Stand,
    /// A staff of 9.2 mm: for a stand that two share, or for weak eyes (large print of educational music).
    Large,
}

impl StaffSize {
    /// All, smallest first.
    pub const ALL: [StaffSize; 3] = [StaffSize::Small, StaffSize::Stand, StaffSize::Large];

    /// A staff space in millimetres.
    pub fn space(self) -> f64 {
        match self {
            StaffSize::Small => 1.65,
            StaffSize::Stand => 1.9,
            StaffSize::Large => 2.3,
        }
    }
}

/// Margins in millimetres.
const MARGIN: f64 = 15.0;

/// Lays pages out from top to bottom.
pub struct Pages {
    size: (f64, f64),
    margin: f64,
    pages: Vec<Picture>,
    y: f64,
    running_head: String,
}

impl Pages {
    /// Paper with its first page begun, for reading at a desk.
    pub fn new(paper: Paper) -> Pages {
        Pages::sized(paper, StaffSize::Small)
    }

    /// Paper with its first page begun, for staves of that size.
    pub fn sized(paper: Paper, staff: StaffSize) -> Pages {
        let (width, height) = paper.millimetres();
        let space = staff.space();
        let mut pages = Pages {
            size: (width / space, height / space),
            margin: MARGIN / space,
            pages: Vec::new(),
            y: 0.0,
            running_head: String::new(),
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
        // Lines that are spread to the foot of a page end there to a rounding.
        if bottom - top > self.left() + 1e-6 && !self.is_fresh() {
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

    /// Adds a line of text that ends at the right margin.
    pub fn words_at_the_right(&mut self, text: &str, size: f64, face: Face) {
        let text = face.fit(text, self.width() / size);
        let x = self.width() - face.width(&text) * size;
        let mut picture = Picture::default();
        picture.text(ShapeUse::Words, None, &text, (x, 0.0), size, face);
        self.add(picture, -size, 0.4 * size);
    }

    /// The pages; from the second on, title and page number stand in the margin above, since a first page
    /// has its heading (E. Gould, *Behind Bars*, 2011, on running heads and folios; from memory).
    pub fn finish(mut self) -> Vec<Picture> {
        let count = self.pages.len();
        let (size, face) = (1.7, Face::Regular);
        let y = self.margin * 0.62;
        let right = self.size.0 - self.margin;
        for (number, page) in (1..).zip(&mut self.pages).skip(1) {
            let number = format!("{number} / {count}");
            let x = right - face.width(&number) * size;
            page.text(ShapeUse::Words, None, &number, (x, y), size, face);
            let title = face.fit(&self.running_head, (x - self.margin - 2.0) / size);
            page.text(ShapeUse::Words, None, &title, (self.margin, y), size, face);
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
pub fn pages(
    music: &Music,
    subtitle: &str,
    (paper, staff): (Paper, StaffSize),
    show: ShownBesides,
) -> Vec<Picture> {
    let mut pages = Pages::sized(paper, staff);
    heading_by(&mut pages, &music.title, music.by.as_deref(), subtitle);
    if show.marks {
        legend(&mut pages);
    }
    add_music(&mut pages, music, show);
    pages.finish()
}

/// A key as it is printed, with the real sign: `B♭ minor`.
pub fn key_for_reading(key: Key) -> String {
    let tonic: String = key
        .tonic
        .to_string()
        .chars()
        .map(|character| match character {
            'b' => '♭',
            '#' => '♯',
            letter => letter,
        })
        .collect();
    match key.mode {
        Mode::Major => tonic,
        Mode::Minor => format!("{tonic} minor"),
    }
}

/// Title and what is said of the piece.
pub fn heading(pages: &mut Pages, title: &str, subtitle: &str) {
    heading_by(pages, title, None, subtitle);
}

/// The same with who wrote it, at the right.
fn heading_by(pages: &mut Pages, title: &str, by: Option<&str>, subtitle: &str) {
    pages.running_head = title.to_owned();
    pages.words(title, 4.2, Face::Strong);
    pages.skip(0.4);
    if let Some(by) = by {
        let (size, face) = (2.0, Face::Regular);
        pages.words_at_the_right(by, size, face);
        // On the line of the other words where there is room.
        if face.width(by) * size + face.width(subtitle) * 1.9 + 4.0 < pages.width() {
            pages.skip(-1.4 * size);
        }
    }
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

/// Begins another page where the first section of some music, under a heading of that height, would be torn
/// and fits on a page of its own.
pub fn keep_with_music(pages: &mut Pages, heading: f64, music: &Music, show: ShownBesides) {
    let lines = breaks::lines(pages.width(), music, show);
    let section = lines
        .iter()
        .enumerate()
        .take_while(|(index, line)| *index == 0 || !breaks::opens_section(music, line.start))
        .map(|(_, line)| MusicLine::new(music, line.clone(), show).height() + BETWEEN_LINES);
    let height = heading + section.sum::<f64>();
    if height > pages.left() + BETWEEN_LINES && height <= pages.height() && !pages.is_fresh() {
        pages.next_page();
    }
}

/// Adds all lines of some music; the lines of a page that another one follows are spread to its foot.
pub fn add_music(pages: &mut Pages, music: &Music, show: ShownBesides) {
    let lines: Vec<MusicLine> = breaks::lines(pages.width(), music, show)
        .into_iter()
        .map(|line| MusicLine::new(music, line, show))
        .collect();
    let heights: Vec<f64> = lines
        .iter()
        .map(|line| line.height() + BETWEEN_LINES)
        .collect();
    let opens: Vec<bool> = lines
        .iter()
        .map(|line| breaks::opens_section(music, line.first()))
        .collect();
    let first = if pages.is_fresh() {
        None
    } else {
        Some(pages.left())
    };
    let on_pages = breaks::pages(first, pages.height(), BETWEEN_LINES, &heights, &opens);
    let count = on_pages.len();
    for (index, on_page) in on_pages.into_iter().enumerate() {
        // What stands on the page already may leave room for no line.
        if on_page.is_empty() {
            continue;
        }
        if index > 0 {
            pages.next_page();
        }
        let taken: f64 = heights[on_page.clone()].iter().sum();
        let left = pages.left() + BETWEEN_LINES - taken;
        let gaps = (on_page.len() - 1).max(1) as f64;
        let added = match index + 1 < count {
            true => (left / gaps).clamp(0.0, MOST_ADDED),
            false => 0.0,
        };
        for line in &lines[on_page] {
            pages.add(line.draw(pages.width()), line.top, line.bottom);
            pages.skip(BETWEEN_LINES + added);
        }
    }
}

/// Height of all lines of some music, with the gap after each.
pub fn music_height(width: f64, music: &Music, show: ShownBesides) -> f64 {
    let lines = breaks::lines(width, music, show).into_iter();
    let heights = lines.map(|line| MusicLine::new(music, line, show).height());
    heights.map(|height| height + BETWEEN_LINES).sum()
}

/// These bars of some music, ready to be drawn.
pub fn engraved(music: &Music, range: Range<usize>, show: ShownBesides) -> Vec<EngravedBar<'_>> {
    let marks: &[Mark] = if show.marks { &music.marks } else { &[] };
    range
        .map(|index| EngravedBar::new(&music.measures[index], shows_meter(music, index), marks))
        .collect()
}

/// A time signature stands where the meter changes.
pub fn shows_meter(music: &Music, index: usize) -> bool {
    index == 0 || music.measures[index - 1].meter != music.measures[index].meter
}
