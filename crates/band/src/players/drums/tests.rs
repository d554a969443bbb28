use super::*;
use crate::players::random_streams::{Purpose, stream};

fn context(meter: &Meter) -> BarContext<'_> {
    BarContext {
        meter,
        tempo: 140.0,
        feel: Feel::Four,
        busy: 0,
        comp: &[],
        bars_before: 1,
        opens_chorus: false,
        closes_section: false,
        place: Place::Form,
        stop_time: false,
        trade: None,
    }
}

fn beats_of(hits: &[Hit], key: u8) -> Vec<f64> {
    let on = hits.iter().filter(|hit| hit.key == key);
    on.map(|hit| hit.in_bar.quarters() + 1.0).collect()
}

#[test]
fn hi_hat_closes_on_two_and_four() {
    // Common practice, no source.
    for (meter, beats) in [
        ("4/4", vec![2.0, 4.0]),
        ("3/4", vec![2.0]),
        ("5/4", vec![2.0, 5.0]),
        ("7/4", vec![2.0, 4.0, 6.0]),
        ("6/4", vec![2.0, 5.0]),
    ] {
        let parsed: Meter = meter.parse().unwrap();
        let mut rng = stream(1, 1, Purpose::Time);
        for kit in [Kit::Ride, Kit::Auto] {
            let hits = bar(&context(&parsed), TimeKeeping::Kit(kit), &mut rng);
            assert_eq!(beats_of(&hits, percussion::PEDAL_HAT), beats, "{meter}");
        }
    }
}

#[test]
fn the_ride_plays_every_beat_in_figures_that_change() {
    let four: Meter = "4/4".parse().unwrap();
    let mut figures = std::collections::BTreeMap::new();
    for seed in 0..200 {
        let mut rng = stream(seed, 1, Purpose::Time);
        let hits = bar(&context(&four), TimeKeeping::Kit(Kit::Ride), &mut rng);
        let ride = beats_of(&hits, percussion::RIDE);
        for beat in [1.0, 2.0, 3.0, 4.0] {
            assert!(ride.contains(&beat));
        }
        *figures.entry(format!("{ride:?}")).or_insert(0) += 1;
    }
    // The most usual one makes up 40 of 100: 80 of 200, standard deviation 7.
    assert!(figures.len() >= 6 && figures.values().all(|&count| count < 110));
}

#[test]
fn each_feel_has_its_time() {
    let four: Meter = "4/4".parse().unwrap();
    let played = |feel, key| {
        let mut rng = stream(2, 1, Purpose::Time);
        let of_feel = BarContext {
            feel,
            bars_before: 2,
            ..context(&four)
        };
        beats_of(&bar(&of_feel, TimeKeeping::Kit(Kit::Ride), &mut rng), key)
    };
    // The clave of the stick, the dotted figure of the bass drum (common practice, no source).
    assert_eq!(played(Feel::Bossa, percussion::SIDE_STICK), [1.0, 2.5, 4.0]);
    assert_eq!(played(Feel::Bossa, percussion::KICK), [1.0, 2.5, 3.0, 4.5]);
    assert_eq!(played(Feel::Shuffle, percussion::SNARE), [2.0, 4.0]);
    assert_eq!(played(Feel::Shuffle, percussion::RIDE).len(), 8);
    assert_eq!(played(Feel::HalfTime, percussion::SIDE_STICK), [3.0]);
    assert_eq!(
        played(Feel::DoubleTime, percussion::PEDAL_HAT),
        [1.5, 2.5, 3.5, 4.5]
    );
    let twelve: Meter = "12/8".parse().unwrap();
    let mut rng = stream(2, 1, Purpose::Time);
    let hits = bar(&context(&twelve), TimeKeeping::Kit(Kit::Ride), &mut rng);
    let count = |key| hits.iter().filter(|hit| hit.key == key).count();
    assert_eq!(
        (count(percussion::RIDE), count(percussion::SIDE_STICK)),
        (12, 2)
    );
}

#[test]
fn two_feel_feathers_the_strong_beats_only() {
    let four: Meter = "4/4".parse().unwrap();
    let mut rng = stream(1, 1, Purpose::Time);
    let two = BarContext {
        feel: Feel::Two,
        ..context(&four)
    };
    let hits = bar(&two, TimeKeeping::Kit(Kit::Ride), &mut rng);
    assert_eq!(beats_of(&hits, percussion::KICK), [1.0, 3.0]);
}

#[test]
fn clicks_come_where_asked() {
    let four: Meter = "4/4".parse().unwrap();
    let mut rng = stream(1, 1, Purpose::Time);
    let mut count = |text: &str, bars_before| {
        let context = BarContext {
            bars_before,
            ..context(&four)
        };
        bar(&context, text.parse().unwrap(), &mut rng).len()
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
        for kit in [Kit::Auto, Kit::Ride, Kit::Brushes, Kit::CrossStick] {
            for seed in 0..30 {
                let mut rng = stream(seed, 1, Purpose::Time);
                let context = BarContext {
                    closes_section: true,
                    opens_chorus: true,
                    ..context(&parsed)
                };
                let hits = bar(&context, TimeKeeping::Kit(kit), &mut rng);
                assert!(!hits.is_empty());
                for hit in hits {
                    assert!(hit.in_bar < parsed.bar_ticks() && hit.in_bar >= Ticks(0));
                    // The bass plays at 80 and more.
                    assert!((1..=76).contains(&hit.velocity));
                }
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
