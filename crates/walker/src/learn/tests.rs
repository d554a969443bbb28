//! Learning against brute force, against itself, and against planted weights.

use super::*;
use crate::{
    Plan, Walker, options,
    rules::{Onset, Rule, Step},
    tastes::Taste,
};
use endpin_theory::{Chart, analyse};
use std::sync::Arc;

const BLUES: &str = "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | D7b9 | Gm7 | C7 | F7 D7 | Gm7 C7";

fn chorus_of(bars: &str, meter: &str) -> Chorus {
    let mut chart = Chart::from_bars(bars, meter.parse().unwrap()).unwrap();
    chart.key = endpin_theory::find_key(&chart.chorus().spans);
    chart.chorus()
}

fn add(learner: &mut Learner, chorus: &Chorus, range: (u8, u8), lines: &[crate::ChorusLine]) {
    let notes = lines.iter().flat_map(|line| &line.notes);
    let heard: Vec<Heard> = notes.map(Heard::from).collect();
    let understood = analyse(&chorus.spans, chorus.key);
    let choruses = lines.len() as u32;
    learner
        .add(chorus, &understood, range, &heard, choruses)
        .unwrap();
}

fn walker(chorus: &Chorus, level: Level, range: (u8, u8), weights: Weights) -> Walker {
    let options = Options {
        level,
        range,
        weights,
        arc: Some(options::Arc::Flat),
        // What is planted is the law of the weights alone.
        phrases: crate::Phrases::NONE,
        ..Options::default()
    };
    Walker::new(Plan::of(chorus.clone(), &options), options).unwrap()
}

fn level(number: u8) -> Level {
    number.try_into().unwrap()
}

/// Weights with some of them made so many times as great, by name.
fn changed(changes: &[(&str, f64)]) -> Weights {
    let mut weights = Weights::default();
    let names = weights.names();
    for (value, (path, name)) in weights.values_mut().into_iter().zip(names) {
        let name = format!("{path}.{name}");
        let change = changes.iter().find(|(changed, _)| *changed == name);
        let times = change.map_or(1.0, |(_, times)| *times);
        *value = (f64::from(*value) * times).round() as u32;
    }
    weights
}

/// All that a rule or taste read along a line: read one by one, with neither skeleton nor lattice.
struct ByHand {
    rules: Vec<Arc<dyn Rule>>,
    tastes: Vec<Arc<dyn Taste>>,
}

impl ByHand {
    /// What the tastes say along a line, if the rules let it pass; the first note is given.
    fn read(&self, onsets: &[Onset], keys: &[u8]) -> Option<Vec<u32>> {
        let mut rules = vec![0; self.rules.len()];
        let mut tastes = vec![0; self.tastes.len()];
        let mut stated = 0;
        let mut said = Vec::new();
        for (at, (onset, &key)) in onsets.iter().zip(keys).enumerate() {
            let step = Step {
                onset,
                from: at.checked_sub(1).map(|before| keys[before]),
                to: Some(key),
            };
            for (rule, memory) in self.rules.iter().zip(&mut rules) {
                if at > 0 && !rule.admits(onset, key) {
                    return None;
                }
                *memory = rule.read(*memory, &step)?;
            }
            for (taste, memory) in self.tastes.iter().zip(&mut tastes) {
                let (weight, after) = taste.weigh(*memory, &step);
                let statement = taste.statement(*memory, &step);
                *memory = after;
                if at > 0 {
                    said.push(weight);
                    said.push(taste.along(onset, key));
                    if statement > 0 {
                        said.push(taste.answer(stated, statement));
                        stated = statement;
                    }
                }
            }
        }
        Some(said)
    }
}

