//! The display: the screen or the lines of text of a play, written by a thread of its own. A terminal that
//! stalls (Ctrl-S, a full pipe) holds up that thread and nobody else; only the latest moment is kept for it.

use std::io::{IsTerminal, Stdout, Write, stderr, stdin, stdout};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use ratatui::backend::{Backend, CrosstermBackend};
use ratatui::layout::Rect;
use ratatui::{Terminal, TerminalOptions, Viewport};

use super::keys::is_foreground;
use super::play_view::PlayView;
use super::screen::{self, Look};
use crate::failure::printable_line;

/// What the display shows, and how.
#[derive(Clone, Debug, Default)]
pub struct DisplayOptions {
    /// Whether there may be a screen; without one, lines of text.
    pub screen: bool,
    /// Whether there is anything to read at all.
    pub silent: bool,
    /// What to say before the first beat.
    pub waiting: String,
}

/// Whether the display is there.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum State {
    #[default]
    Shown,
    /// The terminal is as it was before, for as long as the process is suspended.
    Hidden,
    /// For good.
    Closed,
}

/// What is to be written.
#[derive(Default)]
struct Desk {
    wanted: State,
    /// What the thread has come to.
    reached: State,
    view: Option<PlayView>,
    /// Whether something has changed since the thread looked.
    news: bool,
    words: Vec<String>,
    /// Whether a screen is open.
    open: bool,
}

/// A way to the display; copies share it.
#[derive(Clone)]
pub struct Display {
    shared: Arc<(Mutex<Desk>, Condvar)>,
}

impl Display {
    /// Opens the display.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn open(options: DisplayOptions) -> std::io::Result<Display> {
        let screen = options.screen && stdout().is_terminal() && stdin().is_terminal();
        let display = Display {
            shared: Arc::default(),
        };
        display.change(|_| {});
        let writer = Writer {
            display: display.clone(),
            options: DisplayOptions { screen, ..options },
            look: Look::from_environment(),
            terminal: None,
            line: String::new(),
        };
        thread::Builder::new()
            .name("display".into())
            .spawn(move || writer.run())?;
        Ok(display)
    }

    fn desk(&self) -> MutexGuard<'_, Desk> {
        self.shared.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn change(&self, change: impl FnOnce(&mut Desk)) {
        let mut desk = self.desk();
        change(&mut desk);
        desk.news = true;
        self.shared.1.notify_all();
    }

    /// Shows a moment, in place of the one before.
    pub fn show(&self, view: Option<PlayView>) {
        self.change(|desk| desk.view = view);
    }

    /// Says something on a line of its own.
    pub fn say(&self, words: &str) {
        // Nobody reads a thousand lines at once; a terminal that stalls for ever does not fill the memory.
        self.change(|desk| {
            if desk.words.len() < 1_000 {
                desk.words.push(words.into());
            }
        });
    }

    /// Whether a screen is open, on which [`Display::say`] would write across what it shows.
    pub fn has_screen(&self) -> bool {
        self.desk().open
    }

    /// Leaves the terminal as it was before, for a while.
    pub fn hide(&self, within: Duration) {
        self.put_away(State::Hidden, within);
    }

    /// Shows everything again, drawn anew.
    pub fn reveal(&self) {
        self.change(|desk| {
            if desk.wanted == State::Hidden {
                desk.wanted = State::Shown;
            }
        });
    }

    /// Leaves the terminal as it was before, for good.
    pub fn close(&self, within: Duration) {
        self.put_away(State::Closed, within);
    }

    fn put_away(&self, state: State, within: Duration) {
        self.change(|desk| desk.wanted = state);
        if self.is_away(state, within) || !self.has_screen() {
            return;
        }
        // The terminal stalls. If it was stopped from its keyboard it can be let go on.
        #[cfg(unix)]
        let _ = rustix::termios::tcflow(stdout(), rustix::termios::Action::OOn);
        if !self.is_away(state, within) && is_foreground() {
            let _ = disable_raw_mode();
        }
    }

    fn is_away(&self, state: State, within: Duration) -> bool {
        let began = Instant::now();
        let mut desk = self.desk();
        while desk.reached != state {
            let left = within.saturating_sub(began.elapsed());
            if left.is_zero() {
                return false;
            }
            let waited = self.shared.1.wait_timeout(desk, left);
            (desk, _) = waited.unwrap_or_else(PoisonError::into_inner);
        }
        true
    }
}

type Screen = Terminal<CrosstermBackend<Stdout>>;

/// A blank screen of this size. The terminal is asked nothing, since its answer would come among the keys.
fn blank(size: Rect) -> std::io::Result<Screen> {
    let viewport = Viewport::Fixed(size);
    let mut backend = CrosstermBackend::new(stdout());
    backend.clear()?;
    Terminal::with_options(backend, TerminalOptions { viewport })
}

