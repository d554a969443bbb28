//! Faults planted in lines of the walker, one of every kind wherever nothing else goes wrong by it: the judge
//! finds each at its place and nowhere else, and knows how to mend it.

use super::{CHORUSES, Case, GRANTED, RANGE, cases, heard};
use endpin_theory::Strength;
use endpin_walker::{Broken, LineNote};
use proptest::prelude::*;
use std::{collections::BTreeMap, sync::OnceLock};

/// A fault to plant: the key to play instead, and what must be found where.
struct Plant {
    note: usize,
    key: u8,
    found: (usize, Broken),
}

/// What the chart allows at a note, stated apart from the judge.
struct Allowed {
    tones: Vec<u8>,
    connecting: Vec<u8>,
    root: u8,
    seam: i16,
}

fn allowed(case: &Case, line: &[LineNote], note: usize) -> Option<Allowed> {
    let span = line[note].span?;
    let chord = case.chorus.spans[span].chord.as_ref()?;
    let mut tones: Vec<u8> = chord
        .chord_tones()
        .iter()
        .map(|tone| tone.name.chroma())
        .collect();
    tones.push(chord.bass().chroma());
    let mut connecting = tones.clone();
    connecting.extend(&case.scales[span]);
    let root = chord.root().chroma();
    let same = |other: &&LineNote| other.span == Some(span) && other.chorus == line[note].chorus;
    let keys: Vec<i16> = line
        .iter()
        .filter(same)
        .map(|note| note.pitch.midi())
        .collect();
    let roots = keys
        .iter()
        .filter(|key| key.rem_euclid(12) == i16::from(root));
    let top = roots.max().unwrap_or(&keys[0]);
    Some(Allowed {
        tones,
        connecting,
        root,
        seam: top + i16::from(chord.seventh()),
    })
}

fn is_weak(note: &LineNote) -> bool {
    note.strength == Strength::Weak
}

/// Whether the note is the last beat of its span and has to lead on: the next note arrives elsewhere.
fn leads_on(line: &[LineNote], note: usize) -> bool {
    let (this, next) = (&line[note], &line[note + 1]);
    let silence = next.chorus == this.chorus && next.start != this.start + this.length;
    is_weak(this) && !silence && (next.span != this.span || next.chorus != this.chorus)
}

