use super::*;
use proptest::prelude::*;
use std::collections::BTreeSet;

fn chart(key: &str, bars: &str) -> Chart {
    let mut chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
    chart.key = key.parse().unwrap();
    chart
}

fn bars_of(chart: &Chart) -> String {
    let text = chart.to_string();
    let lines = text.lines().filter(|line| line.starts_with('|'));
    lines.collect::<Vec<_>>().join("").replace("||", "|")
}

/// Takes a step wherever it is possible at all, and gives the first that has this name.
fn the_step(key: &str, bars: &str, way: Toward, name: &str) -> Option<Substitution> {
    possible(&chart(key, bars), way, &[])
        .into_iter()
        .find(|change| change.name == name)
}

const BLUES: &str = "F7 | % | % | % | Bb7 | % | F7 | % | C7 | Bb7 | F7 | C7";

/// One row of the table after the other, each on a chart that asks for it. Common practice, no source.
#[test]
fn every_row_does_what_it_says() {
    let rows = [
        ("C", "Cmaj7 | % | G7 | Cmaj7", "a ii before a V", "Dm7 G7"),
        (
            "C minor",
            "Cm6 | % | G7 | Cm6",
            "a ii before a V",
            "Dm7b5 G7",
        ),
        ("F", BLUES, "ii-V in the place of V-IV", "Gm7 C7"),
        ("F", BLUES, "the quick change", "Bb7"),
        (
            "C",
            "Cmaj7 | Dm7 | G7 | Cmaj7",
            "a V before a chord",
            "A7b9",
        ),
        (
            "F",
            BLUES,
            "the quick ii-V into the fourth degree",
            "Cm7 F7",
        ),
        ("F", BLUES, "a passing diminished chord", "Bdim7"),
        (
            "C",
            "Cmaj7 | Dm7 | G7 | Cmaj7",
            "a passing diminished chord",
            "C#dim7",
        ),
        (
            "C",
            "Dm7 G7 | Em7 | Dm7 G7 | C6",
            "a passing diminished chord",
            "Ebdim7",
        ),
        ("F", BLUES, "a turnaround", "F7 D7 Gm7 C7"),
        (
            "C",
            "C6 | F6 | C6 | A7 | Dm7 | G7",
            "iii in the place of I",
            "Em7",
        ),
        (
            "C",
            "Cmaj7 | Fmaj7 | Cmaj7 | %",
            "the minor subdominant",
            "Fm6",
        ),
        ("C", "Cmaj7 | Fm6 | Cmaj7 | %", "the backdoor", "Fm7 Bb7"),
        ("E", "F#m7 | B7 | Emaj7 | %", "a tritone substitute", "F7"),
        (
            "F",
            "F6 | % | Am7 D7 | Gm7 | C7 | F6",
            "ii-Vs falling by half steps",
            "Am7 D7 Abm7 Db7",
        ),
        (
            "F",
            BLUES,
            "ii-Vs falling by whole steps",
            "Em7b5 A7 Dm7 G7 Cm7 F7",
        ),
        (
            "F",
            "F7 | Em7b5 A7 | Dm7 G7 | Cm7 F7 | Bb7 | % | F7 | % | C7 | Bb7 | F7 | C7",
            "a major seventh on I",
            "Fmaj7",
        ),
        ("C", "Dm7 | G7 | Cmaj7 | %", "an altered dominant", "G7alt"),
        (
            "C",
            "Dm7 | G7 | Cmaj7 | %",
            "keys a major third apart",
            "Dm7 Eb7 Abmaj7 B7 Emaj7 G7",
        ),
        ("C", "Dm7 | G7alt | Cmaj7 | %", "a plain dominant", "G7"),
        (
            "C",
            "Cmaj7 | Fm7 Bb7 | Cmaj7 | %",
            "the backdoor closed",
            "Fm7",
        ),
        (
            "C",
            "Fmaj7 | Fm6 | Cmaj7 | %",
            "the major subdominant",
            "Fmaj7",
        ),
        (
            "C",
            "Cmaj7 | Fm6 | Cmaj7 | %",
            "the major subdominant",
            "Fmaj7",
        ),
        (
            "C",
            "C6 C#dim7 | Dm7 | G7 | C6",
            "no passing diminished chord",
            "C6",
        ),
        (
            "C",
            "C6 | Abm7 Db7 | C6 | %",
            "a substitute without its ii",
            "Db7",
        ),
        (
            "C",
            "Dm7 | Db7 | Cmaj7 | %",
            "V in the place of its tritone substitute",
            "G7",
        ),
        ("C", "C6 | Dm7 G7 | C6 | %", "V without its ii", "G7"),
        (
            "C",
            "C6 | Em7 A7 | Dm7 G7 | C6",
            "I in the place of iii",
            "Cmaj7",
        ),
        (
            "C",
            "Cmaj7 A7 | Dm7 | G7 | Cmaj7",
            "no V before a chord",
            "Cmaj7",
        ),
        (
            "F",
            &BLUES.replacen("%", "Bb7", 1).replacen("%", "F7", 1),
            "no quick change",
            "F7",
        ),
        ("C", "C6 | Am7 | Dm7 G7 | C6", "I in the place of vi", "C6"),
    ];
    let mut seen = BTreeSet::new();
    for (key, bars, name, is) in rows {
        let ways = [Toward::Richer, Toward::Plainer];
        let changes = ways
            .map(|way| possible(&chart(key, bars), way, &[]))
            .concat();
        let named: Vec<&Substitution> = changes
            .iter()
            .filter(|change| change.name == name)
            .collect();
        let found: Vec<String> = named.iter().map(|change| change.is.join(" ")).collect();
        assert!(
            found.iter().any(|found| found == is),
            "{name} in {bars}: {found:?}"
        );
        seen.insert(name);
    }
    let all: BTreeSet<&str> = [Toward::Richer, Toward::Plainer]
        .into_iter()
        .flat_map(Toward::table)
        .map(|(name, _)| name)
        .collect();
    assert_eq!(seen, all);
}

