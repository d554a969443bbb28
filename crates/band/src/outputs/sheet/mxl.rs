//! Compressed MusicXML: the document in a ZIP archive with a container that names it.
//!
//! Layout and media types after "Compressed .mxl files" of the MusicXML 4.0 documentation (W3C Community
//! Group report).

use super::xml::Xml;
use std::io::{Cursor, Write};
use zip::{CompressionMethod, DateTime, ZipWriter, result::ZipError, write::SimpleFileOptions};

const MEDIA_TYPE: &[u8] = b"application/vnd.recordare.musicxml";

/// Packs a MusicXML document, with a comment on the archive. The same document gives the same bytes: files carry no date of their own.
///
/// # Errors
/// A document beyond the four gigabytes of a plain ZIP archive.
pub fn pack(document: &[u8], comment: &str) -> Result<Vec<u8>, ZipError> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(DateTime::default());
    let deflated = stored.compression_method(CompressionMethod::Deflated);
    for (name, options, bytes) in [
        ("mimetype", stored, MEDIA_TYPE),
        ("META-INF/container.xml", deflated, &container()[..]),
        ("score.musicxml", deflated, document),
    ] {
        archive.start_file(name, options)?;
        archive.write_all(bytes)?;
    }
    archive.set_comment(comment)?;
    Ok(archive.finish()?.into_inner())
}

fn container() -> Vec<u8> {
    let mut xml = Xml::document();
    xml.element("container", &[], |xml| {
        xml.element("rootfiles", &[], |xml| {
            let media_type = "application/vnd.recordare.musicxml+xml";
            xml.empty(
                "rootfile",
                &[("full-path", "score.musicxml"), ("media-type", media_type)],
            );
        });
    });
    xml.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read;

    #[test]
    fn documents_come_out_as_they_went_in() {
        let packed = pack(b"<score-partwise/>", "ours").unwrap();
        assert_eq!(packed, pack(b"<score-partwise/>", "ours").unwrap());
        let mut archive = zip::ZipArchive::new(Cursor::new(packed)).unwrap();
        let mut text = String::new();
        archive
            .by_name("score.musicxml")
            .unwrap()
            .read_to_string(&mut text)
            .unwrap();
        assert_eq!(text, "<score-partwise/>");
        assert_eq!(archive.by_index(0).unwrap().name(), "mimetype");
    }
}
