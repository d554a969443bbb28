//! The bass part: the line, with a second staff of tablature if one is asked for.

use super::{
    super::{
        measure::{Measure, Music, WrittenEvent},
        written_values,
        xml::Xml,
    },
    Contents, bar,
    chord::harmony,
    note::{self, Grouping, Ties},
};
use endpin_walker::{Tablature, pitch_of_key};

/// The staff of notes, and that of tablature below it.
const NOTES: u8 = 1;
const TABLATURE: u8 = 2;

pub struct Bass<'a> {
    pub music: &'a Music,
    pub contents: Contents,
}

impl Bass<'_> {
    /// The tablature, if it is to be written.
    fn tablature(&self) -> Option<&Tablature> {
        let tablature = self.music.tablature.as_ref();
        tablature.filter(|_| self.contents.tablature)
    }

    pub fn measure(&self, xml: &mut Xml, index: usize) {
        bar::measure(xml, self.music, index, |xml, measure| {
            if index > 0 && (measure.section.is_some() || measure.is_ending) {
                xml.empty("print", &[("new-system", "yes")]);
            }
            bar::attributes(xml, self.music, index, |xml| self.staves(xml));
            bar::directions(xml, self.music, index);
            self.staff(xml, measure, NOTES);
            if self.tablature().is_some() {
                bar::backup(xml, measure);
                self.staff(xml, measure, TABLATURE);
            }
        });
    }

    /// The clefs, the tuning, and that the part sounds an octave below what is written.
    fn staves(&self, xml: &mut Xml) {
        let tablature = self.tablature();
        if tablature.is_some() {
            xml.text("staves", 2);
        }
        bar::clef(xml, NOTES, "F", 4);
        if let Some(Tablature { strings, .. }) = tablature {
            bar::clef(xml, TABLATURE, "TAB", strings.len());
            xml.element("staff-details", &[("number", "2")], |xml| {
                xml.text("staff-lines", strings.len());
                // Lines are counted from the lowest, which is the lowest string.
                for (line, key) in (1..).zip(strings.iter().rev()) {
                    let open = pitch_of_key(*key);
                    xml.element("staff-tuning", &[("line", &line.to_string())], |xml| {
                        xml.text("tuning-step", open.name().letter());
                        xml.text("tuning-octave", open.octave());
                    });
                }
            });
        }
        xml.element("transpose", &[], |xml| {
            xml.text("diatonic", -self.music.transposed.steps());
            xml.text("chromatic", -self.music.transposed.semitones());
            xml.text("octave-change", -1);
        });
    }

    /// The notes of one staff, with the chord symbols before those of the first.
    fn staff(&self, xml: &mut Xml, measure: &Measure, staff: u8) {
        let pieces = measure.pieces();
        let beams = written_values::beams(&measure.meter, &pieces);
        let triplets = written_values::triplets(&measure.meter, &pieces);
        for (index, event) in measure.events.iter().enumerate() {
            if staff == NOTES {
                let sounding = event.start..event.start + event.value.ticks();
                for mark in &measure.chords {
                    if sounding.contains(&mark.at) {
                        harmony(xml, mark, mark.at - event.start);
                    }
                }
            }
            let grouping = Grouping::of(index, measure, &beams, &triplets);
            self.event(xml, measure, event, staff, &grouping);
        }
    }

    fn event(
        &self,
        xml: &mut Xml,
        measure: &Measure,
        event: &WrittenEvent,
        staff: u8,
        grouping: &Grouping,
    ) {
        let named_staff = self.tablature().map(|_| staff);
        let Some(head) = &event.note else {
            note::rest(xml, measure, event.value, staff, named_staff, grouping);
            return;
        };
        let ties = Ties {
            back: head.tied_back,
            on: head.tied_on,
        };
        let is_struck = !head.tied_back;
        xml.element("note", &[], |xml| {
            let sign = head.sign.filter(|_| staff == NOTES);
            // A bass is written an octave above its sound.
            note::head(xml, (head.pitch, 1), event.value, ties, staff, sign);
            if head.ghost {
                xml.text("notehead", "x");
            }
            if let Some(staff) = named_staff {
                xml.text("staff", staff);
            }
            if staff == NOTES {
                grouping.beams(xml);
            }
            let technical = match is_struck {
                true => self.technical(head.index, staff),
                false => Vec::new(),
            };
            note::notations(xml, ties, grouping, &technical);
            if self.contents.marks && is_struck && staff == NOTES {
                xml.element("lyric", &[("number", "1")], |xml| {
                    xml.text("syllabic", self.syllabic(head.index));
                    xml.text("text", self.music.marks[head.index].text());
                });
            }
        });
    }

    /// A promise and its keeping are syllables of one word, so that programs draw hyphens from one to the other.
    fn syllabic(&self, note: usize) -> &'static str {
        let marks = &self.music.marks;
        let reaches = |from: usize| marks[from].promise.and_then(|promise| promise.to);
        let reached = (note.saturating_sub(2)..note).any(|from| reaches(from) >= Some(note));
        match (reached, reaches(note).is_some()) {
            (false, true) => "begin",
            (true, true) => "middle",
            (true, false) => "end",
            (false, false) => "single",
        }
    }

    /// How a note is played: the finger under the staff, string and fret in the tablature.
    fn technical(&self, note: usize, staff: u8) -> Vec<(&'static str, u8)> {
        let tablature = self.music.tablature.as_ref();
        match tablature.map(|tablature| tablature.places[note]) {
            Some(place) if staff == TABLATURE => {
                vec![("string", place.string), ("fret", place.fret)]
            }
            Some(place) if self.contents.fingers => vec![("fingering", place.finger)],
            _ => Vec::new(),
        }
    }
}
