//! A week of a term: its questions, and its charts to play along to.

use super::EarArgs;
use crate::{
    command_line::options::read_chart,
    failure::{Failure, shown},
    inputs::source,
    outputs::{
        destination,
        ear::{
            Ask, QuestionKind,
            term::{Term, Week},
        },
        midi_file::{self, TrackLayout},
    },
    performance::session::{Session, Wishes},
};
use endpin_walker::{Level, Options};
use std::path::{Path, PathBuf};

/// Choruses of a chart to play along to.
const CHORUSES: u32 = 4;

/// A term, and the folder that its charts are in.
///
/// # Errors
/// A file that cannot be read or is no term, with line and column.
pub fn read(file: &Path) -> Result<(Term, PathBuf), Failure> {
    let term = Term::parse(&source::text(file)?);
    let term = term.map_err(|why| Failure::input(format!("{}:{why}", shown(file))))?;
    Ok((term, file.parent().unwrap_or(Path::new("")).to_owned()))
}

/// What a week asks for.
///
/// # Errors
/// A chart that cannot be read, or a range without notes.
pub fn ask(week: &Week, folder: &Path, args: &EarArgs) -> Result<Ask, Failure> {
    let charts = week
        .charts
        .iter()
        .map(|name| read_chart(&folder.join(name)));
    Ok(Ask {
        charts: charts.collect::<Result<_, _>>()?,
        tonics: week.keys.clone(),
        kinds: QuestionKind::among(&week.kinds),
        count: week.count as usize,
        seed: seed(week),
        level: Level::try_from(week.level).map_err(Failure::input)?,
        range: args.range.keys()?,
        tempo: args.chart_options.tempo,
        with: args.with(),
    })
}

fn seed(week: &Week) -> u64 {
    week.seed.unwrap_or(u64::from(week.number))
}

/// Writes a MIDI file of each chart into the set's folder, to play along to.
///
/// # Errors
/// A chart without a line, or a file that cannot be written.
pub fn write_play_alongs(week: &Week, folder: &Path, set: &Path) -> Result<(), Failure> {
    let beside = set.join("play-along");
    destination::make_folder(&beside)?;
    let mut written: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    for name in &week.charts {
        let line = Options {
            level: Level::try_from(week.level).map_err(Failure::input)?,
            ..Options::default()
        };
        let wishes = Wishes::plain(seed(week), CHORUSES, line);
        let session = Session::new(read_chart(&folder.join(name))?, wishes)?;
        let bytes = midi_file::bytes(&session.perform()?.score(), TrackLayout::Tracks);
        // Charts of one name out of different folders: the second gets a number.
        let is_free = |file: &PathBuf| {
            !written
                .iter()
                .any(|(other, held)| other == file && *held != bytes)
        };
        let Some(file) = destination::numbered(Some(Path::new(name)), "").find(is_free) else {
            continue;
        };
        destination::write(&beside.join(&file), &bytes)?;
        written.push((file, bytes));
    }
    Ok(())
}
