//! The status of play: its settings and the beats that are queued; written by the conductor, read by the screen.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::beat_writer::ByPart;
use super::passage::{Passage, PassageBar, PassageBeat};
use super::passage_supply::PassageRequest;
use super::timebase::PlayTick;

/// A beat that was queued.
#[derive(Clone, Debug)]
pub struct QueuedBeat {
    /// The number it was queued under.
    pub number: u64,
    /// The passage it belongs to.
    pub passage: Arc<Passage>,
    /// What the passage was asked for as.
    pub request: PassageRequest,
    /// Its index in the passage.
    pub beat: usize,
    /// The position in play of the passage's start.
    pub origin: PlayTick,
}

impl QueuedBeat {
    /// The beat itself.
    pub fn beat(&self) -> &PassageBeat {
        &self.passage.beats[self.beat]
    }

    /// Its bar.
    pub fn bar(&self) -> &PassageBar {
        &self.passage.bars[self.beat().bar]
    }
}

/// The settings of play as they stand.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaySettings {
    /// The written tempo is multiplied by this.
    pub pace: f64,
    /// Level of the chorus to come.
    pub level: u8,
    /// Seed of the chorus to come.
    pub seed: u64,
    /// Transposition of the chorus to come, in semitones.
    pub transpose: i8,
    /// Which of the parts are silent or about to be.
    pub muted: ByPart<bool>,
    /// Whether a section goes round.
    pub looping: bool,
    /// Whether play ends after this chorus.
    pub ending: bool,
    /// Whether play has been paused.
    pub paused: bool,
    /// Something the user should read.
    pub notice: Option<String>,
}

impl PlaySettings {
    /// The settings before the first beat.
    pub fn at_first(level: u8, seed: u64, muted: ByPart<bool>) -> PlaySettings {
        PlaySettings {
            pace: 1.0,
            level,
            seed,
            transpose: 0,
            muted,
            looping: false,
            ending: false,
            paused: false,
            notice: None,
        }
    }
}

/// How many beats the status remembers: more than the longest bar and what is queued have.
const MEMORY: usize = 256;

/// The status; see the module.
#[derive(Clone, Debug)]
pub struct PlayStatus {
    placed: VecDeque<QueuedBeat>,
    /// What the next passage was asked for as, once it is made.
    pub ahead: Option<PassageRequest>,
    /// The settings.
    pub settings: PlaySettings,
}

impl PlayStatus {
    /// An empty status.
    pub fn new(settings: PlaySettings) -> PlayStatus {
        PlayStatus {
            placed: VecDeque::with_capacity(MEMORY),
            ahead: None,
            settings,
        }
    }

    /// Notes that a beat was queued.
    pub fn place(&mut self, placed: QueuedBeat) {
        if self.placed.len() == MEMORY {
            self.placed.pop_front();
        }
        self.placed.push_back(placed);
    }

    /// The beat of that number, if it is still remembered.
    pub fn beat(&self, number: u64) -> Option<&QueuedBeat> {
        let first = self.placed.front()?.number;
        self.placed
            .get(usize::try_from(number.checked_sub(first)?).ok()?)
    }
}

/// A status that threads share. Not for the thread of the scheduler, which takes no locks.
#[derive(Clone, Debug)]
pub struct SharedPlayStatus(Arc<Mutex<PlayStatus>>);

impl SharedPlayStatus {
    /// Shares a status.
    pub fn new(status: PlayStatus) -> SharedPlayStatus {
        SharedPlayStatus(Arc::new(Mutex::new(status)))
    }

    /// The status, for a moment. What a thread that panicked left is still a status.
    pub fn look(&self) -> MutexGuard<'_, PlayStatus> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
