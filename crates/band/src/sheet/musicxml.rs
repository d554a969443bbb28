//! MusicXML 4.0: the music for notation programs.
//!
//! Element names, their order and their values are those of the MusicXML 4.0 schema (W3C Community Group
//! report). The bass is written an octave above its sound, with a `transpose` that says so.

use super::{
    accidental::Sign,
    comp::{CompBar, CompMusic, Stack},
    harmony,
    measure::{Barline, ChordMark, Event, Measure, Music},
    rhythm::{self, Value},
    roles,
    xml::Xml,
};
use endpin_theory::{Mode, Pitch, Ticks, meter::TICKS_PER_QUARTER};
use std::ops::Range;

/// What is written besides notes and chords.
#[derive(Clone, Copy, Debug, Default)]
pub struct Contents {
    /// A second staff of tablature.
    pub tablature: bool,
    /// Fingers of the left hand.
    pub fingers: bool,
    /// Roles as lyrics.
    pub roles: bool,
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
            xml.element("encoding", &[], |xml| {
                xml.text("software", concat!("endpin ", env!("CARGO_PKG_VERSION")));
                for element in ["accidental", "beam", "stem"] {
                    let supported = if element == "stem" { "no" } else { "yes" };
                    xml.empty("supports", &[("element", element), ("type", supported)]);
                }
            });
        });
        xml.element("part-list", &[], |xml| {
            score_part(xml, "P1", "Bass", "33", "1");
            if comp.is_some() {
                score_part(xml, "P2", "Comp", "1", "2");
            }
        });
        xml.element("part", &[("id", "P1")], |xml| {
            let bass = BassWriter { music, contents };
            for index in 0..music.measures.len() {
                bass.measure(xml, index);
            }
        });
        if let Some(comp) = comp {
            xml.element("part", &[("id", "P2")], |xml| {
                for (index, bar) in comp.bars.iter().enumerate() {
                    comp_measure(xml, music, index, bar);
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

/// A bar's number in the whole: bars are counted through all choruses.
fn measure_number(index: usize) -> String {
    (index + 1).to_string()
}

struct BassWriter<'a> {
    music: &'a Music,
    contents: Contents,
}

impl BassWriter<'_> {
    fn has_tablature(&self) -> bool {
        self.contents.tablature && self.music.tablature.is_some()
    }

    fn measure(&self, xml: &mut Xml, index: usize) {
        let measure = &self.music.measures[index];
        xml.element("measure", &[("number", &measure_number(index))], |xml| {
            if index > 0 && (measure.section.is_some() || measure.is_ending) {
                xml.empty("print", &[("new-system", "yes")]);
            }
            self.attributes(xml, index);
            directions(xml, self.music, index);
            self.staff(xml, measure, 1);
            if self.has_tablature() {
                xml.element("backup", &[], |xml| {
                    xml.text("duration", measure.meter.bar_ticks().0)
                });
                self.staff(xml, measure, 2);
            }
            barline(xml, measure.barline);
        });
    }

    fn attributes(&self, xml: &mut Xml, index: usize) {
        let changes = Changes::at(self.music, index);
        if !changes.key && !changes.meter {
            return;
        }
        xml.element("attributes", &[], |xml| {
            changes.write(xml, self.music, index);
            if index > 0 {
                return;
            }
            let strings = match &self.music.tablature {
                Some(tablature) if self.contents.tablature => tablature.strings,
                _ => &[],
            };
            if !strings.is_empty() {
                xml.text("staves", 2);
            }
            xml.element("clef", &[("number", "1")], |xml| {
                xml.text("sign", "F");
                xml.text("line", 4);
            });
            if !strings.is_empty() {
                xml.element("clef", &[("number", "2")], |xml| {
                    xml.text("sign", "TAB");
                    xml.text("line", strings.len());
                });
                xml.element("staff-details", &[("number", "2")], |xml| {
                    xml.text("staff-lines", strings.len());
                    // Lines are counted from the lowest, which is the lowest string.
                    for (line, key) in strings.iter().rev().enumerate() {
                        let line = (line + 1).to_string();
                        xml.element("staff-tuning", &[("line", &line)], |xml| tuning(xml, *key));
                    }
                });
            }
            xml.element("transpose", &[], |xml| {
                xml.text("diatonic", 0);
                xml.text("chromatic", 0);
                xml.text("octave-change", -1);
            });
        });
    }

    /// The notes of one staff, with the chord symbols before those of the first.
    fn staff(&self, xml: &mut Xml, measure: &Measure, staff: u8) {
        let pieces = measure.pieces();
        let beams = rhythm::beams(&measure.meter, &pieces);
        let triplets = rhythm::triplets(&measure.meter, &pieces);
        for (index, event) in measure.events.iter().enumerate() {
            if staff == 1 {
                let end = event.start + event.value.ticks();
                let entering = measure
                    .chords
                    .iter()
                    .filter(|mark| mark.at >= event.start && mark.at < end);
                for mark in entering {
                    harmony(xml, mark, mark.at - event.start);
                }
            }
            let grouping = Grouping::of(index, measure, &beams, &triplets);
            self.note(xml, measure, event, staff, &grouping);
        }
    }

    fn note(
        &self,
        xml: &mut Xml,
        measure: &Measure,
        event: &Event,
        staff: u8,
        grouping: &Grouping,
    ) {
        xml.element("note", &[], |xml| {
            let Some(head) = &event.note else {
                rest(xml, measure, event.value);
                length(xml, event.value, staff, None);
                if self.has_tablature() {
                    xml.text("staff", staff);
                }
                notations(xml, (false, false), grouping, &[]);
                return;
            };
            pitch(xml, head.pitch, 1);
            xml.text("duration", event.value.ticks().0);
            ties(xml, head.tied_back, head.tied_on);
            xml.text("voice", staff);
            let sign = head.sign.filter(|_| staff == 1);
            written(xml, event.value, sign);
            if head.ghost {
                xml.text("notehead", "x");
            }
            if self.has_tablature() {
                xml.text("staff", staff);
            }
            if staff == 1 {
                grouping.beams(xml);
            }
            let first = !head.tied_back;
            let place = self
                .music
                .tablature
                .as_ref()
                .map(|tablature| tablature.places[head.index]);
            let technical = match place.filter(|_| first) {
                Some(place) if self.has_tablature() && staff == 2 => {
                    vec![("string", place.string), ("fret", place.fret)]
                }
                Some(place) if self.contents.fingers && staff == 1 => {
                    vec![("fingering", place.finger)]
                }
                _ => Vec::new(),
            };
            notations(xml, (head.tied_back, head.tied_on), grouping, &technical);
            if self.contents.roles && first && staff == 1 {
                xml.element("lyric", &[("number", "1")], |xml| {
                    xml.text("syllabic", "single");
                    xml.text("text", roles::letter(self.music.notes[head.index].role));
                });
            }
        });
    }
}

/// Which beams and triplets a note takes part in.
struct Grouping {
    /// For each level of beam, what this note does to it.
    beams: Vec<&'static str>,
    triplet_starts: bool,
    triplet_stops: bool,
}

impl Grouping {
    fn none() -> Grouping {
        Grouping {
            beams: Vec::new(),
            triplet_starts: false,
            triplet_stops: false,
        }
    }

    fn of(
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

    fn beams(&self, xml: &mut Xml) {
        for (number, state) in self.beams.iter().enumerate() {
            xml.text_with("beam", &[("number", &(number + 1).to_string())], state);
        }
    }
}

/// What of the signatures is new at a bar.
struct Changes {
    key: bool,
    meter: bool,
}

impl Changes {
    fn at(music: &Music, index: usize) -> Changes {
        let measure = &music.measures[index];
        let before = index.checked_sub(1).map(|before| &music.measures[before]);
        Changes {
            key: before.is_none_or(|before| before.key != measure.key),
            meter: before.is_none_or(|before| before.meter != measure.meter),
        }
    }

    fn write(&self, xml: &mut Xml, music: &Music, index: usize) {
        let measure = &music.measures[index];
        if index == 0 {
            xml.text("divisions", TICKS_PER_QUARTER);
        }
        if self.key {
            xml.element("key", &[], |xml| {
                xml.text("fifths", measure.key.signature());
                let minor = measure.key.mode == Mode::Minor;
                xml.text("mode", if minor { "minor" } else { "major" });
            });
        }
        if self.meter {
            xml.element("time", &[], |xml| {
                xml.text("beats", measure.meter.beats());
                xml.text("beat-type", measure.meter.unit());
            });
        }
    }
}

/// The open string of a line of tablature.
fn tuning(xml: &mut Xml, key: u8) {
    // The strings of a bass are all naturals.
    let names = ["C", "C", "D", "D", "E", "F", "F", "G", "G", "A", "A", "B"];
    xml.text("tuning-step", names[usize::from(key % 12)]);
    xml.text("tuning-octave", key / 12 - 1);
}

/// Words above the staff: chorus, section, tempo, swing.
fn directions(xml: &mut Xml, music: &Music, index: usize) {
    let measure = &music.measures[index];
    let before = index.checked_sub(1).map(|before| &music.measures[before]);
    let above = |xml: &mut Xml, inside: &dyn Fn(&mut Xml)| {
        xml.element("direction", &[("placement", "above")], |xml| inside(xml));
    };
    if let Some(section) = &measure.section {
        above(xml, &|xml| {
            xml.element("direction-type", &[], |xml| xml.text("rehearsal", section));
        });
    }
    if measure.opens_chorus || measure.is_ending {
        let words = match measure.is_ending {
            true => "Ending".to_owned(),
            false => format!("Chorus {}", measure.chorus),
        };
        above(xml, &|xml| {
            xml.element("direction-type", &[], |xml| xml.text("words", &words));
        });
    }
    if before.is_none_or(|before| before.tempo != measure.tempo) {
        above(xml, &|xml| {
            xml.element("direction-type", &[], |xml| {
                xml.element("metronome", &[], |xml| {
                    xml.text("beat-unit", "quarter");
                    xml.text("per-minute", measure.tempo);
                });
            });
            xml.empty("sound", &[("tempo", &measure.tempo.to_string())]);
        });
    }
    if index == 0 && music.swing {
        above(xml, &|xml| {
            xml.element("direction-type", &[], |xml| xml.text("words", "Swing"));
            xml.element("sound", &[], |xml| {
                xml.element("swing", &[], |xml| {
                    xml.text("first", 2);
                    xml.text("second", 1);
                    xml.text("swing-type", "eighth");
                });
            });
        });
    }
}

fn harmony(xml: &mut Xml, mark: &ChordMark, offset: Ticks) {
    xml.element("harmony", &[("print-frame", "no")], |xml| {
        let name = |xml: &mut Xml, element: &str, name: endpin_theory::NoteName| {
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
                let spoken = harmony::speak(chord);
                name(xml, "root", chord.root());
                xml.text_with("kind", &[("text", &suffix(&mark.symbol))], spoken.kind);
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

/// The quality of a symbol as written, between its root and its slash bass.
fn suffix(symbol: &str) -> String {
    let rest = endpin_theory::NoteName::read(symbol).map_or(symbol, |(_, rest)| rest);
    match rest.rfind('/') {
        Some(slash) if rest[slash + 1..].parse::<endpin_theory::NoteName>().is_ok() => {
            &rest[..slash]
        }
        _ => rest,
    }
    .to_owned()
}

fn rest(xml: &mut Xml, measure: &Measure, value: Value) {
    if value.ticks() == measure.meter.bar_ticks() {
        xml.empty("rest", &[("measure", "yes")]);
    } else {
        xml.empty("rest", &[]);
    }
}

/// A pitch written so many octaves above its sound.
fn pitch(xml: &mut Xml, pitch: Pitch, octaves: i8) {
    xml.element("pitch", &[], |xml| {
        xml.text("step", pitch.name().letter());
        if pitch.name().alteration() != 0 {
            xml.text("alter", pitch.name().alteration());
        }
        xml.text("octave", pitch.octave() + octaves);
    });
}

fn ties(xml: &mut Xml, back: bool, on: bool) {
    if back {
        xml.empty("tie", &[("type", "stop")]);
    }
    if on {
        xml.empty("tie", &[("type", "start")]);
    }
}

/// Duration, voice and written value.
fn length(xml: &mut Xml, value: Value, voice: u8, sign: Option<Sign>) {
    xml.text("duration", value.ticks().0);
    xml.text("voice", voice);
    written(xml, value, sign);
}

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
        let parentheses = ("parentheses", "yes");
        let attributes: &[_] = if sign.courtesy {
            &[("cautionary", "yes"), parentheses]
        } else {
            &[]
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
fn notations(
    xml: &mut Xml,
    (tied_back, tied_on): (bool, bool),
    grouping: &Grouping,
    technical: &[(&str, u8)],
) {
    let has_triplet = grouping.triplet_starts || grouping.triplet_stops;
    if !tied_back && !tied_on && !has_triplet && technical.is_empty() {
        return;
    }
    xml.element("notations", &[], |xml| {
        if tied_back {
            xml.empty("tied", &[("type", "stop")]);
        }
        if tied_on {
            xml.empty("tied", &[("type", "start")]);
        }
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

fn barline(xml: &mut Xml, barline: Barline) {
    let style = match barline {
        Barline::Plain => return,
        Barline::Section => "light-light",
        Barline::Final => "light-heavy",
    };
    xml.element("barline", &[("location", "right")], |xml| {
        xml.text("bar-style", style)
    });
}

/// One bar of the comp: the upper staff, then the lower one.
fn comp_measure(xml: &mut Xml, music: &Music, index: usize, bar: &CompBar) {
    let measure = &music.measures[index];
    xml.element("measure", &[("number", &measure_number(index))], |xml| {
        let changes = Changes::at(music, index);
        if changes.key || changes.meter {
            xml.element("attributes", &[], |xml| {
                changes.write(xml, music, index);
                if index == 0 {
                    xml.text("staves", 2);
                    for (number, sign, line) in [("1", "G", 2), ("2", "F", 4)] {
                        xml.element("clef", &[("number", number)], |xml| {
                            xml.text("sign", sign);
                            xml.text("line", line);
                        });
                    }
                }
            });
        }
        for (staff, stacks) in [(1, &bar.upper), (2, &bar.lower)] {
            if staff == 2 {
                xml.element("backup", &[], |xml| {
                    xml.text("duration", measure.meter.bar_ticks().0)
                });
            }
            for stack in stacks {
                comp_stack(xml, measure, stack, staff);
            }
        }
        barline(xml, measure.barline);
    });
}

fn comp_stack(xml: &mut Xml, measure: &Measure, stack: &Stack, staff: u8) {
    let grouping = Grouping {
        triplet_starts: stack.triplet_starts,
        triplet_stops: stack.triplet_stops,
        ..Grouping::none()
    };
    if stack.heads.is_empty() {
        xml.element("note", &[], |xml| {
            rest(xml, measure, stack.value);
            length(xml, stack.value, staff, None);
            xml.text("staff", staff);
            notations(xml, (false, false), &grouping, &[]);
        });
    }
    for (place, (sounding, sign)) in stack.heads.iter().enumerate() {
        xml.element("note", &[], |xml| {
            if place > 0 {
                xml.empty("chord", &[]);
            }
            pitch(xml, *sounding, 0);
            xml.text("duration", stack.value.ticks().0);
            ties(xml, stack.tied_back, stack.tied_on);
            xml.text("voice", staff);
            written(xml, stack.value, *sign);
            xml.text("staff", staff);
            let grouping = if place == 0 {
                &grouping
            } else {
                &Grouping::none()
            };
            notations(xml, (stack.tied_back, stack.tied_on), grouping, &[]);
        });
    }
}
