//! A line of music: its head, its bars with what joins them, and the words above it.

use super::{
    breaks,
    engrave::{
        Levels, ShownBesides,
        bar::{EngravedBar, STRING_GAP, barline, tablature_start},
        font::Face,
        glyph::Glyph,
        ink::{Picture, Rectangle, Shape, ShapeUse},
        signature,
    },
    measure::Music,
    print::engraved,
};
use endpin_walker::Tablature;
use std::ops::Range;

/// Clear space between a staff and its tablature.
const TO_TABLATURE: f64 = 1.8;
/// The last line of a section is drawn to the right margin if it is filled to this share; one with less ends where
/// its bars do.
const FILLED: f64 = 0.45;
/// Height of an em of a bar number: 8 points on a stand.
const NUMBER: f64 = 1.5;

/// A line of music.
pub struct MusicLine<'a> {
    music: &'a Music,
    range: Range<usize>,
    bars: Vec<EngravedBar<'a>>,
    levels: Levels,
    show: ShownBesides,
    /// Top of all, in staff spaces below the middle line.
    pub top: f64,
    /// Bottom of all.
    pub bottom: f64,
    /// Middle of the tablature, and half its height.
    tablature: (f64, f64),
}

impl<'a> MusicLine<'a> {
    /// These bars of some music.
    pub fn new(music: &'a Music, range: Range<usize>, show: ShownBesides) -> MusicLine<'a> {
        let bars = engraved(music, range.clone(), show);
        let levels = Levels::of(&bars, show);
        let tablature = music.tablature.as_ref();
        let strings = tablature.map_or(0, |tablature| tablature.strings.len());
        let half = (strings as f64 - 1.0) / 2.0 * STRING_GAP;
        let middle = levels.bottom + TO_TABLATURE + half;
        // Without fingers the bracket reaches lowest, and figures on the lowest string.
        let fingers = if show.fingers { 2.6 } else { 0.8 };
        let bottom = match show.tablature && strings > 0 {
            true => middle + half + fingers,
            false => levels.bottom,
        };
        let has_words = range.clone().any(|index| has_words(music, index));
        MusicLine {
            music,
            range,
            bars,
            levels,
            show,
            top: levels.top - if has_words { 3.2 } else { 0.0 },
            bottom,
            tablature: (middle, half),
        }
    }

    /// Which bar is its first.
    pub fn first(&self) -> usize {
        self.range.start
    }

    /// From its top to its bottom.
    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }

