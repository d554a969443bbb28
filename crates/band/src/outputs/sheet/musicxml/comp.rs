//! The comp part: a grand staff.

use super::{
    super::{
        comp::{CompBar, Stack},
        measure::{Measure, Music},
        xml::Xml,
    },
    bar,
    note::{self, Grouping, Ties},
};

/// One bar: the upper staff, then the lower one.
pub fn measure(xml: &mut Xml, music: &Music, index: usize, comp: &CompBar) {
    bar::measure(xml, music, index, |xml, measure| {
        bar::attributes(xml, music, index, |xml| {
            xml.text("staves", 2);
            bar::clef(xml, 1, "G", 2);
            bar::clef(xml, 2, "F", 4);
        });
        for upper in &comp.upper {
            stack(xml, measure, upper, 1);
        }
        bar::backup(xml, measure);
        for lower in &comp.lower {
            stack(xml, measure, lower, 2);
        }
    });
}

fn stack(xml: &mut Xml, measure: &Measure, stack: &Stack, staff: u8) {
    let grouping = Grouping {
        triplet_starts: stack.triplet_starts,
        triplet_stops: stack.triplet_stops,
        ..Grouping::default()
    };
    if stack.heads.is_empty() {
        note::rest(xml, measure, stack.value, staff, Some(staff), &grouping);
    }
    let ties = Ties {
        back: stack.tied_back,
        on: stack.tied_on,
    };
    for (place, (pitch, sign)) in stack.heads.iter().enumerate() {
        xml.element("note", &[], |xml| {
            // The notes after the first are struck with it, and its triplet is theirs.
            let is_first = place == 0;
            if !is_first {
                xml.empty("chord", &[]);
            }
            note::head(xml, (*pitch, 0), stack.value, ties, staff, *sign);
            xml.text("staff", staff);
            let grouping = match is_first {
                true => &grouping,
                false => &Grouping::default(),
            };
            note::notations(xml, ties, grouping, &[]);
        });
    }
}
