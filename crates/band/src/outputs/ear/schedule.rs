//! What to ask next: what is weak, and what is for today.
//!
//! Each topic, a kind of question with one of its answers, is a card of the Free Spaced Repetition Scheduler
//! (FSRS 6, by the crate `fsrs` with its published parameters): every answer updates the card's memory, and
//! the memory tells how likely the topic is still known today.

use super::record::Entry;
use fsrs::{FSRS, FSRS6_DEFAULT_DECAY, MemoryState, current_retrievability};
use std::collections::BTreeMap;

/// The share of topics that should still be known when they come up again.
pub const RETENTION: f32 = 0.9;
/// The odds ascribed to a topic never met.
const UNMET: f32 = 0.5;
const SECONDS_A_DAY: f32 = 86_400.0;

/// How a topic stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TopicStanding {
    memory: MemoryState,
    /// When it was last asked, in seconds since 1970.
    pub last: u64,
    /// How often it was asked.
    pub asked: u32,
    /// How often the answer was right.
    pub right: u32,
    /// Days after which it is asked again.
    pub interval: f32,
}

impl TopicStanding {
    /// How likely it is still known, 0 to 1.
    pub fn known(&self, now: u64) -> f32 {
        let days = now.saturating_sub(self.last) as f32 / SECONDS_A_DAY;
        current_retrievability(self.memory, days, FSRS6_DEFAULT_DECAY)
    }

    /// Whole days until it is next asked; 0 is today.
    pub fn days_left(&self, now: u64) -> u32 {
        let passed = now.saturating_sub(self.last) as f32 / SECONDS_A_DAY;
        (self.interval - passed).max(0.0) as u32
    }

    /// Whether it is to be asked by now.
    pub fn is_for_now(&self, now: u64) -> bool {
        now.saturating_sub(self.last) as f32 >= self.interval * SECONDS_A_DAY
    }
}

/// How every topic met so far stands, by replaying the record.
pub fn standings(entries: &[Entry]) -> BTreeMap<String, TopicStanding> {
    let scheduler = FSRS::default();
    let mut found: BTreeMap<String, TopicStanding> = BTreeMap::new();
    for entry in entries {
        let topic = entry.topic();
        let before = found.get(&topic).copied();
        let days = before.map_or(0, |before| {
            (entry.at.saturating_sub(before.last) as f32 / SECONDS_A_DAY) as u32
        });
        let memory = before.map(|before| before.memory);
        // The scheduler errs only on memories that no answers give; such a topic stays as it was.
        let Ok(next) = scheduler.next_states(memory, RETENTION, days) else {
            continue;
        };
        let state = if entry.right { next.good } else { next.again };
        let (asked, right) = before.map_or((0, 0), |before| (before.asked, before.right));
        let standing = TopicStanding {
            memory: state.memory,
            last: entry.at,
            asked: asked + 1,
            right: right + u32::from(entry.right),
            interval: state.interval,
        };
        found.insert(topic, standing);
    }
    found
}

/// How much each topic wants practice, in thousandths: the odds that it is forgotten, doubled if it is for now,
/// and never nothing, so that the next question cannot be told from the record.
pub fn wants(topics: &[String], entries: &[Entry], now: u64) -> Vec<u32> {
    let standings = standings(entries);
    let want = |topic: &String| match standings.get(topic) {
        None => UNMET,
        Some(standing) => {
            let missed = 1.0 - standing.right as f32 / standing.asked as f32;
            let forgotten = (1.0 - standing.known(now)).max(missed / 2.0);
            forgotten * if standing.is_for_now(now) { 2.0 } else { 1.0 }
        }
    };
    topics
        .iter()
        .map(|topic| (want(topic) * 1000.0) as u32 + 50)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(at: u64, answer: &str, right: bool) -> Entry {
        Entry {
            at,
            kind: "approach".into(),
            answer: answer.into(),
            given: String::new(),
            right,
        }
    }

    const DAY: u64 = 86_400;

    #[test]
    fn what_is_known_fades_and_comes_back() {
        let entries = [entry(0, "dominant", true), entry(3 * DAY, "dominant", true)];
        let standing = standings(&entries)["approach: dominant"];
        assert_eq!((standing.asked, standing.right), (2, 2));
        let known = [3, 6, 30, 300].map(|day| standing.known(day * DAY));
        assert!(
            known.is_sorted_by(|sooner, later| sooner > later),
            "{known:?}"
        );
        // By its definition the interval is the time after which the asked-for share is still known.
        let due = standing.last + (standing.interval * SECONDS_A_DAY) as u64;
        assert!((standing.known(due) - RETENTION).abs() < 0.01);
        assert!(standing.is_for_now(due + 60) && !standing.is_for_now(due - DAY));
    }

    #[test]
    fn the_weak_topic_is_wanted_more() {
        let names = ["dominant", "enclosure", "scale-above"];
        let topics = names.map(|name| format!("approach: {name}"));
        let entries = [
            entry(0, names[0], true),
            entry(10, names[1], false),
            entry(20, names[1], false),
        ];
        let wants = wants(&topics, &entries, 100);
        assert!(wants[1] > wants[0] && wants[2] > wants[0], "{wants:?}");
    }
}