/// Where the conditions do not hold.
#[test]
fn rows_keep_to_their_conditions() {
    for (key, bars, name) in [
        ("C", "Cmaj7 | Dm7 | G7 | Cmaj7", "a ii before a V"),
        (
            "C",
            "F7 | Bb7 | F7 | % | Bb7 | % | F7 | %",
            "the quick change",
        ),
        ("C", "Cmaj7 | N.C. | Dm7 | G7", "a V before a chord"),
        ("C", "Dm7 | G7 | Am7 | %", "a tritone substitute"),
        ("C", "Fmaj7 | G7 | Cmaj7 | %", "the minor subdominant"),
        ("C", "Dm7 | G7 | Cmaj7 | F6", "a turnaround"),
        (
            "C minor",
            "Dm7b5 | G7 | Cm6 | %",
            "keys a major third apart",
        ),
    ] {
        assert_eq!(
            the_step(key, bars, Toward::Richer, name),
            None,
            "{name} in {bars}"
        );
    }
}

#[test]
fn a_blues_in_twelve_steps() {
    let start = chart("F", BLUES);
    let mut ladder = Ladder::new(start.clone(), Toward::Richer, &[]);
    let names: Vec<&str> = (0..12)
        .map(|_| ladder.step(|count| 7 % count).unwrap().substitution.name)
        .collect();
    assert_eq!(
        names,
        [
            "a ii before a V",
            "ii-V in the place of V-IV",
            "the quick change",
            "a V before a chord",
            "the quick ii-V into the fourth degree",
            "a passing diminished chord",
            "the minor subdominant",
            "the backdoor",
            "a tritone substitute",
            "ii-Vs falling by whole steps",
            "a major seventh on I",
            "an altered dominant",
        ]
    );
    assert_eq!(
        bars_of(ladder.chart()),
        "| Fmaj7 | Em7b5 A7 | Dm7 G7b9 | Cm7 F7 | Bb7 | Bbm7 Eb7 | F7 | F7 | Gm7 | C7 | F7 D7b9 | Gm7 Gb7 |"
    );
    // And back to three chords.
    let mut back = Ladder::new(ladder.chart().clone(), Toward::Plainer, &[]);
    let steps = std::iter::from_fn(|| back.step(|_| 0)).count();
    assert!(steps > 10);
    let roots: BTreeSet<String> = back
        .chart()
        .chorus()
        .spans
        .into_iter()
        .map(|span| span.chord.unwrap().root().to_string())
        .collect();
    assert_eq!(roots.into_iter().collect::<Vec<_>>(), ["Bb", "C", "F"]);
}

