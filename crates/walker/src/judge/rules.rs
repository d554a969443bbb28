//! Design section 6, applied to a whole line note by note.

use super::{
    Broken, Line,
    ground::{Chromas, LeadsInto, Sounding, Stand, has},
};
use endpin_theory::{Chord, Feel, Ticks};

/// The rules that each note breaks, in the order of the design.
pub(super) fn broken(line: &Line<'_>) -> Vec<Vec<Broken>> {
    let seams = seams(line);
    let unplayable = unplayable(line);
    let out_of_reach = out_of_reach(line);
    (0..line.heard.len())
        .map(|note| {
            Broken::ALL
                .into_iter()
                .filter(|rule| match rule {
                    Broken::ArrivalRoot => line.misses_root(note),
                    Broken::StrongBeats => line.misses_strong_beat(note),
                    Broken::WeakBeats => line.leads_nowhere(note),
                    Broken::Approach => line.fails_to_approach(note, LeadsInto::Change),
                    Broken::RootToSeventh => seams[note].is_some_and(|seam| line.key(note) > seam),
                    Broken::Playable => unplayable[note] || out_of_reach[note],
                    Broken::Join => line.fails_to_approach(note, LeadsInto::Chorus),
                })
                .collect()
        })
        .collect()
}

/// A note that another leads into, or what it should have been.
#[derive(Clone, Copy)]
enum Goal {
    /// The note that was played, which is right.
    Played(i16),
    /// Any of these, since what was played is wrong or nothing was.
    Meant(Chromas),
}

/// How far into a beat a note has to sound to be held over it: an articulated note may touch it.
fn held_over(stand: &Stand, length: Ticks, beat: Ticks) -> bool {
    beat > stand.time && stand.time + length > beat
}

