//! The console: what sits in front of a play while it goes on. It shows the screen or lines of text,
//! takes the keys, looks after the ports, and keeps the beats for whoever listens.

use std::io::{IsTerminal, Write, stderr, stdin, stdout};
use std::thread;
use std::time::{Duration, Instant};

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::DefaultTerminal;

use super::control::Control;
use super::play::{Outcome, Play};
use super::play_status::SharedPlayStatus;
use super::play_view::PlayView;
use super::played_notes::Beats;
use super::ports::Watch;
use super::scheduler::News;
use super::screen::{self, Look};
use super::sink::Sink;

/// How often the screen is drawn and the keys are looked at.
const FRAME: Duration = Duration::from_millis(33);
/// How often ports are looked after.
const ROUND: Duration = Duration::from_secs(1);

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

/// What the console shows.
pub struct ConsoleOptions {
    /// Title of the chart.
    pub title: String,
    /// How many choruses there will be, if that is settled.
    pub choruses: Option<u32>,
    /// Whether there may be a screen; without one, lines of text.
    pub screen: bool,
    /// Whether there is anything to read at all.
    pub silent: bool,
    /// What to say before the first beat.
    pub waiting: String,
}

/// The console; see the module.
pub struct Console {
    show: ConsoleOptions,
    status: SharedPlayStatus,
    tended: Vec<Tended>,
    lost: Vec<bool>,
    terminal: Option<DefaultTerminal>,
    look: Look,
    keys: bool,
    /// The line of text last printed.
    line: String,
    beats: Beats,
}

impl Console {
    /// Where standard output is a terminal the screen opens now.
    pub fn new(show: ConsoleOptions, status: SharedPlayStatus, tended: Vec<Tended>) -> Console {
        let screen = show.screen && stdout().is_terminal() && stdin().is_terminal();
        Console {
            lost: vec![false; tended.len()],
            terminal: screen.then(ratatui::try_init).and_then(Result::ok),
            look: Look::from_environment(),
            keys: screen,
            line: String::new(),
            beats: Beats::default(),
            show,
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
            match self.key() {
                Some(Control::Quit) => play.stop(),
                Some(control) => remote.ask(control),
                None => {}
            }
            self.hear_news(&mut play);
            if round.elapsed() >= ROUND {
                round = Instant::now();
                self.tend(&mut play);
            }
            self.draw(&play);
        }
        self.hear_news(&mut play);
        self.close();
        let outcome = play.finish()?;
        Ok((outcome, std::mem::take(&mut self.beats)))
    }

    /// The control that a key asks for; waits a frame for one.
    fn key(&mut self) -> Option<Control> {
        if !self.keys {
            thread::sleep(FRAME);
            return None;
        }
        let read = || match event::poll(FRAME) {
            Ok(true) => event::read().map(Some),
            Ok(false) => Ok(None),
            Err(error) => Err(error),
        };
        match read() {
            Ok(Some(Event::Key(key))) if key.kind == KeyEventKind::Press => control_of(key),
            Ok(_) => None,
            Err(_) => {
                // Standard input has been closed; play goes on.
                self.keys = false;
                None
            }
        }
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
        if self.terminal.is_some() {
            self.status.look().settings.notice = Some(words.into());
        } else {
            let _ = writeln!(stderr(), "endpin: {words}");
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

    fn draw(&mut self, play: &Play) {
        let (title, choruses) = (&self.show.title, self.show.choruses);
        let view = PlayView::at(&self.status.look(), play.reached(), title, choruses);
        let Some(terminal) = &mut self.terminal else {
            if let Some(view) = view.filter(|_| !self.show.silent) {
                let line = view.line();
                if line != self.line {
                    // Nobody may be reading; play goes on.
                    let _ = writeln!(stdout(), "{line}");
                    self.line = line;
                }
            }
            return;
        };
        let page = |frame: &mut ratatui::Frame| {
            screen::draw(frame, view.as_ref(), self.look, &self.show.waiting);
        };
        if terminal.draw(page).is_err() {
            // The terminal has gone.
            self.close();
        }
    }

    fn close(&mut self) {
        if self.terminal.take().is_some() {
            ratatui::restore();
        }
    }
}

impl Drop for Console {
    fn drop(&mut self) {
        self.close();
    }
}

fn control_of(key: KeyEvent) -> Option<Control> {
    match key.code {
        // In raw mode the terminal sends these as keys, not as signals.
        KeyCode::Char('c' | 'd') if key.modifiers.contains(KeyModifiers::CONTROL) => {
            Some(Control::Quit)
        }
        KeyCode::Char(letter) => Control::on_key(letter),
        KeyCode::Esc => Some(Control::Quit),
        _ => None,
    }
}
