//! Laws of the comp over charts drawn at random, with lines that keep the rules of strong beats and little
//! else: whatever a walker may play, the comp has to stay out of its way.

use endpin::{
    performance::{
        arrangement::{ArrangeOptions, MadeChorus, arrange},
        score::{PartName, Score, ScoreNote},
    },
    players::{
        collisions,
        comp::{ChorusComp, CompOptions, comp, comping::Comping, seams, voicing::low_limit},
        drums::TimeKeeping,
        swing::Swing,
    },
};
use endpin_theory::{
    Chart, Chord, Chorus, Degree, Meter, NoteName, Palette, Scale, ScaleKind, Strength, Ticks,
};
use endpin_walker::{ChorusLine, Level, LineNote, Options, Plan, Role};
use proptest::prelude::*;
use std::collections::BTreeMap;

const SUFFIXES: [&str; 26] = [
    "7", "7b9", "7#9", "7#11", "13", "9", "7alt", "7#5", "7b5", "11", "m7", "m9", "m6", "m",
    "mMaj7", "m11", "maj7", "maj9", "6", "69", "", "m7b5", "dim7", "dim", "aug", "9sus4",
];
const ROOTS: [&str; 12] = [
    "C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
];

/// A bar of a random chart: its chords.
type DrawnBar = Vec<(usize, usize)>;

fn drawn_bars() -> impl Strategy<Value = Vec<DrawnBar>> {
    let chord = (0..ROOTS.len(), 0..SUFFIXES.len());
    prop::collection::vec(prop::collection::vec(chord, 1..3), 1..13)
}

fn meters() -> impl Strategy<Value = Meter> {
    prop::sample::select(vec!["4/4", "3/4", "5/4", "7/4", "2/2", "6/8", "2/4", "6/4"])
        .prop_map(|meter| meter.parse().unwrap())
}

/// The chart of these bars; two chords a bar need a `/` where they do not share it evenly.
fn chorus(bars: &[DrawnBar], meter: &Meter) -> Chorus {
    let beats = usize::from(meter.beats());
    let bars: Vec<String> = bars
        .iter()
        .map(|bar| {
            let symbols: Vec<String> = bar
                .iter()
                .map(|&(root, suffix)| format!("{}{}", ROOTS[root], SUFFIXES[suffix]))
                .collect();
            match &symbols[..] {
                [one, two] if beats % 2 != 0 => format!("{one} {}{two}", "/ ".repeat(beats - 2)),
                _ => symbols.join(" "),
            }
        })
        .collect();
    Chart::from_bars(&bars.join(" | "), meter.clone())
        .unwrap()
        .chorus()
}

/// A scale that a chord may be understood in, by a number: the major scale of one of the twelve tonics.
fn scales(chorus: &Chorus, salt: usize) -> Vec<Option<Scale>> {
    let of = |index: usize, chord: &Chord| {
        let tonic: NoteName = ROOTS[(usize::from(chord.root().chroma()) + index + salt) % 12]
            .parse()
            .unwrap();
        Scale::new(tonic, ScaleKind::Major)
    };
    let spans = chorus.spans.iter().enumerate();
    spans
        .map(|(index, span)| span.chord.as_ref().map(|chord| of(index, chord)))
        .collect()
}

