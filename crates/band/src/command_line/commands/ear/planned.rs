//! A set known to be possible and to have a place, before anything of it is written.

use super::EarArgs;
use crate::{
    failure::{Failure, shown},
    outputs::{
        ear::{
            Ask, Maker, Question,
            audio::{AudioFormat, Studio},
            export::{Answers, Folder, answers, is_of_a_set, lists, table},
            page,
        },
        folder_swap::FolderSwap,
    },
};
use std::{
    ops::Range,
    path::{Path, PathBuf},
};

/// A set that can be written where it is to go.
pub struct PlannedSet {
    place: PathBuf,
    title: String,
    set: Vec<Question>,
    /// The questions of which files are made.
    chosen: Range<usize>,
    key: Answers,
    /// Another set is there, and gives way.
    replaces: bool,
}

impl PlannedSet {
    /// Where the kinds were not chosen, those without a place are left out.
    ///
    /// # Errors
    /// Charts without a place for such questions, and a folder that holds another set.
    pub fn new(
        args: &EarArgs,
        place: &Path,
        mut ask: Ask,
        any_kind: bool,
        title: &str,
    ) -> Result<PlannedSet, Failure> {
        if any_kind {
            let possible = Maker::new(&ask).map_err(Failure::input)?.possible();
            for left_out in ask.kinds.iter().filter(|kind| !possible.contains(kind)) {
                eprintln!("note: these charts have no place for questions of the kind {left_out}");
            }
            if possible.is_empty() {
                return Err(Failure::input(
                    "these charts have no place for questions: they need three bars or more with chords",
                ));
            }
            ask.kinds = possible;
        }
        let set = Maker::new(&ask)
            .and_then(|maker| maker.set())
            .map_err(Failure::input)?;
        let (first, last) = args.only.unwrap_or((1, set.len()));
        if set.get(first - 1..last).is_none() {
            let message = format!("--only {first}-{last}: the set has {} questions", set.len());
            return Err(Failure::input(message));
        }
        let folder = Folder::new(place);
        let key = answers(&set, &ask);
        let differs = lists(&set, &key)
            .iter()
            .any(|(name, list)| folder.differs(name, list.as_bytes()));
        if differs && !args.replace {
            return Err(Failure::input(format!(
                "{} holds another set of questions, whose key may be in use: name another folder, or say --replace",
                shown(place)
            )));
        }
        Ok(PlannedSet {
            place: place.to_owned(),
            title: title.to_owned(),
            set,
            chosen: first - 1..last,
            key,
            replaces: differs,
        })
    }

    /// Writes its files, and says so.
    ///
    /// # Errors
    /// What stands in the way.
    pub fn write(&self, studio: Option<&(Studio, AudioFormat)>) -> Result<(), Failure> {
        let PlannedSet {
            place, title, set, ..
        } = self;
        let chosen = &set[self.chosen.clone()];
        // A new key beside old questions would be worse than either: one set takes the other's place at once.
        let swap = match self.replaces {
            true => Some(FolderSwap::beside(place)?),
            false => None,
        };
        let folder = Folder::new(swap.as_ref().map_or(place.as_path(), FolderSwap::path));
        folder.make()?;
        // First of all what tells this set from others, should the rest be broken off.
        for (name, list) in &lists(set, &self.key) {
            folder.write(name, list.as_bytes())?;
        }
        folder.write_midi(chosen, set.len())?;
        folder.write("answers.csv", table(&self.key).as_bytes())?;
        folder.write("answers.html", page::answers(set, title).as_bytes())?;
        folder.write("questions.html", page::questions(set, title).as_bytes())?;
        if let Some((studio, format)) = studio {
            folder.write_audio(chosen, set.len(), studio, *format)?;
        }
        if let Some(swap) = swap {
            swap.finish(is_of_a_set)?;
        }
        eprintln!(
            "{} questions in {}: open questions.html to answer them, answers.html for the key",
            chosen.len(),
            shown(place)
        );
        Ok(())
    }
}
