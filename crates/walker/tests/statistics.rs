//! The lines of levels 4 and up against measured walking bass.
//!
//! Source of every bound: beat tracks of the Weimar Jazz Database (Jazzomat project), in the R package
//! `jazzodata` 0.1.4, as computed in `walking-bass-statistics.md` of the reference values. Players' errors of
//! estimation smear those figures, so they bound ours and are no targets.

use endpin_theory::Chart;
use endpin_walker::{Level, LineNote, Options, Plan, Role, Walker};

const BLUES: &str = include_str!("../../../scenarios/breakwater-blues.toml");
const AABA: &str = include_str!("../../../scenarios/herring-count.toml");

/// Shares measured over many lines.
#[derive(Default)]
struct Measured {
    moves: [f64; 25],
    up: f64,
    down: f64,
    keys: Vec<i16>,
    /// Chord tones and notes on each beat of 4/4.
    tones: [(f64, f64); 4],
    /// Approaches on beat 4 into a change on beat 1, by kind.
    approaches: Vec<Role>,
}

fn measure(level: u8) -> Measured {
    let mut measured = Measured::default();
    for text in [BLUES, AABA] {
        let chorus = Chart::parse(text).unwrap().chorus();
        let options = Options {
            level: Level::try_from(level).unwrap(),
            ..Options::default()
        };
        let walker = Walker::new(Plan::of(chorus, &options), options).unwrap();
        for seed in 0..100 {
            let lines = walker.lines(seed, 1, 3);
            let notes: Vec<&LineNote> = lines
                .iter()
                .flat_map(|line| &line.notes)
                .filter(|note| note.in_bar.0 % note.beat_length.0 == 0)
                .collect();
            notes
                .windows(2)
                .for_each(|pair| measured.pair(pair[0], pair[1]));
        }
    }
    measured
}

impl Measured {
    fn pair(&mut self, note: &LineNote, next: &LineNote) {
        let distance = next.pitch.midi() - note.pitch.midi();
        self.moves[usize::from(distance.unsigned_abs())] += 1.0;
        self.up += f64::from(u8::from(distance > 0));
        self.down += f64::from(u8::from(distance < 0));
        self.keys.push(note.pitch.midi());
        let beat = (note.beat() - 1.0) as usize;
        self.tones[beat].1 += 1.0;
        if note.role.is_chord_tone() {
            self.tones[beat].0 += 1.0;
        }
        let change = next.bar != note.bar && next.span != note.span;
        if beat == 3 && change {
            let distance = note.pitch.midi() - next.pitch.midi();
            self.approaches
                .extend(Role::single_approach(distance, true));
        }
    }

    fn moves_up_to(&self, semitones: usize) -> f64 {
        self.moves[..=semitones].iter().sum::<f64>() / self.moves.iter().sum::<f64>()
    }

    fn approach(&self, roles: &[Role]) -> f64 {
        let found = self.approaches.iter().filter(|role| roles.contains(role));
        found.count() as f64 / self.approaches.len() as f64
    }

    fn key_at(&self, percent: usize) -> i16 {
        let mut keys = self.keys.clone();
        keys.sort();
        keys[keys.len() * percent / 100]
    }

    fn table(&self) -> String {
        let total: f64 = self.moves.iter().sum();
        let share = |range: std::ops::RangeInclusive<usize>| {
            format!("{:.3}", self.moves[range].iter().sum::<f64>() / total)
        };
        let tones: Vec<String> = self
            .tones
            .iter()
            .map(|(a, b)| format!("{:.2}", a / b))
            .collect();
        format!(
            "repeated {} semitone {} whole {} thirds {} fourth {} tritone {} fifth {} 8-11 {} octave {}\n\
             up to 5: {:.3}, up to 7: {:.3}, up {:.3}, down {:.3}\n\
             approaches: below {:.3} above {:.3} whole below {:.3} above {:.3} dominant {:.3}\n\
             register {:?}, chord tones {tones:?}",
            share(0..=0),
            share(1..=1),
            share(2..=2),
            share(3..=4),
            share(5..=5),
            share(6..=6),
            share(7..=7),
            share(8..=11),
            share(12..=12),
            self.moves_up_to(5),
            self.moves_up_to(7),
            self.up / total,
            self.down / total,
            self.approach(&[Role::ChromaticBelow]),
            self.approach(&[Role::ChromaticAbove]),
            self.approach(&[Role::ScaleBelow]),
            self.approach(&[Role::ScaleAbove]),
            self.approach(&[Role::Dominant]),
            [1, 5, 50, 95, 99].map(|percent| self.key_at(percent)),
        )
    }
}

