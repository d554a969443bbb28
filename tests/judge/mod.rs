//! The judge hears what the walker plays: no line of the walker breaks a rule, and a fault planted in one is
//! found at its place and nowhere else.

mod faults;
mod takes;

use endpin_theory::{Chart, Chorus, analysis::analyse};
use endpin_walker::{
    ChorusLine, Development, Heard, Judge, Level, LineNote, Options, Plan, Role, Walker,
    line::layout::Layout,
};
use std::{fs, sync::OnceLock};

const RANGE: (u8, u8) = (28, 55);
/// The judge grants a few more frets, so that notes above the seam can be planted that a hand can play.
const GRANTED: (u8, u8) = (28, 64);

/// A chart, its judge, and lines of every level: the choruses joined and the ending.
struct Case {
    name: &'static str,
    judge: Judge,
    lines: Vec<(u8, Vec<LineNote>)>,
    /// The onsets of a chorus.
    layout: Layout,
}

const CHORUSES: u32 = 2;

/// A blues, two beats a chord, three and five beats a bar, slash basses and a pedal, silences, broken time.
const CHARTS: [&str; 7] = [
    "breakwater-blues",
    "herring-count",
    "pilot-boat-waltz",
    "five-bollards",
    "foghorn-point",
    "net-menders-break",
    "half-tide-slack-rope",
];

fn cases() -> &'static [Case] {
    static CASES: OnceLock<Vec<Case>> = OnceLock::new();
    CASES.get_or_init(|| {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../scenarios");
        CHARTS
            .into_iter()
            .map(|name| {
                let text = fs::read_to_string(format!("{folder}/{name}.toml")).unwrap();
                case(name, Chart::parse(&text).unwrap().chorus())
            })
            .collect()
    })
}

fn case(name: &'static str, chorus: Chorus) -> Case {
    let understood = analyse(&chorus.spans, chorus.key);
    let lines = (1..=6)
        .flat_map(|number| {
            let options = Options {
                level: Level::try_from(number).unwrap(),
                range: RANGE,
                ..Options::default()
            };
            let plan = Plan::of(chorus.clone(), &options);
            let walker = Walker::new(plan, options).unwrap();
            (1..=3).map(move |seed| {
                let choruses = walker.lines(seed, 1, CHORUSES);
                let ending = walker.ending(seed, choruses.last().unwrap());
                let notes = choruses.into_iter().flat_map(|line: ChorusLine| line.notes);
                (number, notes.chain([ending]).collect::<Vec<LineNote>>())
            })
        })
        .collect();
    Case {
        name,
        layout: layout(&chorus),
        judge: Judge::new(chorus, &understood, GRANTED),
        lines,
    }
}

fn layout(chorus: &Chorus) -> Layout {
    let development = Development {
        loose: endpin_walker::Liberties::NONE,
        ..Development::plain(Level::TOP)
    };
    let next = chorus.spans[0]
        .chord
        .as_ref()
        .map(|chord| chord.bass().chroma());
    Layout::new(chorus, development, &Options::default(), next)
}

fn heard(line: &[LineNote]) -> Vec<Heard> {
    line.iter()
        .map(|note| Heard {
            chorus: note.chorus,
            start: note.start,
            length: note.length,
            key: note.pitch.midi() as u8,
        })
        .collect()
}

#[test]
fn no_line_of_the_walker_breaks_a_rule() {
    for case in cases() {
        for (level, line) in &case.lines {
            let verdicts = case.judge.judge(&heard(line), CHORUSES).verdicts;
            for (note, verdict) in line.iter().zip(&verdicts) {
                assert!(
                    verdict.broken.is_empty(),
                    "{} at level {level}, chorus {}: {note} breaks {:?}: {}",
                    case.name,
                    note.chorus,
                    verdict.broken,
                    verdict.why
                );
                assert_eq!(
                    (i64::from(note.bar), note.beat(), note.beats()),
                    (verdict.bar, verdict.beat, verdict.beats)
                );
                assert_eq!(note.pitch.midi(), verdict.pitch.midi());
                assert_eq!(note.strength, verdict.strength, "{} {note}", case.name);
                assert_eq!(note.chord, verdict.chord);
            }
        }
    }
}

#[test]
fn judge_and_walker_name_the_same_parts() {
    // The walker knows what it meant, the judge only what he hears; they differ on few notes.
    let (mut same, mut all) = (0, 0);
    for case in cases() {
        for (_, line) in case.lines.iter().filter(|(level, _)| *level <= 4) {
            let verdicts = case.judge.judge(&heard(line), CHORUSES).verdicts;
            for (note, verdict) in line.iter().zip(&verdicts) {
                all += 1;
                let is_same = Some(note.role) == verdict.role && note.pitch == verdict.pitch;
                same += usize::from(is_same);
                if note.role.is_chord_tone() && note.role != Role::Root {
                    assert_eq!(Some(note.role), verdict.role, "{}: {note}", case.name);
                }
            }
        }
    }
    println!("{same} of {all} notes are named alike");
    assert!(same * 1000 >= all * 995, "{same} of {all}");
}
