//! The pages of a set: one for the learners, one with the answers.
//!
//! Each is one file that loads nothing. The learners' page holds the sounding notes and nothing of the key.

use super::{
    drill::{Progress, weakest_first},
    export::set_id,
    kind::{AnswerChoice, QuestionKind},
    set::Question,
    sound::score,
};
use crate::{
    outputs::html::{escaped, filled, head},
    performance::score::{PartName, Score},
};
use serde::Serialize;
use std::fmt::Write;

const PAGE: &str = include_str!("page/page.html");
const STYLE: &str = include_str!("page/page.css");
const SCRIPT: &str = include_str!("page/page.js");
/// Where a learner hands in.
const HAND_IN: &str = include_str!("page/hand-in.html");
const HAND_IN_SCRIPT: &str = include_str!("page/hand-in.js");
/// The synthesizer of the practice page.
const SOUND: &str = include_str!("../sheet/page/sound.js");

/// What the page plays: per part start, length (both in ticks) and key of each note.
#[derive(Serialize)]
struct PagePlayback {
    tempo: u16,
    end: i64,
    bass: Vec<i64>,
    comp: Vec<i64>,
    time: Vec<i64>,
}

impl PagePlayback {
    fn of(score: &Score, tempo: u16) -> PagePlayback {
        let part = |name| -> Vec<i64> {
            let notes = score.part(name).into_iter().flat_map(|part| &part.notes);
            notes
                .flat_map(|note| [note.start.0, note.length.0, i64::from(note.key)])
                .collect()
        };
        PagePlayback {
            tempo,
            end: score.end.0,
            bass: part(PartName::Bass),
            comp: part(PartName::Comp),
            time: part(PartName::Time),
        }
    }
}

/// For whom a page is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Audience {
    Learner,
    Teacher,
}

/// The page that a learner gets.
pub fn questions(set: &[Question], title: &str) -> String {
    let about = format!(
        "{} questions, from easy to hard. Each starts with the tonic and a bar of count-in.",
        set.len()
    );
    page(set, title, &about, Audience::Learner)
}

/// The page with the answers, which tests and tells why.
pub fn answers(set: &[Question], title: &str) -> String {
    let about = "Choose an answer and see whether it is right, and why. Keep this page from the learners until then.";
    page(set, &format!("{title}: answers"), about, Audience::Teacher)
}

fn page(set: &[Question], title: &str, about: &str, reader: Audience) -> String {
    let music: Vec<PagePlayback> = set
        .iter()
        .map(|question| {
            // With the answers, what the question leaves out is heard as well.
            let whole = reader == Audience::Teacher;
            let score = score(question.kind, &question.variant, &question.playing, whole);
            PagePlayback::of(&score, question.playing.tempo)
        })
        .collect();
    let items: String = set.iter().map(|question| item(question, reader)).collect();
    // Numbers only, so no text of it can end the script.
    let music = serde_json::to_string(&music).unwrap_or_default();
    match reader {
        Audience::Learner => {
            let hand_in = filled(HAND_IN, |_| set_id(set));
            let script = [SOUND, SCRIPT, HAND_IN_SCRIPT].concat();
            whole(title, about, &items, &hand_in, &music, &script)
        }
        Audience::Teacher => whole(title, about, &items, "", &music, &[SOUND, SCRIPT].concat()),
    }
}

/// The page with these items, where to hand in, the notes that its script plays, and the script.
fn whole(
    title: &str,
    about: &str,
    items: &str,
    hand_in: &str,
    music: &str,
    script: &str,
) -> String {
    let title = escaped(title);
    filled(PAGE, |name| match name {
        "head" => head(&title, about, STYLE),
        "title" => title.clone(),
        "about" => escaped(about),
        "items" => items.to_owned(),
        "hand-in" => hand_in.to_owned(),
        "music" => music.to_owned(),
        "script" => script.to_owned(),
        _ => String::new(),
    })
}

