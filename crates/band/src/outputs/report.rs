//! The line report: `endpin-line/1`.

use crate::{
    performance::session::{Made, Session},
    players::{
        collisions::{Clash, Collisions},
        comp::CompAttack,
    },
};
use endpin_theory::{Chorus, Palette, chart::Place};
use endpin_walker::{
    Liberty, LineNote,
    line::fingering::Fingering,
    phrases::{Likeness, Restated, Theme},
};
use serde::Serialize;
use std::ops::RangeInclusive;

/// A number to so many digits after the point.
pub fn rounded(value: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    (value * scale).round() / scale
}

/// A note of a line as reports give it.
#[derive(Debug, Serialize)]
pub struct NoteReport<'a> {
    /// Its chorus, from 1; 0 is the intro.
    pub chorus: u32,
    /// Its bar within the chorus, from 1; a tag and the ending go on counting where the form ends.
    pub bar: u32,
    /// What its bar belongs to: intro, form, tag or ending.
    pub place: String,
    /// Its beat, from 1.
    pub beat: f64,
    /// Notated length in beats.
    pub length: f64,
    /// MIDI key; middle C is 60.
    pub midi: i16,
    /// Spelled, with its octave.
    pub name: String,
    /// The chord symbol as written.
    pub chord: &'a str,
    /// Degree over the chord's root.
    pub degree: String,
    /// The part it plays.
    pub role: String,
    /// The approach it makes besides.
    pub approach: Option<String>,
    /// Strength of its beat.
    pub strength: String,
    /// Whether it is a ghost note.
    pub ghost: bool,
    /// The liberty that it takes against the plain rules.
    pub device: Option<&'static str>,
    /// The string it is played on, from 1, the highest; none if the instrument does not have every note of
    /// the line.
    pub string: Option<u8>,
    /// Semitones above the open string.
    pub fret: Option<u8>,
    /// Why it is there.
    pub why: &'a str,
}

/// What a bar of a chorus, from 1, belongs to; the last chord stands beyond the chorus.
fn place_of(chorus: &Chorus, bar: u32) -> String {
    let bar = chorus.bars.get((bar as usize).wrapping_sub(1));
    bar.map_or(Place::Ending, |bar| bar.place).to_string()
}

impl<'a> NoteReport<'a> {
    fn new(note: &'a LineNote, chorus: &Chorus, place: Option<&Fingering>) -> Self {
        NoteReport {
            chorus: note.chorus,
            bar: note.bar,
            place: place_of(chorus, note.bar),
            beat: note.beat(),
            length: note.beats(),
            midi: note.pitch.midi(),
            name: note.pitch.to_string(),
            chord: &note.chord,
            degree: note.degree.to_string(),
            role: note.role.to_string(),
            approach: note.approach.map(|role| role.to_string()),
            strength: note.strength.to_string(),
            ghost: note.ghost,
            device: note.liberty.map(Liberty::name),
            string: place.map(|place| place.string),
            fret: place.map(|place| place.fret),
            why: &note.why,
        }
    }
}

/// The report of some choruses.
#[derive(Debug, Serialize)]
pub struct LineReport<'a> {
    format: &'static str,
    chart: &'a str,
    key: String,
    seed: u64,
    choruses: u32,
    notes: Vec<NoteReport<'a>>,
    phrases: Vec<PhraseReport>,
    #[serde(skip_serializing_if = "Option::is_none")]
    comp: Option<Vec<AttackReport>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    meetings: Option<Vec<MeetingReport>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    collisions: Option<Vec<ClashReport>>,
}

/// Bars that take up others, or a motif, as reports give them.
#[derive(Debug, Serialize)]
struct PhraseReport {
    chorus: u32,
    /// The first and the last.
    bars: [u32; 2],
    /// The bars that they take up; none if it is a motif.
    of: Option<TakenUp>,
    motif: Option<String>,
    likeness: &'static str,
    /// Semitones by which they lie higher, where they are the same but for that.
    semitones: Option<i8>,
    /// Whether what leads into a change is left out of the likeness.
    until_it_leads: bool,
    words: String,
}

#[derive(Debug, Serialize)]
struct TakenUp {
    chorus: u32,
    bars: [u32; 2],
}