/// The thread that writes.
struct Writer {
    display: Display,
    options: DisplayOptions,
    look: Look,
    terminal: Option<Screen>,
    /// The line of text last written.
    line: String,
}

impl Writer {
    fn run(mut self) {
        loop {
            let (wanted, view, words) = self.next();
            if wanted != State::Shown {
                self.leave();
                self.display.desk().reached = wanted;
                self.display.shared.1.notify_all();
                if wanted == State::Closed {
                    return;
                }
                continue;
            }
            self.enter();
            self.display.desk().reached = State::Shown;
            for words in words {
                let _ = writeln!(stderr(), "endpin: {}", printable_line(&words));
            }
            match self.terminal.is_some() {
                true => self.draw(view.as_ref()),
                false => self.print(view.as_ref()),
            }
        }
    }

    /// Waits for something new.
    fn next(&self) -> (State, Option<PlayView>, Vec<String>) {
        let mut desk = self.display.desk();
        while !desk.news {
            let waited = self.display.shared.1.wait(desk);
            desk = waited.unwrap_or_else(PoisonError::into_inner);
        }
        desk.news = false;
        let words = match desk.wanted {
            State::Shown => std::mem::take(&mut desk.words),
            State::Hidden | State::Closed => Vec::new(),
        };
        (desk.wanted, desk.view.clone(), words)
    }

    fn enter(&mut self) {
        if !self.options.screen || self.terminal.is_some() || !is_foreground() {
            return;
        }
        let opened = enable_raw_mode().and_then(|()| {
            self.display.desk().open = true;
            crossterm::execute!(stdout(), EnterAlternateScreen)?;
            blank(size())
        });
        match opened {
            Ok(terminal) => self.terminal = Some(terminal),
            Err(_) => self.give_up(),
        }
    }

    fn leave(&mut self) {
        if let Some(mut terminal) = self.terminal.take() {
            if terminal.show_cursor().is_err() {
                // The terminal has gone. Dropped, this would say so on standard error, which has gone with it.
                std::mem::forget(terminal);
            }
            let _ = crossterm::execute!(stdout(), LeaveAlternateScreen);
            if is_foreground() {
                let _ = disable_raw_mode();
            }
        }
        self.display.desk().open = false;
    }

    /// The terminal has gone, or is none: there will be lines of text, if anybody reads them.
    fn give_up(&mut self) {
        self.options.screen = false;
        self.leave();
    }

    fn draw(&mut self, view: Option<&PlayView>) {
        let Some(terminal) = &mut self.terminal else {
            return;
        };
        let (size, look, waiting) = (size(), self.look, &self.options.waiting);
        let fitted = match terminal.get_frame().area() == size {
            true => Ok(()),
            false => blank(size).map(|fitting| *terminal = fitting),
        };
        let drawn = fitted.and_then(|()| {
            let page = |frame: &mut ratatui::Frame| screen::draw(frame, view, look, waiting);
            terminal.draw(page).map(|_| ())
        });
        if drawn.is_err() {
            self.give_up();
        }
    }

    fn print(&mut self, view: Option<&PlayView>) {
        let Some(view) = view else {
            let waiting = std::mem::take(&mut self.options.waiting);
            if !waiting.is_empty() {
                let _ = writeln!(stderr(), "{waiting}");
            }
            return;
        };
        if self.options.silent {
            return;
        }
        let line = view.line();
        if line != self.line {
            // Nobody may be reading; play goes on.
            let _ = writeln!(stdout(), "{line}");
            self.line = line;
        }
    }
}

/// Columns and rows that are drawn at most: more than any screen has, and no more memory than is there. A
/// terminal may claim 65,535 of each.
const LARGEST: (u16, u16) = (600, 200);

/// The part of the terminal that is drawn on.
fn size() -> Rect {
    #[cfg(unix)]
    let told = rustix::termios::tcgetwinsize(stdout()).map(|size| (size.ws_col, size.ws_row));
    #[cfg(not(unix))]
    let told = crossterm::terminal::size();
    within_reason(told.unwrap_or((80, 24)))
}

fn within_reason((columns, rows): (u16, u16)) -> Rect {
    let (most_columns, most_rows) = LARGEST;
    Rect::new(
        0,
        0,
        columns.clamp(1, most_columns),
        rows.clamp(1, most_rows),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_terminal_of_any_size_is_drawn_on_within_reason() {
        for (told, wanted) in [
            ((80, 24), (80, 24)),
            ((0, 0), (1, 1)),
            ((65_535, 65_535), LARGEST),
            ((65_535, 24), (600, 24)),
        ] {
            let area = within_reason(told);
            assert_eq!((area.width, area.height), wanted, "{told:?}");
        }
    }
}
