use super::*;
use std::collections::{BTreeMap, BTreeSet};

fn context(meter: &Meter) -> BarContext<'_> {
    BarContext {
        meter,
        tempo: 140.0,
        feel: Feel::Four,
        busy: 0,
        comp: &[],
        bass: &[],
        bars_before: 1,
        opens_section: false,
        stop_time: false,
        coming: None,
    }
}

/// So many choruses of sixteen bars like this one, in two sections.
fn choruses(bar: &BarContext, kit: Kit, count: u32) -> Vec<Vec<Vec<Hit>>> {
    let mut bars = [*bar; 16];
    for section in [0, 8] {
        bars[section].opens_section = true;
        bars[section + 7].coming = Some(Coming::Section);
    }
    bars[15].coming = Some(Coming::Chorus);
    let of = |number| chorus(&bars, TimeKeeping::Kit(kit), 1, number);
    (1..=count).map(of).collect()
}

const KITS: [Kit; 4] = [Kit::Auto, Kit::Ride, Kit::Brushes, Kit::CrossStick];

fn beats_of(hits: &[Hit], key: u8) -> Vec<f64> {
    let on = hits.iter().filter(|hit| hit.key == key);
    on.map(|hit| hit.in_bar.quarters() + 1.0).collect()
}

#[test]
fn hi_hat_closes_on_two_and_four_whatever_else_is_played() {
    // Common practice, no source.
    for (meter, beats) in [
        ("4/4", vec![2.0, 4.0]),
        ("3/4", vec![2.0]),
        ("5/4", vec![2.0, 5.0]),
        ("7/4", vec![2.0, 4.0, 6.0]),
        ("6/4", vec![2.0, 5.0]),
    ] {
        let parsed: Meter = meter.parse().unwrap();
        for kit in KITS {
            for hits in choruses(&context(&parsed), kit, 4).iter().flatten() {
                assert_eq!(beats_of(hits, percussion::PEDAL_HAT), beats, "{meter}");
            }
        }
    }
}

#[test]
fn the_ride_is_on_every_beat_and_its_figures_change() {
    let four: Meter = "4/4".parse().unwrap();
    let mut figures: BTreeMap<String, usize> = BTreeMap::new();
    let choruses = choruses(&context(&four), Kit::Ride, 40);
    for hits in choruses.iter().flatten() {
        let mut ride = beats_of(hits, percussion::RIDE);
        ride.extend(beats_of(hits, percussion::CRASH));
        for beat in [1.0, 2.0, 3.0, 4.0] {
            assert!(ride.contains(&beat));
        }
        ride.retain(|at| at.fract() > 0.0);
        *figures.entry(format!("{ride:?}")).or_insert(0) += 1;
    }
    println!("{figures:?}");
    // The usual figure is a half of the bars at most.
    assert!(figures.len() >= 6 && figures.values().all(|&count| count < 320));
}

#[test]
fn a_crash_stands_at_the_head_of_a_chorus_after_a_fill_alone() {
    let four: Meter = "4/4".parse().unwrap();
    let choruses = choruses(&context(&four), Kit::Ride, 60);
    let drums = [percussion::SNARE, percussion::HIGH_TOM, percussion::LOW_TOM];
    let mut crashes = 0;
    for pair in choruses.windows(2) {
        let is_crash = |hits: &[Hit]| hits.iter().any(|hit| hit.key == percussion::CRASH);
        assert!(pair[1][1..].iter().all(|hits| !is_crash(hits)));
        if is_crash(&pair[1][0]) {
            crashes += 1;
            let filled = pair[0][15].iter().filter(|hit| drums.contains(&hit.key));
            assert!(filled.count() >= 3);
        }
    }
    assert!((10..50).contains(&crashes), "{crashes}");
    // A fill comes before sections too, and not before each of them.
    let snares = |hits: &Vec<Hit>| {
        hits.iter()
            .filter(|hit| hit.key == percussion::SNARE)
            .count()
    };
    let set_up = choruses
        .iter()
        .filter(|chorus| snares(&chorus[7]) > 0)
        .count();
    assert!((20..60).contains(&set_up), "{set_up}");
}

