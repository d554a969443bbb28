//! The lesson sheet: one chart from its harmony to a line of the level asked for, and the answers apart.
//!
//! The first page has the chart as understood and the line that the lesson leads to; then each of the last three
//! levels up to it has a page: an example whose notes say why they are there, and exercises with notes left out,
//! as many bars of the form as the page holds. The advice is common practice, no source.

use super::{
    analysed,
    engrave::{
        ShownBesides,
        font::Face,
        ink::{Picture, ShapeUse},
    },
    measure::{Music, PlayedChorus},
    print::{Pages, Paper, add_music, heading, keep_with_music, legend, music_height, wrapped},
    spoken,
};
use crate::{
    failure::Failure,
    performance::session::{Session, Wishes, chart_at_level},
};
use endpin_walker::{Level, Options};
use std::ops::Range;

/// Levels that have a page of their own: with the chart's page no more than four.
const IDEAS: u8 = 3;
/// Fewest and most examples and exercises of such a page.
const BLOCKS: (usize, usize) = (3, 5);
/// Bars by which what stands of the form grows.
const PHRASE: usize = 4;
/// Size of the words under a heading, in staff spaces.
const WORDS: f64 = 1.8;
/// Most space by which what stands on a page is spread to fill it, in staff spaces.
const SPREAD: f64 = 4.0;

/// What is new on each level: a title, and what to listen for.
const LEVELS: [(&str, &str); 6] = [
    (
        "The root at every change",
        "Listen for the root at every change. Sing it a beat early, then let the bass prove you right.",
    ),
    (
        "The fifth under the chord",
        "Listen for the fifth: it rests under the chord without saying whether it is major or minor.",
    ),
    (
        "A step into every change",
        "Listen for the third: one note, and you know the chord. Then for the last beat before each change, a step from where it goes.",
    ),
    (
        "The leap of the dominant, and runs",
        "Listen for the leap of the dominant into the next root, against the smooth ways in by step; and for runs that pass the bar line without stopping.",
    ),
    (
        "Around the goal",
        "Listen for notes that surround their goal before they reach it. Which of the two lies outside the scale?",
    ),
    (
        "Short notes",
        "Listen for the short notes: they push the beat and say nothing new about the chord. Play the line without them first.",
    ),
];

/// What stands at the top of a lesson.
#[derive(Clone, Copy, Debug)]
pub struct LessonHead<'a> {
    /// The teacher's own line: which week it is for, and what for.
    pub teacher: Option<&'a str>,
    /// Key, meter, tempo, level and seed.
    pub about: &'a str,
}

/// A lesson on pages.
#[derive(Debug, Default)]
pub struct Lesson {
    /// What the student gets.
    pub pages: Vec<Picture>,
    /// One answer to each exercise.
    pub answers: Vec<Picture>,
    /// The music of the pages in words, for those who hear it.
    pub words: String,
    /// The answers in words.
    pub answers_words: String,
}

/// Makes the lesson of a session's level.
///
/// # Errors
/// A level on which the chart has no line with what was asked.
pub fn lesson(
    session: &Session,
    head: LessonHead<'_>,
    paper: Paper,
    show: ShownBesides,
) -> Result<Lesson, Failure> {
    let top = session.wishes().line.level.number();
    let ideas = top.saturating_sub(IDEAS) + 1..=top;
    let title = &session.chart().title;
    let mut made = Made {
        pages: Pages::new(paper),
        answers: Pages::new(paper),
        show,
        exercises: 0,
        lesson: Lesson::default(),
    };
    heading(&mut made.pages, title, head.about);
    heading(&mut made.answers, &format!("{title}: answers"), head.about);
    let aims = ideas.clone().zip(2..).map(|(level, page)| {
        let (name, _) = LEVELS[usize::from(level) - 1];
        format!("page {page}, {}", name.to_lowercase())
    });
    let aims = format!("For: {}.", aims.collect::<Vec<_>>().join("; "));
    for pages in [&mut made.pages, &mut made.answers] {
        if let Some(teacher) = head.teacher {
            pages.words(teacher, 2.4, Face::Strong);
            pages.skip(0.6);
        }
    }
    made.pages.words(&aims, WORDS, Face::Regular);
    name_and_date(&mut made.pages);
    analysed::chart(&mut made.pages, session);
    made.pages.skip(1.0);
    legend(&mut made.pages);
    made.goal(session);
    for level in ideas {
        made.idea(session, level)?;
    }
    let mut lesson = made.lesson;
    lesson.pages = made.pages.finish();
    lesson.answers = made.answers.finish();
    Ok(lesson)
}