/// A line of beats (or of half bars) whose strong beats hold chord tones below the seam and whose weak beats
/// hold anything, drawn from `dice`.
fn line(chorus: &Chorus, dice: &[u16], in_two: bool) -> ChorusLine {
    let mut notes: Vec<LineNote> = Vec::new();
    let mut root_key = 40;
    for beat in 0..chorus.beats() {
        let bar = chorus.bar_at(beat);
        let index = chorus.span_at(beat);
        let chord = chorus.spans[index].chord.as_ref().unwrap();
        let die = i16::try_from(dice[beat % dice.len()] % 1000).unwrap();
        let root = i16::from(chord.root().chroma());
        let is_arrival = chorus.is_arrival(beat);
        let strength = chorus.strength(beat);
        if in_two && strength == Strength::Weak && die % 3 > 0 {
            if let Some(note) = notes.last_mut() {
                note.length += bar.meter.beat_ticks();
            }
            continue;
        }
        let key = if is_arrival {
            root_key = 28 + (root - 28).rem_euclid(12) + 12 * (die % 2);
            root_key
        } else if strength != Strength::Weak {
            let tones = chord.chord_tones();
            let tone = tones[usize::try_from(die).unwrap() % tones.len()].degree;
            let key = root_key + tone.interval().semitones();
            // At or below the seam: the seventh above the root that was sounded.
            if key > root_key + i16::from(chord.seventh()) {
                key - 12
            } else {
                key
            }
        } else {
            (root_key - 6 + die % 15).max(28)
        };
        let name = ROOTS[usize::try_from(key.rem_euclid(12)).unwrap()]
            .parse::<NoteName>()
            .unwrap();
        let in_bar = bar.meter.beat_ticks() * i64::try_from(beat - bar.first_beat).unwrap();
        notes.push(LineNote {
            liberty: None,
            chorus: 1,
            bar: bar.number,
            start: bar.start + in_bar,
            in_bar,
            beat_length: bar.meter.beat_ticks(),
            length: bar.meter.beat_ticks(),
            pitch: name.at_midi(key).unwrap(),
            span: Some(index),
            chord: chorus.spans[index].symbol.clone(),
            degree: Degree::new(1, 0),
            role: Role::Root,
            approach: None,
            strength,
            ghost: false,
            why: String::new(),
        });
    }
    ChorusLine {
        chorus: 1,
        notes,
        phrases: Vec::new(),
    }
}

/// Everything that a comp must keep whatever was drawn.
fn check(chorus: &Chorus, line: &ChorusLine, comp: &ChorusComp) -> Result<(), TestCaseError> {
    let seams = seams(chorus, line);
    for attack in &comp.attacks {
        let span = &chorus.spans[attack.span];
        let chord = span.chord.as_ref().unwrap();
        let keys = &attack.voicing.keys;
        let end = attack.start + attack.length;

        prop_assert!((2..=4).contains(&keys.len()));
        prop_assert!(keys.windows(2).all(|pair| pair[0] < pair[1]));
        prop_assert!(*keys.last().unwrap() <= 81, "top above A5");
        for pair in keys.windows(2) {
            let limit = low_limit(i16::from(pair[1] - pair[0]));
            prop_assert!(i16::from(pair[0]) >= limit, "{} too low", attack.voicing);
        }
        for &key in keys {
            prop_assert_ne!(
                key % 12,
                chord.root().chroma(),
                "a root in {} of {}",
                attack.voicing,
                chord
            );
        }
        for (tone, &key) in attack.voicing.tones.iter().zip(keys) {
            let semitones = tone.interval().semitones();
            prop_assert_eq!(
                (i16::from(chord.root().chroma()) + semitones).rem_euclid(12),
                i16::from(key % 12)
            );
        }
        let has = |text: &str| chord.has(text.parse().unwrap());
        let plain_fifth = attack.voicing.tones.contains(&Degree::new(5, 0));
        let seventh_chord = (has("b3") && has("b7")) || (has("3") && has("7"));
        prop_assert!(
            !plain_fifth || (keys.len() == 4 && seventh_chord && !chord.is_dominant()),
            "a fifth in {} of {chord}",
            attack.voicing
        );

        // Above the seam of every span in which it sounds.
        for (index, other) in chorus.spans.iter().enumerate() {
            let from = chorus.ticks_at(other.start);
            let until = chorus.ticks_at(other.start + other.beats);
            if from < end && until > attack.start {
                let sounds_there =
                    index == attack.span || (attack.anticipates && index + 1 == attack.span);
                prop_assert!(
                    sounds_there,
                    "{} is held into another chord",
                    attack.voicing
                );
                prop_assert!(i16::from(keys[0]) >= seams[index].unwrap());
            }
        }
        let arrival = chorus.ticks_at(span.start);
        prop_assert_eq!(attack.anticipates, attack.start < arrival);
        prop_assert!(end > arrival, "an anticipation is held past its arrival");
        // What the symbol alters, no palette takes away.
        for (written, natural) in [("b9", "9"), ("#9", "9"), ("#5", "13"), ("b13", "13")] {
            let natural: Degree = natural.parse().unwrap();
            prop_assert!(
                !has(written) || chord.has(natural) || !attack.voicing.tones.contains(&natural)
            );
        }
    }
    let starts: Vec<Ticks> = comp.attacks.iter().map(|attack| attack.start).collect();
    prop_assert!(starts.windows(2).all(|pair| pair[0] < pair[1]));
    for pair in comp.attacks.windows(2) {
        prop_assert!(pair[0].start + pair[0].length <= pair[1].start);
    }

    let rated = collisions::rate(chorus, line, comp);
    prop_assert_eq!(rated.strong(), 0, "{:?}", rated.clashes);
    Ok(())
}

