//! Raw MIDI bytes to a file, a pipe or a device: a back end that needs no sound system.
//!
//! The sender never waits for a reader. What a full pipe does not take is kept, a few thousand bytes of it,
//! and sent as soon as there is room; a reader that takes nothing for a while counts as lost.

use std::fs::{File, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use super::message::Message;
use super::sink::{Sink, SinkError};

/// A sink that writes each message's bytes.
pub struct Raw<W> {
    writer: W,
    /// Bytes that the reader had no room for.
    kept: Vec<u8>,
    /// Since when there are any.
    since: Option<Instant>,
}

/// Opens a file, a pipe or a device for writing. A file is made anew. `Ok(None)`: it is a pipe that
/// nobody reads yet, and can be tried again.
///
/// # Errors
/// What the system says; or, as [`ErrorKind::ResourceBusy`], that another endpin plays there: two players would
/// double every note, and end each other's.
pub fn open(path: &Path) -> io::Result<Option<Raw<File>>> {
    let mut options = OpenOptions::new();
    options.write(true).create(true);
    // Emptied only once it is known to be ours.
    options.truncate(!cfg!(unix));
    // Without this, opening a pipe would wait for its reader, and a reader that stalls would stall
    // the scheduler, beyond the reach of any signal.
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::custom_flags(&mut options, libc::O_NONBLOCK);
    match options.open(path) {
        Ok(file) => {
            #[cfg(unix)]
            claim(&file)?;
            Ok(Some(Raw::new(file)))
        }
        #[cfg(unix)]
        Err(error) if error.raw_os_error() == Some(libc::ENXIO) => Ok(None),
        Err(error) => Err(error),
    }
}

/// Locks a file, pipe or device as long as it is open, and empties a file. What swallows everything, as
/// `/dev/null` does, may be shared.
#[cfg(unix)]
fn claim(file: &File) -> io::Result<()> {
    use std::os::unix::fs::{FileTypeExt, MetadataExt};
    let facts = file.metadata()?;
    let null = std::fs::metadata("/dev/null").map(|null| null.rdev());
    if facts.file_type().is_char_device() && null.is_ok_and(|null| null == facts.rdev()) {
        return Ok(());
    }
    let locked = rustix::fs::flock(file, rustix::fs::FlockOperation::NonBlockingLockExclusive);
    // Where there are no locks nobody can be kept out.
    if locked == Err(rustix::io::Errno::WOULDBLOCK) {
        let why = "another endpin plays there already";
        return Err(io::Error::new(ErrorKind::ResourceBusy, why));
    }
    match facts.is_file() {
        true => file.set_len(0),
        false => Ok(()),
    }
}

/// Raw bytes to standard output.
///
/// # Errors
/// When it is closed.
#[cfg(unix)]
pub fn stdout() -> io::Result<Raw<Ready>> {
    use std::os::fd::AsFd;
    let own = io::stdout().as_fd().try_clone_to_owned()?;
    Ok(Raw::new(Ready(own.into())))
}

/// Raw bytes to standard output.
///
/// # Errors
/// None here.
#[cfg(not(unix))]
pub fn stdout() -> io::Result<Raw<io::Stdout>> {
    Ok(Raw::new(io::stdout()))
}

/// A file that is asked whether it has room before it is written to. Standard output is shared with others, so
/// it cannot be told never to wait, as a pipe of our own can.
#[cfg(unix)]
pub struct Ready(File);

#[cfg(unix)]
impl Write for Ready {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        use rustix::event::{PollFd, PollFlags, Timespec, poll};
        let mut asked = [PollFd::new(&self.0, PollFlags::OUT)];
        let at_once = Timespec {
            tv_sec: 0,
            tv_nsec: 0,
        };
        match poll(&mut asked, Some(&at_once))? {
            0 => Err(ErrorKind::WouldBlock.into()),
            // Room in a pipe is room for one of its pages, which is more than any message has.
            _ => self.0.write(&bytes[..bytes.len().min(512)]),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl<W: Write> Raw<W> {
    /// How long a reader may take nothing before it counts as lost.
    const PATIENCE: Duration = Duration::from_millis(200);
    /// How many bytes are kept meanwhile.
    const ROOM: usize = 4_096;

    fn new(writer: W) -> Raw<W> {
        Raw {
            writer,
            kept: Vec::with_capacity(Self::ROOM),
            since: None,
        }
    }

    /// Writes as much as there is room for; how much that was.
    fn write(&mut self, bytes: &[u8]) -> Result<usize, SinkError> {
        let mut done = 0;
        while done < bytes.len() {
            match self.writer.write(&bytes[done..]) {
                Ok(0) => return Err(SinkError::Gone),
                Ok(written) => done += written,
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) if error.kind() == ErrorKind::WouldBlock => break,
                Err(_) => return Err(SinkError::Gone),
            }
        }
        self.writer.flush().map_err(|_| SinkError::Gone)?;
        Ok(done)
    }
}

impl<W: Write + Send> Sink for Raw<W> {
    fn send(&mut self, message: Message) -> Result<(), SinkError> {
        self.push_on()?;
        let bytes = message.bytes();
        let written = match self.kept.is_empty() {
            true => self.write(bytes)?,
            false => 0,
        };
        let rest = &bytes[written..];
        if self.kept.len() + rest.len() > Self::ROOM {
            return Err(SinkError::Full);
        }
        if !rest.is_empty() {
            self.kept.extend_from_slice(rest);
            self.since.get_or_insert_with(Instant::now);
        }
        Ok(())
    }

    fn push_on(&mut self) -> Result<(), SinkError> {
        let Some(since) = self.since else {
            return Ok(());
        };
        let kept = std::mem::take(&mut self.kept);
        let written = self.write(&kept);
        self.kept = kept;
        self.kept.drain(..written?);
        match self.kept.is_empty() {
            true => self.since = None,
            false if since.elapsed() > Self::PATIENCE => return Err(SinkError::Full),
            false => {}
        }
        Ok(())
    }

    fn settle(&mut self) {
        while self.since.is_some() && self.push_on().is_ok() {
            thread::sleep(Duration::from_millis(1));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_arrive_as_they_are() {
        let directory = tempfile::tempdir().unwrap();
        let path = directory.path().join("bytes");
        std::fs::write(&path, "something longer that was there before").unwrap();
        let mut raw = open(&path).unwrap().unwrap();
        raw.send(Message::note_on(0, 40, 90)).unwrap();
        raw.send(Message::CLOCK).unwrap();
        drop(raw);
        assert_eq!(std::fs::read(&path).unwrap(), [0x90, 40, 90, 0xF8]);
    }

    #[cfg(unix)]
    #[test]
    fn two_players_do_not_share_a_place_unless_it_is_nowhere() {
        let directory = tempfile::tempdir().unwrap();
        let path = directory.path().join("bytes");
        let mut first = open(&path).unwrap().unwrap();
        first.send(Message::CLOCK).unwrap();
        let second = open(&path).map(|_| ()).unwrap_err();
        assert_eq!(second.kind(), ErrorKind::ResourceBusy);
        assert_eq!(std::fs::read(&path).unwrap(), [0xF8], "left as it was");
        drop(first);
        assert!(open(&path).is_ok());
        let nowhere = Path::new("/dev/null");
        let both = (open(nowhere).unwrap(), open(nowhere).unwrap());
        assert!(both.0.is_some() && both.1.is_some());
    }

    /// Has room for so many bytes.
    struct Room(usize, Vec<u8>);

    impl Write for Room {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            let fits = bytes.len().min(self.0 - self.1.len());
            if fits == 0 {
                return Err(ErrorKind::WouldBlock.into());
            }
            self.1.extend_from_slice(&bytes[..fits]);
            Ok(fits)
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn what_does_not_fit_is_kept_in_order_and_the_sender_never_waits() {
        let mut raw = Raw::new(Room(4, Vec::new()));
        let began = Instant::now();
        for key in 40..60 {
            raw.send(Message::note_on(0, key, 90)).unwrap();
        }
        assert!(began.elapsed() < Raw::<Room>::PATIENCE);
        raw.writer.0 = 1_000;
        raw.push_on().unwrap();
        let wanted: Vec<u8> = (40..60).flat_map(|key| [0x90, key, 90]).collect();
        assert_eq!(raw.writer.1, wanted);
    }

    #[test]
    fn a_reader_that_goes_or_stalls_is_told_apart() {
        struct Refuses(ErrorKind);
        impl Write for Refuses {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(self.0.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let mut gone = Raw::new(Refuses(ErrorKind::BrokenPipe));
        assert_eq!(gone.send(Message::CLOCK), Err(SinkError::Gone));
        let mut stalled = Raw::new(Refuses(ErrorKind::WouldBlock));
        assert_eq!(stalled.send(Message::CLOCK), Ok(()));
        thread::sleep(Raw::<Refuses>::PATIENCE + Duration::from_millis(1));
        assert_eq!(stalled.push_on(), Err(SinkError::Full));
        let mut flooded = Raw::new(Refuses(ErrorKind::WouldBlock));
        let sent = (0..2_000).map(|_| flooded.send(Message::note_on(0, 40, 90)));
        assert_eq!(sent.last(), Some(Err(SinkError::Full)), "kept without end");
    }
}
