//! What an encoder put before the sound, as an MP4 file tells it.
//!
//! AAC encoders begin with samples that are no part of the recording (1024 or 2112 of them as a rule). The
//! file says how many in the edit list of the track (ISO/IEC 14496-12, sections 8.6.5 and 8.6.6; Apple,
//! *QuickTime File Format*, appendix G). MP3 files say so in a tag that the decoder reads by itself.

use std::io::{Read, Seek, SeekFrom};

/// What comes before the sound.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Priming {
    /// Seconds to leave out at the beginning.
    pub seconds: f64,
}

/// The most that is read of a box `moov`, which holds tables but no sound: bytes.
const MOST: u64 = 32 << 20;

/// The priming of the first sound track of an MP4 or MOV file. Where the file says nothing, or nothing that
/// can be, there is none.
pub fn of_mp4<S: Read + Seek + ?Sized>(source: &mut S) -> Priming {
    moov(source)
        .and_then(|moov| of_moov(&moov))
        .unwrap_or_default()
}

fn moov<S: Read + Seek + ?Sized>(source: &mut S) -> Option<Vec<u8>> {
    let mut at = 0;
    // A file has a handful of boxes at its top.
    for _ in 0..1000 {
        source.seek(SeekFrom::Start(at)).ok()?;
        let mut head = [0; 16];
        source.read_exact(&mut head[..8]).ok()?;
        let mut size = u64::from(u32::from_be_bytes(head[..4].try_into().ok()?));
        let mut body = 8;
        if size == 1 {
            source.read_exact(&mut head[8..]).ok()?;
            size = u64::from_be_bytes(head[8..].try_into().ok()?);
            body = 16;
        }
        if &head[4..8] == b"moov" {
            let length = if size == 0 {
                MOST
            } else {
                size.checked_sub(body)?
            };
            let mut bytes = Vec::new();
            source.take(length.min(MOST)).read_to_end(&mut bytes).ok()?;
            return Some(bytes);
        }
        at = at.checked_add(size.max(body))?;
        if size == 0 {
            return None;
        }
    }
    None
}

fn of_moov(moov: &[u8]) -> Option<Priming> {
    let track = boxes(moov)
        .filter(|(name, _)| name == b"trak")
        .map(|(_, body)| body)
        .find(|track| {
            let handler = within(track, &[b"mdia", b"hdlr"]);
            handler.and_then(|handler| handler.get(8..12)) == Some(b"soun")
        })?;
    let header = within(track, &[b"mdia", b"mdhd"])?;
    let scale = number(header, if *header.first()? == 1 { 20 } else { 12 }, 4)?;
    let list = within(track, &[b"edts", b"elst"])?;
    let wide = *list.first()? == 1;
    let row = if wide { 20 } else { 12 };
    let entries = number(list, 4, 4)?.min(16) as usize;
    // The first edit that shows something of the medium; those before it (-1) are empty.
    for entry in 0..entries {
        let at = 8 + entry * row;
        let (size, empty) = if wide {
            (8, u64::MAX)
        } else {
            (4, u64::from(u32::MAX))
        };
        let from = number(list, at + size, size)?;
        if from != empty {
            let seconds = from as f64 / scale.max(1) as f64;
            // Encoders use less than a tenth of a second; more is a cut, which stays a cut.
            return seconds.is_finite().then_some(Priming { seconds });
        }
    }
    None
}

fn number(bytes: &[u8], at: usize, size: usize) -> Option<u64> {
    let bytes = bytes.get(at..at + size)?;
    Some(
        bytes
            .iter()
            .fold(0, |sum, &byte| sum << 8 | u64::from(byte)),
    )
}

/// The body of a box inside boxes, by the names on the way.
fn within<'a>(bytes: &'a [u8], path: &[&[u8; 4]]) -> Option<&'a [u8]> {
    path.iter().try_fold(bytes, |bytes, &wanted| {
        boxes(bytes)
            .find(|(name, _)| name == wanted)
            .map(|(_, body)| body)
    })
}

/// The boxes in the body of a box: the name of each, and its body.
fn boxes(mut bytes: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    std::iter::from_fn(move || {
        let name: [u8; 4] = bytes.get(4..8)?.try_into().ok()?;
        let size = number(bytes, 0, 4)? as usize;
        let size = if size == 0 { bytes.len() } else { size };
        let body = bytes.get(8..size)?;
        bytes = &bytes[size..];
        Some((name, body))
    })
}