/// Places of each bar's attacks.
fn rhythms(chorus: &Chorus, comp: &ChorusComp) -> Vec<Vec<Ticks>> {
    let mut rhythms = vec![Vec::new(); chorus.bars.len()];
    for attack in &comp.attacks {
        rhythms[attack.bar as usize - 1].push(attack.in_bar);
    }
    rhythms
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, max_shrink_iters: 200, ..ProptestConfig::default() })]

    #[test]
    fn the_comp_keeps_its_laws(
        bars in drawn_bars(),
        meter in meters(),
        dice in prop::collection::vec(any::<u16>(), 48),
        in_two: bool,
        seed in 0u64..1000,
        density in 0.0f64..=1.0,
        palette in prop::option::of(prop::sample::select(Palette::ALL.to_vec())),
        comping in prop::sample::select(Comping::ALL[..5].to_vec()),
    ) {
        let chorus = chorus(&bars, &meter);
        let line = line(&chorus, &dice, in_two);
        let scales = scales(&chorus, seed as usize);
        let options = CompOptions { seed, density, palette, comping };
        let comped = comp(&chorus, &scales, &line, &options);
        check(&chorus, &line, &comped)?;
        prop_assert_eq!(&comped, &comp(&chorus, &scales, &line, &options), "the same seed, another comp");

        // Not three bars running alike, nor across a join with any other chorus.
        let rhythms = rhythms(&chorus, &comped);
        prop_assert!(rhythms.windows(3).all(|three| three[0] != three[1] || three[1] != three[2]));
        if let [first, second, .., before, last] = &rhythms[..] {
            prop_assert!(first != second && before != last);
        }
    }

    #[test]
    fn what_is_performed_is_in_order_and_ends_on_the_bar_line(
        bars in drawn_bars(),
        meter in meters(),
        dice in prop::collection::vec(any::<u16>(), 48),
        seed in 0u64..1000,
        tempo in 20.0f64..300.0,
        human in 0.0f64..=1.0,
        straight: bool,
        keeping in prop::sample::select(vec!["auto", "ride", "brushes", "cross-stick", "click", "click-2-4"]),
        count_in in 0u32..3,
        trade in prop::option::of(1u32..5),
        level in 1u8..=6,
    ) {
        let mut chorus = chorus(&bars, &meter);
        for bar in &mut chorus.bars {
            bar.tempo = tempo;
        }
        let line = line(&chorus, &dice, false);
        let comp = comp(&chorus, &scales(&chorus, 0), &line, &CompOptions { seed, ..CompOptions::default() });
        let options = ArrangeOptions {
            seed,
            human,
            swing: if straight { Swing::Straight } else { Swing::ByTempo },
            keeping: keeping.parse::<TimeKeeping>().unwrap(),
            count_in,
            trade,
            ..ArrangeOptions::default()
        };
        let asked = Options { level: Level::try_from(level).unwrap(), ..Options::default() };
        let development = Plan::of(chorus.clone(), &asked).turns()[0].development;
        let made = MadeChorus { chorus: &chorus, development, line: &line, comp: &comp };
        let score = arrange(&[made, made], None, &options);
        let counted = meter.bar_ticks() * i64::from(count_in);
        prop_assert_eq!(score.end, counted + chorus.length() * 2);
        performed(&score)?;
        // A chorus arranged alone, as live playing does, sounds as it does among others.
        let alone = arrange(&[made], None, &ArrangeOptions { count_in: 0, ..options.clone() });
        for part in &alone.parts {
            let origin = counted + chorus.length();
            let among: Vec<ScoreNote> = score
                .part(part.name)
                .into_iter()
                .flat_map(|part| &part.notes)
                .filter(|note| note.start >= origin)
                .map(|note| ScoreNote { start: note.start - origin, ..*note })
                .collect();
            prop_assert_eq!(&part.notes, &among);
        }
        // What was clear on paper is clear when played.
        if trade.is_none() {
            let clashes = performed_clashes(&score, &chorus, &comp, counted);
            prop_assert_eq!(clashes, collisions::rate(&chorus, &line, &comp).clashes.len());
        }
    }
}

