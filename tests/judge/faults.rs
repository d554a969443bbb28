//! Faults planted in lines of the walker, one of every kind wherever nothing else goes wrong by it: the judge
//! finds each at its place and nowhere else, and knows how to mend it. How a rule is broken, the rule says.

use super::{CHORUSES, Case, GRANTED, RANGE, cases, heard};
use endpin_walker::{
    Level, LineNote,
    rules::{self, Conditions, Onset, Spot},
};
use proptest::prelude::*;
use std::{collections::BTreeMap, sync::OnceLock};

/// A fault to plant: the key to play instead, and what must be found where.
struct Plant {
    note: usize,
    key: u8,
    found: (usize, &'static str),
}

/// The onset of each note; none of the ending.
fn onsets<'a>(case: &'a Case, line: &[LineNote]) -> Vec<Option<&'a Onset>> {
    let slots = &case.layout.slots;
    let onset = |note: &LineNote| slots.iter().find(|slot| slot.start == note.start);
    line.iter()
        .map(|note| onset(note).map(|slot| &slot.onset))
        .collect()
}

/// The place of a note among its neighbours, if all are on the beat and two follow.
fn spot<'a>(line: &[LineNote], onsets: &[Option<&'a Onset>], note: usize) -> Option<Spot<'a>> {
    let on_beat = |note: &LineNote| note.in_bar.0 % note.beat_length.0 == 0;
    let around = line.get(note.checked_sub(2)?..note + 3)?;
    let onset = onsets[note]?;
    let span = line[note].span?;
    let same = |other: &&LineNote| other.span == Some(span) && other.chorus == line[note].chorus;
    let key = |note: &LineNote| note.pitch.midi() as u8;
    // As a goal, or as the goal of two.
    let needs = |before: usize| {
        let played = key(&line[before]);
        onsets[before].is_none_or(|onset| !onset.connects(played))
    };
    let leads = onsets[note - 1]?.coming.is_some();
    around.iter().all(on_beat).then(|| Spot {
        onset,
        next: onsets[note + 1].unwrap_or(onset),
        keys: std::array::from_fn(|at| key(&around[at])),
        seam: rules::seam(onset, line.iter().filter(same).map(key)).unwrap(),
        is_led_into: leads || needs(note - 1) || needs(note - 2),
        range: (RANGE.0, GRANTED.1),
    })
}

/// Plants the fault and gives what the judge finds.
fn find(case: &Case, line: &[LineNote], plant: &Plant) -> Vec<(usize, &'static str)> {
    let mut played = heard(line);
    played[plant.note].key = plant.key;
    let broken = case.judge.broken(&played, CHORUSES);
    let each = broken.into_iter().enumerate();
    each.flat_map(|(note, rules)| rules.into_iter().map(move |rule| (note, rule)))
        .collect()
}

/// Faults with the number of their case and line, by rule.
type Plants = BTreeMap<&'static str, Vec<(usize, usize, Plant)>>;

/// All faults that can be planted.
fn all_plants() -> &'static Plants {
    static PLANTS: OnceLock<Plants> = OnceLock::new();
    PLANTS.get_or_init(|| {
        let mut all: Plants = BTreeMap::new();
        for (number, case) in cases().iter().enumerate() {
            for (chosen, (level, line)) in case.lines.iter().enumerate() {
                if *level < 3 {
                    continue;
                }
                let onsets = onsets(case, line);
                let spots =
                    (0..line.len()).filter_map(|note| Some((note, spot(line, &onsets, note)?)));
                for (note, spot) in spots {
                    for rule in rules::rules(Conditions::of(Level::TOP)) {
                        let name = rule.name();
                        let plants =
                            (10..=64).filter_map(|key| Some((key, rule.plant(&spot, key)?)));
                        let plants = plants.map(|(key, later)| Plant {
                            note,
                            key,
                            found: (note + later, name),
                        });
                        let plants = plants.map(|plant| (number, chosen, plant));
                        all.entry(name).or_default().extend(plants);
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
    let mut left = rules::names().len();
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
            kind,
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
        let plants = &all_plants()[rules::names()[kind]];
        let (number, chosen, plant) = which.get(plants);
        let case = &cases()[*number];
        let line = &case.lines[*chosen].1;
        prop_assert_eq!(find(case, line, plant), vec![plant.found], "{}: {}", case.name, line[plant.note]);
    }
}

/// A mend breaks nothing and changes the broken note and few others, and nearly every fault has one.
#[test]
fn mends_mend() {
    const EACH: usize = 60;
    let (mut faults, mut mended, mut close) = (0, 0, 0);
    for plants in all_plants().values() {
        for (number, chosen, plant) in plants.iter().step_by(plants.len().div_ceil(EACH)) {
            let case = &cases()[*number];
            let mut played = heard(&case.lines[*chosen].1);
            played[plant.note].key = plant.key;
            let verdicts = case.judge.judge(&played, CHORUSES).verdicts;
            let verdict = &verdicts[plant.found.0];
            if verdict.device.is_some() {
                continue;
            }
            faults += 1;
            let Some(mend) = &verdict.mend else {
                println!("{}: no mend for {:?}", case.name, plant.found);
                continue;
            };
            mended += 1;
            close += usize::from(mend.others.len() <= 1);
            assert_ne!(mend.pitch, verdict.pitch, "the note itself changes");
            played[plant.found.0].key = mend.pitch.midi() as u8;
            for (other, pitch) in &mend.others {
                assert_ne!(i16::from(played[*other].key), pitch.midi());
                played[*other].key = pitch.midi() as u8;
            }
            let broken = case.judge.broken(&played, CHORUSES);
            let left: Vec<_> = broken
                .iter()
                .enumerate()
                .filter(|(_, rules)| !rules.is_empty())
                .collect();
            assert!(
                left.is_empty(),
                "{}: {:?} {mend:?} leaves {left:?}",
                case.name,
                plant.found
            );
        }
    }
    println!(
        "{mended} of {faults} faults have a mend, {close} of them with at most one other note"
    );
    assert!(faults > 300 && mended * 100 >= faults * 98);
    assert!(close * 10 >= faults * 9);
}
