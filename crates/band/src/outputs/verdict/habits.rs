//! What a teacher would say of a take: its habits, each with its bars, and not a list of notes.

use super::{Bench, Judged, fit::distance};
use endpin_theory::ChordTone;
use endpin_walker::{
    Heard, Role, Verdict,
    judge::{Device, Grade},
};
use std::collections::BTreeMap;

/// The most that is said of what to work on: nobody changes ten things at once.
pub const MOST_FAULTS: usize = 5;
/// The most that is praised.
pub const MOST_PRAISED: usize = 3;

/// A thing that is done once or more.
#[derive(Clone, Debug, PartialEq)]
pub struct Habit {
    /// What is done, in words for a student.
    pub what: String,
    /// The worst grade of its notes.
    pub grade: Grade,
    /// How many notes do it.
    pub count: usize,
    /// The bars in which it is done, counted on through the choruses.
    pub bars: Vec<i64>,
}

/// The habits of a take, the most telling first: what to work on, then what is good.
pub fn of(bench: &Bench, judged: &Judged) -> Vec<Habit> {
    let mut faults = faults(bench, judged);
    faults.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    faults.truncate(MOST_FAULTS);
    let faults = faults.into_iter().map(|(_, habit)| habit);
    let mut good = good(bench, judged);
    good.truncate(MOST_PRAISED);
    faults.chain(good).collect()
}

/// How much a habit tells: roots before all, mistakes before what is only unusual, and the more the oftener.
fn weight((kind, habit): &(Kind, Habit)) -> f64 {
    let times = (habit.count as f64).powf(0.75);
    let root = match kind {
        Kind::Root | Kind::Moved => 1.6,
        _ => 1.0,
    };
    let wrong = match habit.grade {
        Grade::Wrong => 2.0,
        _ => 1.0,
    };
    times * root * wrong
}

impl Habit {
    /// Of these notes, each with its bar.
    fn new(what: String, notes: &[(i64, Grade)]) -> Habit {
        let mut bars: Vec<i64> = notes.iter().map(|note| note.0).collect();
        bars.dedup();
        Habit {
            what,
            grade: notes.iter().map(|note| note.1).max().unwrap_or(Grade::Good),
            count: notes.len(),
            bars,
        }
    }

    /// The habit with its bars.
    pub fn sentence(&self) -> String {
        match bars_text(&self.bars) {
            bars if bars.is_empty() => self.what.clone(),
            bars => format!("{}, {bars}", self.what),
        }
    }
}

/// The most bars that are named.
const MOST_BARS: usize = 6;

/// `in bar 8`, `in bars 8, 20 and 32`, `in bars 1, 2, 3, 4, 5, 6 and 9 more`.
fn bars_text(bars: &[i64]) -> String {
    let names: Vec<String> = bars
        .iter()
        .take(MOST_BARS)
        .map(ToString::to_string)
        .collect();
    let more = bars.len() - names.len();
    match (&names[..], more) {
        ([], _) => String::new(),
        ([bar], 0) => format!("in bar {bar}"),
        ([first @ .., last], 0) => format!("in bars {} and {last}", first.join(", ")),
        (names, more) => format!("in bars {} and {more} more", names.join(", ")),
    }
}

/// A kind of fault, and what it is when it stands beside others of its kind.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Moved,
    Root,
    Tone,
    Stray,
    Lead,
    High,
    Leap,
    Again,
    Range,
    Other,
}

impl Kind {
    /// Several of the kind that have no more in common.
    fn several(self) -> &'static str {
        match self {
            Kind::Moved => "bars that lie off by an interval",
            Kind::Root => "chords that arrive without their root",
            Kind::Tone => {
                "strong beats that do not spell their chord: aim for its root, third, fifth or seventh"
            }
            Kind::Stray => {
                "notes from outside the chord that lead nowhere: follow each with a step into the next"
            }
            Kind::Lead => {
                "the line jumps into the next chord: end the bar a step above or below the coming root"
            }
            Kind::High => {
                "the line climbs into the register of the chords: stay below their seventh"
            }
            Kind::Leap => "wide leaps that are not answered: turn back by step after one",
            Kind::Again => "the same note again and again: move on",
            Kind::Range => "notes that this instrument does not have",
            Kind::Other => "notes against the plain rules",
        }
    }
}

