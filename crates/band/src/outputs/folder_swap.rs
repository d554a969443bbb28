//! A folder that takes the place of another at once: made beside it, swapped with it, and only then is the other
//! removed. Whoever looks in meanwhile, or after a power cut, finds one of the two whole.

use super::destination::{self, PART};
use crate::failure::{Failure, shown};
use std::{
    fs, io,
    path::{Path, PathBuf},
};
use tempfile::TempDir;

/// A folder under way.
#[derive(Debug)]
pub struct FolderSwap {
    /// Where it will be.
    place: PathBuf,
    made: TempDir,
}

impl FolderSwap {
    /// Begins a folder beside the one that is there.
    ///
    /// # Errors
    /// [`Failure::Output`] where none can be made.
    pub fn beside(place: &Path) -> Result<FolderSwap, Failure> {
        let begin = || -> io::Result<FolderSwap> {
            // Through a link to the folder itself, so that the link stays one.
            let place = fs::canonicalize(place)?;
            let parent = place.parent().unwrap_or(&place);
            let mut builder = tempfile::Builder::new();
            builder.prefix(PART.0).suffix(PART.1);
            let made = destination::undisturbed(|| -> io::Result<TempDir> {
                let made = builder.tempdir_in(parent)?;
                destination::remove_at_signals(made.path());
                Ok(made)
            })?;
            destination::sweep(parent, &made.path().metadata()?);
            Ok(FolderSwap { place, made })
        };
        begin().map_err(|error| cannot_replace(place, &error))
    }

    /// Where to write.
    pub fn path(&self) -> &Path {
        self.made.path()
    }

    /// Takes the place of the other folder. What lies there and is not `ours` (a path in it says which) goes along.
    ///
    /// # Errors
    /// [`Failure::Output`] with the other folder as it was.
    pub fn finish(self, ours: impl Fn(&Path) -> bool) -> Result<(), Failure> {
        let FolderSwap { place, made } = self;
        let swap = || -> io::Result<()> {
            bring_along(&place, made.path(), Path::new(""), &ours)?;
            fs::set_permissions(made.path(), fs::metadata(&place)?.permissions())?;
            destination::undisturbed(|| exchange(made.path(), &place))
        };
        // Dropped at the end, `made` removes what was there before.
        swap().map_err(|error| cannot_replace(&place, &error))
    }
}

fn cannot_replace(place: &Path, error: &io::Error) -> Failure {
    let why = destination::reason(error);
    Failure::output(format!("cannot replace {}: {why}", shown(place)))
}

/// Puts what is in one folder and not ours into another too, by a second name for the same file where that can be.
fn bring_along(
    from: &Path,
    to: &Path,
    within: &Path,
    ours: &impl Fn(&Path) -> bool,
) -> io::Result<()> {
    for entry in fs::read_dir(from.join(within))? {
        let entry = entry?;
        let name = within.join(entry.file_name());
        let target = to.join(&name);
        if entry.file_type()?.is_dir() {
            bring_along(from, to, &name, ours)?;
        } else if !ours(&name) && fs::symlink_metadata(&target).is_err() {
            fs::create_dir_all(to.join(within))?;
            fs::hard_link(entry.path(), &target)
                .or_else(|_| fs::copy(entry.path(), &target).map(|_| ()))?;
        }
    }
    Ok(())
}

#[cfg(target_os = "linux")]
fn exchange(made: &Path, place: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    // Not every file system can.
    renameat_with(CWD, made, CWD, place, RenameFlags::EXCHANGE).or_else(|_| by_turns(made, place))
}

#[cfg(not(target_os = "linux"))]
fn exchange(made: &Path, place: &Path) -> io::Result<()> {
    by_turns(made, place)
}

fn by_turns(made: &Path, place: &Path) -> io::Result<()> {
    let mut aside = made.as_os_str().to_owned();
    aside.push(".old");
    fs::rename(place, &aside)?;
    fs::rename(made, place)?;
    fs::rename(&aside, made)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_folder_is_another_and_what_is_not_ours_is_in_it() {
        let parent = tempfile::tempdir().unwrap();
        let place = parent.path().join("week-1");
        fs::create_dir_all(place.join("questions")).unwrap();
        for (name, text) in [
            ("key", "old"),
            ("questions/001.mid", "old"),
            ("questions/my.txt", "mine"),
            ("notes.txt", "mine"),
        ] {
            fs::write(place.join(name), text).unwrap();
        }
        let ours = |name: &Path| name != Path::new("notes.txt") && !name.ends_with("my.txt");
        for swapped in [exchange, by_turns] {
            let swap = FolderSwap::beside(&place).unwrap();
            fs::write(swap.path().join("key"), "new").unwrap();
            bring_along(&place, swap.path(), Path::new(""), &ours).unwrap();
            swapped(swap.path(), &place).unwrap();
            drop(swap);
            let mut names: Vec<_> = fs::read_dir(&place)
                .unwrap()
                .map(|entry| entry.unwrap().file_name())
                .collect();
            names.sort();
            assert_eq!(names, ["key", "notes.txt", "questions"]);
            assert_eq!(fs::read(place.join("key")).unwrap(), b"new");
            assert_eq!(fs::read(place.join("questions/my.txt")).unwrap(), b"mine");
            assert!(!place.join("questions/001.mid").exists());
            assert_eq!(fs::read_dir(parent.path()).unwrap().count(), 1);
        }
    }

    #[test]
    fn what_is_broken_off_leaves_the_folder_as_it_was() {
        let parent = tempfile::tempdir().unwrap();
        let place = parent.path().join("week-1");
        fs::create_dir(&place).unwrap();
        fs::write(place.join("key"), "old").unwrap();
        let swap = FolderSwap::beside(&place).unwrap();
        fs::write(swap.path().join("key"), "new").unwrap();
        drop(swap);
        assert_eq!(fs::read(place.join("key")).unwrap(), b"old");
        assert_eq!(fs::read_dir(parent.path()).unwrap().count(), 1);
    }
}