/// A line to write on who did it, and when.
fn name_and_date(pages: &mut Pages) {
    let (width, size, face) = (pages.width(), 1.8, Face::Regular);
    let mut picture = Picture {
        width,
        ..Picture::default()
    };
    for (word, from, to) in [("Name", 0.0, 0.62), ("Date", 0.66, 1.0)] {
        let (from, to) = (from * width, to * width);
        picture.text(ShapeUse::Words, None, word, (from, 0.0), size, face);
        let left = from + face.width(word) * size + 0.8;
        picture.line(ShapeUse::Barline, None, (left, 0.3), (to, 0.3), 0.1);
    }
    pages.add(picture, -4.0, 2.6);
}

/// Something to play or to write: a heading, words and some bars.
struct Block<'a> {
    title: String,
    words: &'a str,
    music: Music,
    show: ShownBesides,
}

impl Block<'_> {
    fn height(&self, width: f64) -> f64 {
        let lines = wrapped(self.words, width / WORDS, Face::Regular).len();
        1.4 * (2.2 + WORDS * lines as f64) + 1.0 + music_height(width, &self.music, self.show)
    }

    fn draw(&self, pages: &mut Pages) {
        pages.words(&self.title, 2.2, Face::Strong);
        pages.words(self.words, WORDS, Face::Regular);
        pages.skip(1.0);
        add_music(pages, &self.music, self.show);
    }
}

/// A lesson under way.
struct Made {
    pages: Pages,
    answers: Pages,
    show: ShownBesides,
    exercises: usize,
    lesson: Lesson,
}

impl Made {
    fn marked(&self) -> ShownBesides {
        ShownBesides {
            marks: true,
            ..self.show
        }
    }

    /// The line that the lesson leads to, as much of it as the page still holds.
    fn goal(&mut self, session: &Session) {
        let level = session.wishes().line.level;
        let music = one_chorus(session, session.wishes().choruses.start);
        let block = |bars: usize| Block {
            title: format!("Where it goes: a line of level {level}"),
            words: "Each note says by its mark why it is there. Play it slowly; name the marks aloud.",
            music: passage(&music, 0..bars),
            show: self.marked(),
        };
        let (width, room) = (self.pages.width(), self.pages.left());
        let fits = |bars: &usize| block(*bars).height(width) <= room;
        if let Some(bars) = lengths(&music).find(fits) {
            let block = block(bars);
            block.draw(&mut self.pages);
            self.lesson.words.push_str(&spoken::lines(&block.music));
        }
    }

    /// The page of a level.
    fn idea(&mut self, session: &Session, number: u8) -> Result<(), Failure> {
        let level = Level::try_from(number).map_err(Failure::input)?;
        let (name, listen) = LEVELS[usize::from(number) - 1];
        let session = at_level(session, level)?;
        let first = session.wishes().choruses.start + 1;
        let lines: Vec<Music> = (first..)
            .take(BLOCKS.1)
            .map(|chorus| one_chorus(&session, chorus))
            .collect();
        self.pages.next_page();
        self.pages
            .words(&format!("{name} (level {level})"), 3.0, Face::Strong);
        self.pages.skip(0.4);
        self.pages.words(listen, WORDS, Face::Regular);
        self.pages.skip(1.4);
        let sizes = self.sizes(&lines, level);
        let (width, room) = (self.pages.width(), self.pages.left());
        let heights = sizes.iter().enumerate().map(|(index, &bars)| {
            let block = self.block(&lines, index, bars, level);
            block.height(width)
        });
        let spare = room - heights.sum::<f64>();
        let gap = (spare / sizes.len().saturating_sub(1).max(1) as f64).clamp(0.0, SPREAD);
        for (index, &bars) in sizes.iter().enumerate() {
            let block = self.block(&lines, index, bars, level);
            block.draw(&mut self.pages);
            self.pages.skip(gap);
            self.lesson.words.push_str(&spoken::lines(&block.music));
            if index > 0 {
                self.exercises += 1;
                self.answer(&lines[index], place(&lines[index], index, bars), &session);
            }
        }
        Ok(())
    }

