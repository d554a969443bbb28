//! What a line keeps and how it moves, in figures; no single score without its parts.

use super::{Broken, Line, Verdict, ground::LeadsInto};

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

pub(super) fn of(line: &Line<'_>, verdicts: &[Verdict]) -> Figures {
    let mut figures = Figures::default();
    for (verdict, stand) in verdicts.iter().zip(&line.stands) {
        if stand
            .span
            .is_none_or(|span| line.ground.sounding(span).is_none())
        {
            figures.playable.count(keeps(verdict, Broken::Playable));
            continue;
        }
        if stand.stressed {
            figures
                .strong_beats
                .count(keeps(verdict, Broken::StrongBeats));
        } else {
            figures.weak_beats.count(keeps(verdict, Broken::WeakBeats));
        }
        if stand.leads == LeadsInto::Chorus {
            figures.joins.count(keeps(verdict, Broken::Join));
        }
        figures
            .root_to_seventh
            .count(keeps(verdict, Broken::RootToSeventh));
        figures.playable.count(keeps(verdict, Broken::Playable));
    }
    changes(line, verdicts, &mut figures);
    moves(line, &mut figures);
    figures
}

fn keeps(verdict: &Verdict, rule: Broken) -> bool {
    !verdict.broken.contains(&rule) || verdict.device.is_some()
}

/// Arrivals and the beats before them, counted by what the chart asks for.
fn changes(line: &Line<'_>, verdicts: &[Verdict], figures: &mut Figures) {
    let chorus = &line.ground.chorus;
    let (Some(first), Some(last)) = (line.stands.first(), line.stands.last()) else {
        return;
    };
    let (begin, end) = (first.time, last.time);
    let mut note = 0;
    for turn in 0..i64::from(line.choruses) {
        for (number, span) in chorus.spans.iter().enumerate() {
            let arrives = chorus.length() * turn + chorus.ticks_at(span.start);
            if line.ground.sounding(number).is_none() || arrives < begin || arrives > end {
                continue;
            }
            while line
                .stands
                .get(note + 1)
                .is_some_and(|next| next.time <= arrives)
            {
                note += 1;
            }
            let stand = &line.stands[note];
            let sounds = stand.time == arrives || stand.time + line.heard[note].length > arrives;
            let kept = sounds && keeps(&verdicts[note], Broken::ArrivalRoot);
            figures.arrival_roots.count(kept);
            // The beat before, if it had to lead here.
            let before = if stand.time == arrives {
                note.checked_sub(1)
            } else {
                Some(note)
            };
            let asked = number > 0 && {
                let before = &chorus.spans[number - 1];
                let strength = chorus.strength(span.start - 1);
                before.beats > 1
                    && before.chord.is_some()
                    && strength == endpin_theory::Strength::Weak
            };
            if asked && arrives > begin {
                let leads = before.is_some_and(|before| {
                    line.stands[before].leads == LeadsInto::Change
                        && line.stands[before].time < arrives
                        && arrives - line.stands[before].time <= line.stands[before].beat_length
                        && keeps(&verdicts[before], Broken::Approach)
                });
                figures.approaches.count(leads);
            }
        }
    }
}

fn moves(line: &Line<'_>, figures: &mut Figures) {
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
