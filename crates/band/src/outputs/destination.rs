//! Where results go: regular files are written beside and renamed, so that nothing is ever half-written;
//! devices, pipes and standard output are written directly. A signal that ends the program waits for the
//! files under way, so that nothing is left beside.

use crate::failure::{Failure, shown};
use std::{
    fs,
    io::{self, Write},
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError, RwLock},
    time::Duration,
};

/// Read by whoever has a file under way.
static UNDER_WAY: RwLock<()> = RwLock::new(());

/// What a signal that ends the program removes first.
static FOLDER_UNDER_WAY: Mutex<Option<PathBuf>> = Mutex::new(None);

/// Names the folder under way, which is of no use unless it is finished.
pub fn remove_at_signals(folder: &Path) {
    let mut named = FOLDER_UNDER_WAY
        .lock()
        .unwrap_or_else(PoisonError::into_inner);
    *named = Some(folder.to_owned());
}

/// Does something that no signal breaks off in the middle.
pub fn undisturbed<T>(act: impl FnOnce() -> T) -> T {
    let _under_way = UNDER_WAY.read();
    act()
}

/// From here on the signals that end a program, Ctrl-C and `kill` among them, end it between two files.
///
/// # Errors
/// [`Failure::Output`] on a system that does not let us hear of signals.
#[cfg(unix)]
pub fn finish_files_at_signals() -> Result<(), Failure> {
    use signal_hook::{consts, iterator::Signals, low_level::emulate_default_handler};
    let ending = [
        consts::SIGINT,
        consts::SIGTERM,
        consts::SIGHUP,
        consts::SIGQUIT,
        consts::SIGALRM,
        consts::SIGUSR1,
        consts::SIGUSR2,
        consts::SIGXCPU,
        consts::SIGXFSZ,
        consts::SIGVTALRM,
    ];
    let ignored = crate::ignored_signals::ignored();
    // Of those that were ignored when we began, only the one that `nohup` ignores stays so.
    let heard = |signal: &i32| *signal != consts::SIGHUP || ignored >> (signal - 1) & 1 == 0;
    let mut signals = Signals::new(ending.into_iter().filter(heard))
        .map_err(|error| Failure::output(format!("cannot watch for signals: {error}")))?;
    std::thread::spawn(move || {
        if let Some(signal) = signals.forever().next() {
            let _finished = UNDER_WAY.write();
            let folder = FOLDER_UNDER_WAY.lock().map(|mut folder| folder.take());
            if let Ok(Some(folder)) = folder {
                // It may be being removed just then, and what two remove at once one of them does not find.
                let gone = |_: &u32| fs::remove_dir_all(&folder).is_ok() || !folder.exists();
                _ = (0..100).find(gone);
            }
            _ = emulate_default_handler(signal);
        }
    });
    Ok(())
}

/// Elsewhere they end it at once.
///
/// # Errors
/// None.
#[cfg(not(unix))]
pub fn finish_files_at_signals() -> Result<(), Failure> {
    Ok(())
}

/// Writes all of `bytes` to a path, or to standard output for `-`.
///
/// # Errors
/// [`Failure::Output`] naming the path and what stood in the way.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    if path.as_os_str() == "-" {
        return to_stdout(bytes);
    }
    write_file(path, bytes, true).map_err(|error| cannot_write(path, &error))
}

/// Writes two regular files, neither before both are on the disk under other names.
///
/// # Errors
/// [`Failure::Output`] naming the path and what stood in the way; then neither is changed, unless the second
/// cannot take its name where the first could.
pub fn write_both(files: [(&Path, &[u8]); 2]) -> Result<(), Failure> {
    let _under_way = UNDER_WAY.read();
    let [first, second] = files.map(|(path, bytes)| {
        let ready = ready_beside(path, bytes, true);
        ready.map_err(|error| cannot_write(path, &error))
    });
    for ((beside, target), (path, _)) in [first?, second?].into_iter().zip(files) {
        let named = beside.persist(&target);
        named.map_err(|error| cannot_write(path, &error.error))?;
    }
    Ok(())
}

/// Writes one of many files that the same command makes again: not waited for until it is on the disk,
/// which takes longer than all the rest.
///
/// # Errors
/// [`Failure::Output`] naming the path and what stood in the way.
pub fn write_one_of_many(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_file(path, bytes, false).map_err(|error| cannot_write(path, &error))
}

fn cannot_write(path: &Path, error: &io::Error) -> Failure {
    Failure::output(format!("cannot write {}: {}", shown(path), reason(error)))
}

/// Prints text on standard output. A reader that has seen enough and closed the pipe is no failure.
///
/// # Errors
/// [`Failure::Output`] if standard output cannot be written for another reason.
pub fn print(text: &str) -> Result<(), Failure> {
    to_stdout(text.as_bytes())
}

