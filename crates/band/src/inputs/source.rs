//! Where charts and takes come from.

use super::take::file::TakeFile;
use crate::failure::{Failure, shown};
use endpin_theory::nearest;
use std::{
    fs::{self, File},
    io::{self, Read},
    path::{Path, PathBuf},
};

/// The most that is read of one input file, in bytes.
pub const MOST_BYTES: u64 = 64 << 20;

/// The same for text: 20,000 bars of a chart, the most there may be, written out at 200 bytes each.
const MOST_TEXT: u64 = 4 << 20;

/// All bytes of a file, or of standard input for `-`.
///
/// # Errors
/// [`Failure::Input`] for a file that is missing, unreadable or beyond [`MOST_BYTES`]. For a missing one it
/// says what may have been meant.
pub fn bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    bytes_up_to(MOST_BYTES, path)
}

fn bytes_up_to(most: u64, path: &Path) -> Result<Vec<u8>, Failure> {
    let read = || -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        if path.as_os_str() == "-" {
            io::stdin().lock().take(most + 1).read_to_end(&mut bytes)?;
        } else {
            File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
        }
        Ok(bytes)
    };
    let bytes = read().map_err(|error| unreadable(path, &error))?;
    few_enough(most, path, &bytes)?;
    Ok(bytes)
}

fn few_enough(most: u64, path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    if bytes.len() as u64 > most {
        return Err(Failure::input(format!(
            "cannot read {}: it has more than {most} bytes",
            shown(path)
        )));
    }
    Ok(())
}

fn unreadable(path: &Path, error: &io::Error) -> Failure {
    let why = match error.kind() {
        io::ErrorKind::NotFound => format!("there is no such file{}", meant(path)),
        io::ErrorKind::IsADirectory => "it is a folder".to_owned(),
        io::ErrorKind::PermissionDenied => "permission denied".to_owned(),
        _ => error.to_string(),
    };
    Failure::input(format!("cannot read {}: {why}", shown(path)))
}

/// A take: a MIDI file, or a recording in which the notes are heard.
///
/// # Errors
/// As [`bytes`]; for what is neither, or damaged.
pub fn take(path: &Path) -> Result<TakeFile, Failure> {
    let problem =
        |problem: &dyn std::fmt::Display| Failure::input(format!("{}: {problem}", shown(path)));
    #[cfg(feature = "sound")]
    {
        use super::sound::{self, decode::FileKind};
        let mut recording = recording(path)?;
        if !matches!(
            FileKind::of_source(recording.as_mut()),
            FileKind::Other | FileKind::Empty
        ) {
            let heard = sound::hear_file(recording).map_err(|error| problem(&error))?;
            return TakeFile::of_hearing(&heard).map_err(|error| problem(&error));
        }
        let mut midi = Vec::new();
        recording
            .take(MOST_BYTES + 1)
            .read_to_end(&mut midi)
            .map_err(|error| unreadable(path, &error))?;
        few_enough(MOST_BYTES, path, &midi)?;
        TakeFile::read(&midi).map_err(|error| problem(&error))
    }
    #[cfg(not(feature = "sound"))]
    TakeFile::read(&bytes(path)?).map_err(|error| problem(&error))
}

/// A recording, to be read as it is needed: an hour of sound may be larger than [`MOST_BYTES`]. What is no
/// file (standard input for `-`, a pipe) is read whole, up to them.
///
/// # Errors
/// As [`bytes`].
#[cfg(feature = "sound")]
pub fn recording(path: &Path) -> Result<Box<dyn super::sound::MediaSource>, Failure> {
    if path.as_os_str() != "-" {
        let file = File::open(path).map_err(|error| unreadable(path, &error))?;
        let metadata = file.metadata().map_err(|error| unreadable(path, &error))?;
        if metadata.is_file() {
            return Ok(Box::new(file));
        }
    }
    Ok(Box::new(io::Cursor::new(bytes(path)?)))
}

/// All text of a file, or of standard input for `-`.
///
/// # Errors
/// As [`bytes`], for fewer of them; for a MIDI file, and for bytes that are no UTF-8 text, with the place of the first such byte.
pub fn text(path: &Path) -> Result<String, Failure> {
    let bytes = bytes_up_to(MOST_TEXT, path)?;
    // The first four bytes of every Standard MIDI File (its specification, "Header Chunks").
    if bytes.starts_with(b"MThd") {
        let name = shown(path);
        return Err(Failure::input(format!(
            "{name} is a MIDI file, and a text file such as a chart is expected here; the chart comes before the takes"
        )));
    }
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let before = &error.as_bytes()[..at];
        let line = before.iter().filter(|&&byte| byte == b'\n').count() + 1;
        let column = before.iter().rev().take_while(|&&byte| byte != b'\n').count() + 1;
        let name = shown(path);
        Failure::input(format!(
            "{name}:{line}:{column}: this is not text (byte {:#04x} is not UTF-8); charts and settings are text files",
            error.as_bytes()[at]
        ))
    })
}

/// The line and the column, in characters, both from 1, of the byte at `offset`.
pub fn line_and_column(text: &str, offset: usize) -> (usize, usize) {
    let before = text.get(..offset).unwrap_or(text);
    let in_line = before.rsplit('\n').next().unwrap_or(before);
    (
        before.matches('\n').count() + 1,
        in_line.chars().count() + 1,
    )
}

/// What may have been meant by the name of a missing file: ` (did you mean take.mid?)`, or nothing.
fn meant(missing: &Path) -> String {
    let bars = missing.to_string_lossy();
    if bars.contains('|') {
        return format!("; bars go behind an option: --bars \"{bars}\"");
    }
    near(missing).map_or_else(String::new, |near| {
        format!(" (did you mean {}?)", shown(&near))
    })
}

/// The file whose ending was left out, else the one beside it whose name is close.
fn near(missing: &Path) -> Option<PathBuf> {
    let mut ended = ["toml", "mid"].map(|ending| {
        let mut name = missing.as_os_str().to_owned();
        name.push(".");
        name.push(ending);
        PathBuf::from(name)
    });
    if let Some(file) = ended.iter_mut().find(|file| file.is_file()) {
        return Some(std::mem::take(file));
    }
    let folder = missing.parent().filter(|parent| parent.as_os_str() != "");
    let mut names: Vec<String> = fs::read_dir(folder.unwrap_or(Path::new(".")))
        .ok()?
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .collect();
    names.sort();
    let near = nearest(
        missing.file_name()?.to_str()?,
        names.iter().map(String::as_str),
    )?;
    Some(folder.map_or_else(|| PathBuf::from(&near), |folder| folder.join(&near)))
}
