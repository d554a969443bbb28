//! Where the conductor gets its passages from: asked for ahead of time, made on a thread of their
//! own, so that the making never delays the playing.

use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use super::passage::Passage;

/// What a passage is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Piece {
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
pub struct Request {
    /// What.
    pub piece: Piece,
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
pub trait Source: Send {
    /// Makes the passage asked for; the error is a sentence for the user.
    fn passage(&mut self, request: &Request) -> Result<Passage, String>;
}

impl<F> Source for F
where
    F: FnMut(&Request) -> Result<Passage, String> + Send,
{
    fn passage(&mut self, request: &Request) -> Result<Passage, String> {
        self(request)
    }
}

/// A passage with the request it answers.
pub type Answer = (Request, Result<Passage, String>);

/// A source that is asked now and answers later.
pub trait Supply {
    /// Asks; whatever was asked before and has not come yet may still come.
    fn ask(&mut self, request: Request);
    /// What has come since, if anything.
    fn poll(&mut self) -> Option<Answer>;
}

/// Answers at the next poll, on the same thread.
pub struct AtOnce<S> {
    source: S,
    asked: Option<Request>,
}

impl<S: Source> AtOnce<S> {
    /// A supply from `source`.
    pub fn new(source: S) -> AtOnce<S> {
        AtOnce {
            source,
            asked: None,
        }
    }
}

impl<S: Source> Supply for AtOnce<S> {
    fn ask(&mut self, request: Request) {
        self.asked = Some(request);
    }

    fn poll(&mut self) -> Option<Answer> {
        let request = self.asked.take()?;
        Some((request, self.source.passage(&request)))
    }
}

/// Answers from a thread of its own, which ends when this is dropped.
pub struct Threaded {
    asked: Sender<Request>,
    made: Receiver<Answer>,
}

impl Threaded {
    /// Starts the thread that makes passages from `source`.
    pub fn new<S: Source + 'static>(mut source: S) -> std::io::Result<Threaded> {
        let (asked, requests) = channel::<Request>();
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
        Ok(Threaded { asked, made })
    }
}

impl Supply for Threaded {
    fn ask(&mut self, request: Request) {
        // The thread lives as long as this does, save for a panic in it, whose answer never comes.
        let _ = self.asked.send(request);
    }

    fn poll(&mut self) -> Option<Answer> {
        self.made.try_recv().ok()
    }
}
