//! The law of a chorus, given its scheme, against every line of small charts, listed and weighed by themselves.

use super::{
    form::Form,
    scheme::{Manner, Restatement, Scheme, Source},
    take_up::Taking,
};
use crate::{
    Arc, Options, Plan, Walker,
    lattice::{Listed, redraw::Path},
    phrases::Phrases,
};
use endpin_theory::{Chart, chart::Feel};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use std::{collections::BTreeMap, ops::Range};

const MOST: usize = 200_000;

struct Small {
    walker: Walker,
    beats: usize,
}

fn small(bars: &str, meter: &str, range: (u8, u8)) -> Small {
    let chart = Chart::from_bars(bars, meter.parse().unwrap()).unwrap();
    let options = Options {
        range,
        feel: Some(Feel::Four),
        arc: Some(Arc::Flat),
        phrases: Phrases::NONE,
        ..Options::default()
    };
    let plan = Plan::of(chart.chorus(), &options);
    Small {
        beats: chart.chorus().bars[0].meter.beats().into(),
        walker: Walker::new(plan, options).unwrap(),
    }
}

impl Small {
    /// All lines from an entry to an exit, the first key among them, with their weights.
    fn lines(&self, entry: usize, exit: usize) -> Vec<(Vec<u8>, f64)> {
        let link = &self.walker.links[0];
        let first = link.lattice().entries()[entry].key().unwrap();
        let listed = link.list(entry, MOST).unwrap().into_iter();
        let to_exit = listed.filter(|line| line.exit == exit);
        let with_first = |line: Listed| ([&[first], &*line.keys].concat(), line.weight);
        to_exit.map(with_first).collect()
    }

    /// The notes of a bar.
    fn bar<'a>(&self, keys: &'a [u8], bar: usize) -> &'a [u8] {
        &keys[bar * self.beats..(bar + 1) * self.beats]
    }
}

/// Draws held against probabilities: deviations of chi-square from what is to be expected of it.
fn deviation<K: Ord>(law: &BTreeMap<K, f64>, mut seen: BTreeMap<K, u32>, draws: u32) -> f64 {
    let total: f64 = law.values().sum();
    let (mut chi_square, mut freedom, mut rare) = (0.0, -1.0, (0.0, 0.0));
    for (line, weight) in law {
        let expected = weight / total * f64::from(draws);
        let found = f64::from(seen.remove(line).unwrap_or(0));
        if expected < 8.0 {
            rare = (rare.0 + expected, rare.1 + found);
            continue;
        }
        chi_square += (found - expected).powi(2) / expected;
        freedom += 1.0;
    }
    assert!(seen.is_empty(), "nothing else is drawn");
    if rare.0 > 1.0 {
        chi_square += (rare.1 - rare.0).powi(2) / rare.0;
        freedom += 1.0;
    }
    (chi_square - freedom) / (2.0f64 * freedom).sqrt()
}

#[test]
fn a_stretch_is_drawn_anew_by_the_exact_law() {
    for (bars, meter, range, stretch) in [
        ("C7 | F7", "3/4", (36, 50), 2..5),
        ("Dm7 | G7 | C6 | A7", "2/4", (33, 46), 1..7),
        ("C7 F7 | Gm7", "4/4", (34, 44), 3..8),
    ] {
        let small = small(bars, meter, range);
        let link = &small.walker.links[0];
        let lines = small.lines(0, 0);
        let (line, _) = &lines[lines.len() / 2];
        let path = Path::new(link.lattice(), link.along(), (0, 0), line.clone()).unwrap();
        // Whatever is asked, here of each key by itself and after the one before.
        let allows = |_: usize, from: u8, key: u8| key % 7 != 3 && from.abs_diff(key) < 9;
        let stretch: Range<usize> = stretch;
        let kept = |other: &[u8]| {
            let inside = stretch.clone();
            let mut places = 0..line.len();
            let agrees = places.all(|at| inside.contains(&at) || other[at] == line[at]);
            let mut inside = stretch.clone();
            agrees && inside.all(|at| allows(at, other[at - 1], other[at]))
        };
        let law: BTreeMap<Vec<u8>, f64> = lines
            .iter()
            .filter(|(other, _)| kept(other))
            .cloned()
            .collect();
        assert!(law.len() > 2, "{bars}: {}", law.len());
        let ways = path.ways(stretch.clone(), allows).unwrap();
        let mut seen: BTreeMap<Vec<u8>, u32> = BTreeMap::new();
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let draws = 20_000;
        for _ in 0..draws {
            let mut path = Path::new(link.lattice(), link.along(), (0, 0), line.clone()).unwrap();
            path.take(&ways, &mut rng);
            *seen.entry(path.into_keys()).or_default() += 1;
        }
        let deviation = deviation(&law, seen, draws);
        assert!(deviation.abs() < 5.0, "{bars}: {deviation}");
    }
}

/// The bars that may stand for a bar by its model, as a plain predicate on notes: roots and degrees by hand.
fn follows(
    manner: Manner,
    (bar, root): (&[u8], u8),
    (model, of): (&[u8], u8),
    upto: usize,
) -> bool {
    // Both chords of the charts below are plain dominants: numbers of the twelve keys above the root.
    const NUMBERS: [u8; 12] = [1, 0, 2, 0, 3, 4, 0, 5, 0, 6, 7, 0];
    let number = |key: u8, root: u8| NUMBERS[usize::from((key + 12 - root) % 12)];
    let kind = |from: u8, to: u8| {
        let move_ = i16::from(to) - i16::from(from);
        move_.signum()
            * if move_.abs() > 2 {
                2
            } else {
                move_.signum().abs()
            }
    };
    let up = (i16::from(root) - i16::from(of)).rem_euclid(12);
    let shifts = if up == 0 {
        vec![-12, 0, 12]
    } else {
        vec![up - 12, up]
    };
    match manner {
        Manner::Again => bar[..upto] == model[..upto],
        Manner::Degrees => shifts.into_iter().any(|shift| {
            (0..upto).all(|at| {
                let bent = i16::from(bar[at]) - i16::from(model[at]) - shift;
                let (ours, theirs) = (number(bar[at], root), number(model[at], of));
                bent == 0 || (bent.abs() <= 2 && ours == theirs && ours != 0)
            })
        }),
        Manner::Shape => {
            (1..upto).all(|at| kind(bar[at - 1], bar[at]) == kind(model[at - 1], model[at]))
        }
        Manner::Mirror => {
            (1..upto).all(|at| kind(bar[at - 1], bar[at]) == -kind(model[at - 1], model[at]))
        }
        Manner::Rhythm => true,
    }
}

