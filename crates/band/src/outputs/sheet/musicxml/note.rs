//! What notes and rests of all parts have in common.

use super::super::{accidental::Sign, measure::Measure, written_values::Value, xml::Xml};
use endpin_theory::Pitch;
use std::ops::Range;

/// Whether a note is tied from the one before, and on to the next.
#[derive(Clone, Copy, Default)]
pub struct Ties {
    pub back: bool,
    pub on: bool,
}

impl Ties {
    fn none(self) -> bool {
        !self.back && !self.on
    }

    /// A tie is said twice: as it sounds (`tie`) and as it is drawn (`tied`).
    fn write(self, xml: &mut Xml, element: &str) {
        if self.back {
            xml.empty(element, &[("type", "stop")]);
        }
        if self.on {
            xml.empty(element, &[("type", "start")]);
        }
    }
}

/// Which beams and triplets a note takes part in.
#[derive(Default)]
pub struct Grouping {
    /// For each level of beam, what this note does to it.
    pub beams: Vec<&'static str>,
    pub triplet_starts: bool,
    pub triplet_stops: bool,
}

impl Grouping {
    /// That of an event among these beams and triplets of its bar.
    pub fn of(
        index: usize,
        measure: &Measure,
        beams: &[Range<usize>],
        triplets: &[Range<usize>],
    ) -> Grouping {
        let flags = |index: usize| measure.events[index].value.flags();
        let beam = beams.iter().find(|beam| beam.contains(&index));
        let levels = |beam: &Range<usize>| {
            let level = |number: u8| {
                let joined = |other: Option<usize>| {
                    other.is_some_and(|other| beam.contains(&other) && flags(other) >= number)
                };
                match (joined(index.checked_sub(1)), joined(Some(index + 1))) {
                    (false, true) => "begin",
                    (true, true) => "continue",
                    (true, false) => "end",
                    (false, false) if index + 1 < beam.end => "forward hook",
                    (false, false) => "backward hook",
                }
            };
            (1..=flags(index)).map(level).collect()
        };
        Grouping {
            beams: beam.map_or_else(Vec::new, levels),
            triplet_starts: triplets.iter().any(|triplet| triplet.start == index),
            triplet_stops: triplets.iter().any(|triplet| triplet.end == index + 1),
        }
    }

    /// The beams.
    pub fn beams(&self, xml: &mut Xml) {
        for (number, state) in self.beams.iter().enumerate() {
            xml.text_with("beam", &[("number", &(number + 1).to_string())], state);
        }
    }
}

/// A rest, one of a whole bar as such; `staff` is named where the part has more than one.
pub fn rest(
    xml: &mut Xml,
    measure: &Measure,
    value: Value,
    voice: u8,
    staff: Option<u8>,
    grouping: &Grouping,
) {
    xml.element("note", &[], |xml| {
        let whole_bar: &[_] = match value.ticks() == measure.meter.bar_ticks() {
            true => &[("measure", "yes")],
            false => &[],
        };
        xml.empty("rest", whole_bar);
        xml.text("duration", value.ticks().0);
        xml.text("voice", voice);
        written(xml, value, None);
        if let Some(staff) = staff {
            xml.text("staff", staff);
        }
        notations(xml, Ties::default(), grouping, &[]);
    });
}

/// The beginning of a note: its pitch, written so many octaves above its sound, and its length.
pub fn head(
    xml: &mut Xml,
    (pitch, octaves): (Pitch, i8),
    value: Value,
    ties: Ties,
    voice: u8,
    sign: Option<Sign>,
) {
    xml.element("pitch", &[], |xml| {
        xml.text("step", pitch.name().letter());
        if pitch.name().alteration() != 0 {
            xml.text("alter", pitch.name().alteration());
        }
        xml.text("octave", pitch.octave() + octaves);
    });
    xml.text("duration", value.ticks().0);
    ties.write(xml, "tie");
    xml.text("voice", voice);
    written(xml, value, sign);
}

/// A value as it is drawn, and the sign of its note.
fn written(xml: &mut Xml, value: Value, sign: Option<Sign>) {
    xml.text("type", value.name());
    if value.dotted {
        xml.empty("dot", &[]);
    }
    if let Some(sign) = sign {
        let name = match sign.alteration {
            ..=-2 => "flat-flat",
            -1 => "flat",
            0 => "natural",
            1 => "sharp",
            2.. => "double-sharp",
        };
        let attributes: &[_] = match sign.courtesy {
            true => &[("cautionary", "yes"), ("parentheses", "yes")],
            false => &[],
        };
        xml.text_with("accidental", attributes, name);
    }
    if value.triplet {
        xml.element("time-modification", &[], |xml| {
            xml.text("actual-notes", 3);
            xml.text("normal-notes", 2);
        });
    }
}

/// Ties, the bracket of a triplet, and fingers or frets by name; nothing where there is nothing.
pub fn notations(xml: &mut Xml, ties: Ties, grouping: &Grouping, technical: &[(&str, u8)]) {
    let has_triplet = grouping.triplet_starts || grouping.triplet_stops;
    if ties.none() && !has_triplet && technical.is_empty() {
        return;
    }
    xml.element("notations", &[], |xml| {
        ties.write(xml, "tied");
        if grouping.triplet_starts {
            xml.empty("tuplet", &[("type", "start"), ("number", "1")]);
        }
        if grouping.triplet_stops {
            xml.empty("tuplet", &[("type", "stop"), ("number", "1")]);
        }
        if !technical.is_empty() {
            xml.element("technical", &[], |xml| {
                for (name, number) in technical {
                    xml.text(name, number);
                }
            });
        }
    });
}
