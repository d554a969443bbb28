//! What is known about play at large: written by the conductor, read by the screen.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::copyist::ByPart;
use super::passage::{Bar, Beat, Passage};
use super::supply::Request;
use super::timebase::PlayTick;

/// A beat that was queued.
#[derive(Clone, Debug)]
pub struct Placed {
    /// The number it was queued under.
    pub number: u64,
    /// The passage it belongs to.
    pub passage: Arc<Passage>,
    /// What the passage was asked for as.
    pub request: Request,
    /// Its index in the passage.
    pub beat: usize,
    /// The position in play of the passage's start.
    pub origin: PlayTick,
}

impl Placed {
    /// The beat itself.
    pub fn beat(&self) -> &Beat {
        &self.passage.beats[self.beat]
    }

    /// Its bar.
    pub fn bar(&self) -> &Bar {
        &self.passage.bars[self.beat().bar]
    }
}

/// The settings of play as they stand.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
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

impl Standing {
    /// The settings before the first beat.
    pub fn at_first(level: u8, seed: u64, muted: ByPart<bool>) -> Standing {
        Standing {
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

/// How many beats the board remembers: more than the longest bar and what is queued have.
const MEMORY: usize = 256;

/// The board.
#[derive(Clone, Debug)]
pub struct Board {
    placed: VecDeque<Placed>,
    /// The settings.
    pub standing: Standing,
}

impl Board {
    /// An empty board.
    pub fn new(standing: Standing) -> Board {
        Board {
            placed: VecDeque::with_capacity(MEMORY),
            standing,
        }
    }

    /// Notes that a beat was queued.
    pub fn place(&mut self, placed: Placed) {
        if self.placed.len() == MEMORY {
            self.placed.pop_front();
        }
        self.placed.push_back(placed);
    }

    /// The beat of that number, if it is still remembered.
    pub fn beat(&self, number: u64) -> Option<&Placed> {
        let first = self.placed.front()?.number;
        self.placed
            .get(usize::try_from(number.checked_sub(first)?).ok()?)
    }
}

/// A board that threads share. Not for the thread of the scheduler, which takes no locks.
#[derive(Clone, Debug)]
pub struct SharedBoard(Arc<Mutex<Board>>);

impl SharedBoard {
    /// Shares a board.
    pub fn new(board: Board) -> SharedBoard {
        SharedBoard(Arc::new(Mutex::new(board)))
    }

    /// The board, for a moment. What a thread that panicked left is still a board.
    pub fn look(&self) -> MutexGuard<'_, Board> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