/// A question as a section of the page; a teacher's has its answer with it.
fn item(question: &Question, reader: Audience) -> String {
    let (number, variant) = (question.number, &question.variant);
    let teacher = reader == Audience::Teacher;
    let mut html = match teacher {
        true => {
            let mut choices = question.choices.iter();
            let chosen = choices.find(|choice| choice.answer == variant.answer);
            format!(
                "<section class=\"item answers\" data-answer=\"{}\" data-words=\"{}\" data-why=\"{}\">\n",
                escaped(&variant.answer),
                escaped(chosen.map_or(&variant.answer, |choice| &choice.words)),
                escaped(&variant.why),
            )
        }
        false => "<section class=\"item\">\n".to_owned(),
    };
    // Writing to a string cannot fail.
    let mut put = |text: std::fmt::Arguments| _ = html.write_fmt(text);
    put(format_args!(
        "<h2>{number}. {} <button type=\"button\" data-play=\"{}\" data-number=\"{number}\" data-words=\"Play\" \
         aria-pressed=\"false\" aria-label=\"Play question {number}\">Play</button></h2>\n<p>{}</p>\n",
        escaped(heading(question.kind)),
        number - 1,
        escaped(question.kind.question()),
    ));
    put(format_args!(
        "<p class=\"facts\">{} · {} · {} quarter notes a minute</p>\n",
        escaped(&question.playing.key.to_string()),
        variant.excerpt.meter,
        question.playing.tempo,
    ));
    if let Some(chords) = question.chords_shown() {
        put(format_args!(
            "<p class=\"chords\">{}</p>\n",
            escaped(&chords)
        ));
    }
    put(format_args!("{}", answer_form(question)));
    if teacher {
        let show = match question.kind {
            QuestionKind::Dictation => {
                "<button type=\"button\" data-do=\"reveal\">One more note</button>"
            }
            _ => "<button type=\"button\" data-do=\"show\">Show the answer</button>",
        };
        put(format_args!(
            "<p class=\"reveal\">{show}</p>\n<p class=\"result\" role=\"status\"></p>\n<p class=\"shown\">{}: {}</p>\n",
            escaped(&variant.answer),
            escaped(&variant.why),
        ));
    }
    put(format_args!("</section>\n"));
    html
}

/// Where the learner answers: choices, or a field for notes with a staff to write on.
fn answer_form(question: &Question) -> String {
    if question.choices.is_empty() {
        let line = |at: u32| format!("<line x1=\"0\" x2=\"600\" y1=\"{at}\" y2=\"{at}\"/>");
        let staff: String = (1..=5).map(|number| line(number * 9)).collect();
        return format!(
            "<label class=\"written\">Notes <input type=\"text\" autocomplete=\"off\" spellcheck=\"false\"></label>\n\
             <svg class=\"staff\" viewBox=\"0 0 600 50\" preserveAspectRatio=\"none\" aria-hidden=\"true\">{staff}</svg>\n",
        );
    }
    let choice = |choice: &AnswerChoice| {
        format!(
            "<label><input type=\"radio\" name=\"q{}\" value=\"{}\"> {}</label>\n",
            question.number,
            escaped(&choice.answer),
            escaped(&choice.words),
        )
    };
    let choices: String = question.choices.iter().map(choice).collect();
    format!("<fieldset><legend class=\"facts\">Your answer</legend>\n{choices}</fieldset>\n")
}

/// A few words for a kind, over its question.
fn heading(kind: QuestionKind) -> &'static str {
    match kind {
        QuestionKind::Approach => "The approach",
        QuestionKind::ChordTone => "The chord tone",
        QuestionKind::Quality => "The quality",
        QuestionKind::WrongNote => "The wrong note",
        QuestionKind::Turnaround => "The turnaround",
        QuestionKind::Same => "Same or different",
        QuestionKind::Dictation => "Dictation",
        QuestionKind::Level => "The level",
        QuestionKind::Comp => "Plain or altered",
        QuestionKind::NextRoot => "The next root",
    }
}

/// How the topics of a drill stand, as a page.
pub fn progress_page(progress: &[Progress]) -> String {
    let met = weakest_first(progress);
    let row = |topic: &&Progress| {
        let share = (topic.share() * 100.0).round();
        format!(
            "<tr><th scope=\"row\">{}</th><td>{} of {}</td>\
             <td><meter min=\"0\" max=\"100\" value=\"{share}\">{share} %</meter></td><td>{}</td></tr>\n",
            escaped(&topic.topic),
            topic.right,
            topic.asked,
            topic.next_asked(),
        )
    };
    let rows: String = met.iter().map(row).collect();
    let heads = "<tr><th scope=\"col\">Topic</th><th scope=\"col\">Right</th><th scope=\"col\">Share</th>\
                 <th scope=\"col\">Next asked</th></tr>";
    let table = format!("<table>\n<thead>{heads}</thead>\n<tbody>\n{rows}</tbody>\n</table>\n");
    whole(
        "How you stand",
        "The weakest topic first.",
        &table,
        "",
        "[]",
        "",
    )
}
