//! Sets for a class: a folder for each student, in the student's key, at the level and on the instrument.

use super::{EarArgs, LEVELS, PlannedSet, TITLE};
use crate::{
    failure::{Failure, shown},
    inputs::{class_list, source},
    outputs::{destination, ear::Ask},
};
use endpin_walker::Level;
use std::path::Path;

/// Writes a set for each student; none is written before all are known to be possible and to have a place.
///
/// # Errors
/// A class that cannot be read, with file, line and column; a student for whom there is no set, by name.
pub fn write_sets(args: &EarArgs, ask: &Ask, file: &Path) -> Result<(), Failure> {
    destination::finish_files_at_signals()?;
    let class = class_list::read(&source::text(file)?).map_err(|fault| {
        let (line, column) = (fault.line, fault.column);
        Failure::input(format!("{}:{line}:{column}: {}", shown(file), fault.why))
    })?;
    if class.is_empty() {
        let why = "the class has nobody in it yet; write a name on a line";
        return Err(Failure::input(format!("{}: {why}", shown(file))));
    }
    let place = args.folder()?;
    let mut planned = Vec::new();
    for student in &class {
        let named = |failure: Failure| Failure::input(format!("{}: {failure}", student.name));
        let mut ask = ask.clone();
        ask.tonics.extend(student.key);
        if let Some(level) = student.level {
            let asked = level.number().clamp(*LEVELS.start(), *LEVELS.end());
            if asked != level.number() {
                eprintln!(
                    "note: {}: questions are asked at levels {} to {}, here at {asked}",
                    student.name,
                    LEVELS.start(),
                    LEVELS.end()
                );
            }
            ask.level = Level::try_from(asked).map_err(Failure::input)?;
        }
        if let Some(instrument) = student.instrument {
            let range = instrument.range_between(None, None);
            ask.range = range.map_err(Failure::input).map_err(named)?;
        }
        let folder = place.join(student.file_name());
        let title = format!("{TITLE}: {}", student.name);
        let set = PlannedSet::new(args, &folder, ask, args.kind.is_empty(), &title);
        planned.push(set.map_err(named)?);
    }
    let studio = args.studio()?;
    planned
        .iter()
        .try_for_each(|set| set.write(studio.as_ref()))
}
