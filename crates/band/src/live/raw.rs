//! Raw MIDI bytes to a file, a pipe or a device: a back end that needs no sound system.

use std::fs::{File, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::Path;
use std::thread;
use std::time::Duration;

use super::message::Message;
use super::sink::{Sink, SinkError};

/// A sink that writes each message's bytes.
pub struct Raw<W> {
    writer: W,
}

/// Opens a file, a pipe or a device for writing. A file is made anew. `Ok(None)`: it is a pipe that
/// nobody reads yet, and can be tried again.
pub fn open(path: &Path) -> io::Result<Option<Raw<File>>> {
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(true);
    // Without this, opening a pipe would wait for its reader, and a reader that stalls would stall
    // the scheduler, beyond the reach of any signal.
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::custom_flags(&mut options, libc::O_NONBLOCK);
    match options.open(path) {
        Ok(writer) => Ok(Some(Raw { writer })),
        #[cfg(unix)]
        Err(error) if error.raw_os_error() == Some(libc::ENXIO) => Ok(None),
        Err(error) => Err(error),
    }
}

/// Raw bytes to standard output.
pub fn stdout() -> Raw<io::Stdout> {
    Raw {
        writer: io::stdout(),
    }
}

impl<W: Write> Raw<W> {
    /// How often, a millisecond apart, a full pipe is tried again before its reader counts as lost.
    const PATIENCE: u32 = 50;

    fn write(&mut self, mut bytes: &[u8]) -> Result<(), SinkError> {
        let mut patience = Self::PATIENCE;
        while !bytes.is_empty() {
            match self.writer.write(bytes) {
                Ok(0) => return Err(SinkError::Gone),
                Ok(written) => bytes = &bytes[written..],
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) if error.kind() == ErrorKind::WouldBlock => {
                    patience = patience.checked_sub(1).ok_or(SinkError::Full)?;
                    thread::sleep(Duration::from_millis(1));
                }
                Err(_) => return Err(SinkError::Gone),
            }
        }
        Ok(())
    }
}

impl<W: Write + Send> Sink for Raw<W> {
    fn send(&mut self, message: Message) -> Result<(), SinkError> {
        self.write(message.bytes())?;
        self.writer.flush().map_err(|_| SinkError::Gone)
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
        for (kind, wanted) in [
            (ErrorKind::BrokenPipe, SinkError::Gone),
            (ErrorKind::WouldBlock, SinkError::Full),
        ] {
            let mut raw = Raw {
                writer: Refuses(kind),
            };
            assert_eq!(raw.send(Message::CLOCK), Err(wanted));
        }
    }
}
