//! The cheapest path through what each window says: which key sounds when.

use super::pitch::COUNT;

/// Keys and silence.
pub const STATES: usize = COUNT + 1;
/// The state of silence.
pub const SILENCE: usize = COUNT;
/// The windows that a stay lasts at least: 40 ms.
const LEAST: usize = 5;
/// The price of each semitone beyond an octave.
const LEAP: f32 = 0.7;

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
    /// For each state, the state before it if it begins here.
    before: [u8; STATES],
}

/// The price of a leap beyond an octave, which no line needs often: what sounds so far up is another player.
fn leap(from: usize, to: usize) -> f32 {
    if from == SILENCE || to == SILENCE {
        return 0.0;
    }
    (from.abs_diff(to) as f32 - 12.0).clamp(0.0, 8.0) * LEAP
}

impl Default for Path {
    fn default() -> Self {
        Path::new()
    }
}

impl Path {
    /// Before the first window: silence.
    pub fn new() -> Path {
        let mut settled = [f32::NEG_INFINITY; STATES];
        settled[SILENCE] = 0.0;
        Path {
            settled,
            young: [[f32::NEG_INFINITY; STATES]; LEAST - 1],
            steps: Vec::new(),
        }
    }

    /// The next window: what speaks for each state, and the price of a change here.
    pub fn push(&mut self, evidence: &[f32; STATES], change: f32) {
        let top = self
            .settled
            .iter()
            .copied()
            .fold(f32::NEG_INFINITY, f32::max);
        let mut step = Step {
            settled_now: 0,
            before: [0; STATES],
        };
        let settled = self.settled;
        for state in 0..STATES {
            let evidence = evidence[state] - top;
            let grown = self.young[LEAST - 2][state];
            if grown > settled[state] {
                step.settled_now |= 1 << state;
            }
            self.settled[state] = settled[state].max(grown) + evidence;
            for age in (1..LEAST - 1).rev() {
                self.young[age][state] = self.young[age - 1][state] + evidence;
            }
            let mut best = (f32::NEG_INFINITY, SILENCE);
            for (from, &score) in settled.iter().enumerate() {
                let score = score - leap(from, state);
                if from != state && score > best.0 {
                    best = (score, from);
                }
            }
            step.before[state] = best.1 as u8;
            self.young[0][state] = best.0 - change + evidence;
        }
        self.steps.push(step);
    }

    /// The stays of the best path, in order; silences are among them.
    pub fn finish(self) -> Vec<Stay> {
        let mut stays = Vec::new();
        let mut to = self.steps.len();
        let mut state = (0..STATES)
            .max_by(|&a, &b| self.settled[a].total_cmp(&self.settled[b]))
            .unwrap_or(SILENCE);
        let mut at = to;
        while at > 0 {
            at -= 1;
            if self.steps[at].settled_now >> state & 1 == 0 {
                continue;
            }
            // It settled here, so it began LEAST - 1 windows earlier.
            let from = at.saturating_sub(LEAST - 1);
            stays.push(Stay { state, from, to });
            state = usize::from(self.steps[from].before[state]);
            (at, to) = (from, from);
        }
        if to > 0 {
            stays.push(Stay { state, from: 0, to });
        }
        stays.reverse();
        stays
    }
}