    /// The bars of the example and of each exercise on the rest of this page: as many as fit three times, more
    /// exercises of that length while they fit, and a shorter one at the end.
    fn sizes(&self, lines: &[Music], level: Level) -> Vec<usize> {
        let (width, room) = (self.pages.width(), self.pages.left());
        let fits = |sizes: &Vec<usize>| {
            let blocks = sizes.iter().enumerate().map(|(index, &bars)| {
                let block = self.block(lines, index, bars, level);
                block.height(width)
            });
            blocks.sum::<f64>() <= room
        };
        let phrase = PHRASE.min(lines[0].measures.len());
        let mut sizes = (1..=BLOCKS.0)
            .rev()
            .flat_map(|count| lengths(&lines[0]).map(move |bars| vec![bars; count]))
            .find(fits)
            .unwrap_or_else(|| vec![phrase]);
        for bars in [sizes[0], phrase] {
            while sizes.len() < BLOCKS.1 {
                sizes.push(bars);
                if !fits(&sizes) {
                    sizes.pop();
                    break;
                }
            }
        }
        sizes
    }

    /// An example or an exercise: the first is played, then notes are left out, fewer and more of them in turn.
    fn block(&self, lines: &[Music], index: usize, bars: usize, level: Level) -> Block<'static> {
        let line = &lines[index];
        let place = place(line, index, bars);
        if index == 0 {
            return Block {
                title: "To play".to_owned(),
                words: "Play it with a metronome on two and four. Say why each note is there.",
                music: passage(line, place),
                show: self.marked(),
            };
        }
        let (words, blanked) = if index % 2 == 1 {
            match level.is_two_feel() {
                true => (
                    "Each frame is a note between two changes. Write one that rests under the chord or leads on.",
                    line.blanked(|note| !arrives(line, note)),
                ),
                false => (
                    "Each frame is a note that leads into the next. Write one that you like.",
                    line.blanked(|note| leads(line, note)),
                ),
            }
        } else {
            match level.is_two_feel() {
                true => (
                    "A line of your own: two notes a bar, and only the first bar is given.",
                    line.blanked(|note| line.notes[note].bar as usize > place.start + 1),
                ),
                false => (
                    "A line of your own: the arrivals are given. Say how you get from each to the next, then write it.",
                    line.blanked(|note| !arrives(line, note)),
                ),
            }
        };
        Block {
            title: format!("Exercise {}", self.exercises + 1),
            words,
            music: passage(&blanked, place),
            show: self.show,
        }
    }

    fn answer(&mut self, line: &Music, place: Range<usize>, session: &Session) {
        let title = format!("Exercise {}", self.exercises);
        let level = session.wishes().line.level;
        let words = format!("Level {level}. One answer of many: yours is as good if it leads.");
        let music = passage(line, place);
        let marked = self.marked();
        section(&mut self.answers, &title, &[&words], &music, marked);
        self.lesson
            .answers_words
            .push_str(&format!("{title}.\n{}", spoken::lines(&music)));
    }
}

/// How many bars of the form may stand, the most first: all, or whole phrases from its beginning.
fn lengths(music: &Music) -> impl Iterator<Item = usize> + use<> {
    let bars = music.measures.len();
    let phrases = (1..=bars / PHRASE).map(|phrases| phrases * PHRASE);
    std::iter::once(bars).chain(phrases.rev().filter(move |&phrases| phrases < bars))
}

/// The bars of an example or exercise: where not all of the form stands, each is further along than the one
/// before, and begins again once it is through.
fn place(music: &Music, index: usize, bars: usize) -> Range<usize> {
    let left = music.measures.len().saturating_sub(bars);
    let step = bars.min(left).max(1);
    let first = index % (left / step + 1) * step;
    first..(first + bars).min(music.measures.len())
}