/// Every way to plant a fault of one kind at a note, so that nothing else goes wrong.
fn plants(case: &Case, line: &[LineNote], note: usize, kind: Broken) -> Vec<Plant> {
    let Some(allowed) = allowed(case, line, note).filter(|_| note > 0 && note + 2 < line.len())
    else {
        return Vec::new();
    };
    let key_of = |note: usize| line[note].pitch.midi();
    let (this, before, after) = (&line[note], key_of(note - 1), key_of(note + 1));
    let on_beat = |note: usize| line[note].in_bar.0 % line[note].beat_length.0 == 0;
    if !(note - 1..=note + 2).all(on_beat) || this.span.is_none() {
        return Vec::new();
    }
    let arrival = this.start
        == case
            .chorus
            .ticks_at(case.chorus.spans[this.span.unwrap()].start);
    let stressed = this.strength != Strength::Weak;
    let leads = leads_on(line, note);
    let was_root = (key_of(note) as u8) % 12 == allowed.root;
    // Notes before that need this one to resolve as it was.
    let needs = |other: usize| {
        let chroma = line[other].pitch.midi().rem_euclid(12) as u8;
        self::allowed(case, line, other).is_none_or(|at| !at.connecting.contains(&chroma))
    };
    // As a goal, or as the goal of two.
    let before_needs =
        leads_on(line, note - 1) || needs(note - 1) || (note >= 2 && needs(note - 2));
    let fits = |key: i16| {
        let has = |set: &[u8]| set.contains(&((key % 12) as u8));
        let near = |other: i16| (key - other).abs() <= 7 && key != other;
        let smooth = near(before) && near(after) && (key - key_of(note)).abs() <= 5;
        let below_seam = key <= allowed.seam;
        let approaches = matches!(after - key, -2 | -1 | 1 | 2 | 5 | -7);
        // Nothing before is a leap that this note answers.
        let quiet = note >= 2 && (before - key_of(note - 2)).abs() <= 7;
        let in_range = key >= i16::from(RANGE.0);
        let plain = smooth && quiet && in_range && below_seam && key != key_of(note);
        let next_is_strong = !is_weak(&line[note + 1]);
        match kind {
            Broken::ArrivalRoot => {
                let bass = (key_of(note) as u8) % 12;
                plain
                    && arrival
                    && has(&allowed.tones)
                    && (key % 12) as u8 != bass
                    && (key % 12) as u8 != allowed.root
            }
            Broken::StrongBeats => {
                plain && stressed && !arrival && !was_root && !has(&allowed.tones)
            }
            Broken::WeakBeats => {
                plain
                    && !stressed
                    && !leads
                    && !was_root
                    && next_is_strong
                    && !before_needs
                    && !has(&allowed.connecting)
                    && !approaches
            }
            Broken::Approach | Broken::Join => {
                let join = line[note + 1].chorus != this.chorus;
                plain
                    && leads
                    && line[note + 1].span.is_some()
                    && !was_root
                    && !before_needs
                    && join == (kind == Broken::Join)
                    && has(&allowed.connecting)
                    && !approaches
            }
            Broken::RootToSeventh => {
                // Up by a leap that is answered, from a line that left none open.
                let (up, down) = (key - before, key - after);
                let answered = (1..=7).contains(&down)
                    || down == 12
                    || ((8..=11).contains(&down) && key_of(note + 2) > after);
                (1..=12).contains(&up)
                    && answered
                    && quiet
                    && !arrival
                    && !leads
                    && !before_needs
                    && !was_root
                    && has(&allowed.tones)
                    && (key % 12) as u8 != allowed.root
                    && key > allowed.seam
                    && key <= i16::from(GRANTED.1)
            }
            Broken::Playable => {
                let away = |other: i16| (key - other).abs() >= 12;
                key < i16::from(RANGE.0)
                    && (key - key_of(note)) % 12 == 0
                    && away(before)
                    && away(after)
                    && (before - after).abs() <= 7
                    && before != after
                    && quiet
                    && (key_of(note + 2) - after).abs() <= 7
                    && has(&allowed.connecting)
                    && !arrival
                    && !leads
                    && !before_needs
                    && !was_root
            }
        }
    };
    (10..=64)
        .filter(|&key| fits(key))
        .map(|key| Plant {
            note,
            key: key as u8,
            found: (note, kind),
        })
        .chain(unanswered_leaps(
            line,
            note,
            kind,
            &allowed,
            arrival || leads || before_needs || was_root,
        ))
        .collect()
}

/// Leaps of a sixth or seventh after which the line goes on: the fault is at the note after.
fn unanswered_leaps(
    line: &[LineNote],
    note: usize,
    kind: Broken,
    allowed: &Allowed,
    fixed: bool,
) -> Vec<Plant> {
    let key_of = |note: usize| line[note].pitch.midi();
    let (before, after) = (key_of(note - 1), key_of(note + 1));
    let quiet = note >= 2 && (before - key_of(note - 2)).abs() <= 7;
    if kind != Broken::Playable || fixed || !quiet || (key_of(note + 2) - after).abs() > 7 {
        return Vec::new();
    }
    let fits = |key: i16| {
        let leap = key - before;
        (8..=11).contains(&leap.abs())
            && (after - key).signum() == leap.signum()
            && (after - key).abs() <= 7
            && allowed.tones.contains(&((key % 12) as u8))
            && (key % 12) as u8 != allowed.root
            && key <= allowed.seam
    };
    (i16::from(RANGE.0)..=i16::from(RANGE.1))
        .filter(|&key| fits(key))
        .map(|key| Plant {
            note,
            key: key as u8,
            found: (note + 1, kind),
        })
        .collect()
}

/// Plants the fault and gives what the judge finds.
fn find(case: &Case, line: &[LineNote], plant: &Plant) -> Vec<(usize, Broken)> {
    let mut played = heard(line);
    played[plant.note].key = plant.key;
    let broken = case.judge.broken(&played, CHORUSES);
    let each = broken.into_iter().enumerate();
    each.flat_map(|(note, rules)| rules.into_iter().map(move |rule| (note, rule)))
        .collect()
}

/// Faults with the number of their case and line, by kind.
type Plants = BTreeMap<Broken, Vec<(usize, usize, Plant)>>;