impl PhraseReport {
    fn new(restated: &Restated) -> PhraseReport {
        let ends = |bars: &RangeInclusive<u32>| [*bars.start(), *bars.end()];
        let (of, motif) = match &restated.of {
            Theme::Bars { chorus, bars } => (Some((*chorus, ends(bars))), None),
            Theme::Motif(motif) => (None, Some(motif.clone())),
        };
        PhraseReport {
            chorus: restated.chorus,
            bars: ends(&restated.bars),
            of: of.map(|(chorus, bars)| TakenUp { chorus, bars }),
            motif,
            likeness: restated.likeness.name(),
            semitones: match restated.likeness {
                Likeness::Moved(by) => Some(by),
                _ => None,
            },
            until_it_leads: restated.until_it_leads,
            words: restated.words(),
        }
    }
}

/// An attack of the comp as reports give it.
#[derive(Debug, Serialize)]
struct AttackReport {
    chorus: u32,
    bar: u32,
    place: String,
    beat: f64,
    length: f64,
    midi: Vec<u8>,
    voicing: String,
    palette: String,
    anticipates: bool,
}

impl AttackReport {
    fn new(number: u32, chorus: &Chorus, attack: &CompAttack) -> Self {
        AttackReport {
            chorus: number,
            bar: attack.bar,
            place: place_of(chorus, attack.bar),
            beat: attack.beat(),
            length: attack.beats(),
            midi: attack.voicing.keys.clone(),
            voicing: attack.voicing.to_string(),
            palette: attack.palette.to_string(),
            anticipates: attack.anticipates,
        }
    }
}

/// What was rated where bass and comp sound together, and what was found.
#[derive(Debug, Serialize)]
struct MeetingReport {
    /// None: as played; else the same line under this palette.
    palette: Option<String>,
    pairs: usize,
    strong_beats: usize,
    strong_collisions: usize,
    weak_beats: usize,
    weak_brushes: usize,
}

impl MeetingReport {
    fn new(palette: Option<Palette>, found: &Collisions) -> Self {
        MeetingReport {
            palette: palette.map(|palette| palette.to_string()),
            pairs: found.rated,
            strong_beats: found.strong_beats,
            strong_collisions: found.strong(),
            weak_beats: found.weak_beats,
            weak_brushes: found.brushed,
        }
    }
}

#[derive(Debug, Serialize)]
struct ClashReport {
    chorus: u32,
    bar: u32,
    beat: f64,
    chord: String,
    bass: i16,
    comp: i16,
    strength: String,
}

impl From<Clash> for ClashReport {
    fn from(clash: Clash) -> Self {
        ClashReport {
            chorus: clash.chorus,
            bar: clash.bar,
            beat: clash.beat,
            chord: clash.chord,
            bass: clash.bass,
            comp: clash.comp,
            strength: clash.strength.to_string(),
        }
    }
}

impl<'a> LineReport<'a> {
    /// The line alone.
    pub fn new(session: &'a Session, made: &'a Made<'a>) -> LineReport<'a> {
        let tablature = made.tablature();
        let place = |index: usize| tablature.as_ref()?.places.get(index);
        let lines = made.choruses.iter().map(|(line, _)| line);
        let phrases = lines.flat_map(|line| &line.phrases);
        let note = |(index, note): (usize, &'a LineNote)| {
            NoteReport::new(note, session.chorus(note.chorus), place(index))
        };
        LineReport {
            format: "endpin-line/1",
            chart: &session.chart().title,
            key: session.chart().key.to_string(),
            seed: session.wishes().seed,
            choruses: made
                .played()
                .iter()
                .filter(|(_, line)| line.chorus > 0)
                .count() as u32,
            notes: made.notes().enumerate().map(note).collect(),
            phrases: phrases.map(PhraseReport::new).collect(),
            comp: None,
            meetings: None,
            collisions: None,
        }
    }

    /// With the comp and its collisions.
    pub fn with_comp(self, made: &Made<'_>) -> LineReport<'a> {
        let attacks = made.choruses.iter().flat_map(|(line, comp)| {
            let chorus = made.chorus(line.chorus);
            let attacks = comp.attacks.iter();
            attacks.map(move |attack| AttackReport::new(line.chorus, chorus, attack))
        });
        let last = made.choruses.last().map_or(0, |(line, _)| line.chorus);
        let ending = made.ending.iter().flat_map(|(_, chord)| chord);
        let ending = ending.map(|chord| AttackReport::new(last, made.chorus(last), chord));
        let found = made.collisions();
        let mut meetings = vec![MeetingReport::new(None, &found)];
        let under_all = made.under_every_palette().into_iter();
        meetings
            .extend(under_all.map(|(palette, found)| MeetingReport::new(Some(palette), &found)));
        LineReport {
            comp: Some(attacks.chain(ending).collect()),
            meetings: Some(meetings),
            collisions: Some(found.clashes.into_iter().map(ClashReport::from).collect()),
            ..self
        }
    }
}
