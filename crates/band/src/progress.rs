//! How far long work is: after two seconds a bar on a terminal, elsewhere a line now and then, with the time left.

use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::{
    io::{self, IsTerminal},
    sync::Mutex,
    time::{Duration, Instant},
};

/// How long nothing is said.
const PATIENCE: Duration = Duration::from_secs(2);
/// Between lines where there is no terminal.
const BETWEEN_LINES: Duration = Duration::from_secs(10);

/// Work of so many equal steps, done on any number of threads; all is said on standard error.
#[derive(Debug)]
pub struct Progress {
    what: &'static str,
    bar: ProgressBar,
    /// When something is to be said next; never again once a bar draws itself.
    next: Mutex<Option<Instant>>,
}

impl Progress {
    /// Of `what`, in the plural.
    pub fn of(what: &'static str, steps: u64) -> Progress {
        let bar = ProgressBar::with_draw_target(Some(steps), ProgressDrawTarget::hidden());
        let style = ProgressStyle::with_template("{msg} {wide_bar} {percent}%, {eta} left");
        Progress {
            what,
            bar: bar
                .with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
                .with_message(what),
            next: Mutex::new(Some(Instant::now() + PATIENCE)),
        }
    }

    /// One step is done.
    pub fn step(&self) {
        self.bar.inc(1);
        // Whoever finds it held leaves it to the other.
        let Ok(mut next) = self.next.try_lock() else {
            return;
        };
        if next.is_none_or(|next| Instant::now() < next) {
            return;
        }
        *next = if io::stderr().is_terminal() {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
            None
        } else {
            let (done, left) = (100 * self.bar.position(), HumanDuration(self.bar.eta()));
            let share = done / self.bar.length().unwrap_or(1).max(1);
            eprintln!("{}: {share}% done, about {left} left", self.what);
            Some(Instant::now() + BETWEEN_LINES)
        };
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
