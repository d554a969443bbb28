//! What can be handed out, each kind as the bytes of its files.

use super::hand_out::KEY;
use crate::{
    failure::Failure,
    outputs::{
        changes::{LadderWishes, Steps, handout},
        ear::{
            audio::Studio,
            export,
            kind::QuestionKind,
            page as questions,
            set::{Ask, Maker},
            sound::With,
        },
        json::to_json,
        midi_file::{self, TrackLayout},
        origin::signed_sound,
        sheet::{
            engrave::ShownBesides,
            measure::Music,
            musicxml, page, pdf,
            print::{self, Paper, StaffSize},
        },
    },
    performance::{score::PartName, session::Session},
};
use endpin_theory::{Chart, changes::Toward};
use endpin_walker::{Level, Options};
use serde::Deserialize;
use std::ops::RangeInclusive;

/// Steps of a ladder of changes.
const STEPS: usize = 6;
/// Questions of a set; levels of their lines.
const QUESTIONS: usize = 12;
const QUESTION_LEVELS: RangeInclusive<u8> = 3..=5;

/// What can be handed out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// A sheet on paper.
    Sheet,
    /// The same with tablature.
    Tab,
    /// A practice page.
    Page,
    /// The band as a MIDI file.
    Midi,
    /// The band without the bass.
    Minus,
    /// Notation for other programs.
    Musicxml,
    /// Questions for the ear, and their key.
    Questions,
    /// Richer changes, a step at a time, with a line over each.
    Changes,
    /// The sound of the band.
    Sound,
    /// The same without the bass, to play along.
    Playalong,
}

impl Kind {
    /// Whether it has to be rendered.
    pub fn is_sound(self) -> bool {
        matches!(self, Kind::Sound | Kind::Playalong)
    }
}

/// The files of one kind: the ends of their names, and what they hold.
pub fn bytes(
    kind: Kind,
    session: &Session,
    studio: Option<&Studio>,
) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let (chart, wishes) = (session.chart(), session.wishes());
    let about = format!(
        "In {}, {}, {} quarter notes a minute. Level {}.",
        print::key_for_reading(chart.key),
        chart.meter,
        chart.tempo,
        wishes.line.level
    );
    Ok(match kind {
        Kind::Page => vec![(".html", page::write(session, &about)?)],
        Kind::Midi => vec![(".mid", midi(session, true)?)],
        Kind::Minus => vec![("-without-bass.mid", midi(session, false)?)],
        Kind::Sound => vec![(".flac", sound(session, true, studio)?)],
        Kind::Playalong => vec![("-without-bass.flac", sound(session, false, studio)?)],
        Kind::Changes => vec![("-changes.pdf", ladder(session)?)],
        Kind::Questions => question_pages(session)?,
        Kind::Sheet | Kind::Tab | Kind::Musicxml => {
            let made = session.perform()?;
            let played = made.played();
            let ending = made.ending.as_ref().map(|(note, _)| note);
            let music = Music::new(&played, ending, true, &wishes.line.hand);
            let tablature = kind == Kind::Tab;
            if kind == Kind::Musicxml {
                let contents = musicxml::Contents {
                    tablature: false,
                    fingers: false,
                    marks: true,
                };
                return Ok(vec![(".musicxml", musicxml::write(&music, None, contents))]);
            }
            let show = ShownBesides {
                marks: true,
                tablature,
                fingers: false,
            };
            let pages = print::pages(&music, &about, (Paper::A4, StaffSize::default()), show);
            let ending = if tablature { "-tab.pdf" } else { ".pdf" };
            vec![(ending, pdf::document(&music.title, &pages, Paper::A4))]
        }
    })
}

/// The band as a MIDI file, with the bass or without.
fn midi(session: &Session, with_bass: bool) -> Result<Vec<u8>, Failure> {
    let mut score = session.perform()?.score().signed();
    score
        .parts
        .retain(|part| with_bass || part.name != PartName::Bass);
    Ok(midi_file::bytes(&score, TrackLayout::Tracks))
}

/// The same as sound.
fn sound(session: &Session, with_bass: bool, studio: Option<&Studio>) -> Result<Vec<u8>, Failure> {
    let studio = studio.ok_or_else(|| Failure::output("there is nothing to render sound with"))?;
    let rendered = studio.render(&midi(session, with_bass)?, &|_| {});
    let rendered = rendered.map_err(Failure::output)?;
    Ok(signed_sound(rendered, &session.chart().title))
}

/// The ladder from a chart to richer changes.
pub fn steps(chart: Chart, seed: u64) -> Steps {
    Steps::make(LadderWishes {
        chart,
        way: Toward::Richer,
        steps: STEPS,
        kept: Vec::new(),
        seed,
    })
}

/// The ladder as a handout. What was decided about one line holds for none over other changes.
fn ladder(session: &Session) -> Result<Vec<u8>, Failure> {
    let line = Options {
        pins: Vec::new(),
        rests: Vec::new(),
        avoid: Vec::new(),
        ..session.wishes().line.clone()
    };
    let steps = steps(session.chart().clone(), session.wishes().seed);
    handout::document(&steps, &line, Paper::A4)
}

fn question_pages(session: &Session) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let wishes = session.wishes();
    let level = wishes.line.level.number();
    let level = level.clamp(*QUESTION_LEVELS.start(), *QUESTION_LEVELS.end());
    let mut ask = Ask {
        charts: vec![session.chart().clone()],
        tonics: Vec::new(),
        kinds: QuestionKind::among(&[]),
        count: QUESTIONS,
        seed: wishes.seed,
        level: Level::try_from(level).map_err(Failure::input)?,
        range: wishes.line.range,
        tempo: None,
        with: With {
            comp: true,
            time: true,
        },
    };
    ask.kinds = Maker::new(&ask).map_err(Failure::input)?.possible();
    let set = Maker::new(&ask)
        .and_then(|maker| maker.set())
        .map_err(Failure::input)?;
    let title = format!("{}: questions for the ear", session.chart().title);
    let key = export::answers(&set, &ask);
    Ok(vec![
        (KEY, to_json(&key).into_bytes()),
        (
            "-questions.html",
            questions::questions(&set, &title).into_bytes(),
        ),
        (
            "-answers.html",
            questions::answers(&set, &title).into_bytes(),
        ),
    ])
}