impl Line<'_> {
    pub(super) fn sounding(&self, note: usize) -> Option<&Sounding> {
        self.ground.sounding(self.stands[note].span?)
    }

    /// Rule 1, at the start of a note and wherever it is held over an arrival.
    fn misses_root(&self, note: usize) -> bool {
        let stand = &self.stands[note];
        if stand.ending {
            return stand.arrival && self.chroma(note) != self.ground.home.chroma();
        }
        let starts_wrong = stand.arrival
            && self
                .sounding(note)
                .is_some_and(|sounding| sounding.bass() != self.chroma(note));
        starts_wrong
            || self
                .beats_under(note)
                .any(|(arrival, sounding)| arrival && sounding.bass() != self.chroma(note))
    }

    /// Rule 2, at the start of a note and wherever it is held over a strong beat.
    fn misses_strong_beat(&self, note: usize) -> bool {
        let stand = &self.stands[note];
        let spells = |sounding: &Sounding| has(sounding.spelling, self.chroma(note));
        let starts_wrong = stand.stressed
            && self
                .sounding(note)
                .is_some_and(|sounding| !spells(sounding));
        starts_wrong
            || self
                .beats_under(note)
                .any(|(_, sounding)| !spells(sounding))
    }

    /// The strong beats over which a note is held: whether a chord arrives there, and the chord.
    pub(super) fn beats_under(&self, note: usize) -> impl Iterator<Item = (bool, &Sounding)> {
        let chorus = &self.ground.chorus;
        let stand = &self.stands[note];
        let length = self.heard[note].length;
        let choruses = i64::from(self.choruses);
        let end = stand.time + length;
        let total = chorus.length();
        // Beat by beat from the one after the start, over the end of the chorus too.
        let from = stand.span.map(|_| {
            let into = stand.time - total * (i64::from(stand.chorus) - 1);
            (i64::from(stand.chorus) - 1, into)
        });
        from.into_iter()
            .flat_map(move |(turn, into)| {
                let first = chorus.bars.partition_point(|bar| bar.start <= into).max(1) - 1;
                let bar = &chorus.bars[first];
                let beat =
                    bar.first_beat + ((into - bar.start).0 / bar.meter.beat_ticks().0) as usize;
                (beat + 1..).map(move |beat| {
                    let turn = turn + (beat / chorus.beats()) as i64;
                    (turn, beat % chorus.beats())
                })
            })
            .map(move |(turn, beat)| (turn, beat, total * turn + chorus.ticks_at(beat)))
            .take_while(move |&(turn, _, time)| time < end && turn < choruses)
            .filter(move |&(_, _, time)| held_over(stand, length, time))
            .filter_map(move |(_, beat, _)| {
                let stressed = chorus.strength(beat) != endpin_theory::Strength::Weak;
                let sounding = self.ground.sounding(chorus.span_at(beat))?;
                stressed.then(|| (chorus.is_arrival(beat), sounding))
            })
    }

    /// Rule 3: a weak note that neither belongs to chord or scale nor leads into the note that follows.
    fn leads_nowhere(&self, note: usize) -> bool {
        let stand = &self.stands[note];
        let Some(sounding) = self.sounding(note).filter(|_| !stand.stressed) else {
            return false;
        };
        !has(sounding.connecting, self.chroma(note)) && !self.resolves(note)
    }

    /// Whether a note is an approach, alone or as the first of two, into what follows.
    pub(super) fn resolves(&self, note: usize) -> bool {
        let from = self.key(note);
        let Some(next) = self.next_sounding(note) else {
            // Nothing follows: what could have?
            return self
                .meant_after(note)
                .is_some_and(|meant| leads(from, Goal::Meant(meant), true));
        };
        if let Some(meant) = self.meant_after(note).filter(|_| !self.is_goal(next)) {
            // The beat that it leads into was left out.
            return leads(from, Goal::Meant(meant), true);
        }
        if self.is_goal(next) {
            return leads(from, self.goal(next), self.stands[next].arrival);
        }
        let completes = || {
            let second_next = self
                .next_sounding(next)
                .filter(|&after| self.is_goal(after))?;
            Some(is_pair(from, self.key(next), self.goal(second_next)))
        };
        completes().unwrap_or(false)
    }

    fn is_goal(&self, note: usize) -> bool {
        self.stands[note].stressed
    }

    /// The note after this one, repetitions of it passed over.
    fn next_sounding(&self, note: usize) -> Option<usize> {
        (note + 1..self.heard.len())
            .find(|&next| self.is_goal(next) || self.heard[next].key != self.heard[note].key)
    }

    /// A goal as played, if it is right, else what would be.
    fn goal(&self, note: usize) -> Goal {
        let stand = &self.stands[note];
        let right = match self.sounding(note) {
            _ if stand.ending => self.ways_home(),
            Some(sounding) if stand.arrival => 1 << sounding.bass(),
            Some(sounding) => sounding.spelling,
            None => return Goal::Played(self.key(note)),
        };
        match has(right, self.chroma(note)) {
            true => Goal::Played(self.key(note)),
            false => Goal::Meant(right),
        }
    }

    /// What the chart wants after the last beat of a span.
    fn meant_after(&self, note: usize) -> Option<Chromas> {
        let stand = &self.stands[note];
        let first = || self.ground.sounding(0).map(|sounding| 1 << sounding.bass());
        match stand.leads {
            LeadsInto::Nothing => None,
            LeadsInto::Change => {
                let coming = self.ground.sounding(stand.span? + 1)?;
                Some(1 << coming.bass())
            }
            LeadsInto::Chorus if stand.chorus >= self.choruses => {
                Some(self.ways_home() | first().unwrap_or(0))
            }
            LeadsInto::Chorus => first(),
        }
    }

    fn ways_home(&self) -> Chromas {
        1 << self.ground.home.chroma()
    }

    /// Rules 4 and 7: the last note in the last beat before a change (or chorus) leads into its root.
    fn fails_to_approach(&self, note: usize, into: LeadsInto) -> bool {
        let stand = &self.stands[note];
        if stand.leads != into {
            return false;
        }
        let next = note + 1;
        let same_beat = self.stands.get(next).is_some_and(|next| {
            next.span == stand.span && next.leads == into && next.chorus == stand.chorus
        });
        let Some(meant) = self.meant_after(note).filter(|_| !same_beat) else {
            return false;
        };
        let last_chorus = into == LeadsInto::Chorus && stand.chorus >= self.choruses;
        let arrives = self.stands.get(next).is_some_and(|next| next.arrival);
        let goal = match arrives {
            // Into the ending as played, or into the chorus that would have followed.
            true if last_chorus => {
                let played = leads(self.key(note), self.goal(next), true);
                return !played && !leads(self.key(note), Goal::Meant(meant), true);
            }
            true => self.goal(next),
            false => Goal::Meant(meant),
        };
        !leads(self.key(note), goal, true)
    }
}

/// Whether a note leads into its goal by a semitone, a whole step or, into a root, as its dominant.
fn leads(from: i16, goal: Goal, into_root: bool) -> bool {
    let by =
        |ahead: i16| matches!(ahead, -2 | -1 | 1 | 2) || (into_root && matches!(ahead, 5 | -7));
    match goal {
        Goal::Played(key) => by(key - from),
        Goal::Meant(chromas) => (-7..=5).any(|ahead| by(ahead) && has_key(chromas, from + ahead)),
    }
}

/// Whether two notes lead into the goal together: by semitones in one direction, or around it.
fn is_pair(first: i16, second: i16, goal: Goal) -> bool {
    let complete = |goal: i16| {
        let (to_first, to_second) = (first - goal, second - goal);
        let one_direction = matches!((to_first, to_second), (2, 1) | (-2, -1));
        let around = to_first.signum() == -to_second.signum()
            && (1..=2).contains(&to_first.abs())
            && (1..=2).contains(&to_second.abs());
        one_direction || around
    };
    match goal {
        Goal::Played(key) => complete(key),
        Goal::Meant(chromas) => {
            (second - 2..=second + 2).any(|key| has_key(chromas, key) && complete(key))
        }
    }
}

fn has_key(chromas: Chromas, key: i16) -> bool {
    has(chromas, key.rem_euclid(12) as u8)
}

