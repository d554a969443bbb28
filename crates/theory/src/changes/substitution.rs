//! One substitution made in a chart: what it writes, and what is told of it.

use super::song::{Edit, Song};
use super::{KeptBeat, Row};
use crate::{
    chart::{Chart, Harmony, WrittenAt, WrittenBar},
    chord::Part,
    pitch::NoteName,
};

/// A change that is possible in a chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Substitution {
    /// The name of the substitution.
    pub name: &'static str,
    /// Why it works: two sentences.
    pub why: String,
    /// Bar of the chorus where it begins, from 1.
    pub bar: u32,
    /// Beat in that bar, from 1.
    pub beat: u32,
    /// The chords that stood there, as written.
    pub was: Vec<String>,
    /// The chords that stand there now.
    pub is: Vec<String>,
    /// Guide tones (thirds and sevenths) of the new chords that were no tones of the old, each after the
    /// nearest old tone: what moved.
    pub moved: Vec<(NoteName, NoteName)>,
    /// Guide tones of the new chords that sounded before: what stayed.
    pub stayed: Vec<NoteName>,
    /// Whether a chord of less than two beats comes in: only once nothing roomier is left.
    pub(super) crowded: bool,
    /// Number of its row.
    pub(super) row: usize,
    /// Bars to write, each with where it stands.
    pub(super) bars: Vec<(WrittenAt, WrittenBar)>,
}

impl Substitution {
    /// The chart with the change made.
    pub fn applied(&self, chart: &Chart) -> Chart {
        let mut changed = chart.clone();
        for (at, bar) in &self.bars {
            changed.write_bar(*at, bar);
        }
        changed
    }

    /// Whether the other writes the same bars for the same reason.
    pub(super) fn is_as(&self, other: &Substitution) -> bool {
        (self.row, &self.bars) == (other.row, &other.bars)
    }
}

/// What a change is told from.
pub(super) struct Asked<'a> {
    pub(super) chart: &'a Chart,
    pub(super) song: &'a Song,
    /// Where each bar of the chorus is written.
    pub(super) written: &'a [WrittenAt],
    pub(super) kept: &'a [KeptBeat],
}

impl Asked<'_> {
    /// The change that an edit comes to; none if it leaves the form, changes nothing, or changes what is kept.
    pub(super) fn change(
        &self,
        row: usize,
        table: &Row,
        edit: &Edit,
        next: &str,
    ) -> Option<Substitution> {
        let Asked {
            chart,
            song,
            written,
            kept,
        } = *self;
        let end = edit.start + edit.beats();
        let fits = end <= song.chorus.beats() && edit.chords.iter().all(|(_, beats)| *beats > 0);
        if !fits {
            return None;
        }
        // New chords by beat, spelled as the key wants them.
        let fresh: Vec<Harmony> = edit
            .chords
            .iter()
            .flat_map(|(symbol, beats)| vec![Harmony::Chord(symbol.respelled(chart.key)); *beats])
            .collect();
        let old: Vec<Harmony> = (edit.start..end)
            .map(|beat| sounding(song, beat))
            .collect::<Option<_>>()?;
        let moves = |beat: usize| {
            (edit.start..end).contains(&beat) && old[beat - edit.start] != fresh[beat - edit.start]
        };
        let is_kept = kept.iter().any(|kept| {
            let bar = song.chorus.bars.get((kept.bar as usize).wrapping_sub(1));
            bar.is_some_and(|bar| moves(bar.first_beat + (kept.beat as usize).saturating_sub(1)))
        });
        if is_kept || old == fresh {
            return None;
        }
        let mut bars = Vec::new();
        for (number, bar) in song.chorus.bars.iter().enumerate() {
            let beats = usize::from(bar.meter.beats());
            let (from, to) = (bar.first_beat, bar.first_beat + beats);
            if to <= edit.start || from >= end {
                continue;
            }
            let mut harmonies = beats_of(chart.bar_at(written[number]));
            for (offset, harmony) in harmonies.iter_mut().enumerate() {
                if (edit.start..end).contains(&(from + offset)) {
                    harmony.clone_from(&fresh[from + offset - edit.start]);
                }
            }
            bars.push((written[number], bar_of(harmonies)));
        }
        let (was, is) = (names(&old), names(&fresh));
        let at = song.chorus.bar_at(edit.start);
        let (moved, stayed) = guide_tones(&old, &fresh);
        let words = |names: &[String]| names.join(" ");
        Some(Substitution {
            name: table.name,
            why: table
                .why
                .replace("{is}", &words(&is))
                .replace("{was}", &words(&was))
                .replace("{next}", next),
            bar: at.number,
            beat: (edit.start - at.first_beat) as u32 + 1,
            was,
            is,
            moved,
            stayed,
            crowded: edit.chords.iter().any(|(_, beats)| *beats < 2),
            row,
            bars,
        })
    }
}

fn sounding(song: &Song, beat: usize) -> Option<Harmony> {
    let symbol = song.sounding(beat)?.itself()?;
    Some(Harmony::Chord(symbol))
}

/// What a written bar holds, beat by beat.
fn beats_of(bar: &WrittenBar) -> Vec<Harmony> {
    let each = bar.iter();
    each.flat_map(|(harmony, beats)| vec![harmony.clone(); *beats])
        .collect()
}

fn bar_of(beats: Vec<Harmony>) -> WrittenBar {
    let mut bar: WrittenBar = Vec::new();
    for harmony in beats {
        match bar.last_mut() {
            Some((last, beats)) if *last == harmony => *beats += 1,
            _ => bar.push((harmony, 1)),
        }
    }
    bar
}

/// The chords of beats, each once.
fn names(beats: &[Harmony]) -> Vec<String> {
    let mut names: Vec<String> = beats.iter().map(Harmony::to_string).collect();
    names.dedup();
    names
}

/// What moved and what stayed under the new chords.
fn guide_tones(old: &[Harmony], fresh: &[Harmony]) -> (Vec<(NoteName, NoteName)>, Vec<NoteName>) {
    let (mut moved, mut stayed) = (Vec::new(), Vec::new());
    for (old, fresh) in old.iter().zip(fresh) {
        let (Harmony::Chord(old), Harmony::Chord(fresh)) = (old, fresh) else {
            continue;
        };
        if old == fresh {
            continue;
        }
        let tones = old.chord().chord_tones();
        let guides = fresh.chord().chord_tones();
        for guide in guides.iter().filter(|tone| {
            matches!(
                tone.part,
                Part::Third | Part::Fourth | Part::Sixth | Part::Seventh
            )
        }) {
            let apart = |name: NoteName| {
                let up = (name.chroma() + 12 - guide.name.chroma()) % 12;
                up.min(12 - up)
            };
            let Some(nearest) = tones.iter().min_by_key(|tone| apart(tone.name)) else {
                continue;
            };
            if apart(nearest.name) == 0 {
                if !stayed.contains(&guide.name) {
                    stayed.push(guide.name);
                }
            } else if !moved.contains(&(nearest.name, guide.name)) {
                moved.push((nearest.name, guide.name));
            }
        }
    }
    (moved, stayed)
}
