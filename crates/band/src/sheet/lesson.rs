//! The lesson sheet: one chart from its harmony to the busiest line, with blanks to fill.
//!
//! First the chart as understood; then eight lines, from two-feel roots up the teacher's ladder, each with a
//! word on what to listen for; then two lines whose approach notes are left out, and on a page of their own
//! the answers. The advice is common practice, no source.

use super::{
    engrave::{
        Show,
        font::Face,
        ink::{Kind, Picture},
        symbol::chord_symbol,
    },
    measure::{Music, Played},
    print::{Pages, Paper, add_music, heading, keep_with_music, legend},
};
use crate::{
    failure::Failure,
    session::{Session, Wishes},
};
use endpin_walker::{Level, Options};

/// Levels of the eight lines; a level that comes twice shows two choruses.
const LINES: [u8; 8] = [1, 2, 3, 3, 4, 4, 5, 6];
/// Levels of the two lines with blanks, whose notes are all quarters.
const BLANKS: [u8; 2] = [3, 4];
/// Bars of a line of the chart.
const BARS: usize = 4;

/// What to listen for on each level.
const ADVICE: [&str; 6] = [
    "Listen for the root at every change. Sing it a beat early, then let the bass prove you right.",
    "Listen for the fifth: it rests under the chord without saying whether it is major or minor.",
    "Listen for the third: one note, and you know the chord. Then for the last beat before each change, a step from where it goes.",
    "Listen for the leap of the dominant into the next root, against the smooth ways in by step; and for runs that pass the bar line without stopping.",
    "Listen for notes that surround their goal before they reach it. Which of the two lies outside the scale?",
    "Listen for the short notes: they push the beat and say nothing new about the chord. Play the line without them first.",
];

/// Makes the lesson on pages.
///
/// # Errors
/// A level on which the chart has no line with what was asked.
pub fn pages(session: &Session, about: &str, paper: Paper) -> Result<Vec<Picture>, Failure> {
    let mut pages = Pages::new(paper);
    heading(&mut pages, &session.chart().title, about);
    chart(&mut pages, session);
    pages.skip(1.0);
    legend(&mut pages);
    let roles = Show {
        roles: true,
        ..Show::default()
    };
    for (index, &level) in LINES.iter().enumerate() {
        let before = LINES[..index]
            .iter()
            .filter(|&&other| other == level)
            .count();
        let music = line(session, level, before as u32 + 1)?;
        let level = level_of(level)?;
        let title = format!("Line {}. Level {level}: {}", index + 1, level.words());
        let advice = ADVICE[usize::from(level.number()) - 1];
        section(&mut pages, &title, advice, &music, roles);
    }
    let mut answers = Vec::new();
    for (index, &level) in BLANKS.iter().enumerate() {
        let music = line(session, level, 3)?;
        let advice = "Each frame is a note that leads into the next. Write one that you like, then look how the line did it.";
        let title = format!("Your turn {}. Level {level}", index + 1);
        section(
            &mut pages,
            &title,
            advice,
            &music.blanked(),
            Show::default(),
        );
        answers.push(music);
    }
    pages.next_page();
    for (index, music) in answers.iter().enumerate() {
        let advice = "One answer of many: yours is as good if it leads.";
        let title = format!("Answers {}", index + 1);
        section(&mut pages, &title, advice, music, roles);
    }
    Ok(pages.finish())
}

fn level_of(number: u8) -> Result<Level, Failure> {
    number.to_string().parse().map_err(Failure::input)
}

/// One chorus of a line on a level.
fn line(session: &Session, level: u8, chorus: u32) -> Result<Music, Failure> {
    let wishes = session.wishes();
    let line = Options {
        level: level_of(level)?,
        ..wishes.line.clone()
    };
    let session = Session::new(
        session.chart().clone(),
        Wishes {
            line,
            ..wishes.clone()
        },
    )?;
    let line = session.line(wishes.choruses.start + chorus - 1);
    let played: [Played; 1] = [(session.chorus(line.chorus), &line)];
    let mut music = Music::new(&played, None, true, &wishes.line.hand);
    for measure in &mut music.measures {
        measure.opens_chorus = false;
    }
    Ok(music)
}

/// A heading with a word of advice and the music under it.
fn section(pages: &mut Pages, title: &str, advice: &str, music: &Music, show: Show) {
    // Two lines of advice at most.
    const HEADING: f64 = 12.0;
    keep_with_music(pages, HEADING, music, show);
    if !pages.is_fresh() {
        pages.skip(1.5);
    }
    pages.words(title, 2.4, Face::Strong);
    pages.words(advice, 1.8, Face::Regular);
    pages.skip(1.2);
    add_music(pages, music, show);
}

/// The chart with what each chord is and where it belongs: four bars a line, chord, function and scale.
fn chart(pages: &mut Pages, session: &Session) {
    let number = session.wishes().choruses.start;
    let (chorus, understood) = (session.chorus(number), session.understood(number));
    let share = pages.width() / BARS as f64;
    let mut lines: Vec<&[_]> = Vec::new();
    for section in chorus.bars.chunk_by(|_, bar| !bar.opens_section) {
        lines.extend(section.chunks(BARS));
    }
    for bars in lines {
        let mut picture = Picture {
            width: pages.width(),
            ..Picture::default()
        };
        if bars[0].opens_section {
            let name = Face::Strong.fit(&bars[0].section, share / 2.0);
            picture.text(Kind::Words, None, &name, (0.3, -3.6), 1.8, Face::Strong);
        }
        for (index, bar) in bars.iter().enumerate() {
            let left = share * index as f64;
            picture.line(Kind::Barline, None, (left, -2.6), (left, 4.6), 0.16);
            let right = left + share;
            picture.line(Kind::Barline, None, (right, -2.6), (right, 4.6), 0.16);
            let here: Vec<usize> = (0..chorus.spans.len())
                .filter(|&span| chorus.spans[span].bar == bar.number)
                .collect();
            let beats = f64::from(bar.meter.beats());
            for (place, &span) in here.iter().enumerate() {
                let at = |beat: u32| left + 0.6 + (share - 0.6) * f64::from(beat - 1) / beats;
                let x = at(chorus.spans[span].beat);
                let next = here
                    .get(place + 1)
                    .map_or(right, |&next| at(chorus.spans[next].beat));
                picture.place(chord_symbol(&chorus.spans[span].symbol), x, 0.0);
                if chorus.spans[span].chord.is_some() {
                    let room = next - x - 0.5;
                    let function = Face::Strong.fit(&understood[span].function, room / 1.6);
                    picture.text(Kind::Words, None, &function, (x, 2.3), 1.6, Face::Strong);
                    let scale = Face::Regular.fit(understood[span].scale.name(), room / 1.4);
                    picture.text(Kind::Words, None, &scale, (x, 4.3), 1.4, Face::Regular);
                }
            }
        }
        let top = if bars[0].opens_section { -5.4 } else { -3.2 };
        pages.add(picture, top, 5.6);
    }
}
