//! The cheapest path through what each window says: which key sounds when.

use super::pitch::COUNT;

/// Keys and silence.
pub const STATES: usize = COUNT + 1;
/// The state of silence.
pub const SILENCE: usize = COUNT;
/// The windows that a stay lasts at least: 40 ms.
const LEAST: usize = 5;

/// A stay in one state, in windows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stay {
    /// The state.
    pub state: usize,
    /// Its first window.
    pub from: usize,
    /// The window after its last.
    pub to: usize,
}

/// Finds the path as the windows come.
pub struct Path {
    /// Scores of states that have lasted their least time.
    settled: [f32; STATES],
    /// Scores of those that have lasted 1, 2, ... windows.
    young: [[f32; STATES]; LEAST - 1],
    steps: Vec<Step>,
}

/// What a window leaves for the way back.
struct Step {
    /// For each state, whether it has just settled.
    settled_now: u64,
    /// The best and the second best settled state of the window before.
    best: [u8; 2],
}

impl Path {
    /// Before the first window: silence.
    pub fn new() -> Path {
        let mut settled = [f32::NEG_INFINITY; STATES];
        settled[SILENCE] = 0.0;
        Path { settled, young: [[f32::NEG_INFINITY; STATES]; LEAST - 1], steps: Vec::new() }
    }

    /// The next window: what speaks for each state, and the price of a change here.
    pub fn push(&mut self, evidence: &[f32; STATES], change: f32) {
        let mut best = [(f32::NEG_INFINITY, 0); 2];
        for (state, &score) in self.settled.iter().enumerate() {
            if score > best[0].0 {
                best = [(score, state), best[0]];
            } else if score > best[1].0 {
                best[1] = (score, state);
            }
        }
        let mut step = Step { settled_now: 0, best: best.map(|(_, state)| state as u8) };
        let top = best[0].0;
        for state in 0..STATES {
            let evidence = evidence[state] - top;
            let grown = self.young[LEAST - 2][state];
            if grown > self.settled[state] {
                step.settled_now |= 1 << state;
            }
            self.settled[state] = self.settled[state].max(grown) + evidence;
            for age in (1..LEAST - 1).rev() {
                self.young[age][state] = self.young[age - 1][state] + evidence;
            }
            let (before, _) = best[usize::from(best[0].1 == state)];
            self.young[0][state] = before - change + evidence;
        }
        self.steps.push(step);
    }

    /// The stays of the best path, in order; silences are among them.
    pub fn finish(self) -> Vec<Stay> {
        let mut stays = Vec::new();
        let mut to = self.steps.len();
        let mut state = (0..STATES).max_by(|&a, &b| self.settled[a].total_cmp(&self.settled[b])).unwrap_or(SILENCE);
        let mut at = to;
        while at > 0 {
            at -= 1;
            if self.steps[at].settled_now >> state & 1 == 0 {
                continue;
            }
            // It settled here, so it began LEAST - 1 windows earlier.
            let from = at.saturating_sub(LEAST - 1);
            stays.push(Stay { state, from, to });
            let [first, second] = self.steps[from].best;
            state = usize::from(if usize::from(first) == state { second } else { first });
            (at, to) = (from, from);
        }
        if to > 0 {
            stays.push(Stay { state, from: 0, to });
        }
        stays.reverse();
        stays
    }
}
