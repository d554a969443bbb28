//! Where the conductor gets its passages from: asked for ahead of time, made on a thread of their
//! own, so that the making never delays the playing.

use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use super::passage::Passage;

/// What a passage is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PassageKind {
    /// What is played before the first chorus.
    CountIn,
    /// The whole form.
    Chorus,
    /// One section of it, as an index in playing order, that will be played again and again.
    Section(usize),
    /// The bar after the last chorus.
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

/// Something that makes passages.
pub trait PassageSource: Send {
    /// Makes the passage asked for; the error is a sentence for the user.
    fn passage(&mut self, request: &PassageRequest) -> Result<Passage, String>;
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

/// A source that is asked now and answers later.
pub trait PassageSupply {
    /// Asks; whatever was asked before and has not come yet may still come.
    fn ask(&mut self, request: PassageRequest);
    /// What has come since, if anything.
    fn poll(&mut self) -> Option<MadePassage>;
}

/// Answers at the next poll, on the same thread.
pub struct MadeAtOnce<S> {
    source: S,
    asked: Option<PassageRequest>,
}

impl<S: PassageSource> MadeAtOnce<S> {
    /// A supply from `source`.
    pub fn new(source: S) -> MadeAtOnce<S> {
        MadeAtOnce {
            source,
            asked: None,
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
}

/// Answers from a thread of its own, which ends when this is dropped.
pub struct MadeOnThread {
    asked: Sender<PassageRequest>,
    made: Receiver<MadePassage>,
}

impl MadeOnThread {
    /// Starts the thread that makes passages from `source`.
    pub fn new<S: PassageSource + 'static>(mut source: S) -> std::io::Result<MadeOnThread> {
        let (asked, requests) = channel::<PassageRequest>();
        let (answers, made) = channel();
        thread::Builder::new()
            .name("passages".into())
            .spawn(move || {
                while let Ok(mut request) = requests.recv() {
                    // Only the latest wish counts.
                    while let Ok(later) = requests.try_recv() {
                        request = later;
                    }
                    let answer = source.passage(&request);
                    if answers.send((request, answer)).is_err() {
                        break;
                    }
                }
            })?;
        Ok(MadeOnThread { asked, made })
    }
}

impl PassageSupply for MadeOnThread {
    fn ask(&mut self, request: PassageRequest) {
        // The thread lives as long as this does, save for a panic in it, whose answer never comes.
        let _ = self.asked.send(request);
    }

    fn poll(&mut self) -> Option<MadePassage> {
        self.made.try_recv().ok()
    }
}
