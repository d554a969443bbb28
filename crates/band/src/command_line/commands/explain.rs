//! `endpin explain`: each note of the line and why it is there.

use crate::{
    command_line::options::Performance,
    failure::{Failure, printable},
    outputs::{
        destination,
        json::JsonSigns,
        marks::{self, LEGEND},
        reading,
        report::LineReport,
        tablature::{self, NoteOnNeck},
    },
    performance::{
        score::PartName,
        session::{Made, Session},
    },
    players::comp::CompAttack,
};
use endpin_theory::{Chord, Key, Palette, Spelling};
use endpin_walker::{ChorusLine, LineNote, Tablature, Weights};
use std::{path::PathBuf, process::ExitCode};

/// Arguments of `endpin explain`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: endpin explain scenarios/breakwater-blues.toml --choruses 1 --why"
)]
pub struct ExplainArgs {
    /// The chart file; - is standard input
    chart: Option<PathBuf>,
    /// As JSON (endpin-line/1)
    #[arg(long, value_name = "SIGNS", num_args = 0..=1, require_equals = true, default_missing_value = "unicode")]
    json: Option<JsonSigns>,
    /// Say in a sentence why each note is there
    #[arg(long, conflicts_with = "json")]
    why: bool,
    /// Print the line as tablature
    #[arg(long, conflicts_with_all = ["json", "why", "weights_template"])]
    tablature: bool,
    /// Print the weights of the line as a file to change
    #[arg(long, conflicts_with = "json")]
    weights_template: bool,
    #[command(flatten)]
    performance: Performance,
}

/// Makes the choruses and explains them.
///
/// # Errors
/// A chart or options that make no line.
pub fn run(args: &ExplainArgs) -> Result<ExitCode, Failure> {
    if args.weights_template {
        destination::print(&Weights::default().template())?;
        return Ok(ExitCode::SUCCESS);
    }
    // As it is played, and under each palette.
    let comps = 1 + Palette::ALL.len();
    let session = args.performance.session(args.chart.as_deref())?;
    let session = session.showing_progress(comps);
    let made = session.perform()?;
    let shown = if let Some(signs) = args.json {
        signs.of(&LineReport::new(&session, &made).with_comp(&made))
    } else if args.tablature {
        on_the_neck(&session, &made)?
    } else {
        text(&session, &made, args.why)
    };
    destination::print(&shown)?;
    Ok(ExitCode::SUCCESS)
}

/// `Breakwater Blues, choruses 1 to 3, in F at 138, level 4, seed 1`.
fn heading(session: &Session) -> String {
    let wishes = session.wishes();
    format!(
        "{session}, level {}, seed {}",
        wishes.line.level, wishes.seed
    )
}

/// `Chorus 2`, and its key where that changes.
fn chorus_heading(session: &Session, line: &ChorusLine) -> String {
    let key = session
        .wishes()
        .keys
        .map(|_| session.chorus(line.chorus).key);
    let key = key.map_or_else(String::new, |key| format!(" in {key}"));
    format!("\n{}{key}\n", reading::chorus_words(line.chorus))
}

/// The line as tablature.
fn on_the_neck(session: &Session, made: &Made<'_>) -> Result<String, Failure> {
    let instrument = session.wishes().line.hand.instrument;
    let Some(Tablature { strings, places }) = made.tablature() else {
        return Err(Failure::input(format!(
            "the {instrument} does not have all notes of the line, so it has no tablature"
        )));
    };
    let mut text = format!("{}, on the {instrument}\n", heading(session));
    let mut left = &places[..];
    for (line, _) in &made.choruses {
        let (places, rest) = left.split_at(line.notes.len());
        let notes: Vec<NoteOnNeck<'_>> = line.notes.iter().zip(places).collect();
        text.push_str(&chorus_heading(session, line));
        text.push_str(&tablature::chorus(
            session.chorus(line.chorus),
            &notes,
            strings,
        ));
        left = rest;
    }
    if let (Some((note, _)), Some((line, _)), [place]) = (&made.ending, made.choruses.last(), left)
    {
        let bars = session.chorus(line.chorus).bars.len() as u32;
        text.push_str("Ending\n");
        text.push_str(&tablature::ending(bars + 1, (note, place), strings));
    }
    Ok(format!(
        "{}\n\n{}",
        printable(text.trim_end()),
        tablature::LEGEND
    ))
}

fn text(session: &Session, made: &Made<'_>, why: bool) -> String {
    let comps = !session.wishes().arrange.mute.contains(&PartName::Comp);
    let mut text = format!("{}\n", heading(session));
    let spelling = session.wishes().line.spelling;
    let marks = marks::of(made.notes());
    let mut first = 0;
    for (line, comp) in &made.choruses {
        let chorus = session.chorus(line.chorus);
        text.push_str(&chorus_heading(session, line));
        let of_chorus = marks::part(&marks, first..first + line.notes.len());
        first += line.notes.len();
        text.push_str(&reading::chorus(chorus, line, &of_chorus, &|bar| {
            let whys = line
                .notes
                .iter()
                .filter(|note| why && note.bar == bar)
                .map(because);
            let attacks = comp.attacks.iter();
            let attacks = attacks.filter(|attack| comps && attack.bar == bar);
            let attacks = attacks.map(|attack| {
                let chord = chorus.spans[attack.span].chord.as_ref();
                self::attack(attack, chord, (spelling, chorus.key))
            });
            whys.chain(attacks).collect()
        }));
        text.push_str(&phrases(line));
    }
    if let (Some((note, chord)), Some((line, _))) = (&made.ending, made.choruses.last()) {
        let chorus = session.chorus(line.chorus);
        let bars = chorus.bars.len();
        let home: Option<Chord> = note.chord.parse().ok();
        let chord = chord.as_ref().filter(|_| comps);
        let chord = chord.map(|chord| attack(chord, home.as_ref(), (spelling, chorus.key)));
        text.push_str("\nEnding\n");
        text.push_str(&reading::ending(bars as u32 + 1, note, &marks[first]));
        for remark in [why.then(|| because(note)), chord].into_iter().flatten() {
            text.push_str(&format!("     {remark}\n"));
        }
    }
    if comps {
        text.push_str(&format!("\nBass and comp: {}.\n", made.collisions()));
        for (palette, found) in made.under_every_palette() {
            text.push_str(&format!("  {:<11} {found}\n", palette.to_string()));
        }
    }
    format!("{}\n{}\n", printable(&text), LEGEND.join("\n"))
}

/// What bars of a chorus take up, one row each.
fn phrases(line: &ChorusLine) -> String {
    let rows = line
        .phrases
        .iter()
        .map(|restated| format!("  {restated}\n"));
    let rows: String = rows.collect();
    match rows.is_empty() {
        true => rows,
        false => format!("Phrases\n{rows}"),
    }
}

fn because(note: &LineNote) -> String {
    format!("{} {}: {}", note.beat(), note.pitch, note.why)
}

/// `comp 2.5  A3 C4 Eb4 G4  rootless 3-5-7-9, plain`.
fn attack(attack: &CompAttack, chord: Option<&Chord>, (spelling, key): (Spelling, Key)) -> String {
    let pitches = chord.map(|chord| attack.voicing.pitches(chord, spelling, key));
    let pitches = pitches.unwrap_or_default();
    let names: Vec<String> = pitches.iter().map(ToString::to_string).collect();
    let ahead = if attack.anticipates {
        ", ahead of its chord"
    } else {
        ""
    };
    format!(
        "comp {:<5.4} {}  {}, {}{ahead}",
        attack.beat().to_string(),
        names.join(" "),
        attack.voicing,
        attack.palette
    )
}