#[test]
fn kept_beats_are_read() {
    assert_eq!("3.1".parse(), Ok(KeptBeat { bar: 3, beat: 1 }));
    for bad in ["", "3", "0.1", "3.0", "3.x", "-1.2"] {
        assert!(bad.parse::<KeptBeat>().is_err(), "{bad}");
    }
    let error = "3,1".parse::<KeptBeat>().unwrap_err().to_string();
    assert_eq!(
        error,
        "\"3,1\" is not a beat; write bar and beat, each counted from 1, such as \"3.1\""
    );
}

#[test]
fn guide_tones_are_told() {
    let change = the_step(
        "C",
        "Dm7 | G7 | Cmaj7 | %",
        Toward::Richer,
        "a tritone substitute",
    )
    .unwrap();
    // Third and seventh stay, under their new names.
    assert!(change.moved.is_empty());
    let stayed: Vec<String> = change.stayed.iter().map(ToString::to_string).collect();
    assert_eq!(stayed, ["F", "Cb"]);
    let change = the_step(
        "C",
        "Cmaj7 | % | G7 | Cmaj7",
        Toward::Richer,
        "a ii before a V",
    )
    .unwrap();
    let moved: Vec<String> = change
        .moved
        .iter()
        .map(|(a, b)| format!("{a}-{b}"))
        .collect();
    assert_eq!(
        (moved.join(" "), change.stayed[0].to_string()),
        ("B-C".into(), "F".into())
    );
}

#[test]
fn a_section_changes_in_all_its_plays() {
    let chart = Chart::parse(
        r#"
title = "Three Doors"
key = "C"
form = "A B A"
[section.A]
bars = "| Cmaj7 | A7 |"
endings = ["| Dm7 | G7 |", "| Dm7 | G7 |"]
[section.B]
bars = "| Em7 | A7 | Dm7 | G7 |"
"#,
    )
    .unwrap();
    for change in possible(&chart, Toward::Richer, &[]) {
        let changed = change.applied(&chart).chorus();
        let first: Vec<String> = changed
            .spans
            .iter()
            .map(|span| span.symbol.clone())
            .collect();
        assert_eq!(changed.bars.len(), 12);
        // The body of A is one place: what is changed in its first play is changed in the second.
        let body = |bar: u32| -> Vec<String> {
            let (from, to) = (4 * (bar as usize - 1), 4 * bar as usize + 4);
            (from..to)
                .map(|beat| changed.spans[changed.span_at(beat)].symbol.clone())
                .collect()
        };
        assert_eq!(body(1), body(9), "{} {first:?}", change.name);
    }
}