#[test]
fn levels_four_to_six_move_as_players_do() {
    for level in 4..=6 {
        let measured = measure(level);
        let table = measured.table();
        let within = |what: &str, found: f64, from: f64, to: f64| {
            let fits = (from..=to).contains(&found);
            assert!(
                fits,
                "level {level}: {what} {found}, wanted {from} to {to}\n{table}"
            );
        };
        // "At most five semitones .74 to .80; at most seven .86 to .89" of pairs, estimated by machine with
        // errors that widen moves: lower bounds.
        within("moves up to a fourth", measured.moves_up_to(5), 0.74, 1.0);
        within("moves up to a fifth", measured.moves_up_to(7), 0.86, 1.0);
        // "Repeated pitch 17 %", "octave 1.5 %" (twice that at level 5, which adds octave shifts; off-beat
        // notes of level 6 hide part of a move).
        within("repeats", measured.moves_up_to(0), 0.0, 0.17);
        within(
            "octaves",
            measured.moves_up_to(12) - measured.moves_up_to(11),
            0.005,
            0.06,
        );
        // "Up .43, down .41": both directions in use alike.
        let total: f64 = measured.moves.iter().sum();
        within(
            "up against down",
            (measured.up - measured.down) / total,
            -0.1,
            0.1,
        );
        // Beat 4 into a root: "semitone .42 (from below .23, from above .19), whole tone .14, fifth or
        // fourth .17"; of approaches alone, as here, that is .58, .19 and .23.
        let approach = |roles: &[Role]| measured.approach(roles);
        within(
            "from a semitone below",
            approach(&[Role::ChromaticBelow]),
            0.23,
            0.40,
        );
        within(
            "from a semitone above",
            approach(&[Role::ChromaticAbove]),
            0.19,
            0.33,
        );
        within(
            "by whole tone",
            approach(&[Role::ScaleBelow, Role::ScaleAbove]),
            0.14,
            0.30,
        );
        within("by dominant", approach(&[Role::Dominant]), 0.14, 0.26);
        // "Register: 1/5/50/95/99 % = MIDI 32/34/42/49/52", two semitones either way.
        for (percent, key) in [(1, 32), (5, 34), (50, 42), (95, 49), (99, 52)] {
            let found = f64::from(measured.key_at(percent));
            within(
                &format!("{percent} % of notes"),
                found,
                f64::from(key - 2),
                f64::from(key + 2),
            );
        }
        // "Chord tone on beat 1 / 2 / 3 / 4 ... ordered 1 > 3 > 2 and 4"; 1 and 3 are bound to it here.
        let [first, second, third, fourth] = measured.tones.map(|(tones, notes)| tones / notes);
        assert!(
            first >= third && third > second && third > fourth,
            "{table}"
        );
        within("chord tones on beat 2", second, 0.3, 0.7);
    }
}

/// Common practice, no source: a skip or a drop seldom comes alone, and phrases of four bars lead on in their last.
#[test]
fn off_beats_come_in_phrases() {
    let chorus = Chart::parse(BLUES).unwrap().chorus();
    let options = Options {
        level: Level::TOP,
        ..Options::default()
    };
    let walker = Walker::new(Plan::of(chorus, &options), options).unwrap();
    // Whether something is played off each weak beat, bar by bar.
    let mut lively: Vec<[bool; 2]> = Vec::new();
    for line in (0..100).flat_map(|seed| walker.lines(seed, 1, 3)) {
        let mut bars = [[false; 2]; 12];
        let off_beat = |note: &&LineNote| note.in_bar.0 % note.beat_length.0 != 0;
        for note in line.notes.iter().filter(off_beat) {
            let beat = note.in_bar.0 / note.beat_length.0;
            bars[note.bar as usize - 1][usize::from(beat == 3)] = true;
        }
        lively.extend(bars);
    }
    let share = |beats: &[bool]| {
        let found = beats.iter().filter(|lively| **lively).count();
        found as f64 / beats.len() as f64
    };
    let beats = lively.as_flattened();
    let after: Vec<bool> = beats
        .windows(2)
        .filter(|pair| pair[0])
        .map(|pair| pair[1])
        .collect();
    let (all, after) = (share(beats), share(&after));
    assert!(
        all > 0.1 && after > 1.4 * all,
        "of all {all}, after one {after}"
    );
    let bar_of_phrase = |number: usize| {
        let bars = lively.chunks(4).map(|phrase| phrase[number]);
        share(bars.collect::<Vec<_>>().as_flattened())
    };
    let (first, last) = (bar_of_phrase(0), bar_of_phrase(3));
    assert!(last > 1.3 * first, "first bars {first}, last {last}");
}
