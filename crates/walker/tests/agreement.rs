//! Lattice, judge and oracle accept the same lines: of each small chart every line of the range is tried.

use endpin_theory::chart::Feel;
use endpin_walker::{Hand, Instrument, Judge, Options};
use rayon::prelude::*;
use std::collections::BTreeSet;

#[path = "support/oracle.rs"]
#[allow(dead_code)]
mod oracle;

use oracle::Small;

/// What a chart is tried with.
struct Try {
    bars: &'static str,
    meter: &'static str,
    level: u8,
    feel: Option<Feel>,
    range: (u8, u8),
    /// Names of the notes that may be played; none: all.
    notes: &'static [&'static str],
    pins: &'static [&'static str],
    rests: &'static [&'static str],
    hand: Hand,
}

const fn chart(bars: &'static str, meter: &'static str, level: u8, range: (u8, u8)) -> Try {
    Try {
        bars,
        meter,
        level,
        feel: Some(Feel::Four),
        range,
        notes: &[],
        pins: &[],
        rests: &[],
        hand: Hand {
            instrument: Instrument::BASS,
            quarter: None,
        },
    }
}

const fn feel(feel: Option<Feel>, of: Try) -> Try {
    Try { feel, ..of }
}

const fn notes(notes: &'static [&'static str], of: Try) -> Try {
    Try { notes, ..of }
}

const fn pins(pins: &'static [&'static str], of: Try) -> Try {
    Try { pins, ..of }
}

const fn rests(rests: &'static [&'static str], of: Try) -> Try {
    Try { rests, ..of }
}

const fn hurried(instrument: Instrument, quarter: u32, of: Try) -> Try {
    let quarter = Some(quarter);
    Try {
        hand: Hand {
            instrument,
            quarter,
        },
        ..of
    }
}

const TWO: Option<Feel> = Some(Feel::Two);
const BROKEN: Option<Feel> = Some(Feel::Broken);
const PEDAL: Option<Feel> = Some(Feel::Pedal);
const FIVE_STRING: Instrument = Instrument::ALL[1];
const DOUBLE_BASS: Instrument = Instrument::ALL[2];

