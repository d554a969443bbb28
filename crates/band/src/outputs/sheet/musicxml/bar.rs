//! What stands in a bar besides its notes: signatures, words above the staff, the bar line.

use super::super::{
    measure::{Barline, Measure, Music},
    xml::Xml,
};
use crate::players::swing::own_ratio;
use endpin_theory::{Mode, chart::Feel, meter::TICKS_PER_QUARTER};

/// One bar of a part, with what is inside it; bars are counted through all choruses.
pub fn measure(
    xml: &mut Xml,
    music: &Music,
    index: usize,
    inside: impl FnOnce(&mut Xml, &Measure),
) {
    let measure = &music.measures[index];
    let number = (index + 1).to_string();
    xml.element("measure", &[("number", &number)], |xml| {
        inside(xml, measure);
        barline(xml, measure.barline);
    });
}

/// Key and meter where they change; in the first bar what `staves` says of the staves too.
pub fn attributes(xml: &mut Xml, music: &Music, index: usize, staves: impl FnOnce(&mut Xml)) {
    let measure = &music.measures[index];
    let before = before(music, index);
    let key_changes = before.is_none_or(|before| before.key != measure.key);
    let meter_changes = before.is_none_or(|before| before.meter != measure.meter);
    if !key_changes && !meter_changes {
        return;
    }
    xml.element("attributes", &[], |xml| {
        if index == 0 {
            xml.text("divisions", TICKS_PER_QUARTER);
        }
        if key_changes {
            xml.element("key", &[], |xml| {
                xml.text("fifths", measure.key.signature());
                let minor = measure.key.mode == Mode::Minor;
                xml.text("mode", if minor { "minor" } else { "major" });
            });
        }
        if meter_changes {
            xml.element("time", &[], |xml| {
                xml.text("beats", measure.meter.upper());
                xml.text("beat-type", measure.meter.unit());
            });
        }
        if index == 0 {
            staves(xml);
        }
    });
}

/// The clef of a staff, its sign on this line.
pub fn clef(xml: &mut Xml, staff: u8, sign: &str, line: usize) {
    xml.element("clef", &[("number", &staff.to_string())], |xml| {
        xml.text("sign", sign);
        xml.text("line", line);
    });
}

/// Back to the start of the bar, for the next staff.
pub fn backup(xml: &mut Xml, measure: &Measure) {
    xml.element("backup", &[], |xml| {
        xml.text("duration", measure.meter.bar_ticks().0)
    });
}

fn before(music: &Music, index: usize) -> Option<&Measure> {
    index.checked_sub(1).map(|before| &music.measures[before])
}

/// Words above the staff: chorus, section, tempo, swing.
pub fn directions(xml: &mut Xml, music: &Music, index: usize) {
    let measure = &music.measures[index];
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
    if before(music, index).is_none_or(|before| before.tempo != measure.tempo) {
        above(xml, &|xml| {
            xml.element("direction-type", &[], |xml| {
                xml.element("metronome", &[], |xml| {
                    xml.text("beat-unit", "quarter");
                    // In compound meters a dotted quarter is what is counted.
                    let counted = measure.meter.beat_ticks();
                    let is_dotted = measure.meter.is_compound() && counted.0 == 1440;
                    if is_dotted {
                        xml.empty("beat-unit-dot", &[]);
                    }
                    let minute = measure.tempo * if is_dotted { 2.0 / 3.0 } else { 1.0 };
                    xml.text("per-minute", (minute * 100.0).round() / 100.0);
                });
            });
            xml.empty("sound", &[("tempo", &measure.tempo.to_string())]);
        });
    }
    if before(music, index).is_some_and(|before| before.feel == measure.feel) {
        return;
    }
    // How its eighths are played, long to short.
    let ratio = match (own_ratio(measure.feel), measure.meter.unit()) {
        _ if !music.swing => None,
        (Some(1.0), _) | (_, 5..) => None,
        _ => Some((2, 1)),
    };
    let words = match (measure.feel, ratio) {
        (Feel::Four, Some(_)) if index == 0 => "Swing".to_owned(),
        (Feel::Four, None) if index == 0 => return,
        (feel, _) => {
            let name = feel.to_string();
            format!("{}{}", name[..1].to_uppercase(), &name[1..])
        }
    };
    above(xml, &|xml| {
        xml.element("direction-type", &[], |xml| xml.text("words", &words));
        xml.element("sound", &[], |xml| {
            xml.element("swing", &[], |xml| match ratio {
                Some((first, second)) => {
                    xml.text("first", first);
                    xml.text("second", second);
                    xml.text("swing-type", "eighth");
                }
                None => xml.empty("straight", &[]),
            });
        });
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
