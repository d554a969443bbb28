//! The judge turned on recorded lines of real players: how often does it call a clean note wrong, and does it hear
//! what is planted? Measured by hand, since the data are not ours to keep here:
//!
//! `ENDPIN_PLAYERS=FOLDER cargo test -p endpin-walker --test players -- --ignored --nocapture`
//!
//! FOLDER holds `beats.csv` (`line, chorus, bar, beat, chord, onset_s, midi`) and `lines.csv` (`line, key, …`), made of
//! the beat tracks of the Weimar Jazz Database (Jazzomat project, Open Database Licence 1.0) as packed in the R
//! package `jazzodata` 0.1.4. Its pitches were found by machine; lines are taken for clean whose notes on arriving
//! beats 1 are chord tones in 85 of 100 cases or more. Lines of odd numbers were developed on.

use endpin_theory::{
    Chart, Chorus, Ticks,
    analysis::{analyse, find_key},
};
use endpin_walker::{
    Development, Heard, Judge, Level, Options, judge::Grade, line::layout::Layout, rules::Sound,
};
use std::{collections::BTreeMap, fs, path::Path};

const RANGE: (u8, u8) = (28, 55);

struct Line {
    name: String,
    judge: Judge,
    layout: Layout,
    choruses: u32,
    notes: Vec<Heard>,
}

/// Rows of a file as maps from the names in its head.
fn rows(path: &Path) -> Vec<BTreeMap<String, String>> {
    let text = fs::read_to_string(path).unwrap();
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let row = |line: &str| {
        let cells = head.iter().zip(line.split(','));
        cells
            .map(|(name, cell)| (name.to_string(), cell.to_owned()))
            .collect()
    };
    lines.map(row).collect()
}

fn clean_lines(folder: &Path) -> Vec<Line> {
    let beats = rows(&folder.join("beats.csv"));
    let clean = rows(&folder.join("lines.csv"))
        .into_iter()
        .filter(|line| line["chord_tone_share_on_beat_1"].parse::<f64>().unwrap() >= 0.85);
    clean
        .map(|line| {
            let of_line: Vec<_> = beats
                .iter()
                .filter(|beat| beat["line"] == line["line"])
                .collect();
            let mut bars = String::new();
            let mut last = "";
            for beat in of_line.iter().filter(|beat| beat["chorus"] == "1") {
                if beat["beat"] == "1" {
                    bars.push_str("| ");
                }
                let again = beat["beat"] != "1" && last == beat["chord"];
                bars.push_str(if again { "/" } else { &beat["chord"] });
                bars.push(' ');
                last = &beat["chord"];
            }
            let mut chart = Chart::from_bars(&bars, "4/4".parse().unwrap())
                .unwrap_or_else(|error| panic!("{}: {error}\n{bars}", line["line"]));
            chart.key = line["key"]
                .parse()
                .unwrap_or_else(|_| find_key(&chart.chorus().spans));
            let chorus = chart.chorus();
            let understood = analyse(&chorus.spans, chorus.key);
            let number =
                |beat: &BTreeMap<String, String>, what: &str| beat[what].parse::<i64>().unwrap();
            let notes = of_line
                .iter()
                .filter(|beat| !beat["midi"].is_empty())
                .map(|beat| Heard {
                    chorus: number(beat, "chorus") as u32,
                    start: Ticks(960 * (4 * (number(beat, "bar") - 1) + number(beat, "beat") - 1)),
                    length: Ticks(960),
                    key: number(beat, "midi") as u8,
                });
            Line {
                name: line["line"].clone(),
                choruses: number(&line, "choruses") as u32,
                notes: notes.collect(),
                layout: layout(&chorus),
                judge: Judge::new(chorus, &understood, RANGE),
            }
        })
        .collect()
}

fn layout(chorus: &Chorus) -> Layout {
    let development = Development::plain(Level::TOP);
    let next = chorus.spans[0]
        .chord
        .as_ref()
        .map(|chord| chord.bass().chroma());
    Layout::new(chorus, development, &Options::default(), next)
}

/// The next number below `of` of a small generator, so that the same notes are planted each time.
fn chosen(state: &mut u64, of: usize) -> usize {
    *state = state
        .wrapping_mul(6_364_136_223_846_793_005)
        .wrapping_add(1_442_695_040_888_963_407);
    (*state >> 33) as usize % of
}