/// Makes a folder, with those that lead to it.
///
/// # Errors
/// [`Failure::Output`] naming the folder and what stood in the way.
pub fn make_folder(path: &Path) -> Result<(), Failure> {
    fs::create_dir_all(path).map_err(|error| {
        Failure::output(format!("cannot make the folder {}: {error}", shown(path)))
    })
}

/// The name of a file that is named after its chart: `blues.mid` for `charts/blues.toml`, and `bars.mid` where
/// there is no file of a chart.
pub fn named_after(chart: Option<&Path>, ending: &str) -> PathBuf {
    let stem = chart.and_then(Path::file_stem);
    let stem = stem.filter(|stem| *stem != "-");
    // Put behind, not in place of an ending: `blues.v2.toml` is not the chart of `blues.mid`.
    let mut name = stem.map_or_else(|| "bars".into(), ToOwned::to_owned);
    name.push(ending);
    PathBuf::from(name)
}

/// The same for a MIDI file that spares those before it: `blues-take.mid`, `blues-take-2.mid` and so on.
pub fn numbered(chart: Option<&Path>, what: &str) -> impl Iterator<Item = PathBuf> {
    (1..).map(move |number| match number {
        1 => named_after(chart, &format!("{what}.mid")),
        _ => named_after(chart, &format!("{what}-{number}.mid")),
    })
}

/// Sees to it that the report of a command spares its other files.
///
/// # Errors
/// [`Failure::Input`] for a report in the place of the music or of the chart.
pub fn report_apart(report: Option<&Path>, others: [Option<&Path>; 2]) -> Result<(), Failure> {
    let place = |path: &Path| fs::canonicalize(path).or_else(|_| std::path::absolute(path));
    let same = |report: &Path, other: &Path| {
        // Several may share a device, or standard output.
        let is_file = report.is_file() || !report.exists();
        let are_one = place(report).ok() == place(other).ok();
        is_file && are_one && report.as_os_str() != "-"
    };
    let taken = report.filter(|report| others.iter().flatten().any(|other| same(report, other)));
    match taken {
        Some(report) => Err(Failure::input(format!(
            "--report would overwrite {}, which is the chart or the music itself; name another file",
            shown(report)
        ))),
        None => Ok(()),
    }
}

fn to_stdout(bytes: &[u8]) -> Result<(), Failure> {
    let mut stdout = io::stdout().lock();
    match stdout.write_all(bytes).and_then(|()| stdout.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            let why = reason(&error);
            Err(Failure::output(format!(
                "cannot write to standard output: {why}"
            )))
        }
        _ => Ok(()),
    }
}

fn write_file(path: &Path, bytes: &[u8], to_the_disk: bool) -> io::Result<()> {
    match fs::metadata(path) {
        Ok(found) if found.is_dir() => return Err(io::ErrorKind::IsADirectory.into()),
        // A device or pipe cannot be renamed over.
        Ok(found) if !found.is_file() => {
            let mut device = fs::OpenOptions::new().write(true).open(path)?;
            return device.write_all(bytes).and_then(|()| device.flush());
        }
        _ => {}
    }
    let _under_way = UNDER_WAY.read();
    let (beside, target) = ready_beside(path, bytes, to_the_disk)?;
    beside.persist(&target).map_err(|error| error.error)?;
    Ok(())
}

/// A file beside another, under a name of its own, that holds what the other is to hold; and the other's place.
fn ready_beside(
    path: &Path,
    bytes: &[u8],
    to_the_disk: bool,
) -> io::Result<(tempfile::NamedTempFile, PathBuf)> {
    if path.is_dir() {
        return Err(io::ErrorKind::IsADirectory.into());
    }
    // Through a link to the file itself, so that the link stays one.
    let target: PathBuf = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let folder = match target.parent() {
        Some(parent) if parent.as_os_str() != "" => parent,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(PART.0).suffix(PART.1);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The mode a new file usually gets; the system takes the user's umask off it.
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    let mut beside = builder.tempfile_in(folder)?;
    sweep(folder, &beside.as_file().metadata()?);
    beside.write_all(bytes)?;
    if let Ok(before) = fs::metadata(&target) {
        // Who may read a file stays as it was.
        beside.as_file().set_permissions(before.permissions())?;
    }
    if to_the_disk {
        // Else the new name may reach it before what the file holds.
        beside.as_file().sync_all()?;
    }
    Ok((beside, target))
}

/// How files and folders under way are called, before and behind what tells them apart.
pub const PART: (&str, &str) = (".endpin-", ".part");

/// A file under way is there for milliseconds; one as old as this was left behind by a killed process.
const STALE: Duration = Duration::from_secs(3_600);

/// Removes from a folder, once, what a process left there when it was killed in the middle of it, if it is whose
/// `ours` is. What cannot be looked at or removed stays.
pub fn sweep(folder: &Path, ours: &fs::Metadata) {
    static SWEPT: Mutex<Option<PathBuf>> = Mutex::new(None);
    let mut swept = SWEPT.lock().unwrap_or_else(PoisonError::into_inner);
    if swept.as_deref() == Some(folder) {
        return;
    }
    *swept = Some(folder.to_owned());
    let is_left_over = |entry: &fs::DirEntry| {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let is_part = name.starts_with(PART.0) && name.ends_with(PART.1);
        is_part
            && entry.metadata().is_ok_and(|about| {
                let age = about.modified().ok().and_then(|at| at.elapsed().ok());
                have_one_owner(&about, ours) && age.is_some_and(|age| age > STALE)
            })
    };
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        if is_left_over(&entry) {
            _ = fs::remove_file(entry.path()).or_else(|_| fs::remove_dir_all(entry.path()));
        }
    }
}

