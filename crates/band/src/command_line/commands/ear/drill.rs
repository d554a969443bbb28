//! The drill as a conversation: lines in, lines out, sound by a port or a file.

use crate::{
    failure::{Failure, printable, shown},
    outputs::{
        destination,
        ear::{
            Question,
            drill::{Drill, Progress, bar, weakest_first},
            page::progress_page,
            record::Record,
            sound::score,
        },
        midi_file::{self, TrackLayout},
    },
    performance::score::Score,
};
use std::{
    io::{BufRead, Read, Write},
    path::{Path, PathBuf},
};

/// How a question is heard.
pub trait Sounder {
    /// Sounds it; gives a line to say so.
    ///
    /// # Errors
    /// A file that cannot be written.
    fn sound(&mut self, score: &Score, tempo: u16) -> Result<String, Failure>;

    /// Falls silent.
    fn hush(&mut self) {}
}

/// Writes each question over the one before, for the learner to open.
pub struct InFile(pub PathBuf);

impl Sounder for InFile {
    fn sound(&mut self, score: &Score, _: u16) -> Result<String, Failure> {
        destination::write(&self.0, &midi_file::bytes(score, TrackLayout::Tracks))?;
        Ok(format!("Open {}", shown(&self.0)))
    }
}

#[cfg(feature = "live")]
impl Sounder for crate::outputs::ear::question_player::QuestionPlayer {
    fn sound(&mut self, score: &Score, tempo: u16) -> Result<String, Failure> {
        self.play(score, tempo);
        Ok("It plays now.".to_owned())
    }

    fn hush(&mut self) {
        self.stop();
    }
}

/// Where the page of progress of a record is.
fn page_of(record: &Record) -> PathBuf {
    record.path().with_extension("html")
}

/// Asks until the learner has had enough, or the input ends, or `rounds` questions are answered.
///
/// # Errors
/// A record or file that cannot be written.
pub fn converse(
    drill: &mut Drill,
    input: &mut impl BufRead,
    out: &mut impl Write,
    sounder: &mut dyn Sounder,
    rounds: Option<u32>,
    now: impl Fn() -> u64,
) -> Result<(), Failure> {
    let mut table = DrillTerminal {
        input,
        out,
        sounder,
    };
    let topics = drill.progress(now());
    let today = topics.iter().filter(|topic| topic.days == 0).count();
    let keys =
        "Answer with a letter. Enter plays it again, ? gives up, p shows how you stand, q ends.";
    table.say(&format!(
        "{} topics, {today} for today. The record is {}.\n{}",
        topics.len(),
        shown(drill.record().path()),
        wrapped(keys, 0),
    ));
    if drill.record().damaged() > 0 {
        table.say(&format!(
            "{} unreadable lines of the record were skipped.\n",
            drill.record().damaged()
        ));
    }
    let (mut asked, mut right) = (0, 0);
    while rounds.is_none_or(|rounds| asked < rounds) {
        let question = drill.next(now())?;
        table.say(&posed(&question, asked + 1));
        let given = table.reply(&question, || standing(&drill.progress(now())))?;
        let Some(given) = given else { break };
        table.sounder.hush();
        let is_right = drill.answer(&question, &given, now())?;
        asked += 1;
        right += u32::from(is_right);
        table.say(&verdict(&question, is_right));
    }
    table.sounder.hush();
    table.say(&format!("\n{right} of {asked} right.\n"));
    if !drill.record().entries().is_empty() {
        let page = page_of(drill.record());
        let topics = drill.progress(now());
        destination::write(&page, progress_page(&topics).as_bytes())?;
        table.say(&format!(
            "{}How you stand, as a page: {}\n",
            standing(&topics),
            shown(&page)
        ));
    }
    Ok(())
}

/// Where learner and drill sit.
struct DrillTerminal<'a, I, O> {
    input: &'a mut I,
    out: &'a mut O,
    sounder: &'a mut dyn Sounder,
}

impl<I: BufRead, O: Write> DrillTerminal<'_, I, O> {
    fn say(&mut self, text: &str) {
        // A reader that has gone is no reason to lose the record.
        _ = self
            .out
            .write_all(text.as_bytes())
            .and_then(|()| self.out.flush());
    }

    /// Sounds a question, as often as wanted, until it is answered; none when the learner has had enough.
    fn reply(
        &mut self,
        question: &Question,
        standing: impl Fn() -> String,
    ) -> Result<Option<String>, Failure> {
        let playing = &question.playing;
        let music = score(question.kind, &question.variant, playing, false);
        let told = self.sounder.sound(&music, playing.tempo)?;
        self.say(&(told + "\n"));
        loop {
            self.say("> ");
            let Some(line) = read_line(self.input) else {
                return Ok(None);
            };
            match line.trim() {
                "q" => return Ok(None),
                "" => {
                    let told = self.sounder.sound(&music, playing.tempo)?;
                    self.say(&(told + "\n"));
                }
                "p" => self.say(&standing()),
                "?" => return Ok(Some(String::new())),
                answer => match meant(question, answer) {
                    Some(answer) => return Ok(Some(answer)),
                    None => {
                        self.say("Answer with one of the letters (Enter plays it again, q ends).\n")
                    }
                },
            }
        }
    }
}

