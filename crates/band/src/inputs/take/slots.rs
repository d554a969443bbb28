//! Quantising that knows swing: each attack goes to a beat, to the off-beat after it or to a triplet.
//!
//! The cheapest way through all attacks is found by dynamic programming (Viterbi): an attack costs the
//! square of its distance in spreads, an off-beat or triplet costs something on top, and no two attacks
//! share a slot unless there is no room.

/// A place in the grid, counted in sixths of a beat: 0 is a beat, 3 the off-beat after it, 2 and 4 its
/// triplets.
pub type Slot = i64;

/// Slots in a beat.
pub const IN_A_BEAT: i64 = 6;
const SECOND_TRIPLET: i64 = 2;
const OFF_BEAT: i64 = 3;
const THIRD_TRIPLET: i64 = 4;
/// The slots that are tried, from one beat before the nearest to one after.
const TRIED: [i64; 9] = [-6, -4, -3, -2, 0, 2, 3, 4, 6];

/// Spread of attacks around their slots, in beats.
const SPREAD: f64 = 0.1;
/// What slots between beats cost: an off-beat as much as being two spreads away, triplets three.
fn rarity(slot: Slot) -> f64 {
    match slot.rem_euclid(IN_A_BEAT) {
        0 => 0.0,
        OFF_BEAT => 4.0,
        _ => 9.0,
    }
}
/// What sharing a slot costs: more than any distance within the slots that are tried.
const SHARED: f64 = 200.0;
/// Where an off-beat is expected before any is heard, in beats: 1.5 to 1.
const EXPECTED: f64 = 0.6;
/// Fewer off-beats than this tell no swing.
const FEWEST: usize = 4;

/// The slots of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Slots {
    /// One for each attack, not falling.
    pub slots: Vec<Slot>,
    /// Where the off-beats fall in the beat, if there are enough to tell; 0.5 is straight.
    pub swing: Option<f64>,
}

/// Gives each place (in beats, not falling) its slot.
pub fn quantise(places: &[f64]) -> Slots {
    let first = cheapest(places, EXPECTED);
    let Some(swing) = swing(places, &first) else {
        return Slots {
            slots: first,
            swing: None,
        };
    };
    let slots = cheapest(places, swing);
    Slots {
        swing: self::swing(places, &slots),
        slots,
    }
}

/// The place of a slot, in beats.
pub fn place(slot: Slot, swing: Option<f64>) -> f64 {
    let within = match slot.rem_euclid(IN_A_BEAT) {
        OFF_BEAT => swing.unwrap_or(0.5),
        sixths => sixths as f64 / IN_A_BEAT as f64,
    };
    slot.div_euclid(IN_A_BEAT) as f64 + within
}

/// The mean place of off-beats in their beats, measured from where the attacks on the beat are on average.
fn swing(places: &[f64], slots: &[Slot]) -> Option<f64> {
    let mean = |within: i64| {
        let inside = places
            .iter()
            .zip(slots)
            .filter(|(_, slot)| slot.rem_euclid(IN_A_BEAT) == within)
            .map(|(place, slot)| place - slot.div_euclid(IN_A_BEAT) as f64);
        let (sum, count) = inside.fold((0.0, 0usize), |(sum, count), place| {
            (sum + place, count + 1)
        });
        (count > 0).then(|| (sum / count as f64, count))
    };
    let (off_beat, count) = mean(OFF_BEAT)?;
    let on_beat = mean(0).map_or(0.0, |(mean, _)| mean);
    (count >= FEWEST).then(|| (off_beat - on_beat).clamp(0.34, 0.82))
}

fn cheapest(places: &[f64], swing: f64) -> Vec<Slot> {
    let slot_of = |place: f64, tried: usize| IN_A_BEAT * (place.round() as i64) + TRIED[tried];
    let cost_of = |at: f64, slot: Slot| {
        let spreads = (at - self::place(slot, Some(swing))) / SPREAD;
        spreads * spreads + rarity(slot)
    };
    let mut from: Vec<[usize; TRIED.len()]> = Vec::with_capacity(places.len());
    let mut costs = [0.0; TRIED.len()];
    for (index, &at) in places.iter().enumerate() {
        let mut now = [f64::INFINITY; TRIED.len()];
        let mut came = [0; TRIED.len()];
        for tried in 0..TRIED.len() {
            let slot = slot_of(at, tried);
            for (before, cost_before) in costs.iter().enumerate() {
                let step = match index
                    .checked_sub(1)
                    .map(|last| slot_of(places[last], before))
                {
                    Some(last) if last > slot => continue,
                    Some(last) if last == slot => SHARED,
                    _ => 0.0,
                };
                let cost = cost_before + step + cost_of(at, slot);
                if cost < now[tried] {
                    now[tried] = cost;
                    came[tried] = before;
                }
            }
        }
        costs = now;
        from.push(came);
    }
    let mut tried = (0..costs.len()).fold(0, |best, tried| {
        if costs[tried] < costs[best] {
            tried
        } else {
            best
        }
    });
    let mut slots = vec![0; places.len()];
    for index in (0..places.len()).rev() {
        slots[index] = slot_of(places[index], tried);
        tried = from[index][tried];
    }
    // After the second triplet an off-beat is the third.
    for index in 1..slots.len() {
        let last = slots[index - 1];
        if last.rem_euclid(IN_A_BEAT) == SECOND_TRIPLET
            && slots[index] == last - SECOND_TRIPLET + OFF_BEAT
        {
            slots[index] = last - SECOND_TRIPLET + THIRD_TRIPLET;
        }
    }
    slots
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn late_and_early_quarters_stay_on_their_beats() {
        let found = quantise(&[0.2, 0.85, 2.25, 2.8, 4.0, 4.82, 6.27]);
        assert_eq!(found.slots, [0, 6, 12, 18, 24, 30, 36]);
        assert_eq!(found.swing, None);
    }

    #[test]
    fn swung_and_straight_off_beats_are_told() {
        for at in [0.5, 0.6, 0.667, 0.72] {
            let places: Vec<f64> = (0..8)
                .flat_map(|beat| [f64::from(beat), f64::from(beat) + at])
                .collect();
            let found = quantise(&places);
            assert_eq!(
                found.slots,
                (0..16).map(|half| half * 3).collect::<Vec<_>>(),
                "{at}"
            );
            assert!((found.swing.unwrap() - at).abs() < 1e-9, "{at}");
        }
    }

    #[test]
    fn triplets_are_told_from_swung_eighths() {
        let found = quantise(&[0.0, 1.0, 1.35, 1.66, 2.0, 2.62, 3.0]);
        assert_eq!(found.slots, [0, 6, 8, 10, 12, 15, 18]);
    }

    #[test]
    fn order_is_kept_where_there_is_no_room() {
        let found = quantise(&[0.0, 0.02, 0.04, 0.06, 0.08, 0.1, 0.12, 1.0]);
        assert!(found.slots.is_sorted(), "{:?}", found.slots);
        assert!(quantise(&[]).slots.is_empty());
    }
}
