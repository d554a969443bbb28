//! Where the conductor gets its passages from: asked for ahead of time, made on a thread of their
//! own, so that the making never delays the playing.

use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use super::passage::Passage;
use super::redraw::Amendment;

/// What a passage is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PassageKind {
    /// What is played before the first chorus: the bars counted in, and the intro.
    CountIn,
    /// The whole form.
    Chorus,
    /// One section of it, as an index in playing order, that will be played again and again.
    Section(usize),
    /// What is played after the last chorus: the tag, and the last chord.
    Ending,
}

/// What is asked for. Equal requests yield equal passages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PassageRequest {
    /// What.
    pub kind: PassageKind,
    /// The number of the chorus, from 1; each is another line.
    pub chorus: u32,
    /// The seed.
    pub seed: u64,
    /// The teacher's level, 1 to 6.
    pub level: u8,
    /// Semitones by which the chart is transposed, -11 to 11.
    pub transpose: i8,
}

/// A bar that is to lead elsewhere than its line was drawn to: play jumps at its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bend {
    /// The passage that plays.
    pub from: PassageRequest,
    /// The bar before the jump, as an index.
    pub bar: usize,
    /// So many of its beats stay as they are, for they have sounded.
    pub keep: usize,
    /// The passage that comes.
    pub to: PassageRequest,
    /// The bar at which it is entered, as an index.
    pub entry_bar: usize,
}

impl Bend {
    /// Whether both lead from the same bar to the same place.
    pub fn is_like(&self, other: &Bend) -> bool {
        Bend { keep: 0, ..*self } == Bend { keep: 0, ..*other }
    }
}

/// Something that makes passages.
pub trait PassageSource: Send {
    /// Makes the passage asked for; the error is a sentence for the user.
    fn passage(&mut self, request: &PassageRequest) -> Result<Passage, String>;

    /// Draws the rest of a bar anew, so that it leads to where play goes on.
    ///
    /// # Errors
    /// When no line does, or none can be drawn.
    fn bend(&mut self, _: &Bend) -> Result<Amendment, String> {
        Err("this source draws no bars anew".into())
    }
}

impl<F> PassageSource for F
where
    F: FnMut(&PassageRequest) -> Result<Passage, String> + Send,
{
    fn passage(&mut self, request: &PassageRequest) -> Result<Passage, String> {
        self(request)
    }
}

/// A passage with the request it answers.
pub type MadePassage = (PassageRequest, Result<Passage, String>);
/// A bar drawn anew, with what was asked for.
pub type MadeBend = (Bend, Result<Amendment, String>);

/// A source that is asked now and answers later.
pub trait PassageSupply {
    /// Asks; whatever was asked before and has not come yet may still come.
    fn ask(&mut self, request: PassageRequest);
    /// What has come since, if anything.
    fn poll(&mut self) -> Option<MadePassage>;
    /// Asks for a bar to be drawn anew.
    fn ask_bend(&mut self, bend: Bend);
    /// What has come of it since, if anything.
    fn poll_bend(&mut self) -> Option<MadeBend>;
}

/// Answers at the next poll, on the same thread.
pub struct MadeAtOnce<S> {
    source: S,
    asked: Option<PassageRequest>,
    bend: Option<Bend>,
}

impl<S: PassageSource> MadeAtOnce<S> {
    /// A supply from `source`.
    pub fn new(source: S) -> MadeAtOnce<S> {
        MadeAtOnce {
            source,
            asked: None,
            bend: None,
        }
    }
}

impl<S: PassageSource> PassageSupply for MadeAtOnce<S> {
    fn ask(&mut self, request: PassageRequest) {
        self.asked = Some(request);
    }

    fn poll(&mut self) -> Option<MadePassage> {
        let request = self.asked.take()?;
        Some((request, self.source.passage(&request)))
    }

    fn ask_bend(&mut self, bend: Bend) {
        self.bend = Some(bend);
    }

    fn poll_bend(&mut self) -> Option<MadeBend> {
        let bend = self.bend.take()?;
        Some((bend, self.source.bend(&bend)))
    }
}

/// What the thread is asked.
enum Asked {
    Passage(PassageRequest),
    Bend(Bend),
}

/// Answers from a thread of its own, which ends when this is dropped.
pub struct MadeOnThread {
    asked: Sender<Asked>,
    made: Receiver<MadePassage>,
    bends: Receiver<MadeBend>,
}

impl MadeOnThread {
    /// Starts the thread that makes passages from `source`.
    pub fn new<S: PassageSource + 'static>(mut source: S) -> std::io::Result<MadeOnThread> {
        let (asked, requests) = channel::<Asked>();
        let (answers, made) = channel();
        let (bent, bends) = channel();
        thread::Builder::new()
            .name("passages".into())
            .spawn(move || {
                while let Ok(first) = requests.recv() {
                    // Only the latest wish of each kind counts, and a bend first: its bar sounds already.
                    let (mut passage, mut bend) = (None, None);
                    for asked in std::iter::once(first).chain(requests.try_iter()) {
                        match asked {
                            Asked::Passage(request) => passage = Some(request),
                            Asked::Bend(wish) => bend = Some(wish),
                        }
                    }
                    let heard = bend
                        .is_none_or(|bend| bent.send((bend, source.bend(&bend))).is_ok())
                        && passage.is_none_or(|request| {
                            answers.send((request, source.passage(&request))).is_ok()
                        });
                    if !heard {
                        break;
                    }
                }
            })?;
        Ok(MadeOnThread { asked, made, bends })
    }
}

impl PassageSupply for MadeOnThread {
    fn ask(&mut self, request: PassageRequest) {
        // The thread lives as long as this does, save for a panic in it, whose answer never comes.
        let _ = self.asked.send(Asked::Passage(request));
    }

    fn poll(&mut self) -> Option<MadePassage> {
        self.made.try_recv().ok()
    }

    fn ask_bend(&mut self, bend: Bend) {
        let _ = self.asked.send(Asked::Bend(bend));
    }

    fn poll_bend(&mut self) -> Option<MadeBend> {
        self.bends.try_recv().ok()
    }
}
