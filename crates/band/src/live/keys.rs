//! The keys of the terminal, read on a thread of their own, which nobody waits for: a terminal that has been
//! closed, or is not ours at present, holds up nothing else.

use std::sync::mpsc::Sender;
use std::thread;
#[cfg(unix)]
use std::time::Duration;

use super::control::Control;

/// Sends what the keys ask for until standard input ends.
pub fn listen(asked: Sender<Control>) {
    // Without the thread there are no keys, and play goes on.
    let _ = thread::Builder::new()
        .name("keys".into())
        .spawn(move || read(&asked));
}

/// Whether the terminal is ours to read and to set: a job in the background that does either is stopped.
#[cfg(unix)]
pub fn is_foreground() -> bool {
    use nix::unistd::{getpgrp, tcgetpgrp};
    // Of a group outside our container both are 0, which `rustix` does not allow for.
    tcgetpgrp(std::io::stdin()).is_ok_and(|group| group == getpgrp())
}

/// Whether the terminal is ours to read and to set.
#[cfg(not(unix))]
pub fn is_foreground() -> bool {
    true
}

#[cfg(unix)]
fn read(asked: &Sender<Control>) {
    use rustix::event::{PollFd, PollFlags, poll};
    use rustix::io::Errno;
    let stdin = std::io::stdin();
    let mut bytes = [0; 64];
    loop {
        let mut waited = [PollFd::new(&stdin, PollFlags::IN)];
        if poll(&mut waited, None).is_err_and(|error| error != Errno::INTR) {
            return;
        }
        if !is_foreground() && !waited[0].revents().contains(PollFlags::HUP) {
            thread::sleep(Duration::from_millis(100));
            continue;
        }
        match rustix::io::read(&stdin, &mut bytes) {
            // Standard input is at its end, or the terminal has gone.
            Ok(0) => return,
            Ok(count) => {
                for key in keys_of(&bytes[..count]) {
                    match key {
                        Key::Suspend => {
                            let _ = signal_hook::low_level::raise(signal_hook::consts::SIGTSTP);
                        }
                        Key::Control(control) if asked.send(control).is_err() => return,
                        Key::Control(_) => {}
                    }
                }
            }
            Err(Errno::INTR) => {}
            Err(Errno::AGAIN) => thread::sleep(Duration::from_millis(100)),
            Err(_) => return,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg(unix)]
enum Key {
    Control(Control),
    /// Ctrl-Z, which is no signal while the screen is there.
    Suspend,
}

/// What the bytes of one read ask for. A lone escape is the key of that name; with more behind it, it begins the
/// code of another key (ECMA-48, "Control Sequence Introducer"), which asks for nothing here.
#[cfg(unix)]
fn keys_of(bytes: &[u8]) -> Vec<Key> {
    const ESCAPE: u8 = 0x1B;
    match bytes {
        [ESCAPE] => vec![Key::Control(Control::Quit)],
        [ESCAPE, ..] => Vec::new(),
        _ => bytes.iter().filter_map(|byte| key_of(*byte)).collect(),
    }
}

#[cfg(unix)]
fn key_of(byte: u8) -> Option<Key> {
    match byte {
        // Ctrl-C, Ctrl-D and Ctrl-\, which a terminal with a screen sends as they are.
        0x03 | 0x04 | 0x1C => Some(Key::Control(Control::Quit)),
        0x1A => Some(Key::Suspend),
        _ => Control::on_key(char::from(byte)).map(Key::Control),
    }
}

#[cfg(not(unix))]
fn read(asked: &Sender<Control>) {
    use crossterm::event::{self, Event, KeyCode, KeyEventKind, KeyModifiers};
    while let Ok(event) = event::read() {
        let Event::Key(key) = event else { continue };
        if key.kind != KeyEventKind::Press {
            continue;
        }
        let control = match key.code {
            KeyCode::Char('c' | 'd') if key.modifiers.contains(KeyModifiers::CONTROL) => {
                Some(Control::Quit)
            }
            KeyCode::Char(letter) => Control::on_key(letter),
            KeyCode::Esc => Some(Control::Quit),
            _ => None,
        };
        if control.is_some_and(|control| asked.send(control).is_err()) {
            return;
        }
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    #[test]
    fn bytes_are_keys_and_the_codes_of_other_keys_are_none() {
        for (bytes, wanted) in [
            (&b"n"[..], vec![Key::Control(Control::NextSection)]),
            (
                b" x+",
                vec![Key::Control(Control::Pause), Key::Control(Control::Faster)],
            ),
            (b"\x03", vec![Key::Control(Control::Quit)]),
            (b"\x1c", vec![Key::Control(Control::Quit)]),
            (b"\x1a", vec![Key::Suspend]),
            (b"\x1b", vec![Key::Control(Control::Quit)]),
            // Cursor up, and F1 as some terminals send it.
            (b"\x1b[A", vec![]),
            (b"\x1bOP", vec![]),
            ("é".as_bytes(), vec![]),
        ] {
            assert_eq!(keys_of(bytes), wanted, "{bytes:02X?}");
        }
    }
}