/// Every note has a length, no two of one key overlap, all is over at the end.
fn performed(score: &Score) -> Result<(), TestCaseError> {
    for part in &score.parts {
        let mut released: BTreeMap<u8, Ticks> = BTreeMap::new();
        let mut last = Ticks::ZERO;
        for note in &part.notes {
            prop_assert!(note.start >= last && note.length > Ticks::ZERO);
            last = note.start;
            let before = released.insert(note.key, note.end());
            prop_assert!(before.is_none_or(|end| end <= note.start));
            prop_assert!(note.end() <= score.end);
            prop_assert!((1..=127).contains(&note.velocity));
        }
        if part.name == PartName::Bass {
            prop_assert!(
                part.notes
                    .windows(2)
                    .all(|pair| pair[0].end() <= pair[1].start)
            );
        }
    }
    prop_assert!(
        score
            .conductor
            .windows(2)
            .all(|pair| pair[0].0 <= pair[1].0)
    );
    Ok(())
}

/// Collisions between performed bass and comp notes of the first chorus, each pair once.
fn performed_clashes(score: &Score, chorus: &Chorus, comp: &ChorusComp, from: Ticks) -> usize {
    let notes = |name| score.part(name).map_or(&[][..], |part| &part.notes[..]);
    let until = from + chorus.length();
    let mut clashes = 0;
    for high in notes(PartName::Comp)
        .iter()
        .filter(|note| note.start >= from && note.start < until)
    {
        // The attack whose note this is: the last that has this key and is not later than half a beat after.
        let reach = Ticks(480);
        let attack = comp.attacks.iter().rev().find(|attack| {
            attack.start + from <= high.start + reach && attack.voicing.keys.contains(&high.key)
        });
        let Some(chord) = attack.and_then(|attack| chorus.spans[attack.span].chord.as_ref()) else {
            continue;
        };
        for low in notes(PartName::Bass) {
            let together = low.start < high.end() && high.start < low.end();
            if together && collisions::collides(i16::from(low.key), i16::from(high.key), chord) {
                clashes += 1;
            }
        }
    }
    clashes
}

#[test]
fn attacks_a_bar_follow_the_density() {
    let meter: Meter = "4/4".parse().unwrap();
    let bars: Vec<DrawnBar> = (0..12).map(|bar| vec![(bar % 12, 0)]).collect();
    let chorus = chorus(&bars, &meter);
    let dice: Vec<u16> = (0..48).map(|beat| beat * 131).collect();
    let line = line(&chorus, &dice, false);
    let rate = |density: f64| {
        let attacks: usize = (0..40)
            .map(|seed| {
                let options = CompOptions {
                    seed,
                    density,
                    palette: None,
                    ..CompOptions::default()
                };
                comp(&chorus, &scales(&chorus, 0), &line, &options)
                    .attacks
                    .len()
            })
            .sum();
        attacks as f64 / (40.0 * 12.0)
    };
    let rates: Vec<f64> = [0.0, 0.25, 0.5, 0.75, 1.0].map(rate).to_vec();
    println!("attacks a bar at density 0, 1/4, 1/2, 3/4, 1: {rates:.2?}");
    assert!(rates.windows(2).all(|pair| pair[0] < pair[1]), "{rates:?}");
    // A sparse comp: 1 to 2 attacks a bar on average (common practice, no source).
    assert!((1.0..=2.0).contains(&rates[2]), "{rates:?}");
}

#[test]
fn palettes_colour_dominants_and_nothing_else() {
    let meter: Meter = "4/4".parse().unwrap();
    // Cm7, F7, Bbmaj7, C7b9.
    let bars: Vec<DrawnBar> = vec![vec![(0, 10)], vec![(5, 0)], vec![(10, 16)], vec![(0, 1)]];
    let chorus = chorus(&bars, &meter);
    let line = line(&chorus, &[7; 48], false);
    let tones = |palette: Palette| -> BTreeMap<String, Vec<String>> {
        let mut tones: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for seed in 0..40 {
            let options = CompOptions {
                seed,
                density: 1.0,
                palette: Some(palette),
                ..CompOptions::default()
            };
            for attack in comp(&chorus, &scales(&chorus, 5), &line, &options).attacks {
                let symbol = chorus.spans[attack.span].symbol.clone();
                let of_chord = tones.entry(symbol).or_default();
                of_chord.extend(attack.voicing.tones.iter().map(Degree::to_string));
            }
        }
        for of_chord in tones.values_mut() {
            of_chord.sort();
            of_chord.dedup();
        }
        tones
    };
    let f7 = |palette| tones(palette)["F7"].clone();
    assert_eq!(f7(Palette::Plain), ["13", "3", "9", "b7"]);
    assert_eq!(f7(Palette::Altered), ["#9", "3", "b13", "b7", "b9"]);
    assert_eq!(
        f7(Palette::Diminished),
        ["#11", "#9", "13", "3", "b7", "b9"]
    );
    for palette in [Palette::Altered, Palette::Diminished] {
        assert_eq!(tones(palette)["Cm7"], tones(Palette::Plain)["Cm7"]);
        assert_eq!(tones(palette)["Bbmaj7"], tones(Palette::Plain)["Bbmaj7"]);
        // The written flat ninth wins over the palette's sharp one.
        assert!(!tones(palette)["C7b9"].contains(&"#9".to_owned()));
    }
    assert!(tones(Palette::Plain)["C7b9"].contains(&"b9".to_owned()));
    assert!(!tones(Palette::Plain)["C7b9"].contains(&"9".to_owned()));
}