/// Habits against the rules.
fn faults(bench: &Bench, judged: &Judged) -> Vec<(Kind, Habit)> {
    let off_root = off_root(bench, judged);
    let mut by_kind: BTreeMap<Kind, BTreeMap<String, Vec<(i64, Grade)>>> = BTreeMap::new();
    for (note, verdict) in judged.judgement.verdicts.iter().enumerate() {
        let bar =
            (i64::from(verdict.heard.chorus) - 1) * bench.chorus.bars.len() as i64 + verdict.bar;
        if verdict.stands() || !judged.take.notes[note].certain {
            continue;
        }
        let place = (verdict.heard.chorus, verdict.bar);
        let moved = judged
            .moved
            .iter()
            .find(|moved| (moved.0, moved.1) == place);
        let (kind, what) = match (moved, off_root) {
            (Some(&(_, _, by)), _) => (Kind::Moved, moved_words(by)),
            (None, Some(by)) if distance_from_root(bench, verdict) == Some(by) => {
                (Kind::Root, off_root_words(by))
            }
            _ => words(bench, verdict),
        };
        let groups = by_kind.entry(kind).or_default();
        groups.entry(what).or_default().push((bar, verdict.grade));
    }
    let habits = by_kind.into_iter().flat_map(|(kind, groups)| {
        let habits = habits_of(kind, groups).into_iter();
        habits.map(move |habit| (kind, habit))
    });
    habits.collect()
}

/// What is done twice or more is a habit of its own; the rest of its kind is told together.
fn habits_of(kind: Kind, groups: BTreeMap<String, Vec<(i64, Grade)>>) -> Vec<Habit> {
    let mut habits = Vec::new();
    let mut rest: Vec<(String, Vec<(i64, Grade)>)> = Vec::new();
    for (what, notes) in groups {
        match notes.len() {
            1 => rest.push((what, notes)),
            _ => habits.push(Habit::new(what, &notes)),
        }
    }
    match &rest[..] {
        [] => {}
        [(what, notes)] => habits.push(Habit::new(what.clone(), notes)),
        rest => {
            let mut notes: Vec<(i64, Grade)> =
                rest.iter().flat_map(|(_, notes)| notes.clone()).collect();
            notes.sort_by_key(|note| note.0);
            habits.push(Habit::new(several(kind, rest), &notes));
        }
    }
    habits
}

/// Wrong arrivals off by one interval that make it a habit.
const OFTEN: usize = 4;

/// The semitones from the root of the chord that arrives to the note that breaks the rule there, -5 to 6.
fn distance_from_root(bench: &Bench, verdict: &Verdict) -> Option<i8> {
    let chord = bench.chorus.spans[verdict.span?].chord.as_ref()?;
    let is_arrival = verdict.broken.contains(&"arrival-root");
    let above = (verdict.heard.key + 12 - chord.bass().chroma()) % 12;
    let distance = if above > 6 {
        above as i8 - 12
    } else {
        above as i8
    };
    (is_arrival && !verdict.stands()).then_some(distance)
}

/// The distance from the root at which most of the wrong arrivals stand, if it is a half or a whole step.
fn off_root(bench: &Bench, judged: &Judged) -> Option<i8> {
    let verdicts = judged.judgement.verdicts.iter();
    let distances: Vec<i8> = verdicts
        .filter_map(|verdict| distance_from_root(bench, verdict))
        .collect();
    [1, -1, 2, -2].into_iter().find(|by| {
        let alike = distances.iter().filter(|distance| *distance == by).count();
        alike >= OFTEN && alike * 3 >= distances.len() * 2
    })
}

fn off_root_words(by: i8) -> String {
    let way = if by > 0 { "above" } else { "below" };
    format!("chords arrive a {} {way} their root", distance(by))
}

/// The most chords that are named.
const MOST_CHORDS: usize = 4;

/// Faults of a kind that have no more in common; of roots, the chords that miss theirs.
fn several(kind: Kind, faults: &[(String, Vec<(i64, Grade)>)]) -> String {
    let chord = |(what, _): &(String, _)| Some(what.split_once(" arrives")?.0.to_owned());
    let mut chords: Vec<String> = faults.iter().filter_map(chord).collect();
    chords.dedup();
    match kind == Kind::Root && (1..=MOST_CHORDS).contains(&chords.len()) {
        true => format!("{} ({})", kind.several(), chords.join(", ")),
        false => kind.several().to_owned(),
    }
}

fn moved_words(by: i8) -> String {
    let way = if by > 0 { "high" } else { "low" };
    let article = if by % 12 == 0 { "an" } else { "a" };
    format!("the whole bar lies {article} {} too {way}", distance(by))
}