    fn tablature(&self) -> Option<&'a Tablature> {
        let tablature = self.music.tablature.as_ref();
        tablature.filter(|_| self.show.tablature)
    }

    /// Draws the line, with that width at its disposal.
    pub fn draw(&self, width: f64) -> Picture {
        let first = &self.music.measures[self.range.start];
        let mut picture = signature::head(first.key.signature());
        let head = picture.width;
        if let Some(tablature) = self.tablature() {
            let start = tablature_start(tablature.strings.len(), head);
            picture.place(start, 0.0, self.tablature.0);
        }
        let after = courtesy(self.music, self.range.end);
        let room = width - head - after.as_ref().map_or(0.0, |picture| picture.width);
        let mut edges = vec![head];
        let mut x = head;
        for (bar, wide) in self.bars.iter().zip(self.widths(room, width - head)) {
            picture.place(bar.draw(wide, &self.levels), x, 0.0);
            if let Some(tablature) = self.tablature() {
                let bar = bar.tablature(wide, tablature, self.show.fingers);
                picture.place(bar, x, self.tablature.0);
            }
            x += wide;
            edges.push(x);
        }
        if let Some(after) = after {
            self.lengthen(&mut picture, x, after);
        }
        if self.tablature().is_some() {
            self.join(&mut picture, &edges[1..]);
        }
        self.number(&mut picture);
        // Words over the first bar stand over its head, too.
        edges[0] = 0.0;
        for (index, edge) in self.range.clone().zip(edges.windows(2)) {
            self.words(&mut picture, index, edge[0] + 0.3, edge[1]);
        }
        picture.width = width;
        picture
    }

    /// Bars of like width, save those that need more; the last line of a section that has room to spare ends early.
    fn widths(&self, room: f64, whole: f64) -> Vec<f64> {
        let naturals: Vec<f64> = self.bars.iter().map(EngravedBar::natural).collect();
        let taken: f64 = naturals.iter().sum();
        let usual = breaks::usual(whole);
        let share = room / naturals.len().max(usual) as f64;
        let next = self.range.end;
        let ends = next == self.music.measures.len() || breaks::opens_section(self.music, next);
        let is_full = !ends || naturals.len() >= usual || taken >= FILLED * room;
        let target = match is_full {
            true => room,
            false => taken.max(share * naturals.len() as f64),
        };
        let level = level(&naturals, target);
        naturals.iter().map(|natural| natural.max(level)).collect()
    }

    /// Puts a courtesy signature after the last bar line.
    fn lengthen(&self, picture: &mut Picture, x: f64, after: Picture) {
        let empty = || Picture {
            width: after.width,
            ..Picture::default()
        };
        let mut staff = empty();
        signature::lines(&mut staff, 5, 1.0);
        picture.place(staff, x, 0.0);
        if let Some(tablature) = self.tablature() {
            let mut staff = empty();
            signature::lines(&mut staff, tablature.strings.len(), STRING_GAP);
            picture.place(staff, x, self.tablature.0);
        }
        picture.place(after, x, 0.0);
    }

    /// Joins staff and tablature, by a line and a bracket at their start and by bar lines where nothing stands
    /// between them. A single staff has no line at its start (E. Gould, *Behind Bars*, 2011, on systemic bar
    /// lines; from memory).
    fn join(&self, picture: &mut Picture, rights: &[f64]) {
        let (middle, half) = self.tablature;
        let (top, bottom) = (-2.0, middle + half);
        let mut line = |from: (f64, f64), to: (f64, f64), width: f64| {
            picture.line(ShapeUse::Barline, None, from, to, width);
        };
        line((0.08, top), (0.08, bottom), 0.16);
        line((-0.6, top - 0.4), (-0.6, bottom + 0.4), 0.5);
        for y in [top - 0.4, bottom + 0.4] {
            line((-0.85, y), (0.2, y), 0.2);
        }
        for (bar, &right) in self.bars.iter().zip(rights).filter(|_| !self.show.marks) {
            barline(picture, bar.measure().barline, right, (2.0, middle - half));
        }
    }

    /// The number of the first bar, above the clef.
    fn number(&self, picture: &mut Picture) {
        let number = self.music.measures[self.range.start].number.to_string();
        let (at, face) = ((0.2, -2.75), Face::Regular);
        picture.text(ShapeUse::Words, None, &number, at, NUMBER, face);
    }

    /// Section, chorus and tempo above a bar, between these edges.
    fn words(&self, picture: &mut Picture, index: usize, left: f64, right: f64) {
        let measure = &self.music.measures[index];
        let (size, face, y) = (2.3, Face::Strong, self.top + 2.3);
        let mut x = left;
        if let Some(section) = &measure.section {
            let section = face.fit(section, ((right - x - 1.6) / size).min(20.0));
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
        let (size, face) = (2.0, Face::Regular);
        if measure.opens_chorus {
            let chorus = format!("Chorus {}", measure.chorus);
            picture.text(ShapeUse::Words, None, &chorus, (x, y), size, face);
            x += face.width(&chorus) * size + 2.4;
        }
        if changes_tempo(self.music, index) {
            // In compound meters a dotted quarter is what is counted.
            let is_dotted = measure.meter.is_compound() && measure.meter.beat_ticks().0 == 1440;
            let mut sign = |glyph: Glyph, x: f64| {
                let size = 0.75;
                picture.draw(ShapeUse::Words, None, Shape::Sign { glyph, x, y, size });
            };
            sign(Glyph::MetQuarter, x);
            if is_dotted {
                sign(Glyph::Dot, x + 1.1);
                x += 0.5;
            }
            let minute = measure.tempo * if is_dotted { 2.0 / 3.0 } else { 1.0 };
            let tempo = format!("= {}", (minute * 10.0).round() / 10.0);
            picture.text(ShapeUse::Words, None, &tempo, (x + 1.5, y), size, face);
        }
    }
}

/// The width that bars have which need less, so that all of them take `target`.
fn level(naturals: &[f64], target: f64) -> f64 {
    let mut widest = naturals.to_vec();
    widest.sort_by(|a, b| b.total_cmp(a));
    let (mut left, mut count) = (target, widest.len() as f64);
    for natural in widest {
        if natural <= left / count {
            break;
        }
        left -= natural;
        count -= 1.0;
    }
    if count > 0.0 { left / count } else { 0.0 }
}

/// A tempo stands where it begins.
fn changes_tempo(music: &Music, index: usize) -> bool {
    index == 0 || music.measures[index - 1].tempo != music.measures[index].tempo
}

fn has_words(music: &Music, index: usize) -> bool {
    let measure = &music.measures[index];
    measure.section.is_some() || measure.opens_chorus || changes_tempo(music, index)
}

/// The signatures that change with the bar `next`, to stand at the end of the line before it (E. Gould, *Behind
/// Bars*, 2011, on cautionary signatures; from memory); its width is set. None if nothing changes.
pub fn courtesy(music: &Music, next: usize) -> Option<Picture> {
    let (before, after) = (
        music.measures.get(next.checked_sub(1)?)?,
        music.measures.get(next)?,
    );
    let mut picture = Picture::default();
    let mut x = 0.6;
    if before.key.signature() != after.key.signature() {
        let key = signature::change(before.key.signature(), after.key.signature());
        let width = key.width;
        picture.place(key, x, 0.0);
        x += width + 0.5;
    }
    if before.meter != after.meter {
        let time = signature::time(&after.meter);
        let width = time.width;
        picture.place(time, x, 0.0);
        x += width + 0.4;
    }
    picture.width = x;
    (!picture.marks.is_empty()).then_some(picture)
}