/// All faults that can be planted.
fn all_plants() -> &'static Plants {
    static PLANTS: OnceLock<Plants> = OnceLock::new();
    PLANTS.get_or_init(|| {
        let mut all: BTreeMap<Broken, Vec<_>> = BTreeMap::new();
        for (number, case) in cases().iter().enumerate() {
            for (chosen, (level, line)) in case.lines.iter().enumerate() {
                if *level < 3 {
                    continue;
                }
                for note in 0..line.len() {
                    for kind in Broken::ALL {
                        let plants = plants(case, line, note, kind).into_iter();
                        all.entry(kind)
                            .or_default()
                            .extend(plants.map(|plant| (number, chosen, plant)));
                    }
                }
            }
        }
        all
    })
}

#[test]
fn planted_faults_are_found_where_they_are() {
    const CASES: usize = 10_000;
    let mut table = String::from("rule              cases   found  elsewhere  precision  recall\n");
    let (mut hits, mut extra, mut missed, mut planted) = (0, 0, 0, 0);
    let mut left = Broken::ALL.len();
    // The rules for which least can be planted first; the others make up for them.
    let mut kinds: Vec<_> = all_plants().iter().collect();
    kinds.sort_by_key(|(_, plants)| plants.len());
    for (kind, plants) in kinds {
        assert!(plants.len() > 30, "{kind}: only {}", plants.len());
        let count = plants.len().min((CASES - planted).div_ceil(left));
        left -= 1;
        let (mut hit, mut other) = (0, 0);
        // Evenly over all that can be planted, so that charts, levels and beats are mixed.
        for index in 0..count {
            let (number, chosen, plant) = &plants[index * plants.len() / count];
            let case = &cases()[*number];
            let line = &case.lines[*chosen].1;
            let found = find(case, line, plant);
            hit += usize::from(found.contains(&plant.found));
            other += found.iter().filter(|found| **found != plant.found).count();
            if found != [plant.found] && std::env::var_os("SHOW_MISSES").is_some() {
                let heard = (&line[plant.note], plant.key);
                println!(
                    "{} {kind}: {heard:?} found {found:?} for {:?}",
                    case.name, plant.found
                );
            }
        }
        let share = |part: usize, of: usize| part as f64 / of.max(1) as f64;
        table += &format!(
            "{:<16} {count:>6}  {hit:>6}  {other:>9}  {:>9.4}  {:>6.4}\n",
            kind.name(),
            share(hit, hit + other),
            share(hit, count)
        );
        (hits, extra, missed, planted) = (
            hits + hit,
            extra + other,
            missed + count - hit,
            planted + count,
        );
    }
    let (precision, recall) = (
        hits as f64 / (hits + extra) as f64,
        hits as f64 / (hits + missed) as f64,
    );
    println!("{table}{planted} planted faults: precision {precision:.4}, recall {recall:.4}");
    assert!(planted >= CASES);
    assert!(precision > 0.99 && recall > 0.99, "\n{table}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any kind at any place.
    #[test]
    fn any_planted_fault_is_found_alone(kind in 0usize..7, which: proptest::sample::Index) {
        let plants = &all_plants()[&Broken::ALL[kind]];
        let (number, chosen, plant) = which.get(plants);
        let case = &cases()[*number];
        let line = &case.lines[*chosen].1;
        prop_assert_eq!(find(case, line, plant), vec![plant.found], "{}: {}", case.name, line[plant.note]);
    }
}

/// A mend breaks nothing and changes few notes, and nearly every fault has one: the search sets notes free
/// in a fixed order and gives up after six.
#[test]
fn mends_mend() {
    const EACH: usize = 60;
    let (mut faults, mut mended) = (0, 0);
    for plants in all_plants().values() {
        for (number, chosen, plant) in plants.iter().step_by(plants.len().div_ceil(EACH)) {
            let case = &cases()[*number];
            let mut played = heard(&case.lines[*chosen].1);
            played[plant.note].key = plant.key;
            let verdicts = case.judge.judge(&played, CHORUSES).verdicts;
            let verdict = &verdicts[plant.found.0];
            if verdict.licence.is_some() {
                continue;
            }
            faults += 1;
            let Some(mend) = &verdict.mend else { continue };
            mended += 1;
            played[plant.found.0].key = mend.pitch.midi() as u8;
            for (other, pitch) in &mend.others {
                played[*other].key = pitch.midi() as u8;
            }
            assert!(mend.others.len() <= 6);
            let broken = case.judge.broken(&played, CHORUSES);
            assert!(broken.iter().all(Vec::is_empty), "{}: {mend:?}", case.name);
        }
    }
    println!("{mended} of {faults} faults have a mend");
    assert!(faults > 300 && mended * 100 >= faults * 98);
}