/// What is wrong with a note, in words that are the same whenever the same is wrong.
fn words(bench: &Bench, verdict: &Verdict) -> (Kind, String) {
    let has = |rule: &str| verdict.broken.contains(&rule);
    let (note, chord) = (verdict.pitch.name(), &verdict.chord);
    let span = verdict.span.map(|span| &bench.chorus.spans[span]);
    let sounding = span.and_then(|span| span.chord.as_ref());
    let tones = sounding
        .map(|chord| chord.chord_tones())
        .unwrap_or_default();
    let spells = tones.iter().any(|tone| tone.name.chroma() == note.chroma());
    let mend = verdict.mend.as_ref().map(|mend| mend.pitch.name());
    let (lowest, highest) = bench.range();
    if !(lowest..=highest).contains(&verdict.heard.key) {
        return (
            Kind::Range,
            format!("{} is not on this instrument", verdict.pitch),
        );
    }
    let tone = |name| tones.iter().find(|tone: &&ChordTone| tone.name == name);
    if has("arrival-root") {
        let root = sounding.map_or(note, |chord| chord.bass());
        let what = match (spells, verdict.role) {
            _ if sounding.is_none() => format!("the ending is not on the home note: {note}"),
            (true, Some(role)) => format!(
                "{chord} arrives on its {role}, {note}, by a leap: play the root, {root}, or come to {note} by step"
            ),
            _ => format!("{chord} arrives without its root: {note} for {root}"),
        };
        return (Kind::Root, what);
    }
    if has("strong-beats") {
        let better = mend.and_then(|name| Some((name, tone(name)?.part)));
        let what = match better {
            Some((name, part)) => {
                let part = Role::from(part);
                format!("the {part} of {chord} is missing: {note} for {name}")
            }
            None => format!("{note} on a strong beat does not spell {chord}"),
        };
        return (Kind::Tone, what);
    }
    if verdict.grade == Grade::Wrong {
        let what = format!("{note} over {chord} comes from outside and leads nowhere");
        return (Kind::Stray, what);
    }
    let kind = match () {
        () if has("approach") || has("join") => Kind::Lead,
        () if has("root-to-seventh") => Kind::High,
        () if has("playable") => match verdict.why.contains(" again, where") {
            true => Kind::Again,
            false => Kind::Leap,
        },
        () if has("weak-beats") => Kind::Stray,
        () => Kind::Other,
    };
    (kind, kind.several().to_owned())
}

/// Bars that are clean in a row are worth a word from here on.
const CLEAN_BARS: usize = 4;
/// Scatter around the own pulse below which the time is even, in milliseconds (common practice, no source).
const EVEN: f64 = 18.0;

/// What is good, with its bars.
fn good(bench: &Bench, judged: &Judged) -> Vec<Habit> {
    let figures = &judged.judgement.figures;
    let verdicts = &judged.judgement.verdicts;
    let mut good = Vec::new();
    let roots = figures.arrival_roots;
    if roots.of >= 4 && roots.kept * 10 >= roots.of * 9 {
        let what = match roots.kept == roots.of {
            true => "every chord is met by its root, or by step on another of its tones".to_owned(),
            false => format!(
                "{} of {} chords are met by their root",
                roots.kept, roots.of
            ),
        };
        good.push(Habit {
            what,
            grade: Grade::Good,
            count: roots.kept,
            bars: Vec::new(),
        });
    }
    let bar_of = |verdict: &Verdict| {
        (i64::from(verdict.heard.chorus) - 1) * bench.chorus.bars.len() as i64 + verdict.bar
    };
    let of = |what: &str, grade: Grade, is: &dyn Fn(&Verdict) -> bool| {
        let notes = verdicts
            .iter()
            .filter(|verdict| verdict.span.is_some() && is(verdict));
        let notes: Vec<(i64, Grade)> = notes.map(|verdict| (bar_of(verdict), grade)).collect();
        Habit::new(what.to_owned(), &notes)
    };
    let leads = |verdict: &Verdict| {
        let role = verdict.approach.or(verdict.role);
        let chromatic = matches!(
            role,
            Some(Role::ChromaticAbove | Role::ChromaticBelow | Role::DoubleChromatic)
        );
        verdict.grade == Grade::Good && chromatic
    };
    let half_steps = of("half steps lead into what follows", Grade::Good, &leads);
    if half_steps.count >= 2 {
        good.push(half_steps);
    }
    for device in Device::ALL {
        let is =
            |verdict: &Verdict| verdict.device == Some(device) && verdict.grade == Grade::Choice;
        let habit = of(device.words(), Grade::Choice, &is);
        if habit.count > 0 {
            good.push(habit);
        }
    }
    if good.is_empty() {
        good.extend(clean(judged, &bar_of));
    }
    let timing = &judged.take.timing;
    if timing.spread < EVEN && verdicts.len() >= 16 {
        good.insert(
            good.len().min(MOST_PRAISED - 1),
            Habit {
                what: format!(
                    "the time is even: notes lie within {:.0} ms of their pulse",
                    timing.spread
                ),
                grade: Grade::Good,
                count: verdicts.len(),
                bars: Vec::new(),
            },
        );
    }
    good
}