#[test]
fn each_feel_has_its_time() {
    let four: Meter = "4/4".parse().unwrap();
    // All places at which a piece is ever played.
    let played = |feel, key| -> BTreeSet<String> {
        let of_feel = BarContext {
            feel,
            ..context(&four)
        };
        let mut bars = [of_feel; 16];
        bars[0].opens_section = true;
        let hits =
            (1..=20).flat_map(|number| chorus(&bars, TimeKeeping::Kit(Kit::Ride), 1, number));
        let places = hits.flat_map(|hits| beats_of(&hits, key));
        places.map(|at| at.to_string()).collect()
    };
    let places = |text: &str| {
        text.split(' ')
            .map(str::to_owned)
            .collect::<BTreeSet<String>>()
    };
    // The clave of the stick, the dotted figure of the bass drum (common practice, no source).
    assert_eq!(
        played(Feel::Bossa, percussion::SIDE_STICK),
        places("1 2 2.5 3.5 4")
    );
    assert_eq!(played(Feel::Bossa, percussion::KICK), places("1 2.5 3 4.5"));
    assert!(played(Feel::Shuffle, percussion::SNARE).is_superset(&places("2 4")));
    assert_eq!(
        played(Feel::Shuffle, percussion::RIDE),
        places("1 1.5 2 2.5 3 3.5 4 4.5")
    );
    assert_eq!(played(Feel::HalfTime, percussion::SIDE_STICK), places("3"));
    assert_eq!(
        played(Feel::DoubleTime, percussion::PEDAL_HAT),
        places("1.5 2.5 3.5 4.5")
    );
    assert_eq!(
        played(Feel::Two, percussion::KICK)
            .intersection(&places("1 2 3 4"))
            .count(),
        2
    );
    let twelve: Meter = "12/8".parse().unwrap();
    for hits in choruses(&context(&twelve), Kit::Ride, 10).iter().flatten() {
        let count = |key| hits.iter().filter(|hit| hit.key == key).count();
        assert!((7..=12).contains(&count(percussion::RIDE)) || count(percussion::CRASH) > 0);
        assert_eq!(beats_of(hits, percussion::SIDE_STICK), [2.5, 5.5]);
    }
}

#[test]
fn the_drummer_answers_and_more_so_in_lively_choruses() {
    let four: Meter = "4/4".parse().unwrap();
    let comp = [Ticks(480), Ticks(2400)];
    let answered = |busy| {
        let bar = BarContext {
            busy,
            comp: &comp,
            ..context(&four)
        };
        let mut bars = [bar; 16];
        bars[0].opens_section = true;
        let hits =
            (1..=60).flat_map(|number| chorus(&bars, TimeKeeping::Kit(Kit::Ride), 3, number));
        hits.filter(|hits| hits.iter().any(|hit| hit.key == percussion::SNARE))
            .count()
    };
    let counts = [0, 3].map(answered);
    println!("bars of 960 with a snare: {counts:?}");
    assert!(counts[0] > 100 && counts[0] < 400 && counts[1] > counts[0]);
}

#[test]
fn clicks_come_where_asked() {
    let four: Meter = "4/4".parse().unwrap();
    let count = |text: &str, bars_before| {
        let context = BarContext {
            bars_before,
            ..context(&four)
        };
        chorus(&[context], text.parse().unwrap(), 1, 1)[0].len()
    };
    assert_eq!(count("click", 0), 4);
    assert_eq!(count("click-2-4", 0), 2);
    assert_eq!(
        [0, 1, 2, 3].map(|at| count("click-every-2", at)),
        [1, 0, 1, 0]
    );
    assert_eq!(
        [0, 1, 2, 4].map(|at| count("click-drop-2", at)),
        [4, 4, 0, 4]
    );
    for text in [
        "auto",
        "ride",
        "brushes",
        "cross-stick",
        "click",
        "click-2-4",
        "click-every-4",
        "click-drop-64",
    ] {
        assert_eq!(text.parse::<TimeKeeping>().unwrap().to_string(), text);
    }
    for bad in [
        "",
        "click-every-0",
        "click-drop-65",
        "click-every-",
        "Ride",
        "drum",
    ] {
        assert!(bad.parse::<TimeKeeping>().is_err(), "{bad}");
    }
}

#[test]
fn everything_is_quiet_and_inside_the_bar() {
    for meter in [
        "4/4", "3/4", "5/4", "7/4", "2/2", "6/8", "7/8", "1/4", "11/8",
    ] {
        let parsed: Meter = meter.parse().unwrap();
        for kit in KITS {
            for hits in choruses(&context(&parsed), kit, 20).iter().flatten() {
                assert!(!hits.is_empty());
                for hit in hits {
                    assert!(hit.in_bar < parsed.bar_ticks() && hit.in_bar >= Ticks(0));
                    // The bass plays at 80 and more.
                    assert!((1..80).contains(&hit.velocity));
                }
                let mut places: Vec<_> = hits.iter().map(|hit| (hit.in_bar, hit.key)).collect();
                places.dedup();
                assert_eq!(places.len(), hits.len(), "one stroke of a kind at a time");
            }
        }
    }
}

#[test]
fn a_leader_counts_in() {
    let four: Meter = "4/4".parse().unwrap();
    assert_eq!(
        beats_of(&count_in(&four, false), percussion::CLICK_LOW),
        [3.0]
    );
    assert_eq!(
        beats_of(&count_in(&four, true), percussion::CLICK_LOW),
        [2.0, 3.0, 4.0]
    );
}