/// Rule 5: for each note the highest key that its span allows; none outside the chords.
///
/// Over a wrong or left-out root (or slash bass) the one nearest to what was played is taken to be meant.
pub(super) fn seams(line: &Line<'_>) -> Vec<Option<i16>> {
    let mut seams = vec![None; line.heard.len()];
    let mut begin = 0;
    while begin < line.heard.len() {
        let stand = &line.stands[begin];
        let same = |other: &Stand| other.span == stand.span && other.chorus == stand.chorus;
        let count = line.stands[begin..]
            .iter()
            .take_while(|other| same(other))
            .count();
        let end = begin + count;
        if let Some(sounding) = line.sounding(begin) {
            let seam = seam(line, begin..end, sounding);
            seams[begin..end].fill(Some(seam));
        }
        begin = end;
    }
    seams
}

fn seam(line: &Line<'_>, notes: std::ops::Range<usize>, sounding: &Sounding) -> i16 {
    let first = notes.start;
    let roots = notes
        .filter(|&note| line.chroma(note) == sounding.root())
        .map(|note| line.key(note));
    let over_slash = line.stands[first].arrival && line.chroma(first) == sounding.bass();
    let meant = [sounding.root(), sounding.bass()]
        .map(|chroma| nearest(line.key(first), chroma))
        .into_iter()
        .filter(|_| !over_slash);
    let top = roots.chain(meant).max().unwrap_or(line.key(first));
    top + i16::from(Chord::seventh(&sounding.chord))
}

/// The key of this chroma nearest to another; of two, the higher.
fn nearest(key: i16, chroma: u8) -> i16 {
    let below = key - (key - i16::from(chroma)).rem_euclid(12);
    if key - below < 6 { below } else { below + 12 }
}

/// Rule 6.
fn unplayable(line: &Line<'_>) -> Vec<bool> {
    let mut found = vec![false; line.heard.len()];
    // The last note that could be played, and the direction of a leap that it left open.
    let mut from: Option<(usize, i16)> = None;
    for (note, heard) in line.heard.iter().enumerate() {
        let key = heard.key;
        let in_range = (line.range.0..=line.range.1).contains(&key);
        found[note] = !in_range;
        let Some((last, leap)) = from else {
            from = Some((note, 0));
            continue;
        };
        let distance = line.key(note) - line.key(last);
        if distance.abs() > 12 || !in_range {
            found[note] = true;
            // Out of the way and back again is one fault.
            let returns = line
                .heard
                .get(note + 1)
                .is_some_and(|next| (i16::from(next.key) - line.key(last)).abs() <= 12);
            if !returns {
                from = Some((note, 0));
            }
            continue;
        }
        let goes_on = leap != 0 && distance.signum() == leap.signum();
        if (goes_on && !line.stands[note].ending) || third_in_a_row(line, note) {
            found[note] = true;
        }
        let leap = match distance.abs() {
            0 => leap,
            8..=11 => distance,
            _ => 0,
        };
        from = Some((note, leap));
    }
    found
}

/// Rule 6, the hand: the notes to which it cannot come in time, whatever the fingering; the ending waits.
pub(super) fn out_of_reach(line: &Line<'_>) -> Vec<bool> {
    let mut found = vec![false; line.heard.len()];
    let Some(hand) = line.hand else { return found };
    let positions = 1..=i16::from(hand.instrument.positions());
    // Where the index finger can be; before the first note, anywhere.
    let mut at: Vec<i16> = positions.clone().collect();
    for (note, stand) in line.stands.iter().enumerate() {
        let before = note.checked_sub(1).map(|before| line.stands[before].time);
        let shift = before.map_or(u8::MAX, |before| hand.shift_in(stand.time - before));
        let plays = |index: i16| {
            hand.instrument.strings.iter().any(|&open| {
                let fret = line.key(note) - i16::from(open);
                let under = 0..hand.instrument.fingers.len() as i16;
                let on_neck = fret <= i16::from(hand.instrument.neck);
                on_neck && (fret == 0 || under.contains(&(fret - index)))
            })
        };
        let ways: Vec<i16> = positions.clone().filter(|&index| plays(index)).collect();
        let in_time = |index: &&i16| at.iter().any(|from| (*index - from).abs() <= shift.into());
        let come: Vec<i16> = ways.iter().filter(in_time).copied().collect();
        found[note] = come.is_empty() && !ways.is_empty() && !stand.ending;
        at = if come.is_empty() { ways } else { come };
    }
    found
}

/// Whether this is the third of three quarters on one pitch, beat after beat in a walking bar.
fn third_in_a_row(line: &Line<'_>, note: usize) -> bool {
    let Some(first) = note.checked_sub(2) else {
        return false;
    };
    let walking = |note: usize| {
        let stand = &line.stands[note];
        let bar = usize::try_from(stand.bar - 1).ok();
        let bar = bar.and_then(|bar| line.ground.chorus.bars.get(bar));
        stand.on_beat && stand.span.is_some() && bar.is_some_and(|bar| bar.feel == Feel::Four)
    };
    let beat_after = |note: usize| {
        let (before, stand) = (&line.stands[note - 1], &line.stands[note]);
        stand.time - before.time == before.beat_length
    };
    let same = |note: usize| line.heard[note].key == line.heard[first].key;
    (first..=note).all(|note| walking(note) && same(note)) && (first + 1..=note).all(beat_after)
}