#[test]
fn given_the_scheme_a_chorus_follows_the_exact_law() {
    // Every walked line, then every line that may come of it, with its own weight.
    for (manner, bars, roots, bar, model) in [
        (Manner::Degrees, "C7 | F7", [0u8, 5], 1, 0),
        (Manner::Shape, "C7 | F7", [0, 5], 1, 0),
        (Manner::Mirror, "C7 | F7", [0, 5], 1, 0),
        (Manner::Again, "C7 | C7", [0, 0], 1, 0),
    ] {
        let small = small(bars, "3/4", (36, 49));
        let link = &small.walker.links[0];
        let lines = small.lines(0, 0);
        let last = small.beats;
        let mut law: BTreeMap<Vec<u8>, f64> = BTreeMap::new();
        // The last beat of a bar before a change leads; within one chord it does not.
        let tiers = [last, last - 1];
        let total: f64 = lines.iter().map(|(_, weight)| weight).sum();
        for (walked, weight) in &lines {
            let from = (small.bar(walked, model), roots[model]);
            let rest = |other: &[u8]| {
                (0..walked.len()).all(|at| at / last == bar || other[at] == walked[at])
            };
            let come = tiers.iter().map(|&upto| {
                let lines = lines.iter().filter(|(other, _)| {
                    rest(other) && follows(manner, (small.bar(other, bar), roots[bar]), from, upto)
                });
                lines.collect::<Vec<_>>()
            });
            let come = come.into_iter().find(|lines| !lines.is_empty());
            let Some(come) = come else {
                *law.entry(walked.clone()).or_default() += weight / total;
                continue;
            };
            let of_those: f64 = come.iter().map(|(_, weight)| weight).sum();
            for (line, own) in come {
                *law.entry(line.clone()).or_default() += weight / total * own / of_those;
            }
        }
        let scheme = Scheme {
            restatements: vec![Restatement {
                bars: bar..bar + 1,
                of: Source {
                    before: false,
                    bar: model,
                },
                manner,
            }],
            redrawn: vec![false, true],
        };
        let form = Form::of(&link.layout, small.walker.plan().turns()[0].development);
        let mut seen: BTreeMap<Vec<u8>, u32> = BTreeMap::new();
        let mut rng = ChaCha8Rng::seed_from_u64(2);
        let draws = 30_000;
        let mut changed = 0;
        for _ in 0..draws {
            let mut keys = vec![link.first_key(0)];
            link.weights().draw(0, 0, &mut rng, &mut keys);
            let walked = keys.clone();
            let path = Path::new(link.lattice(), link.along(), (0, 0), keys).unwrap();
            let mut taking = Taking::new(link, &form, path);
            taking.follow(&scheme, None, &mut rng);
            let keys = taking.into_keys();
            changed += u32::from(keys != walked);
            *seen.entry(keys).or_default() += 1;
        }
        assert!(changed > draws / 20, "{manner:?}: {changed}");
        let deviation = deviation(&law, seen, draws);
        assert!(deviation.abs() < 5.0, "{manner:?}: {deviation}");
    }
}

#[test]
fn the_rest_of_a_line_is_at_most_as_likely_as_said() {
    // Brute force: the greatest probability of what any two bars of three leave, over all ends.
    let small = small("C7 | F7 | C7", "2/4", (36, 52));
    let link = &small.walker.links[0];
    let form = Form::of(&link.layout, small.walker.plan().turns()[0].development);
    let mut windows = super::scheme::windows(&form);
    let mut before = 0.0;
    for most in [1, 2] {
        windows[0].most = most;
        let mut greatest: f64 = 0.0;
        for entry in 0..link.lattice().entries().len() {
            let lines: Vec<(Vec<u8>, f64)> = (0..link.lattice().exits().len())
                .flat_map(|exit| small.lines(entry, exit))
                .collect();
            let total: f64 = lines.iter().map(|(_, weight)| weight).sum();
            for kept in [[0, 1], [0, 2], [1, 2], [0, 0], [1, 1], [2, 2]] {
                if most == 1 && kept[0] == kept[1] {
                    continue;
                }
                let mut rests: BTreeMap<Vec<u8>, f64> = BTreeMap::new();
                for (line, weight) in &lines {
                    let rest = [small.bar(line, kept[0]), small.bar(line, kept[1])].concat();
                    *rests.entry(rest).or_default() += weight / total;
                }
                greatest = rests.values().copied().fold(greatest, f64::max);
            }
        }
        let alive = vec![true; link.lattice().entries().len()];
        let exits = vec![true; link.lattice().exits().len()];
        let said = link
            .weights()
            .greatest_odds_of_rest(&windows, &alive, &exits);
        assert!(
            said >= greatest * (1.0 - 1e-12),
            "{most}: {said} below {greatest}"
        );
        assert!(said < 1.0 && said > before, "{most}: {said}");
        before = said;
    }
}
