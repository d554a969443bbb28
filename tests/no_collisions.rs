//! Bass and comp keep out of each other's way: on every scenario, in every key, at every level, the same
//! line under every palette.
//!
//! The definition is that of the design, section 8: a comp note a minor ninth, its octaves or a semitone
//! above a sounding bass note, save a dominant's own flat ninth above its root.

use endpin::players::{
    collisions::{self, Collisions},
    comp::{CompOptions, comp, seams},
};
use endpin_theory::{Chart, Chorus, Interval, Palette, Scale, Strength, analysis::analyse};
use endpin_walker::{ChorusLine, Level, Options, Plan, Walker};
use rayon::prelude::*;
use std::{fs, path::PathBuf};

fn scenarios() -> Vec<Chart> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../scenarios");
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|kind| kind == "toml"))
        .collect();
    files.sort();
    let read = |path: &PathBuf| Chart::parse(&fs::read_to_string(path).unwrap());
    // A folder of charts may hold lists that are no charts.
    files.iter().filter_map(|path| read(path).ok()).collect()
}

fn scales(chorus: &Chorus) -> Vec<Option<Scale>> {
    let understood = analyse(&chorus.spans, chorus.key);
    let pairs = understood.iter().zip(&chorus.spans);
    pairs
        .map(|(understood, span)| span.chord.as_ref().map(|_| understood.scale))
        .collect()
}

/// The definition once more, counted plainly: over every bass note and every comp note that overlap in time.
fn plain_count(
    chorus: &Chorus,
    line: &ChorusLine,
    comp: &endpin::players::comp::ChorusComp,
) -> (usize, usize) {
    let (mut strong, mut weak) = (0, 0);
    for note in &line.notes {
        for attack in &comp.attacks {
            let together = note.start < attack.start + attack.length
                && attack.start < note.start + note.length;
            let chord = chorus.spans[attack.span].chord.as_ref().unwrap();
            let bass = i64::from(note.pitch.midi());
            let over_root = bass.rem_euclid(12) == i64::from(chord.root().chroma());
            for &key in &attack.voicing.keys {
                let above = i64::from(key) - bass;
                let is_ninth = above > 0 && above.rem_euclid(12) == 1;
                if together && is_ninth && !(chord.is_dominant() && over_root) {
                    match note.strength {
                        Strength::Weak => weak += 1,
                        _ => strong += 1,
                    }
                }
            }
        }
    }
    (strong, weak)
}

/// A line and its chorus moved by `half_steps`: the same music on another part of the instrument.
fn moved(chart: &Chart, line: &ChorusLine, half_steps: i16) -> (Chorus, ChorusLine) {
    // Spelling does not matter here, only sound: steps enough to stay near the natural letters.
    let interval = Interval::new((half_steps * 7).div_euclid(12), half_steps);
    let mut line = line.clone();
    for note in &mut line.notes {
        note.pitch = note.pitch + interval;
    }
    (chart.transposed(interval).chorus(), line)
}

/// Every palette over the same line.
fn rate(chorus: &Chorus, line: &ChorusLine, seed: u64) -> Collisions {
    let scales = scales(chorus);
    let seams = seams(chorus, line);
    for note in &line.notes {
        let seam = note.span.and_then(|span| seams[span]);
        assert!(
            seam.is_none_or(|seam| note.pitch.midi() <= seam),
            "{note} above the seam"
        );
    }
    let mut all = Collisions::default();
    for palette in Palette::ALL {
        let wishes = CompOptions {
            seed,
            palette: Some(palette),
            ..CompOptions::default()
        };
        let comp = comp(chorus, &scales, line, &wishes);
        let found = collisions::rate(chorus, line, &comp);
        let weak = found.clashes.len() - found.strong();
        assert_eq!((found.strong(), weak), plain_count(chorus, line, &comp));
        let clashes = &found.clashes;
        assert_eq!(
            found.strong(),
            0,
            "{} in {}, {palette}: {clashes:?}",
            chorus.title,
            chorus.key
        );
        for attack in &comp.attacks {
            let lowest = i16::from(attack.voicing.keys[0]);
            assert!(seams[attack.span].is_none_or(|seam| lowest >= seam));
        }
        all = all.and(found);
    }
    all
}

/// Whether to rate everything: minutes of work. Without it, each chart is rated at every other level and each
/// of these in four keys, so that every chart meets all twelve keys, and every key and palette all levels.
fn everything() -> bool {
    std::env::var_os("ENDPIN_EVERYTHING").is_some()
}

/// Half steps by which the lines of a case are moved.
fn keys_for(case: usize) -> impl Iterator<Item = i16> {
    let (first, step) = if everything() { (0, 1) } else { (case % 3, 3) };
    (-5..=6).skip(first).step_by(step)
}

#[test]
fn strong_beats_never_collide_whatever_the_palette() {
    let charts = scenarios();
    assert!(charts.len() >= 10, "at least ten charts");
    let cases: Vec<(usize, &Chart, u8)> = charts
        .iter()
        .enumerate()
        .flat_map(|(index, chart)| {
            (1..=6).map(move |level| (index + usize::from(level), chart, level))
        })
        .collect();
    let rated = cases
        .par_iter()
        .filter(|(case, ..)| everything() || case % 2 == 0)
        .map(|&(case, chart, level)| {
            let options = Options {
                level: Level::try_from(level).unwrap(),
                ..Options::default()
            };
            let walker = Walker::new(Plan::of(chart.chorus(), &options), options).unwrap();
            let seed = case as u64;
            let line = walker.line(seed, 1);
            let keys = keys_for(case).map(|half_steps| moved(chart, &line, half_steps));
            keys.map(|(chorus, line)| rate(&chorus, &line, seed))
                .fold(Collisions::default(), Collisions::and)
        });
    let total = rated.reduce(Collisions::default, Collisions::and);
    println!(
        "{} charts: {} pairs of notes rated; {} strong beats, {} collisions; {} weak beats, {} \
         brushed ({:.3} %)",
        charts.len(),
        total.rated,
        total.strong_beats,
        total.strong(),
        total.weak_beats,
        total.brushed,
        100.0 * total.brushed as f64 / total.weak_beats.max(1) as f64,
    );
    assert!(
        total.rated > 100_000,
        "too little was rated to prove anything"
    );
    // Issue: brushes under 3 % of weak beats. The comp lets go of a chord rather than brush.
    assert_eq!(total.brushed, 0, "weak beats are brushed");
}