/// Some bars of the music.
fn passage(music: &Music, bars: Range<usize>) -> Music {
    Music {
        measures: music.measures[bars].to_vec(),
        ..music.clone()
    }
}

/// Whether a note is the first over its chord.
fn arrives(music: &Music, note: usize) -> bool {
    note == 0 || music.notes[note - 1].span != music.notes[note].span
}

/// Whether a note leads into the next.
fn leads(music: &Music, note: usize) -> bool {
    let note = &music.notes[note];
    note.role.is_approach() || note.approach.is_some()
}

/// The same chart on a level.
fn at_level(session: &Session, level: Level) -> Result<Session, Failure> {
    let wishes = session.wishes();
    let line = Options {
        level,
        ..wishes.line.clone()
    };
    let chart = chart_at_level(session.chart().clone(), &line);
    Session::new(
        chart,
        Wishes {
            line,
            ..wishes.clone()
        },
    )
}

/// The line of one chorus as it is written, without the word that a chorus begins.
pub fn one_chorus(session: &Session, number: u32) -> Music {
    let line = session.line(number);
    let played: [PlayedChorus; 1] = [(session.chorus(line.chorus), &line)];
    let mut music = Music::new(&played, None, true, &session.wishes().line.hand);
    for measure in &mut music.measures {
        measure.opens_chorus = false;
    }
    music
}

/// A heading with words under it, each on lines of its own, then the music.
pub fn section(pages: &mut Pages, title: &str, words: &[&str], music: &Music, show: ShownBesides) {
    let lines = |words: &&str| wrapped(words, pages.width() / WORDS, Face::Regular).len();
    let lines: usize = words.iter().map(lines).sum();
    keep_with_music(pages, 7.0 + 2.5 * lines.max(2) as f64, music, show);
    if !pages.is_fresh() {
        pages.skip(1.5);
    }
    pages.words(title, 2.4, Face::Strong);
    for words in words {
        pages.words(words, WORDS, Face::Regular);
    }
    pages.skip(1.2);
    add_music(pages, music, show);
}

#[cfg(test)]
mod tests {
    use super::*;
    use endpin_theory::Chart;

    fn session(bars: &str, level: u8) -> Session {
        let chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
        let line = Options {
            level: Level::try_from(level).unwrap(),
            ..Options::default()
        };
        let chart = chart_at_level(chart, &line);
        Session::new(chart, Wishes::plain(1, 1, line)).unwrap()
    }

    #[test]
    fn exercises_go_through_the_form_and_begin_again() {
        let blues = "F7 | Bb7 | F7 | F7 | Bb7 | Bb7 | F7 | D7 | Gm7 | C7 | F7 | C7";
        let music = one_chorus(&session(blues, 3), 1);
        assert_eq!(lengths(&music).collect::<Vec<_>>(), [12, 8, 4]);
        let places = |bars: usize| (0..4).map(|index| place(&music, index, bars)).collect();
        let places: [Vec<Range<usize>>; 3] = [12, 8, 4].map(places);
        assert_eq!(places[0], [0..12, 0..12, 0..12, 0..12]);
        assert_eq!(places[1], [0..8, 4..12, 0..8, 4..12]);
        assert_eq!(places[2], [0..4, 4..8, 8..12, 0..4]);
    }

    #[test]
    fn a_lesson_of_any_level_has_a_page_for_each_of_its_last_three_levels() {
        let head = LessonHead {
            teacher: Some("Week 1"),
            about: "In C.",
        };
        for (level, count) in [(1, 2), (2, 3), (3, 4), (4, 4), (6, 4)] {
            for (bars, tablature) in [("C6", false), ("Dm7 | G7 | C6 | A7", true)] {
                let session = session(bars, level);
                let show = ShownBesides {
                    tablature,
                    ..ShownBesides::default()
                };
                let made = lesson(&session, head, Paper::Letter, show).unwrap();
                assert_eq!(made.pages.len(), count, "{bars}, level {level}");
                assert!(made.words.contains("a note to write"));
                assert!(!made.answers_words.contains("a note to write"));
            }
        }
    }
}