#[test]
fn what_is_expected_is_what_brute_force_finds() {
    let charts = [
        ("C7 F7", "4/4", 4, (36, 48)),
        ("Dm7 | G7", "2/4", 5, (33, 46)),
        ("Bbmaj7", "4/4", 5, (34, 48)),
        ("C / F /", "4/4", 4, (30, 44)),
    ];
    for (bars, meter, number, range) in charts {
        let chorus = chorus_of(bars, meter);
        let number = level(number);
        let line = walker(&chorus, number, range, Weights::default()).lines(3, 1, 2);
        let mut learner = Learner::new(number, Liberties::NONE);
        add(&mut learner, &chorus, range, &line);
        let model = Model::new(&learner.skeleton);
        // The first chorus, between its first note and that of the next.
        let stretch = &learner.stretches[0];
        let logarithms = logarithms(&Weights::default());
        let slope = model.slope(&model.sample(&[stretch]), &logarithms);
        let counts = model.sample(&[stretch]).counts;

        let layout = layout_of(&chorus, number, range);
        let mut onsets: Vec<Onset> = layout.slots.iter().map(|slot| slot.onset.clone()).collect();
        onsets.push(layout.before(&layout, false));
        let by_hand = |weights: &Weights| ByHand {
            rules: rules(Conditions::of(number)),
            tastes: tastes(weights, number),
        };
        let (weighing, naming) = (by_hand(&Weights::default()), by_hand(&numbered()));
        let first = line[0].notes[0].pitch.midi() as u8;
        let last = *stretch.keys.last().unwrap();
        let (mut total, mut expected) = (0.0, vec![0.0; counts.len()]);
        let mut lines = vec![vec![first]];
        for at in 1..onsets.len() {
            let keys = if at + 1 == onsets.len() {
                last..=last
            } else {
                range.0..=range.1
            };
            let longer = lines
                .iter()
                .flat_map(|line| keys.clone().map(move |key| [&line[..], &[key]].concat()));
            // What a rule forbids so far it forbids for ever.
            lines = longer
                .filter(|line| weighing.read(&onsets[..line.len()], line).is_some())
                .collect();
        }
        for line in &lines {
            let weight = weighing.read(&onsets, line).unwrap().into_iter();
            let weight: f64 = weight.map(f64::from).product();
            total += weight;
            for said in naming.read(&onsets, line).unwrap() {
                if said > 1 {
                    expected[said as usize - 2] += weight;
                }
            }
        }
        assert!(lines.len() > 10, "{bars}: {}", lines.len());
        for (at, sum) in expected.iter().enumerate() {
            let found = counts[at] - slope.slope[at];
            assert!((sum / total - found).abs() < 1e-9, "{bars} {at}: {found}");
        }
        let played = [&[first], &stretch.keys[..]].concat();
        let weight = weighing.read(&onsets, &played).unwrap().into_iter();
        let weight: f64 = weight.map(f64::from).product();
        assert!(((weight / total).ln() - slope.likelihood).abs() < 1e-9);
    }
}

fn layout_of(chorus: &Chorus, level: Level, range: (u8, u8)) -> Layout {
    let development = Development::plain(level);
    let options = Options {
        level,
        range,
        ..Options::default()
    };
    let next = chorus.spans[0].chord.as_ref();
    let next = next.map(|chord| chord.bass().chroma());
    Layout::new(chorus, development, &options, next)
}

/// A learner that has heard lines drawn with some weights.
fn taught(bars: &str, number: u8, weights: Weights, choruses: u32) -> Learner {
    let range = (28, 50);
    let chorus = chorus_of(bars, "4/4");
    let lines = walker(&chorus, level(number), range, weights).lines(5, 1, choruses);
    let mut learner = Learner::new(level(number), Liberties::NONE);
    add(&mut learner, &chorus, range, &lines);
    learner
}

