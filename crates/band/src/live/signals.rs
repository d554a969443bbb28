//! What the signals of the system do to a play. Those that end a process stop play, so that silence comes
//! first; those that suspend it end what sounds, give the terminal back and stand still until they are told to
//! go on. Signals that were ignored when the process began, as `nohup` does, stay ignored.
//!
//! A thread waits for them that waits for nothing else, so that a process whose terminal or reader stalls can
//! always be ended.

use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use super::display::Display;
use super::play::Remote;

/// What signals act on, once it is there.
#[cfg_attr(not(unix), allow(dead_code))]
#[derive(Clone)]
struct Tied {
    remote: Remote,
    display: Display,
}

#[derive(Default)]
struct Shared {
    /// Set by a signal that ends the process.
    stop: Arc<AtomicBool>,
    /// Whether play has ended and the terminal is as it was.
    over: AtomicBool,
    tied: Mutex<Option<Tied>>,
}

/// The signals; see the module.
#[derive(Clone, Default)]
pub struct Signals(Arc<Shared>);

impl Signals {
    /// Takes the signals from now on.
    ///
    /// # Errors
    /// When the system does not let us hear of them.
    pub fn take() -> io::Result<Signals> {
        let signals = Signals::default();
        signals.listen()?;
        Ok(signals)
    }

    /// The flag that the signals which end the process set.
    pub fn stop(&self) -> Arc<AtomicBool> {
        self.0.stop.clone()
    }

    /// Signals act on this play from now on.
    pub fn tie(&self, remote: Remote, display: Display) {
        let mut tied = self.0.tied.lock().unwrap_or_else(PoisonError::into_inner);
        *tied = Some(Tied { remote, display });
    }

    #[cfg(unix)]
    fn tied(&self) -> Option<Tied> {
        let tied = self.0.tied.lock().unwrap_or_else(PoisonError::into_inner);
        tied.clone()
    }

    /// Play has ended and the terminal is as it was: what is left to do may take its time, as long as nobody
    /// keeps it waiting.
    pub fn over(&self) {
        self.0.over.store(true, Ordering::SeqCst);
    }

    #[cfg(not(unix))]
    fn listen(&self) -> io::Result<()> {
        use signal_hook::{consts, flag};
        for signal in [consts::SIGINT, consts::SIGTERM] {
            flag::register(signal, self.stop())?;
        }
        Ok(())
    }

    #[cfg(unix)]
    fn listen(&self) -> io::Result<()> {
        use signal_hook::{consts::*, iterator};
        let ending = [SIGINT, SIGTERM, SIGHUP, SIGQUIT];
        let suspending = [SIGTSTP, SIGTTIN, SIGTTOU];
        let ignored = crate::ignored_signals::ignored();
        let wanted = ending.iter().chain(&suspending).copied();
        let wanted = wanted.filter(|signal| ignored >> (signal - 1) & 1 == 0);
        let mut heard = iterator::Signals::new(wanted.chain([SIGCONT]))?;
        let signals = self.clone();
        std::thread::Builder::new()
            .name("signals".into())
            .spawn(move || {
                for signal in heard.forever() {
                    match signal {
                        signal if ending.contains(&signal) => signals.end(),
                        signal if suspending.contains(&signal) => signals.suspend(),
                        // Whatever stopped us may have written on the terminal.
                        _ => signals.with(|tied| tied.display.reveal()),
                    }
                }
            })?;
        Ok(())
    }
}

#[cfg(unix)]
impl Signals {
    fn with(&self, act: impl FnOnce(&Tied)) {
        if let Some(tied) = self.tied() {
            act(&tied);
        }
    }

    /// Stops play; and if the process is still there after a while because something keeps it waiting, ends it.
    fn end(&self) {
        use std::{thread, time::Duration};
        if self.0.stop.swap(true, Ordering::SeqCst) {
            return;
        }
        let signals = self.clone();
        // A second signal must be heard meanwhile.
        let spawned = thread::Builder::new().spawn(move || {
            thread::sleep(Duration::from_millis(750));
            while signals.0.over.load(Ordering::SeqCst) && !unix::output_stalls() {
                thread::sleep(Duration::from_millis(50));
            }
            let code = match signals.0.over.load(Ordering::SeqCst) {
                true => 0,
                // A device or a terminal never gave us back what we waited for.
                false => 3,
            };
            signal_hook::low_level::exit(code);
        });
        if spawned.is_err() {
            signal_hook::low_level::exit(3);
        }
    }

    /// Ends what sounds, gives the terminal back, stands still, and goes on when it is told to.
    fn suspend(&self) {
        use std::time::Duration;
        let within = Duration::from_millis(100);
        self.with(|tied| {
            tied.remote.suspend(within);
            tied.display.hide(within);
        });
        if unix::can_be_woken() {
            let _ = signal_hook::low_level::raise(signal_hook::consts::SIGSTOP);
        }
        self.with(|tied| {
            tied.display.reveal();
            tied.remote.wake();
        });
    }
}

#[cfg(unix)]
mod unix {
    use nix::unistd::{Pid, getppid, getsid};
    use rustix::event::{PollFd, PollFlags, Timespec, poll};

    /// Whether somebody is there who could tell us to go on: POSIX stops no process of an orphaned group
    /// (POSIX.1-2024, General Information, 2.4.3 "Signal Actions"), and neither do we.
    pub fn can_be_woken() -> bool {
        let parent = getppid();
        // In a container the session may have begun outside: it is then 0, which `rustix` takes for no answer at all.
        let init = 1;
        parent.as_raw() > init && getsid(Some(parent)) == getsid(None::<Pid>)
    }

    /// Whether somebody keeps what we write waiting.
    pub fn output_stalls() -> bool {
        let (out, err) = (std::io::stdout(), std::io::stderr());
        let at_once = Timespec {
            tv_sec: 0,
            tv_nsec: 0,
        };
        let stalls = |asked: PollFd<'_>| poll(&mut [asked], Some(&at_once)) == Ok(0);
        stalls(PollFd::new(&out, PollFlags::OUT)) || stalls(PollFd::new(&err, PollFlags::OUT))
    }
}