#[cfg(unix)]
fn have_one_owner(one: &fs::Metadata, other: &fs::Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    one.uid() == other.uid()
}

#[cfg(not(unix))]
fn have_one_owner(_: &fs::Metadata, _: &fs::Metadata) -> bool {
    true
}

/// Why something cannot be written, in plain words.
pub fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::IsADirectory => "it is a folder; name a file in it".to_owned(),
        io::ErrorKind::NotFound => "its folder does not exist".to_owned(),
        io::ErrorKind::PermissionDenied => "permission denied".to_owned(),
        io::ErrorKind::NotADirectory => "a part of its path is not a folder".to_owned(),
        io::ErrorKind::StorageFull => "the disk is full".to_owned(),
        _ => error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_named_after_its_chart() {
        for (chart, name) in [
            (Some("charts/blues.toml"), "blues.mid"),
            (Some("blues.v2.toml"), "blues.v2.mid"),
            (Some("-"), "bars.mid"),
            (None, "bars.mid"),
        ] {
            assert_eq!(named_after(chart.map(Path::new), ".mid"), Path::new(name));
        }
        let takes = numbered(Some(Path::new("charts/blues.toml")), "-take");
        let names = ["blues-take.mid", "blues-take-2.mid", "blues-take-3.mid"];
        assert!(takes.take(3).eq(names.map(PathBuf::from)));
    }

    #[test]
    fn what_a_killed_process_left_is_swept_once_it_is_old() {
        let folder = tempfile::tempdir().unwrap();
        let (old, new) = (
            folder.path().join(".endpin-a.part"),
            folder.path().join(".endpin-b.part"),
        );
        for file in [&old, &new] {
            fs::write(file, b"half").unwrap();
        }
        let long_ago = std::time::SystemTime::now() - 2 * STALE;
        fs::File::options()
            .append(true)
            .open(&old)
            .unwrap()
            .set_modified(long_ago)
            .unwrap();
        write(&folder.path().join("line.mid"), b"whole").unwrap();
        assert!(!old.exists() && new.exists());
    }

    #[test]
    fn of_two_files_both_are_written_or_none() {
        let folder = tempfile::tempdir().unwrap();
        let place = |name: &str| folder.path().join(name);
        let (lesson, answers) = (place("lesson.pdf"), place("lesson-answers.pdf"));
        fs::create_dir(&answers).unwrap();
        let both = || write_both([(&lesson, b"asked"), (&answers, b"told")]);
        let told = both().unwrap_err().to_string();
        assert!(
            told.contains("lesson-answers.pdf: it is a folder"),
            "{told}"
        );
        assert!(!lesson.exists());
        fs::remove_dir(&answers).unwrap();
        both().unwrap();
        assert_eq!(fs::read(&lesson).unwrap(), b"asked");
        assert_eq!(fs::read(&answers).unwrap(), b"told");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
    }

    #[cfg(unix)]
    #[test]
    fn who_may_read_a_file_stays_as_it_was() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("line.mid");
        fs::write(&file, b"first").unwrap();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).unwrap();
        write(&file, b"second").unwrap();
        assert_eq!(
            fs::metadata(&file).unwrap().permissions().mode() & 0o777,
            0o600
        );
    }

    #[test]
    fn files_are_replaced_whole_and_nothing_is_left_beside() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a line.mid");
        write(&file, b"first").unwrap();
        write(&file, b"second").unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"second");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        let missing = folder.path().join("no").join("line.mid");
        for bad in [folder.path(), &missing] {
            assert!(matches!(write(bad, b""), Err(Failure::Output(_))));
        }
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