/// Bars of functional harmony in C, and odd ones between them.
fn tune() -> impl Strategy<Value = String> {
    let bar = prop::sample::select(vec![
        "Cmaj7",
        "C6",
        "C7",
        "Dm7",
        "Dm7 G7",
        "G7",
        "A7",
        "Em7 A7",
        "Fmaj7",
        "F7",
        "Fm6",
        "Am7",
        "Em7",
        "Gm7 C7",
        "D7",
        "Db7",
        "F#dim7",
        "N.C.",
        "%",
        "Cm6",
        "Dm7b5",
        "Bb7",
        "Cmaj7 A7",
        "C7 / / G7",
        "Ebm7 Ab7",
    ]);
    prop::collection::vec(bar, 1..14).prop_map(|bars| format!("C6 | {}", bars.join(" | ")))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(120))]

    #[test]
    fn every_step_keeps_its_promises(
        bars in tune(),
        plainer in any::<bool>(),
        choices in prop::collection::vec(0usize..1000, 1..10),
        kept_bar in 1u32..14,
        kept_beat in 1u32..=4,
    ) {
        let way = if plainer { Toward::Plainer } else { Toward::Richer };
        let start = chart("C", &bars);
        let kept = KeptBeat { bar: kept_bar, beat: kept_beat };
        let beat = (kept_bar as usize - 1) * 4 + kept_beat as usize - 1;
        let mut ladder = Ladder::new(start.clone(), way, &[kept]);
        let sounding = |chart: &Chart| {
            let chorus = chart.chorus();
            (beat < chorus.beats()).then(|| chorus.spans[chorus.span_at(beat)].symbol.clone())
        };
        for choice in choices {
            let before = ladder.chart().clone();
            let Some(step) = ladder.step(|count| choice % count) else { break };
            // It reads back from its print, and what it was before comes back.
            prop_assert_eq!(&Chart::parse(&step.chart.to_string()).unwrap(), &step.chart);
            prop_assert_eq!(&step.undone(), &before);
            prop_assert_ne!(&step.chart, &before);
            // The form stands, no chord is shorter than a beat, silences stay.
            let (old, new) = (before.chorus(), step.chart.chorus());
            prop_assert_eq!(old.beats(), new.beats());
            prop_assert_eq!(old.bars.len(), new.bars.len());
            prop_assert!(new.spans.iter().all(|span| span.beats >= 1));
            for beat in 0..old.beats() {
                let silent = |chorus: &crate::Chorus| chorus.spans[chorus.span_at(beat)].chord.is_none();
                prop_assert_eq!(silent(&old), silent(&new));
            }
            prop_assert_eq!(sounding(&step.chart), sounding(&start));
            // Two sentences; what changed is told as it stands in the chart.
            prop_assert_eq!(step.substitution.why.matches(". ").count(), 1, "{}", step.substitution.why);
            let open = step.substitution.why.contains(['{', '}']);
            prop_assert!(step.substitution.why.ends_with('.') && !open);
            prop_assert!(step.offered >= 1 && step.possible >= step.offered);
            let at = new.bars[step.substitution.bar as usize - 1].first_beat + step.substitution.beat as usize - 1;
            prop_assert_eq!(&new.spans[new.span_at(at)].symbol, &step.substitution.is[0]);
            prop_assert_eq!(&old.spans[old.span_at(at)].symbol, &step.substitution.was[0]);
        }
    }

    /// The way back comes to an end.
    #[test]
    fn the_plain_frame_is_reached(bars in tune()) {
        let mut ladder = Ladder::new(chart("C", &bars), Toward::Plainer, &[]);
        let steps = std::iter::from_fn(|| ladder.step(|_| 0)).take(200).count();
        prop_assert!(steps < 200);
        prop_assert_eq!(possible(ladder.chart(), Toward::Plainer, &[]).len(), 0);
    }

    #[test]
    fn other_meters_are_kept(semitone in 0i16..12, choice in 0usize..100) {
        let by = crate::Interval::new((semitone * 7 + 6) / 12, semitone);
        let mut waltz = Chart::from_bars("Cmaj7 | A7 | Dm7 | G7 | Fmaj7 | Fm6 | Cmaj7 | %", "3/4".parse().unwrap()).unwrap();
        waltz.key = "C".parse().unwrap();
        let key = crate::Key { tonic: waltz.key.tonic + by, ..waltz.key }.simplest();
        let mut ladder = Ladder::new(waltz.in_key(key), Toward::Richer, &[]);
        for _ in 0..12 {
            let Some(step) = ladder.step(|count| choice % count) else { break };
            prop_assert_eq!(&Chart::parse(&step.chart.to_string()).unwrap(), &step.chart);
            prop_assert_eq!(step.chart.chorus().beats(), 24);
            for span in &step.chart.chorus().spans {
                prop_assert!(span.chord.as_ref().unwrap().root().alteration().abs() < 2);
            }
        }
    }
}
