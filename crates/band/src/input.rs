//! Where charts and takes come from.

use crate::failure::{Failure, shown};
use std::{
    fs::File,
    io::{self, Read},
    path::Path,
};

/// The most that is read of one input file, in bytes.
pub const MOST_BYTES: u64 = 64 << 20;

/// All bytes of a file, or of standard input for `-`.
///
/// # Errors
/// [`Failure::Input`] for a file that is missing, unreadable or beyond [`MOST_BYTES`].
pub fn bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let cannot = |why: String| Failure::input(format!("cannot read {}: {why}", shown(path)));
    let read = || -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        if path.as_os_str() == "-" {
            io::stdin()
                .lock()
                .take(MOST_BYTES + 1)
                .read_to_end(&mut bytes)?;
        } else {
            File::open(path)?
                .take(MOST_BYTES + 1)
                .read_to_end(&mut bytes)?;
        }
        Ok(bytes)
    };
    let bytes = read().map_err(|error| {
        cannot(match error.kind() {
            io::ErrorKind::NotFound => "there is no such file".to_owned(),
            io::ErrorKind::IsADirectory => "it is a folder".to_owned(),
            io::ErrorKind::PermissionDenied => "permission denied".to_owned(),
            _ => error.to_string(),
        })
    })?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(cannot(format!("it has more than {} MiB", MOST_BYTES >> 20)));
    }
    Ok(bytes)
}

/// All text of a file, or of standard input for `-`.
///
/// # Errors
/// As [`bytes`], and for bytes that are no UTF-8 text, with the place of the first such byte.
pub fn text(path: &Path) -> Result<String, Failure> {
    String::from_utf8(bytes(path)?).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let before = &error.as_bytes()[..at];
        let line = before.iter().filter(|&&byte| byte == b'\n').count() + 1;
        let column = before.iter().rev().take_while(|&&byte| byte != b'\n').count() + 1;
        let name = shown(path);
        Failure::input(format!(
            "{name}:{line}:{column}: this is not text (byte {:#04x} is no UTF-8); a chart is a TOML text file",
            error.as_bytes()[at]
        ))
    })
}
