use super::*;
use crate::Chart;

fn analysed(home: &str, bars: &str) -> Vec<(String, Understood)> {
    let chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
    let spans = chart.chorus().spans;
    let understood = analyse(&spans, home.parse().unwrap());
    assert_eq!(understood.len(), spans.len());
    spans
        .into_iter()
        .map(|span| span.symbol)
        .zip(understood)
        .collect()
}

#[test]
fn a_two_five_one() {
    let found = analysed("C", "Dm7 | G7 | Cmaj7 | N.C.");
    let lines: Vec<String> = found
        .iter()
        .map(|(symbol, u)| format!("{symbol}: {} in {}, {}", u.function, u.key, u.scale))
        .collect();
    assert_eq!(
        lines,
        [
            "Dm7: ii7 in C, D dorian",
            "G7: V7 in C, G mixolydian",
            "Cmaj7: Imaj7 in C, C major",
            "N.C.: N.C. in C, C major",
        ]
    );
}

#[test]
fn the_best_choice_comes_first_and_holds_the_chord() {
    for (_, understood) in analysed("F", "F7 | D7b9 | Gm7 | C7alt | Bdim7 | Db7#11 | Am7b5") {
        assert_eq!(understood.scale, understood.choices[0]);
    }
}
