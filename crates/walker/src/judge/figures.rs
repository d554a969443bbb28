//! What a line keeps and how it moves, in figures; no single score without its parts.

use super::{Verdict, played::Played};
use crate::rules::{Leads, Within};

/// How often something was kept, of how many times it was asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Kept {
    /// Times it was kept.
    pub kept: usize,
    /// Times it was asked for.
    pub of: usize,
}

impl Kept {
    fn count(&mut self, kept: bool) {
        self.kept += usize::from(kept);
        self.of += 1;
    }

    /// The share that was kept, 0 to 1; none if it was never asked for.
    pub fn share(self) -> Option<f64> {
        (self.of > 0).then(|| self.kept as f64 / self.of as f64)
    }
}

/// The figures of a line. What a device explains counts as kept.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Figures {
    /// Arrivals with their root; a chord that arrives unheard is not kept.
    pub arrival_roots: Kept,
    /// Notes on strong beats that spell the chord.
    pub strong_beats: Kept,
    /// Notes on weak beats that belong or lead.
    pub weak_beats: Kept,
    /// Last beats before a change that lead into it; a last beat without a note does not.
    pub approaches: Kept,
    /// Last beats of choruses that lead on.
    pub joins: Kept,
    /// Notes at or below the seam.
    pub root_to_seventh: Kept,
    /// Notes that a hand can play.
    pub playable: Kept,
    /// Moves of one or two semitones.
    pub steps: usize,
    /// Wider moves.
    pub leaps: usize,
    /// Repeated pitches.
    pub repeats: usize,
    /// Times the line turned from up to down or back.
    pub turns: usize,
    /// Lowest, median and highest MIDI key.
    pub register: Option<(u8, u8, u8)>,
}

pub(super) fn of(line: &Played<'_>, verdicts: &[Verdict]) -> Figures {
    let mut figures = Figures::default();
    for (note, verdict) in verdicts.iter().enumerate() {
        let mut count = |kept: fn(&mut Figures) -> &mut Kept, rule| {
            kept(&mut figures).count(keeps(verdict, rule));
        };
        count(|figures| &mut figures.playable, "playable");
        if line.harmony(note).is_none() {
            continue;
        }
        let onset = &line.place(note).onset;
        match onset.stressed {
            true => count(|figures| &mut figures.strong_beats, "strong-beats"),
            false => count(|figures| &mut figures.weak_beats, "weak-beats"),
        }
        if onset.leads == Leads::IntoChorus {
            count(|figures| &mut figures.joins, "join");
        }
        count(|figures| &mut figures.root_to_seventh, "root-to-seventh");
    }
    changes(line, verdicts, &mut figures);
    moves(line, &mut figures);
    figures
}

fn keeps(verdict: &Verdict, rule: &str) -> bool {
    !verdict.broken.contains(&rule) || verdict.stands()
}

/// Arrivals and the beats before them, counted by what the chart asks for from the first note to the last.
fn changes(line: &Played<'_>, verdicts: &[Verdict], figures: &mut Figures) {
    let (Some(first), Some(last)) = (line.stands.first(), line.stands.last()) else {
        return;
    };
    for place in &line.places[first.place..=last.place] {
        if line.harmony_at(place).is_none() {
            continue;
        }
        let sounding = place.last.filter(|_| !place.left_out);
        let keeps =
            |note: Option<usize>, rule| note.is_some_and(|note| keeps(&verdicts[note], rule));
        if place.onset.arrival {
            figures.arrival_roots.count(keeps(sounding, "arrival-root"));
        }
        // Between the beats nothing has to be played.
        if place.onset.leads == Leads::IntoChange && place.onset.within == Within::Beat {
            figures.approaches.count(keeps(place.note, "approach"));
        }
    }
}

fn moves(line: &Played<'_>, figures: &mut Figures) {
    let mut direction = 0;
    for note in 1..line.heard.len() {
        let distance = line.key(note) - line.key(note - 1);
        match distance.abs() {
            0 => figures.repeats += 1,
            1 | 2 => figures.steps += 1,
            _ => figures.leaps += 1,
        }
        if distance != 0 {
            figures.turns += usize::from(direction != 0 && distance.signum() != direction);
            direction = distance.signum();
        }
    }
    let mut keys: Vec<u8> = line.heard.iter().map(|note| note.key).collect();
    keys.sort_unstable();
    if let (Some(lowest), Some(highest)) = (keys.first(), keys.last()) {
        figures.register = Some((*lowest, keys[keys.len() / 2], *highest));
    }
}
