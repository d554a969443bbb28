//! MusicXML 4.0: the music for notation programs.
//!
//! Element names, their order and their values are those of the MusicXML 4.0 schema (W3C Community Group
//! report). The bass is written an octave above its sound, with a `transpose` that says so.
//!
//! A part is written bar by bar: the bass by `bass`, the comp by `comp`, out of what stands in the
//! bars of both (`bar`) and what all notes have in common (`note`).

mod bar;
mod bass;
mod chord;
mod comp;
mod note;

use super::{comp::CompMusic, measure::Music, xml::Xml};
use crate::outputs::origin::mark;
use bass::Bass;

/// What is written besides notes and chords.
#[derive(Clone, Copy, Debug, Default)]
pub struct Contents {
    /// A second staff of tablature.
    pub tablature: bool,
    /// Fingers of the left hand.
    pub fingers: bool,
    /// Marks as lyrics.
    pub marks: bool,
}

/// Writes the music, with the comp on a grand staff of its own if one is given.
pub fn write(music: &Music, comp: Option<&CompMusic>, contents: Contents) -> Vec<u8> {
    let mut xml = Xml::document();
    xml.doctype(
        "score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
         \"http://www.musicxml.org/dtds/partwise.dtd\"",
    );
    xml.element("score-partwise", &[("version", "4.0")], |xml| {
        xml.element("work", &[], |xml| xml.text("work-title", &music.title));
        xml.element("identification", &[], |xml| {
            if let Some(name) = &music.by {
                xml.text_with("creator", &[("type", "composer")], name);
            }
            xml.element("encoding", &[], |xml| {
                xml.text("software", concat!("endpin ", env!("CARGO_PKG_VERSION")));
                for element in ["accidental", "beam", "stem"] {
                    let supported = if element == "stem" { "no" } else { "yes" };
                    xml.empty("supports", &[("element", element), ("type", supported)]);
                }
            });
            xml.text("source", mark(&music.title));
        });
        xml.element("part-list", &[], |xml| {
            score_part(xml, "P1", "Bass", "33", "1");
            if comp.is_some() {
                score_part(xml, "P2", "Comp", "1", "2");
            }
        });
        xml.element("part", &[("id", "P1")], |xml| {
            let bass = Bass { music, contents };
            for index in 0..music.measures.len() {
                bass.measure(xml, index);
            }
        });
        if let Some(comp) = comp {
            xml.element("part", &[("id", "P2")], |xml| {
                for (index, bar) in comp.bars.iter().enumerate() {
                    comp::measure(xml, music, index, bar);
                }
            });
        }
    });
    xml.finish()
}

/// A part with its General MIDI program (counted from 1, level 1; from memory) and channel.
fn score_part(xml: &mut Xml, id: &str, name: &str, program: &str, channel: &str) {
    let instrument = format!("{id}-I1");
    xml.element("score-part", &[("id", id)], |xml| {
        xml.text("part-name", name);
        xml.element("score-instrument", &[("id", &instrument)], |xml| {
            xml.text("instrument-name", name)
        });
        xml.element("midi-instrument", &[("id", &instrument)], |xml| {
            xml.text("midi-channel", channel);
            xml.text("midi-program", program);
        });
    });
}