#[test]
fn each_kind_of_comp_plays_its_own_voicings() {
    let meter: Meter = "4/4".parse().unwrap();
    // Cm7, F7, Bbmaj7, C7b9, Am7b5, Dm6.
    let bars: Vec<DrawnBar> = [(0, 10), (5, 0), (10, 16), (0, 1), (9, 21), (2, 12)]
        .map(|chord| vec![chord])
        .to_vec();
    let chorus = chorus(&bars, &meter);
    let line = line(&chorus, &[7; 48], false);
    let played = |comping: Comping| -> Vec<String> {
        let of_seed = |seed| {
            let options = CompOptions {
                seed,
                comping,
                ..CompOptions::default()
            };
            comp(&chorus, &scales(&chorus, 5), &line, &options).attacks
        };
        (0..40)
            .flat_map(of_seed)
            .map(|attack| attack.voicing.kind.to_string())
            .collect()
    };
    let share = |kinds: &[String], kind: &str| {
        kinds.iter().filter(|other| *other == kind).count() as f64 / kinds.len() as f64
    };
    assert_eq!(share(&played(Comping::GuideTones), "shell"), 1.0);
    let rootless = share(&played(Comping::Rootless), "rootless");
    let open = share(&played(Comping::DropTwo), "drop-2");
    println!("four notes: rootless {rootless:.2}, drop-2 {open:.2}");
    assert!(rootless > 0.6 && open > 0.6);
    assert!(played(Comping::None).is_empty());
}

#[test]
fn a_chorus_of_comping_has_phrases_rests_and_pushes() {
    // Common practice, no source: a rhythm comes back within a phrase more often than across one, a comp rests a
    // bar in several, and no chorus is comped as the one before.
    let meter: Meter = "4/4".parse().unwrap();
    let bars: Vec<DrawnBar> = (0..12).map(|bar| vec![(bar * 5 % 12, 0)]).collect();
    let chorus = chorus(&bars, &meter);
    let dice: Vec<u16> = (0..48).map(|beat| beat * 131).collect();
    let line = line(&chorus, &dice, false);
    let choruses: Vec<Vec<Vec<Ticks>>> = (0..200)
        .map(|seed| {
            let options = CompOptions {
                seed,
                ..CompOptions::default()
            };
            rhythms(
                &chorus,
                &comp(&chorus, &scales(&chorus, 0), &line, &options),
            )
        })
        .collect();
    let among = |is: &dyn Fn(&[Vec<Ticks>], usize) -> bool, bars: &[usize]| {
        let all = choruses
            .iter()
            .flat_map(|chorus| bars.iter().map(move |&bar| is(chorus, bar)));
        let found: Vec<bool> = all.collect();
        found.iter().filter(|is| **is).count() as f64 / found.len() as f64
    };
    let returns: &dyn Fn(&[Vec<Ticks>], usize) -> bool =
        &|chorus, bar| chorus[bar] == chorus[bar - 2] && !chorus[bar].is_empty();
    let (within, across) = (among(returns, &[2, 6, 10]), among(returns, &[4, 8]));
    let rests = among(
        &|chorus, bar| chorus[bar].is_empty(),
        &(0..12).collect::<Vec<_>>(),
    );
    let alike = choruses
        .windows(2)
        .filter(|pair| pair[0] == pair[1])
        .count();
    println!("returns within {within:.2}, across {across:.2}, rests {rests:.2}");
    assert!(within > 2.0 * across && within > 0.2);
    assert!((0.05..0.3).contains(&rests) && alike == 0);
}
