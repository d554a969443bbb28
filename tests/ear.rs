//! Ear questions over the scenarios: what may not differ between answers, and what a set promises.

use endpin::outputs::ear::{
    Ask, Maker, Question, QuestionKind,
    drill::Drill,
    export,
    record::{Entry, Record},
    sound::{With, score},
};
use endpin::performance::score::Score;
use endpin_theory::Chart;
use endpin_walker::Level;
use proptest::prelude::*;
use std::{collections::BTreeSet, fs, path::Path};

fn chart(name: &str) -> Chart {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../../scenarios/{name}.toml"));
    Chart::parse(&fs::read_to_string(path).unwrap()).unwrap()
}

fn ask(charts: &[&str], kinds: &[QuestionKind], count: usize, seed: u64) -> Ask {
    Ask {
        charts: charts.iter().map(|name| chart(name)).collect(),
        tonics: Vec::new(),
        kinds: kinds.to_vec(),
        count,
        seed,
        level: Level::DOMINANTS,
        range: (28, 55),
        tempo: None,
        with: With {
            comp: true,
            time: true,
        },
    }
}

/// All of a score but the keys of bass and comp.
fn without_keys(mut score: Score) -> Score {
    for part in &mut score.parts {
        for note in &mut part.notes {
            if part.channel != 9 {
                note.key = 0;
            }
        }
        part.notes
            .sort_by_key(|note| (note.start, note.length, note.velocity));
    }
    score
}

/// Two answers to one question, dealt the same setting, give scores that differ in keys only, and files of
/// one size. This is the property that keeps the key: everything else of a question is the same for all its
/// answers.
#[test]
fn answers_differ_in_their_keys_only() {
    for kind in QuestionKind::ALL {
        let ask = ask(&["breakwater-blues"], &[kind], 1, 1);
        let maker = Maker::new(&ask).unwrap();
        let answers = maker.choices(kind).len();
        for index in 0..12 {
            let written: Vec<Question> = (0..answers)
                .map(|answer| maker.one(kind, answer, index).unwrap())
                .collect();
            let plain: Vec<Score> = written
                .iter()
                .map(|question| {
                    without_keys(score(
                        question.kind,
                        &question.variant,
                        &question.playing,
                        false,
                    ))
                })
                .collect();
            let sizes: BTreeSet<usize> = written
                .iter()
                .map(|question| export::midi(question).len())
                .collect();
            let answers: BTreeSet<&String> = written
                .iter()
                .map(|question| &question.variant.answer)
                .collect();
            let difficulties: BTreeSet<u32> =
                written.iter().map(|question| question.difficulty).collect();
            assert!(
                plain.windows(2).all(|pair| pair[0] == pair[1]),
                "{kind} {index}"
            );
            assert!(
                sizes.len() <= 1 && difficulties.len() <= 1,
                "{kind} {index}: {sizes:?} {difficulties:?}"
            );
            assert_eq!(answers.len(), written.len(), "{kind} {index}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn sets_are_balanced_distinct_and_come_again(seed: u64, count in 1usize..90) {
        let ask = ask(&["breakwater-blues", "customs-house-corner"], &QuestionKind::ALL, count, seed);
        let set = Maker::new(&ask).unwrap().set().unwrap();
        prop_assert_eq!(set.len(), count);
        prop_assert_eq!(&Maker::new(&ask).unwrap().set().unwrap(), &set);
        let within_one = |often: &[usize]| {
            often.iter().max().zip(often.iter().min()).is_none_or(|(most, least)| most - least <= 1)
        };
        let of_kind = |kind: QuestionKind| set.iter().filter(move |question| question.kind == kind);
        prop_assert!(within_one(&QuestionKind::ALL.map(|kind| of_kind(kind).count())));
        for kind in QuestionKind::ALL {
            if let Some(first) = of_kind(kind).next() {
                let often: Vec<usize> = first.choices.iter()
                    .map(|choice| of_kind(kind).filter(|question| question.variant.answer == choice.answer).count())
                    .collect();
                prop_assert!(within_one(&often), "{} {:?}", kind, often);
            }
        }
        let files: BTreeSet<Vec<u8>> = set.iter().map(export::midi).collect();
        prop_assert_eq!(files.len(), count);
        prop_assert!(set.is_sorted_by_key(|question| (question.difficulty, question.number)));
    }
}

/// Whatever the chart, every kind that it has a place for is asked, and no other.
#[test]
fn every_scenario_has_questions() {
    for name in [
        "pilot-boat-waltz",
        "five-bollards",
        "seven-stones-out",
        "foghorn-point",
        "net-menders-break",
    ] {
        let mut ask = ask(&[name], &QuestionKind::ALL, 30, 3);
        ask.kinds = Maker::new(&ask).unwrap().possible();
        assert!(ask.kinds.len() >= 5, "{name}: {:?}", ask.kinds);
        assert_eq!(Maker::new(&ask).unwrap().set().unwrap().len(), 30, "{name}");
    }
}

#[test]
fn a_drill_asks_more_often_what_is_weak() {
    let folder = tempfile::tempdir().unwrap();
    let mut record = Record::open(&folder.path().join("ear.jsonl")).unwrap();
    let kinds = [QuestionKind::ChordTone];
    for (number, answer) in ["root", "third", "fifth", "seventh"]
        .iter()
        .cycle()
        .take(40)
        .enumerate()
    {
        let right = *answer != "fifth";
        record
            .add(Entry {
                at: 1_000 + number as u64,
                kind: "chord-tone".into(),
                answer: (*answer).into(),
                given: if right { *answer } else { "third" }.into(),
                right,
            })
            .unwrap();
    }
    let ask = ask(&["breakwater-blues"], &kinds, 1, 5);
    let mut drill = Drill::new(Maker::new(&ask).unwrap(), 5, record).unwrap();
    let mut asked = Vec::new();
    for _ in 0..24 {
        let question = drill.next(2_000).unwrap();
        // Always right: the fifth grows stronger, and is still asked most.
        let given = question.variant.answer.clone();
        assert!(drill.answer(&question, &given, 2_000).unwrap());
        asked.push(given);
    }
    let fifths = asked.iter().filter(|answer| *answer == "fifth").count();
    assert!(fifths > 10, "{fifths} of 24: {asked:?}");
    let again = Record::open(&folder.path().join("ear.jsonl")).unwrap();
    assert_eq!(again.entries().len(), 64);
    let fifth = drill
        .progress(2_000)
        .into_iter()
        .find(|topic| topic.topic == "chord-tone: fifth")
        .unwrap();
    assert_eq!(fifth.asked as usize, 10 + fifths);
}