/// The longest run of bars without a mistake.
fn clean(judged: &Judged, bar_of: &dyn Fn(&Verdict) -> i64) -> Option<Habit> {
    let mut bars: BTreeMap<i64, bool> = BTreeMap::new();
    for verdict in judged
        .judgement
        .verdicts
        .iter()
        .filter(|verdict| verdict.span.is_some())
    {
        *bars.entry(bar_of(verdict)).or_insert(true) &= verdict.stands();
    }
    let mut best: Vec<i64> = Vec::new();
    let mut run: Vec<i64> = Vec::new();
    for (bar, is_clean) in bars {
        match is_clean {
            true => run.push(bar),
            false => run.clear(),
        }
        if run.len() > best.len() {
            best.clone_from(&run);
        }
    }
    let (first, last) = (*best.first()?, *best.last()?);
    (best.len() >= CLEAN_BARS).then(|| Habit {
        what: format!("bars {first} to {last} are clean"),
        grade: Grade::Good,
        count: best.len(),
        bars: Vec::new(),
    })
}

/// Notes against the rules that make a bar worth trying elsewhere.
const FEW: usize = 2;
/// So many that any interval may explain them; fewer are explained by a fourth or a fifth alone, which stay in the
/// key, and only if the line leaps into the bar and out of it.
const MANY: usize = 3;
/// The most bars that are tried.
const MOST_TRIED: usize = 12;
/// Intervals by which a bar may be off, in semitones, the likeliest first.
const TRIED: [i8; 14] = [7, -7, 5, -5, 2, -2, 1, -1, 4, -4, 3, -3, 6, -6];

/// Bars of which all notes lie off by one interval, where they would break no rule: chorus, bar, semitones.
pub(super) fn moved(bench: &Bench, judged: &Judged) -> Vec<(u32, i64, i8)> {
    let verdicts = &judged.judgement.verdicts;
    let mut faults: BTreeMap<(u32, i64), usize> = BTreeMap::new();
    for verdict in verdicts
        .iter()
        .filter(|verdict| !verdict.stands() && verdict.span.is_some())
    {
        *faults
            .entry((verdict.heard.chorus, verdict.bar))
            .or_default() += 1;
    }
    let bad = faults.into_iter().filter(|(_, count)| *count >= FEW);
    let found = bad.take(MOST_TRIED).filter_map(|((chorus, bar), count)| {
        let is_here = |verdict: &Verdict| (verdict.heard.chorus, verdict.bar) == (chorus, bar);
        let first = verdicts.iter().position(is_here)?;
        let end = first
            + verdicts[first..]
                .iter()
                .take_while(|verdict| is_here(verdict))
                .count();
        // What is around decides too: a few notes before and after.
        let around = first.saturating_sub(8)..(end + 8).min(verdicts.len());
        let better = |by: i8| {
            let heard = around.clone().map(|note| {
                let heard = verdicts[note].heard;
                let key = match (first..end).contains(&note) {
                    true => heard.key.saturating_add_signed(-by),
                    false => heard.key,
                };
                Heard { key, ..heard }
            });
            let heard: Vec<Heard> = heard.collect();
            let broken = bench.judge.broken(&heard, judged.take.choruses);
            let here = broken[first - around.start..end - around.start].iter();
            here.filter(|rules| !rules.is_empty()).count()
        };
        let leap = |note: usize, by: i8| {
            let before = verdicts
                .get(note.wrapping_sub(1))
                .map(|before| before.heard.key);
            let this = verdicts.get(note).map(|this| this.heard.key);
            let leap = before.zip(this).map(|(a, b)| i16::from(b) - i16::from(a));
            leap.map_or(0, |leap| (leap + i16::from(by)).abs())
        };
        let leaps = |by: i8| leap(first, -by) + leap(end, by);
        let may =
            |by: &i8| count >= MANY || (matches!(by.abs(), 5 | 7) && leaps(*by) + 5 <= leaps(0));
        let by = TRIED.into_iter().filter(may).min_by_key(|&by| better(by))?;
        (better(by) * 4 <= count && better(by) <= 1).then_some((chorus, bar, by))
    });
    found.collect()
}
