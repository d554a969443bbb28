//! What was learnt, in words for the one who played.

use super::Moved;

/// Something that lines do otherwise than the weights before would have had it.
#[derive(Clone, Debug, PartialEq)]
pub struct Habit {
    /// In words.
    pub words: String,
    /// How often it was done.
    pub played: f64,
    /// How often it was to be expected.
    pub expected: f64,
}

/// The most that is said.
const MOST: usize = 8;

/// What is done so much more or less often than expected that it is no chance, the surest first.
pub(super) fn habits(moved: &[Moved]) -> Vec<Habit> {
    let mut habits: Vec<(f64, Habit)> = moved.iter().filter_map(habit).collect();
    habits.sort_by(|a, b| b.0.total_cmp(&a.0));
    habits.truncate(MOST);
    habits.into_iter().map(|(_, habit)| habit).collect()
}

/// Counts that lie this many times their own spread from what was expected are no chance.
const SURE: f64 = 3.0;

fn habit(moved: &Moved) -> Option<(f64, Habit)> {
    let (played, expected) = (moved.played, moved.expected);
    let sure = (played - expected).abs() / expected.max(1.0).sqrt();
    if sure < SURE {
        return None;
    }
    let times = played / expected.max(0.5);
    let often = match times {
        3.0.. => "far more often".to_owned(),
        1.75.. => "about twice as often".to_owned(),
        1.0.. => "more often".to_owned(),
        0.6.. => "less often".to_owned(),
        0.3.. => "about half as often".to_owned(),
        _ => "hardly ever; less".to_owned(),
    };
    let words = format!(
        "{}: {} ({:.0} times; {:.0} would be expected)",
        place_and_what(moved),
        often,
        played,
        expected
    );
    let habit = Habit {
        words,
        played,
        expected,
    };
    Some((sure, habit))
}

/// Where and what, such as "on the second beat, the same note again".
fn place_and_what(moved: &Moved) -> String {
    let mut parts = moved.weight.split('.');
    let place = match (parts.next(), parts.next()) {
        (Some("motion"), Some("strong")) => "onto a strong beat, ",
        (Some("motion"), Some("second")) => "onto the second beat, ",
        (Some("motion"), Some("medium")) => "onto the third beat, ",
        (Some("motion"), Some("last")) => "onto the last beat, ",
        (Some("tone"), Some("arrival")) => "where a chord arrives, ",
        (Some("tone"), Some("strong")) => "on a strong beat, ",
        (Some("tone"), Some("second")) => "on the second beat, ",
        (Some("tone"), Some("medium")) => "on the third beat, ",
        (Some("tone"), Some("last")) => "on the last beat, ",
        (Some("tone"), Some("lead")) => "on the last beat before a change, ",
        (Some("approach"), _) => "into a change, ",
        (Some("register"), _) => "in height, ",
        _ => "",
    };
    format!("{place}{}", moved.meaning)
}