#[derive(Default)]
struct Table {
    notes: usize,
    grades: BTreeMap<Grade, usize>,
    devices: BTreeMap<String, usize>,
    wrong_by_rules: BTreeMap<String, usize>,
    /// Of notes planted outside chord and scale on strong beats: all, those called wrong.
    outside: (usize, usize),
    /// Of notes of the scale planted on arrivals: all, those called unusual or wrong.
    inside: (usize, usize),
}

fn measure(line: &Line, table: &mut Table) {
    let verdicts = line.judge.judge(&line.notes, line.choruses).verdicts;
    for verdict in &verdicts {
        table.notes += 1;
        *table.grades.entry(verdict.grade).or_default() += 1;
        if let Some(device) = verdict.device {
            *table.devices.entry(device.to_string()).or_default() += 1;
        }
        let rules = verdict.broken.join("+");
        if verdict.grade == Grade::Wrong {
            *table.wrong_by_rules.entry(rules).or_default() += 1;
        }
    }
    // One note at a time, somewhere in the line.
    let mut state = 1 + line.notes.len() as u64;
    for note in 1..line.notes.len() - 1 {
        let mut slots = line.layout.slots.iter();
        let slot = slots.find(|slot| slot.start == line.notes[note].start);
        let Some(onset) = slot.map(|slot| &slot.onset) else {
            continue;
        };
        if !onset.stressed || onset.sound == Sound::Rest {
            continue;
        }
        // Outside chord and scale, or in the scale but not in the chord.
        let outside = |key: u8| !onset.connects(key);
        let inside = |key: u8| onset.connects(key) && !onset.spells(key);
        let mut plant = |is: &dyn Fn(u8) -> bool, at_least: Grade| {
            let near: Vec<u8> = (RANGE.0..=RANGE.1)
                .filter(|&key| {
                    is(key)
                        && key != line.notes[note].key
                        && key.abs_diff(line.notes[note].key) <= 5
                })
                .collect();
            if near.is_empty() {
                return None;
            }
            let mut notes = line.notes.clone();
            notes[note].key = near[chosen(&mut state, near.len())];
            let v = line
                .judge
                .judge(&notes, line.choruses)
                .verdicts
                .swap_remove(note);
            let found = v.grade;
            Some(found >= at_least)
        };
        if let Some(found) = plant(&outside, Grade::Wrong) {
            table.outside.0 += 1;
            table.outside.1 += usize::from(found);
        }
        if onset.arrival
            && let Some(found) = plant(&inside, Grade::Unusual)
        {
            table.inside.0 += 1;
            table.inside.1 += usize::from(found);
        }
    }
}

fn share((part, all): (usize, usize)) -> f64 {
    100.0 * part as f64 / all.max(1) as f64
}

#[test]
#[ignore = "needs the folder with recorded lines in ENDPIN_PLAYERS"]
fn clean_notes_of_players_are_seldom_called_wrong() {
    let folder = std::env::var("ENDPIN_PLAYERS").expect("name the folder in ENDPIN_PLAYERS");
    let mut tables = [Table::default(), Table::default()];
    for line in clean_lines(Path::new(&folder)) {
        let number: usize = line.name[1..].parse().unwrap();
        measure(&line, &mut tables[(number + 1) % 2]);
    }
    for (name, table) in ["developed on", "measured on"].into_iter().zip(&tables) {
        println!("{name}: {} notes", table.notes);
        for (grade, &count) in &table.grades {
            println!("  {grade}: {:.1} %", share((count, table.notes)));
        }
        println!("  devices {:?}", table.devices);
        println!("  wrong by {:?}", table.wrong_by_rules);
        let (outside, inside) = (table.outside, table.inside);
        println!(
            "  planted outside: {:.1} % of {} wrong",
            share((outside.1, outside.0)),
            outside.0
        );
        println!(
            "  planted in the scale on arrivals: {:.1} % of {} unusual or wrong",
            share((inside.1, inside.0)),
            inside.0
        );
    }
    let sum = |of: &dyn Fn(&Table) -> (usize, usize)| {
        let sums = tables.iter().map(of);
        share(sums.fold((0, 0), |sum, (part, all)| (sum.0 + part, sum.1 + all)))
    };
    let wrong = |table: &Table| {
        let wrong = table.grades.get(&Grade::Wrong).copied().unwrap_or(0);
        (wrong, table.notes)
    };
    let (wrong, outside) = (
        sum(&wrong),
        sum(&|table| (table.outside.1, table.outside.0)),
    );
    println!("together: {wrong:.1} % wrong, planted outside {outside:.1} % wrong");
    assert!(wrong <= 8.0 && outside >= 98.0);
}