/// Over two octaves and more, only so many notes that every line can be tried.
const TRIES: &[Try] = &[
    chart("C7 | F7", "2/4", 3, (34, 45)),
    chart("C7 | F7", "2/4", 4, (34, 45)),
    chart("Dm7 | G7", "2/4", 5, (33, 44)),
    chart("Dm7 G7", "2/4", 4, (28, 55)),
    notes(&["C", "D", "Eb", "G"], chart("Cm6 | %", "2/4", 4, (28, 52))),
    notes(&["C", "Db", "E", "F"], chart("C7 | F7", "2/4", 6, (36, 46))),
    chart("Am7", "3/4", 4, (28, 50)),
    chart("Am7", "3/4", 5, (30, 53)),
    chart("Gm7b5 / C7alt", "3/4", 5, (31, 53)),
    chart("F7sus4", "3/4", 4, (29, 51)),
    notes(&["C#", "D", "F"], chart("Dm7", "3/4", 6, (37, 43))),
    feel(
        TWO,
        notes(
            &["G", "B", "C#", "D", "F#"],
            chart("G / D7", "3/4", 6, (31, 43)),
        ),
    ),
    chart("C7 F7", "4/4", 4, (36, 46)),
    chart("C7 F7", "4/4", 3, (35, 45)),
    chart("Bbmaj7", "4/4", 4, (33, 43)),
    chart("Bbmaj7", "4/4", 5, (34, 44)),
    notes(
        &["D", "F", "Ab", "Db", "C"],
        chart("Fdim7", "4/4", 4, (28, 53)),
    ),
    chart("C/E", "4/4", 4, (28, 38)),
    chart("Bb/C", "4/4", 5, (34, 44)),
    chart("F / / C7", "4/4", 4, (29, 39)),
    chart("C7 / N.C. /", "4/4", 4, (24, 55)),
    chart("N.C. / F7 /", "4/4", 5, (24, 55)),
    chart("C7 / / N.C.", "4/4", 5, (28, 50)),
    pins(&["1.3=E2"], chart("C7", "4/4", 4, (28, 48))),
    pins(&["1.2=Bb1", "1.4=B1"], chart("Cm7", "4/4", 5, (24, 55))),
    pins(
        &["1.1=A1"],
        rests(&["1.2"], chart("Am7", "4/4", 5, (28, 50))),
    ),
    rests(&["1.3"], chart("C7 F7", "4/4", 5, (31, 53))),
    rests(&["1.1"], chart("Dm7b5", "4/4", 4, (28, 50))),
    feel(None, chart("C / F /", "4/4", 1, (28, 38))),
    feel(None, chart("C6 / F/A /", "4/4", 1, (28, 39))),
    feel(None, chart("F#m / / B7", "4/4", 2, (30, 40))),
    feel(
        TWO,
        notes(
            &["D", "F#", "G", "A"],
            chart("Dm7 | G7", "4/4", 4, (38, 48)),
        ),
    ),
    feel(
        TWO,
        notes(
            &["Eb", "G", "Ab", "D"],
            chart("Ebmaj7 | Ab6", "4/4", 5, (32, 43)),
        ),
    ),
    feel(TWO, chart("C / F7 G7", "4/4", 3, (28, 38))),
    feel(BROKEN, chart("Gm7", "4/4", 4, (31, 41))),
    feel(BROKEN, chart("C7 F7", "4/4", 5, (35, 45))),
    feel(
        BROKEN,
        notes(&["D", "F", "C#"], chart("Dm7", "3/4", 6, (37, 43))),
    ),
    feel(
        PEDAL,
        notes(&["Eb", "Ab"], chart("Eb7sus4 | Ab/Eb", "4/4", 4, (38, 52))),
    ),
    feel(
        PEDAL,
        notes(&["G", "Eb", "F"], chart("Eb / F7 /", "4/4", 6, (29, 44))),
    ),
    feel(
        PEDAL,
        notes(&["C", "D", "G"], chart("C | Dm7/C", "3/4", 1, (36, 48))),
    ),
    feel(Some(Feel::Bossa), chart("C7 | F7", "2/4", 4, (31, 46))),
    feel(Some(Feel::Bossa), chart("Dm7b5 G7", "4/4", 6, (31, 43))),
    feel(
        Some(Feel::Shuffle),
        notes(&["C", "Db", "E", "F"], chart("C7 | F7", "2/4", 4, (36, 46))),
    ),
    feel(
        Some(Feel::Shuffle),
        notes(&["G", "B", "D"], chart("G7", "4/4", 6, (31, 43))),
    ),
    feel(
        Some(Feel::HalfTime),
        chart("C7 F7 | Gm7", "4/4", 4, (34, 44)),
    ),
    feel(Some(Feel::HalfTime), chart("C7 | F7", "4/4", 5, (33, 45))),
    feel(
        Some(Feel::DoubleTime),
        notes(&["C", "Db", "E", "F"], chart("C7 | F7", "2/4", 5, (36, 46))),
    ),
    notes(&["C", "Db", "E", "F"], chart("C7 | F7", "6/8", 3, (36, 46))),
    notes(&["C", "E", "G"], chart("C7", "12/8", 6, (36, 46))),
    notes(
        &["Eb", "G", "Ab", "D"],
        chart("Eb6 / / Ab7sus4 /", "5/4", 3, (32, 44)),
    ),
    chart("Fdim7", "5/4", 4, (29, 35)),
    notes(&["C", "D", "Eb", "F"], chart("Fm7", "5/4", 5, (29, 48))),
    notes(
        &["C", "E", "Db", "F"],
        chart("C7 / / F / /", "6/4", 4, (36, 49)),
    ),
    feel(TWO, chart("Am7b5 / / D7b9 / /", "6/4", 4, (33, 43))),
    notes(&["G", "F#", "A"], chart("G7", "7/4", 5, (31, 43))),
    feel(
        TWO,
        notes(
            &["G", "A", "D", "C#", "Ab"],
            chart("G7 / / / D7 / /", "7/4", 4, (32, 45)),
        ),
    ),
    hurried(Instrument::BASS, 70_000, chart("Am7", "3/4", 5, (33, 55))),
    hurried(
        Instrument::BASS,
        70_000,
        notes(&["C", "Db", "E", "F"], chart("C7 | F7", "2/4", 4, (28, 53))),
    ),
    hurried(DOUBLE_BASS, 75_000, chart("Am7", "3/4", 5, (28, 50))),
    hurried(
        DOUBLE_BASS,
        80_000,
        notes(&["C", "E", "F", "G"], chart("C7 F7", "4/4", 4, (28, 50))),
    ),
    hurried(
        FIVE_STRING,
        60_000,
        notes(&["D", "A", "G", "F"], chart("Dm7 | G7", "2/4", 4, (24, 50))),
    ),
    hurried(FIVE_STRING, 65_000, chart("Cmaj7", "3/4", 4, (33, 55))),
    hurried(
        DOUBLE_BASS,
        90_000,
        feel(BROKEN, chart("Fmaj7", "3/4", 5, (29, 50))),
    ),
    notes(&["C", "D", "A"], chart("Dm7", "3/4", 6, (36, 48))),
];

