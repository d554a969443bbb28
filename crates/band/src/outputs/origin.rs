//! The mark by which a file of ours is known, and the chart it was made from: what may be written over without a
//! question. It stands in a meta event of MIDI files, in the information of PDF, in an element of pages, SVG and
//! MusicXML, and in the comment of a ZIP archive.

use crate::failure::{Failure, shown};
use std::{
    fs,
    path::{Path, PathBuf},
};

const MADE_BY: &str = "made-by-endpin:";

/// The mark of what is made from the chart of this title.
pub fn mark(title: &str) -> String {
    format!("{MADE_BY}{}", fingerprint(title.as_bytes()))
}

/// Sixteen digits that tell contents apart: FNV-1a, 64 bits (G. Fowler, L. C. Noll, K.-P. Vo; draft-eastlake-fnv).
/// Short, and never in need of escaping.
pub fn fingerprint(bytes: &[u8]) -> String {
    let step = |hash: u64, byte: &u8| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
    format!("{:016x}", bytes.iter().fold(0xcbf2_9ce4_8422_2325, step))
}

/// The same as what a sequencer-specific event of a MIDI file holds: before it, the maker's number, which is 7D (`}`)
/// for those who have none (MIDI 1.0, "Universal System Exclusive", non-commercial).
pub fn midi_mark(title: &str) -> String {
    format!("}}{}", mark(title))
}

/// Sound with the mark in it: in a WAV file as the comment of an `INFO` list at its end (IBM and Microsoft, "Multimedia
/// Programming Interface and Data Specifications 1.0", 1991), in a FLAC file as an application block behind the first
/// (RFC 9639, section 8). Anything else stays as it is.
pub fn signed_sound(mut sound: Vec<u8>, title: &str) -> Vec<u8> {
    let mark = mark(title);
    if sound.starts_with(b"RIFF") && sound.len() > 8 {
        // With the zero at its end its length is even, as that of a chunk has to be.
        let text = [mark.as_bytes(), &[0]].concat();
        let comment = [&(text.len() as u32).to_le_bytes(), &text[..]].concat();
        let list = [b"INFOICMT".as_slice(), &comment].concat();
        sound.extend(
            [
                b"LIST".as_slice(),
                &(list.len() as u32).to_le_bytes(),
                &list,
            ]
            .concat(),
        );
        let length = (sound.len() as u32 - 8).to_le_bytes();
        sound[4..8].copy_from_slice(&length);
    } else if sound.starts_with(b"fLaC") && sound.len() > FLAC_OPENING {
        const LAST: u8 = 0x80;
        const APPLICATION: u8 = 2;
        let data = [b"ENDP", mark.as_bytes()].concat();
        let head = APPLICATION | sound[4] & LAST;
        sound[4] &= !LAST;
        let length = (data.len() as u32).to_be_bytes();
        let block = [&[head], &length[1..], &data[..]].concat();
        sound.splice(FLAC_OPENING..FLAC_OPENING, block);
    }
    sound
}

/// The four letters of a FLAC file, and its first block: a head of four bytes and 34 on the stream.
const FLAC_OPENING: usize = 4 + 4 + 34;

/// Whether it is a report of ours on that chart, which says so in its own words.
fn is_report(bytes: &[u8], title: &str) -> bool {
    let report: Option<serde_json::Value> = serde_json::from_slice(bytes).ok();
    report.is_some_and(|report| {
        let format = report["format"].as_str().unwrap_or_default();
        format.starts_with("endpin-") && report["chart"] == title
    })
}

/// What a command must not write over.
#[derive(Debug, Default)]
pub struct Spared<'a> {
    /// What it reads.
    pub inputs: Vec<&'a Path>,
    /// The title of the chart it works on; none where what it writes cannot be made again.
    pub title: Option<&'a str>,
    /// Whether files of others may be replaced.
    pub replace: bool,
}

impl Spared<'_> {
    /// Whether all may be written to: an input never, a file that we did not make from this chart only if that was
    /// asked for. Devices and pipes hold nothing to lose.
    ///
    /// # Errors
    /// [`Failure::Input`] naming the first path that must be spared.
    pub fn allow<'p>(&self, paths: impl IntoIterator<Item = &'p Path>) -> Result<(), Failure> {
        paths.into_iter().try_for_each(|path| self.allow_one(path))
    }

    fn allow_one(&self, path: &Path) -> Result<(), Failure> {
        if path.as_os_str() == "-" || !path.is_file() {
            return Ok(());
        }
        let place = |path: &Path| -> Option<PathBuf> { fs::canonicalize(path).ok() };
        let here = place(path);
        if self.inputs.iter().any(|input| place(input) == here) {
            return Err(Failure::input(format!(
                "{} is read by this command and would be lost; name another file",
                shown(path)
            )));
        }
        // What cannot be read is not known to be ours.
        let bytes = if self.replace {
            Vec::new()
        } else {
            fs::read(path).unwrap_or(vec![0])
        };
        let is_ours = |title: &str| {
            let ours = mark(title);
            let has_mark = bytes
                .windows(ours.len())
                .any(|part| part == ours.as_bytes());
            has_mark || is_report(&bytes, title)
        };
        if bytes.is_empty() || self.title.is_some_and(is_ours) {
            return Ok(());
        }
        Err(Failure::input(format!(
            "{} is there already, and endpin did not make it from this chart; name another file, or say --replace",
            shown(path)
        )))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_that_of_the_draft() {
        // draft-eastlake-fnv, appendix C: the 64-bit FNV-1a of "foobar".
        assert_eq!(mark("foobar"), "made-by-endpin:85944171f73967e8");
    }

    #[test]
    fn only_our_own_files_of_the_same_chart_are_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("line.mid");
        let spared = |title, replace| Spared {
            title: Some(title),
            replace,
            ..Spared::default()
        };
        for (bytes, title, replace, allowed) in [
            (&b"somebody's"[..], "Low Door", false, false),
            (b"somebody's", "Low Door", true, true),
            (b"", "Low Door", false, true),
            (mark("Low Door").as_bytes(), "Low Door", false, true),
            (mark("Low Door").as_bytes(), "High Door", false, false),
            (
                br#"{"format": "endpin-line/1", "chart": "Low Door"}"#,
                "Low Door",
                false,
                true,
            ),
            (
                br#"{"format": "endpin-line/1", "chart": "Low Door"}"#,
                "High Door",
                false,
                false,
            ),
            (
                br#"{"format": "other/1", "chart": "Low Door"}"#,
                "Low Door",
                false,
                false,
            ),
        ] {
            fs::write(&file, bytes).unwrap();
            let found = spared(title, replace).allow([file.as_path()]);
            assert_eq!(found.is_ok(), allowed, "{bytes:?} for {title}");
        }
        let inputs = vec![file.as_path()];
        let read = Spared {
            inputs,
            replace: true,
            ..Spared::default()
        };
        assert!(
            read.allow([file.as_path()]).is_err(),
            "an input, whatever is said"
        );
    }
}
