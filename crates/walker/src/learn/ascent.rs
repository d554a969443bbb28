//! The way up a smooth hill: steps by the last few changes of slope (J. Nocedal, "Updating quasi-Newton matrices
//! with limited storage", Mathematics of Computation 35(151), 1980), each of which goes up.

/// How many changes of slope are remembered.
const REMEMBERED: usize = 12;

/// The most steps.
const MOST_STEPS: usize = 1000;

/// How often a step is halved.
const MOST_HALVED: u32 = 30;

/// Heights nearer than this, relative to themselves, are the same.
const ROUNDING: f64 = 1e-12;

/// A height and its slope.
#[derive(Clone, Debug)]
pub(super) struct Height {
    pub height: f64,
    pub slope: Vec<f64>,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Climbs from a place until no slope is steeper than `flat`: the place reached, and the height after each step,
/// which never falls by more than rounding.
pub(super) fn climb(
    mut place: Vec<f64>,
    flat: f64,
    hill: impl Fn(&[f64]) -> Height,
) -> (Vec<f64>, Vec<f64>) {
    let mut here = hill(&place);
    let mut heights = vec![here.height];
    let mut changes: Vec<(Vec<f64>, Vec<f64>)> = Vec::new();
    for _ in 0..MOST_STEPS {
        if here.slope.iter().all(|slope| slope.abs() <= flat) {
            break;
        }
        let mut way = direction(&here.slope, &changes);
        if dot(&way, &here.slope) <= 0.0 {
            changes.clear();
            way = direction(&here.slope, &changes);
        }
        let Some((next, there)) = step(&place, &here, &way, &hill) else {
            if changes.is_empty() {
                break;
            }
            changes.clear();
            continue;
        };
        let moved: Vec<f64> = next.iter().zip(&place).map(|(a, b)| a - b).collect();
        let bent = here.slope.iter().zip(&there.slope).map(|(a, b)| a - b);
        let bent: Vec<f64> = bent.collect();
        if dot(&moved, &bent) > 0.0 {
            changes.push((moved, bent));
            if changes.len() > REMEMBERED {
                changes.remove(0);
            }
        }
        place = next;
        here = there;
        heights.push(here.height);
    }
    (place, heights)
}

/// The way to go, by the slope and how it changed of late.
fn direction(slope: &[f64], changes: &[(Vec<f64>, Vec<f64>)]) -> Vec<f64> {
    let mut way = slope.to_vec();
    let mut shares = Vec::with_capacity(changes.len());
    for (moved, bent) in changes.iter().rev() {
        let share = dot(moved, &way) / dot(moved, bent);
        way.iter_mut().zip(bent).for_each(|(w, b)| *w -= share * b);
        shares.push(share);
    }
    let scale = match changes.last() {
        Some((moved, bent)) => dot(moved, bent) / dot(bent, bent),
        None => 1.0 / dot(slope, slope).sqrt().max(1.0),
    };
    way.iter_mut().for_each(|w| *w *= scale);
    for ((moved, bent), share) in changes.iter().zip(shares.iter().rev()) {
        let other = dot(bent, &way) / dot(moved, bent);
        let by = share - other;
        way.iter_mut().zip(moved).for_each(|(w, m)| *w += by * m);
    }
    way
}

/// The first of ever shorter steps that gains a share of what the slope promises.
fn step(
    place: &[f64],
    here: &Height,
    way: &[f64],
    hill: &impl Fn(&[f64]) -> Height,
) -> Option<(Vec<f64>, Height)> {
    let promised = dot(way, &here.slope);
    let mut length = 1.0;
    for _ in 0..MOST_HALVED {
        let next: Vec<f64> = place.iter().zip(way).map(|(p, w)| p + length * w).collect();
        let there = hill(&next);
        if there.height >= here.height + 1e-4 * length * promised {
            return Some((next, there));
        }
        // Near the top what is gained drowns in rounding; a flatter place as high is as good.
        let flatter = dot(&there.slope, &there.slope) < dot(&here.slope, &here.slope);
        if there.height >= here.height - ROUNDING * here.height.abs() && flatter {
            return Some((next, there));
        }
        length *= 0.5;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hill_is_climbed_to_its_top() {
        // -(x - 3)² - 10 (y + 1)² - x⁴/100 has its top where 2 (x - 3) + x³/25 = 0 and y = -1.
        let hill = |at: &[f64]| Height {
            height: -(at[0] - 3.0).powi(2) - 10.0 * (at[1] + 1.0).powi(2) - at[0].powi(4) / 100.0,
            slope: vec![
                -2.0 * (at[0] - 3.0) - at[0].powi(3) / 25.0,
                -20.0 * (at[1] + 1.0),
            ],
        };
        let (top, heights) = climb(vec![-5.0, 8.0], 1e-10, hill);
        assert!((2.0 * (top[0] - 3.0) + top[0].powi(3) / 25.0).abs() < 1e-9);
        assert!((top[1] + 1.0).abs() < 1e-9);
        let falls = heights.windows(2).any(|pair| pair[1] < pair[0] - 1e-9);
        assert!(!falls, "{heights:?}");
    }
}
