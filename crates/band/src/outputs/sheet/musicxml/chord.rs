//! Chord symbols.

use super::super::{engrave::symbol::parts, harmony::speak, measure::ChordMark, xml::Xml};
use endpin_theory::{NoteName, Ticks};

/// The symbol, as kind and degrees and as its text, so far behind the note that follows.
pub fn harmony(xml: &mut Xml, mark: &ChordMark, offset: Ticks) {
    xml.element("harmony", &[("print-frame", "no")], |xml| {
        let name = |xml: &mut Xml, element: &str, name: NoteName| {
            xml.element(element, &[], |xml| {
                xml.text(&format!("{element}-step"), name.letter());
                if name.alteration() != 0 {
                    xml.text(&format!("{element}-alter"), name.alteration());
                }
            });
        };
        match &mark.chord {
            None => {
                xml.element("root", &[], |xml| {
                    xml.text_with("root-step", &[("text", "")], "C")
                });
                xml.text_with("kind", &[("text", &mark.symbol)], "none");
            }
            Some(chord) => {
                let spoken = speak(chord);
                name(xml, "root", chord.root());
                // As written.
                let quality =
                    parts(&mark.symbol).map_or(&mark.symbol[..], |(_, quality, _)| quality);
                xml.text_with("kind", &[("text", quality)], spoken.kind);
                if let Some(slash) = chord.slash() {
                    name(xml, "bass", slash);
                }
                for (number, alteration, change) in &spoken.degrees {
                    // The text of the kind already shows it.
                    xml.element("degree", &[("print-object", "no")], |xml| {
                        xml.text("degree-value", number);
                        xml.text("degree-alter", alteration);
                        xml.text("degree-type", change.name());
                    });
                }
            }
        }
        if offset > Ticks(0) {
            xml.text("offset", offset.0);
        }
    });
}