/// The longest line of input; what is longer counts as several.
const LONGEST_LINE: u64 = 4096;

/// A line of input, whatever its bytes; none at its end.
fn read_line(input: &mut impl BufRead) -> Option<String> {
    let mut bytes = Vec::new();
    let mut line = input.by_ref().take(LONGEST_LINE);
    match line.read_until(b'\n', &mut bytes) {
        Ok(0) | Err(_) => None,
        Ok(_) => Some(String::from_utf8_lossy(&bytes).into_owned()),
    }
}

fn letter(index: usize) -> char {
    char::from(b'a' + (index % 26) as u8)
}

/// Columns of a terminal, of which the last stays free: some go on to the next line when it is written.
const COLUMNS: usize = 80;

/// A line broken at words into as many as the terminal needs, those after the first indented by so many spaces. A
/// word that is too long stays whole.
fn wrapped(line: &str, indent: usize) -> String {
    let (mut text, mut at) = (String::new(), 0);
    // Spaces before the first word stay.
    let begun = line.len() - line.trim_start().len();
    for (index, word) in line[begun..].split(' ').enumerate() {
        let width = word.chars().count();
        if index == 0 {
            text += &line[..begun];
            at = begun;
        } else if at + 1 + width < COLUMNS {
            text.push(' ');
            at += 1;
        } else {
            text.push('\n');
            text += &" ".repeat(indent);
            at = indent;
        }
        text += word;
        at += width;
    }
    text + "\n"
}

fn posed(question: &Question, number: u32) -> String {
    let playing = &question.playing;
    let asked = wrapped(&format!("{number}. {}", question.kind.question()), 3);
    let mut text = format!(
        "\n{asked}   {}, {}, {} quarter notes a minute\n",
        playing.key, question.variant.excerpt.meter, playing.tempo,
    );
    if let Some(chords) = question.chords_shown() {
        text += &wrapped(&format!("   {}", printable(&chords)), 3);
    }
    for (index, choice) in question.choices.iter().enumerate() {
        text += &wrapped(&format!("   {}  {}", letter(index), choice.words), 6);
    }
    if question.choices.is_empty() {
        text += "   Write the notes with spaces between, such as F A C E\n";
    }
    text
}

/// The answer that a line means: a letter, the answer itself, or the notes of a dictation.
fn meant(question: &Question, line: &str) -> Option<String> {
    if question.choices.is_empty() {
        return Some(line.to_owned());
    }
    let mut choices = question.choices.iter().enumerate();
    let chosen =
        choices.find(|(index, choice)| line == letter(*index).to_string() || line == choice.answer);
    chosen.map(|(_, choice)| choice.answer.clone())
}

fn verdict(question: &Question, right: bool) -> String {
    let variant = &question.variant;
    let words = question
        .choices
        .iter()
        .find(|choice| choice.answer == variant.answer);
    let words = words.map_or(&variant.answer, |choice| &choice.words);
    let opening = if right { "Right" } else { "No, it is" };
    let told = format!("{opening}: {words} ({})", variant.why);
    wrapped(&printable(&told), 0)
}

/// How the topics stand, weakest first, each with a bar of its right answers.
fn standing(progress: &[Progress]) -> String {
    let met = weakest_first(progress);
    let widths = met.iter().map(|topic| topic.topic.chars().count());
    let widest = widths.max().unwrap_or(0);
    let row = |topic: &&Progress| {
        format!(
            "  {:<widest$}  {} {:>3} of {:<3} right, next asked: {}\n",
            topic.topic,
            bar(topic.share(), 8),
            topic.right,
            topic.asked,
            topic.next_asked(),
        )
    };
    met.iter().map(row).collect()
}

/// Where questions without a port are written: beside the record.
pub fn beside(record: &Path) -> PathBuf {
    record.with_extension("mid")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_between_words_and_nothing_is_lost() {
        let words: Vec<String> = (1..60).map(|length| "x".repeat(length % 14 + 1)).collect();
        for indent in [0, 3, 6] {
            let text = wrapped(&format!("   {}", words.join(" ")), indent);
            assert_eq!(text.split_whitespace().collect::<Vec<_>>(), words);
            let widths: Vec<usize> = text.lines().map(|line| line.chars().count()).collect();
            let next = text.lines().skip(1).map(|line| line.trim_start().find(' '));
            assert!(widths.iter().all(|width| *width < COLUMNS), "{text}");
            // None is broken before it has to be.
            let firsts = next.map(|end| end.unwrap_or(0));
            for (width, first) in widths.iter().zip(firsts).filter(|(_, first)| *first > 0) {
                assert!(width + 1 + first >= COLUMNS, "{text}");
            }
            let mut later = text.lines().skip(1);
            assert!(later.all(|line| line.len() - line.trim_start().len() == indent));
        }
        assert_eq!(wrapped("2. short", 3), "2. short\n");
        assert_eq!(wrapped(&"y".repeat(100), 3), "y".repeat(100) + "\n");
    }
}