const NAMES: [&str; 12] = [
    "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
];

impl Try {
    fn small(&self) -> Small {
        let chroma = |name: &&str| name.parse::<endpin_theory::NoteName>().unwrap().chroma();
        let played: Vec<u8> = self.notes.iter().map(chroma).collect();
        let avoided = |name: &&&str| !played.is_empty() && !played.contains(&chroma(name));
        let options = Options {
            level: self.level.try_into().unwrap(),
            feel: self.feel,
            range: self.range,
            hand: self.hand,
            avoid: NAMES
                .iter()
                .filter(avoided)
                .map(|name| name.parse().unwrap())
                .collect(),
            pins: self.pins.iter().map(|pin| pin.parse().unwrap()).collect(),
            rests: self
                .rests
                .iter()
                .map(|rest| rest.parse().unwrap())
                .collect(),
            ..Options::default()
        };
        Small::new(self.bars, self.meter, options)
    }

    /// A row of the table.
    fn agree(&self) -> String {
        let small = self.small();
        let feel = small
            .options
            .feel
            .map_or("of its level".to_owned(), |feel| feel.to_string());
        let name = format!(
            "{} in {}, {feel}, level {}",
            self.bars, self.meter, self.level
        );
        let judge = Judge::as_asked(small.chorus.clone(), &small.options, Vec::new()).unwrap();
        let nexts = small.nexts();
        let judged = |line: &[u8], next| {
            let broken = judge.broken(&small.heard(line, next), 2);
            broken.iter().all(Vec::is_empty)
        };
        let mut tried = 0;
        let mut accepted = BTreeSet::new();
        for line in small.tried() {
            tried += 1;
            assert!(tried <= 100_000, "{name}: too many lines to try");
            let mut is_good = false;
            for &next in &nexts {
                let obeys = small.obeys(&line, next);
                assert_eq!(
                    judged(&line, next),
                    obeys,
                    "{name}: {line:?} {next}, judged and as the oracle says"
                );
                is_good |= obeys;
            }
            if is_good {
                accepted.insert(line);
            }
        }
        // Every chart here has lines that go on for ever, or there would be no walker.
        let walker = small.walker();
        let listed: BTreeSet<Vec<u8>> = walker.list(1 << 20).unwrap().into_iter().collect();
        let mut apart = listed.symmetric_difference(&accepted);
        assert_eq!(apart.next(), None, "{name}: listed or accepted, not both");
        assert_eq!(walker.count(), accepted.len().into(), "{name}");
        let hurry = self.hand.quarter.map_or(String::new(), |quarter| {
            let mut unhurried = self.small();
            unhurried.options.hand = Hand::default();
            let beats = 60_000_000 / quarter;
            let more = unhurried.all().len() - accepted.len();
            format!(
                "{} at {beats} beats a minute, {more} too fast",
                self.hand.instrument
            )
        });
        format!("{name:<50} {tried:>8} {:>8}  {hurry}", accepted.len())
    }
}

#[test]
fn lattice_judge_and_oracle_accept_the_same_lines() {
    assert!(TRIES.len() >= 40);
    let table: Vec<String> = TRIES.par_iter().map(Try::agree).collect();
    println!("{:<50} {:>8} {:>8}", "chart", "tried", "accepted");
    table.iter().for_each(|row| println!("{row}"));
    let count = |part: &str| table.iter().filter(|row| row.contains(part)).count();
    assert_eq!(count(" 0  "), 0, "every chart has a line");
    assert!(
        count(" too fast") - count(" 0 too fast") >= 4,
        "the hand is in a hurry"
    );
}
