//! The console: what sits in front of a play while it goes on. It hands moments to the display, takes what the
//! keys ask for, looks after the ports, and keeps the beats for whoever listens. It waits for nobody.

use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use super::control::Control;
use super::display::Display;
use super::keys;
use super::play::{Outcome, Play};
use super::play_status::SharedPlayStatus;
use super::play_view::PlayView;
use super::played_notes::Beats;
use super::ports::Watch;
use super::scheduler::News;
use super::sink::Sink;

/// How often the screen is drawn and the keys are looked at.
const FRAME: Duration = Duration::from_millis(33);
/// How often ports are looked after.
const ROUND: Duration = Duration::from_secs(1);
/// How long the display may take to give the terminal back.
const GIVES_BACK: Duration = Duration::from_millis(150);

/// Somewhere that the music goes, as the console looks after it.
pub struct Tended {
    /// What the user calls it.
    pub name: String,
    /// Watches over it, if it can vanish without a word.
    pub watch: Option<Watch>,
    /// Opens it anew.
    pub reopen: Box<dyn FnMut() -> Option<Opened>>,
}

/// A sink that was opened, with what watches over it.
pub type Opened = (Box<dyn Sink>, Option<Watch>);

/// What the console tells of.
pub struct ConsoleOptions {
    /// Title of the chart.
    pub title: String,
    /// How many choruses there will be, if that is settled.
    pub choruses: Option<u32>,
    /// Whether keys are taken.
    pub keys: bool,
}

/// The console; see the module.
pub struct Console {
    show: ConsoleOptions,
    display: Display,
    status: SharedPlayStatus,
    tended: Vec<Tended>,
    lost: Vec<bool>,
    asked: Receiver<Control>,
    beats: Beats,
}

impl Console {
    /// A console whose keys are read from now on.
    pub fn new(
        show: ConsoleOptions,
        display: Display,
        status: SharedPlayStatus,
        tended: Vec<Tended>,
    ) -> Console {
        let (asks, asked) = channel();
        if show.keys {
            keys::listen(asks);
        }
        Console {
            lost: vec![false; tended.len()],
            beats: Beats::default(),
            asked,
            show,
            display,
            status,
            tended,
        }
    }

    /// Sits there until play has ended; then the terminal is as it was. Returns how play went and
    /// the beats it had.
    ///
    /// # Errors
    /// The name of a thread that panicked.
    pub fn attend(mut self, mut play: Play) -> Result<(Outcome, Beats), &'static str> {
        let remote = play.remote();
        let mut round = Instant::now();
        while !play.is_over() {
            match self.asked.recv_timeout(FRAME) {
                Ok(Control::Quit) => play.stop(),
                Ok(control) => remote.ask(control),
                Err(RecvTimeoutError::Timeout) => {}
                // Standard input has been closed; play goes on.
                Err(RecvTimeoutError::Disconnected) => thread::sleep(FRAME),
            }
            self.hear_news(&mut play);
            if round.elapsed() >= ROUND {
                round = Instant::now();
                self.tend(&mut play);
            }
            let (title, choruses) = (&self.show.title, self.show.choruses);
            let view = PlayView::at(&self.status.look(), play.reached(), title, choruses);
            self.display.show(view);
        }
        self.hear_news(&mut play);
        let outcome = play.finish();
        self.display.close(GIVES_BACK);
        Ok((outcome?, std::mem::take(&mut self.beats)))
    }

    fn hear_news(&mut self, play: &mut Play) {
        while let Ok(news) = play.news.pop() {
            match news {
                News::Beat { tick, at, .. } => self.beats.push(tick, at),
                News::Lost(index, error) => {
                    if let Some(tended) = self.tended.get(index) {
                        self.lost[index] = true;
                        self.say(&format!("{} was lost: {error}", tended.name));
                    }
                }
                News::Interrupted(span) => {
                    self.say(&format!("interrupted for {:.1} s", span.as_secs_f64()));
                }
            }
        }
    }

    /// Says something that is not part of the chart.
    fn say(&self, words: &str) {
        match self.display.has_screen() {
            true => self.status.look().settings.notice = Some(words.into()),
            false => self.display.say(words),
        }
    }

    fn tend(&mut self, play: &mut Play) {
        for index in 0..self.tended.len() {
            let tended = &mut self.tended[index];
            if let Some(watch) = &tended.watch {
                watch.look();
            }
            if self.lost[index]
                && play.waits()
                && let Some((sink, watch)) = (tended.reopen)()
            {
                tended.watch = watch;
                play.replace(index, sink);
                self.lost[index] = false;
                self.say(&format!("{} is back", self.tended[index].name));
            }
        }
    }
}
