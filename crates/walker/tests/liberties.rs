//! Shares of liberties: what is asked for is what is heard, over many choruses.

use endpin_theory::{Chart, Strength, find_key};
use endpin_walker::{Level, Liberties, Liberty, LineNote, Options, Phrases, Plan, Shares, Walker};

const CHARTS: [&str; 3] = [
    "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | D7b9 | Gm7 | C7 | F7 D7 | Gm7 C7",
    "Cm7 | % | Fm7 | Dm7b5 G7b9 | Cm7 | Ab7 | Dm7b5 | G7alt",
    "Dm7 | % | Em7 | A7 | Dm7 | G7sus4 | Cmaj7 | Eb7 D7",
];

fn walker(bars: &str, asked: &[(Liberty, u8)], phrases: Phrases) -> Walker {
    let mut chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
    chart.key = find_key(&chart.chorus().spans);
    let some = asked.iter().filter(|(_, share)| *share > 0);
    let options = Options {
        level: Level::try_from(4).unwrap(),
        loose: some.clone().map(|(liberty, _)| *liberty).collect(),
        phrases,
        shares: some.fold(Shares::default(), |shares, &(liberty, share)| {
            shares.with(liberty, share)
        }),
        ..Options::default()
    };
    Walker::new(Plan::of(chart.chorus(), &options), options).unwrap()
}

/// Of a hundred places of a liberty, how many take it.
fn heard(notes: &[LineNote], liberty: Liberty) -> f64 {
    let (mut places, mut taken) = (0, 0);
    for three in notes.windows(3) {
        let [before, note, after] = three else {
            continue;
        };
        let arrives = |one: &LineNote, other: &LineNote| one.span != other.span;
        let takes = note.liberty == Some(liberty);
        let place = match liberty {
            Liberty::Inverted => arrives(before, note),
            // On a weak beat alone is a change announced, and never from a chord of one beat.
            Liberty::Unannounced => {
                arrives(note, after) && note.strength == Strength::Weak && !arrives(before, note)
            }
            Liberty::Repeated => before.pitch.midi() == note.pitch.midi(),
            _ => note.strength != Strength::Weak && !arrives(before, note),
        };
        places += usize::from(place);
        taken += usize::from(match liberty {
            Liberty::Repeated => place && note.pitch.midi() == after.pitch.midi(),
            _ => takes,
        });
    }
    100.0 * taken as f64 / places as f64
}

fn notes(walker: &Walker, choruses: u32) -> Vec<LineNote> {
    // The first chorus takes no liberties.
    let lines = walker.lines(3, 2, choruses).into_iter();
    lines.flat_map(|line| line.notes).collect()
}

#[test]
fn a_share_that_is_asked_for_is_heard() {
    for bars in CHARTS {
        for liberty in Liberty::ALL {
            for share in [0, 20, 50, 80] {
                let walker = walker(bars, &[(liberty, share)], Phrases::NONE);
                let heard = heard(&notes(&walker, 200), liberty);
                let expected = walker.shares().first().map_or(0.0, |(.., found)| *found);
                // Where nearly every chord has another root, a pitch cannot stand a third time four times in five.
                let reached = liberty != Liberty::Repeated || share < 80;
                let wanted = if reached { share.into() } else { expected };
                let off = (heard - wanted).abs();
                assert!(off <= 5.0, "{bars}: {liberty} {share}: {heard}, {expected}");
            }
        }
    }
}

/// Bars that take up others take the liberties that the others took.
#[test]
fn phrases_move_a_share_by_a_few_points() {
    for bars in CHARTS {
        for liberty in Liberty::ALL {
            let walker = walker(bars, &[(liberty, 50)], Phrases::default());
            let heard = heard(&notes(&walker, 200), liberty);
            assert!((heard - 50.0).abs() <= 10.0, "{bars}: {liberty}: {heard}");
        }
    }
}

#[test]
fn shares_stand_beside_one_another() {
    let asked = [
        (Liberty::Inverted, 30),
        (Liberty::Passing, 25),
        (Liberty::Leaning, 10),
        (Liberty::Unannounced, 40),
        (Liberty::Repeated, 15),
    ];
    for bars in CHARTS {
        let walker = walker(bars, &asked, Phrases::NONE);
        let notes = notes(&walker, 200);
        for (liberty, share) in asked {
            let heard = heard(&notes, liberty);
            let expected = walker.shares();
            assert!(
                (heard - f64::from(share)).abs() <= 5.0,
                "{bars}: {liberty} {share}: {heard}, {expected:?}"
            );
        }
    }
}

#[test]
fn a_share_out_of_reach_is_told() {
    // A hundred of a hundred cannot be: the line has to come by step each time.
    let walker = walker(
        CHARTS[0],
        &[(Liberty::Inverted, 100), (Liberty::Unannounced, 100)],
        Phrases::NONE,
    );
    let shares = walker.shares();
    assert!(
        shares
            .iter()
            .any(|(_, asked, found)| *found < f64::from(*asked) - 3.0),
        "{shares:?}"
    );
}

#[test]
fn without_shares_liberties_are_as_they_were() {
    // Named shares leave the others alone: those without a share keep the weights' own.
    let plain = walker(CHARTS[0], &[], Phrases::NONE);
    assert!(plain.shares().is_empty());
    assert_eq!(plain.options().loose, Liberties::NONE);
}