#[test]
fn planted_weights_are_found() {
    let planted = changed(&[
        ("motion.second.repeated", 3.0),
        ("motion.last.third_down", 2.0),
        ("motion.medium.fourth_up", 0.5),
        ("approach.chromatic_above", 2.5),
        ("approach.dominant_below", 0.5),
        ("tone.second.root", 2.0),
        ("tone.medium.fifth", 2.0),
        ("contour.onward", 1.8),
        ("shape.as_before", 2.0),
        ("device.enclosure", 2.0),
    ]);
    let learner = taught(BLUES, 5, planted, 400);
    let learnt = learner.learn(&Weights::default(), Some(SPREAD)).unwrap();
    // Nothing drawn breaks a rule, so that every note is learnt from but the first of all and the last, which
    // nothing follows.
    assert!(learnt.used + 2 * 400 >= learnt.notes, "{}", learnt.used);
    let weights = planted;
    let names: Vec<String> = weights
        .names()
        .iter()
        .map(|(path, name)| format!("{path}.{name}"))
        .collect();
    let mut truth = planted;
    let truth: Vec<f64> = truth
        .values_mut()
        .iter()
        .map(|value| f64::from(**value))
        .collect();
    let mut first = 0;
    let (mut tried, mut near) = (0, 0);
    for (.., rows) in weights.tables() {
        let table_names = &names[first..first + rows.len()];
        // Proportions: against the mean of the logarithms of those that were heard often, weighted by how often.
        let often: Vec<(f64, f64, f64, &String)> = table_names
            .iter()
            .enumerate()
            .filter_map(|(at, name)| {
                let moved = learnt.moved.iter().find(|moved| moved.weight == *name)?;
                (moved.played >= 300.0)
                    .then(|| (moved.to.ln(), truth[first + at].ln(), moved.played, name))
            })
            .collect();
        first += rows.len();
        let all: f64 = often.iter().map(|(.., played, _)| played).sum();
        let mean = |of: fn(&(f64, f64, f64, &String)) -> f64| -> f64 {
            often.iter().map(|one| of(one) * one.2).sum::<f64>() / all
        };
        let (to, planted) = (mean(|one| one.0), mean(|one| one.1));
        for (found, wanted, played, name) in &often {
            let ratio = ((found - to) - (wanted - planted)).exp();
            // One in twenty may lie farther off by chance, being seldom used.
            assert!(
                (1.0 / 1.25..=1.25).contains(&ratio),
                "{name}: {ratio} of {played}"
            );
            near += usize::from((1.0 / 1.15..=1.15).contains(&ratio));
            tried += 1;
        }
    }
    assert!(tried > 40 && near * 20 >= tried * 19, "{near} of {tried}");
}

#[test]
fn at_the_end_what_is_expected_is_what_was_played() {
    let learner = taught(
        "Dm7 | G7",
        4,
        changed(&[("motion.last.third_up", 4.0)]),
        400,
    );
    let model = Model::new(&learner.skeleton);
    let all: Vec<&Stretch> = learner.stretches.iter().collect();
    let sample = model.sample(&all);
    let before = logarithms(&Weights::default());
    let fitted = fit(&model, &sample, (&before, None), &before, FLAT / 2.0);
    let slope = model.slope(&sample, &fitted).slope;
    // Notes a note: weights that were never used go to nought ever more slowly.
    let counts = &sample.counts;
    let notes: usize = all.iter().map(|stretch| stretch.notes).sum();
    for (at, slope) in slope.iter().enumerate() {
        let share = slope.abs() / notes as f64;
        assert!(share < 1e-6, "{at}: {slope} of {}", counts[at]);
    }
}

#[test]
fn each_step_of_learning_makes_the_lines_likelier() {
    let learner = taught(BLUES, 4, changed(&[("contour.turn", 4.0)]), 12);
    let model = Model::new(&learner.skeleton);
    let all: Vec<&Stretch> = learner.stretches.iter().collect();
    let all = model.sample(&all);
    let hill = |logarithms: &[f64]| {
        let slope = model.slope(&all, logarithms);
        Height {
            height: slope.likelihood,
            slope: slope.slope,
        }
    };
    let (_, heights) = climb(logarithms(&Weights::default()), 1e-3, hill);
    let rounding = 1e-12 * heights[0].abs();
    let falls = heights.windows(2).any(|pair| pair[1] < pair[0] - rounding);
    assert!(heights.len() > 10 && !falls, "{heights:?}");
    assert!(heights[heights.len() - 1] > heights[0] + 10.0);
}

#[test]
fn one_chorus_moves_little_and_many_move_much() {
    let planted = changed(&[("motion.second.repeated", 8.0)]);
    let moved = |choruses| {
        let learner = taught(BLUES, 4, planted, choruses);
        let learnt = learner.learn(&Weights::default(), Some(SPREAD)).unwrap();
        let moved = learnt.moved.iter();
        let mut found = moved.filter(|moved| moved.weight == "motion.second.repeated");
        let found = found.next().unwrap();
        (found.to / found.from).ln()
    };
    let (one, many) = (moved(2), moved(60));
    let whole = 8f64.ln();
    assert!(
        one > 0.0 && one < 0.5 * whole && many > 0.6 * whole,
        "{one} {many} of {whole}"
    );
}

#[test]
fn a_note_against_the_rules_is_cut_out() {
    let chorus = chorus_of(BLUES, "4/4");
    let range = (28, 55);
    let mut lines = walker(&chorus, level(4), range, Weights::default()).lines(2, 1, 2);
    let used = |lines: &[crate::ChorusLine]| {
        let mut learner = Learner::new(level(4), Liberties::NONE);
        add(&mut learner, &chorus, range, lines);
        learner
            .learn(&Weights::default(), Some(SPREAD))
            .unwrap()
            .used
    };
    let whole = used(&lines);
    // Where Bb7 arrives stands its seventh.
    let wrong = lines[0]
        .notes
        .iter_mut()
        .find(|note| note.bar == 2)
        .unwrap();
    wrong.pitch = "Ab2".parse().unwrap();
    let cut = used(&lines);
    assert!(cut < whole && cut + 4 >= whole, "{cut} of {whole}");
}

#[test]
fn manners_are_told_apart() {
    let manners = [
        changed(&[
            ("motion.second.repeated", 6.0),
            ("motion.last.repeated", 6.0),
            ("tone.second.root", 4.0),
        ]),
        changed(&[
            ("approach.chromatic_above", 5.0),
            ("approach.dominant_below", 0.2),
            ("contour.onward", 5.0),
        ]),
        changed(&[
            ("motion.medium.fourth_up", 8.0),
            ("motion.medium.fifth_down", 8.0),
            ("register.far_below", 5.0),
        ]),
    ];
    let chorus = chorus_of(BLUES, "4/4");
    let range = (28, 55);
    let learnt: Vec<Vec<f64>> = manners
        .iter()
        .map(|manner| {
            let walker = walker(&chorus, level(4), range, *manner);
            let mut learner = Learner::new(level(4), Liberties::NONE);
            add(&mut learner, &chorus, range, &walker.lines(1, 1, 30));
            let learnt = learner.learn(&Weights::default(), Some(SPREAD)).unwrap();
            logarithms(&learnt.weights)
        })
        .collect();
    let mut right = 0;
    for number in 0..102 {
        let walker = walker(&chorus, level(4), range, manners[number % 3]);
        let mut learner = Learner::new(level(4), Liberties::NONE);
        add(
            &mut learner,
            &chorus,
            range,
            &walker.lines(1000 + number as u64, 1, 1),
        );
        let model = Model::new(&learner.skeleton);
        let all: Vec<&Stretch> = learner.stretches.iter().collect();
        let all = model.sample(&all);
        let likelihood = |manner: &Vec<f64>| model.slope(&all, manner).likelihood;
        let likelihoods: Vec<f64> = learnt.iter().map(likelihood).collect();
        let best = (0..3).max_by(|&a, &b| likelihoods[a].total_cmp(&likelihoods[b]));
        right += usize::from(best == Some(number % 3));
    }
    assert!(right >= 97, "{right} of 102");
}

#[test]
fn only_proportions_within_a_table_matter() {
    for (number, feel) in [
        (1, None),
        (3, None),
        (4, None),
        (5, None),
        (6, None),
        (6, Some("broken")),
    ] {
        let chorus = chorus_of(
            "Cm7 F7 | Bbmaj7 | D7alt/C | Gm6 / / C7 | Dm7b5 | % | % | %",
            "4/4",
        );
        let lines = |weights| {
            let options = Options {
                level: level(number),
                feel: feel.map(|feel| feel.parse().unwrap()),
                weights,
                loose: Liberties::ALL,
                ..Options::default()
            };
            Walker::new(Plan::of(chorus.clone(), &options), options)
                .unwrap()
                .keys(7, 1, 12)
        };
        let usual = lines(Weights::default());
        let lengths: Vec<usize> = Weights::default()
            .tables()
            .iter()
            .map(|(.., rows)| rows.len())
            .collect();
        let mut first = 0;
        for length in lengths {
            let mut weights = Weights::default();
            for value in weights.values_mut().into_iter().skip(first).take(length) {
                *value *= 3;
            }
            let name = &weights.names()[first].0;
            assert_eq!(lines(weights), usual, "{name} at level {number} {feel:?}");
            first += length;
        }
    }
}
