//! The MIDI ports of this machine: listed, chosen, opened, watched.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use midir::{Ignore, MidiIO, MidiInput, MidiInputConnection, MidiOutput, MidiOutputConnection};

use super::message::Message;
use super::sink::{Sink, SinkError};

/// The name under which ports of ours appear to others.
const CLIENT: &str = "endpin";

/// Why a port cannot be had.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PortError {
    /// The system's MIDI service does not answer.
    #[error("{}", NO_SERVICE)]
    NoService,
    /// The system has no MIDI service.
    #[cfg(all(not(feature = "jack"), target_os = "linux"))]
    #[error(
        "this system has no MIDI service (there is no /dev/snd/seq): load it with `sudo modprobe snd-seq`; \
         a container needs /dev/snd of its host; `--raw PATH` and `endpin write` need none"
    )]
    NoSequencer,
    /// The system's MIDI service is not for this user.
    #[cfg(all(not(feature = "jack"), target_os = "linux"))]
    #[error(
        "the MIDI service, /dev/snd/seq, is not yours to use: join its group with \
         `sudo usermod -aG audio $USER` and log in again; `--raw PATH` and `endpin write` need none"
    )]
    Forbidden,
    /// There is no port at all.
    #[error(
        "this machine has no MIDI {0} port: plug in an instrument or start a program that opens one; \
         `--virtual NAME` offers a port that others connect to, and `--raw PATH` needs none"
    )]
    NoPorts(Direction),
    /// No port is called so.
    #[error("no MIDI {direction} port is called \"{wanted}\"; there are: {}", names(.found))]
    NoSuchPort {
        /// Input or output.
        direction: Direction,
        /// What was asked for.
        wanted: String,
        /// What there is.
        found: Vec<String>,
    },
    /// Several ports are called so.
    #[error("\"{wanted}\" could be any of {}; give more of the name, or the number", names(.found))]
    Ambiguous {
        /// What was asked for.
        wanted: String,
        /// The ports it could be, each with its number.
        found: Vec<String>,
    },
    /// The port is there but does not open.
    #[error("the port \"{0}\" cannot be opened: {1}")]
    Refused(String, String),
    /// This system has no virtual ports.
    #[error("this system has no virtual MIDI ports; `endpin ports` lists those there are")]
    NoVirtualPorts,
}

#[cfg(feature = "jack")]
const NO_SERVICE: &str =
    "no JACK server answers: start one (for instance `jackd -d dummy`), or use `--raw PATH`";
#[cfg(all(not(feature = "jack"), target_os = "linux"))]
const NO_SERVICE: &str = "the MIDI service of this system, /dev/snd/seq, cannot be opened: see \
    that it is loaded (`sudo modprobe snd-seq`); `--raw PATH` and `endpin write` need none";
#[cfg(all(not(feature = "jack"), not(target_os = "linux")))]
const NO_SERVICE: &str = "the MIDI service of this system does not answer; `--raw PATH` needs none";

fn names(found: &[String]) -> String {
    found.join(", ")
}

/// Which way a port goes, seen from here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// It sends to us.
    Input,
    /// It takes what we send.
    Output,
}

impl std::fmt::Display for Direction {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Direction::Input => "input",
            Direction::Output => "output",
        })
    }
}

/// Whether the system has a MIDI service that may be used. The sound library would say the same on standard
/// error, in words for its own developers, and not tell why.
#[cfg(all(not(feature = "jack"), target_os = "linux"))]
fn look_for_service(device: &std::path::Path) -> Result<(), PortError> {
    use std::io::ErrorKind;
    let opened = std::fs::OpenOptions::new()
        .read(true)
        .write(true)
        .open(device);
    match opened.map_err(|error| error.kind()) {
        Ok(_) => Ok(()),
        Err(ErrorKind::NotFound) => Err(PortError::NoSequencer),
        Err(ErrorKind::PermissionDenied) => Err(PortError::Forbidden),
        Err(_) => Err(PortError::NoService),
    }
}

fn output() -> Result<MidiOutput, PortError> {
    #[cfg(all(not(feature = "jack"), target_os = "linux"))]
    look_for_service("/dev/snd/seq".as_ref())?;
    MidiOutput::new(CLIENT).map_err(|_| PortError::NoService)
}

fn input() -> Result<MidiInput, PortError> {
    #[cfg(all(not(feature = "jack"), target_os = "linux"))]
    look_for_service("/dev/snd/seq".as_ref())?;
    let mut input = MidiInput::new(CLIENT).map_err(|_| PortError::NoService)?;
    input.ignore(Ignore::SysexAndActiveSense);
    Ok(input)
}

fn ports_of<I: MidiIO>(io: &I) -> (Vec<I::Port>, Vec<String>) {
    let named = |port: I::Port| io.port_name(&port).ok().map(|name| (port, name));
    io.ports().into_iter().filter_map(named).unzip()
}

/// The names of all output and input ports, in the order in which they are numbered from 1.
pub fn list() -> Result<(Vec<String>, Vec<String>), PortError> {
    Ok((ports_of(&output()?).1, ports_of(&input()?).1))
}

/// The index of the port that `wanted` means: its number from 1, its name, or a part of its name,
/// in capitals or not.
pub fn choose(names: &[String], wanted: &str, direction: Direction) -> Result<usize, PortError> {
    if names.is_empty() {
        return Err(PortError::NoPorts(direction));
    }
    if let Some(exact) = names.iter().position(|name| name == wanted) {
        return Ok(exact);
    }
    let number = wanted.parse::<usize>().ok();
    if let Some(index) = number
        .and_then(|number| number.checked_sub(1))
        .filter(|index| *index < names.len())
    {
        return Ok(index);
    }
    let numbered = |index: usize| format!("{} \"{}\"", index + 1, names[index]);
    let part = wanted.to_lowercase();
    let matches = |index: &usize| names[*index].to_lowercase().contains(&part);
    match (0..names.len()).filter(matches).collect::<Vec<_>>()[..] {
        [only] => Ok(only),
        [] => Err(PortError::NoSuchPort {
            direction,
            wanted: wanted.into(),
            found: (0..names.len()).map(numbered).collect(),
        }),
        ref several => Err(PortError::Ambiguous {
            wanted: wanted.into(),
            found: several.iter().copied().map(numbered).collect(),
        }),
    }
}

/// A MIDI output port as a sink.
pub struct PortSink {
    connection: MidiOutputConnection,
    gone: Arc<AtomicBool>,
}

impl Sink for PortSink {
    fn send(&mut self, message: Message) -> Result<(), SinkError> {
        if self.gone.load(Ordering::Relaxed) {
            return Err(SinkError::Gone);
        }
        let sent = self.connection.send(message.bytes());
        sent.map_err(|_| SinkError::Gone)
    }

    fn settle(&mut self) {
        // JACK takes what was sent at the start of its next period; a closed port would lose it.
        #[cfg(feature = "jack")]
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
}

/// Watches whether an opened port is still there: most systems let a sender go on sending to a
/// port that has gone.
pub struct Watch {
    client: MidiOutput,
    name: String,
    gone: Arc<AtomicBool>,
}

impl Watch {
    /// Looks; a port found gone fails its sink at the next message.
    pub fn look(&self) {
        if !ports_of(&self.client).1.contains(&self.name) {
            self.gone.store(true, Ordering::Relaxed);
        }
    }
}

/// Opens the output port that `wanted` means.
pub fn open_output(wanted: &str) -> Result<(PortSink, Watch), PortError> {
    let client = output()?;
    let (ports, names) = ports_of(&client);
    let index = choose(&names, wanted, Direction::Output)?;
    let name = names[index].clone();
    let connection = client
        .connect(&ports[index], "out")
        .map_err(|error| PortError::Refused(name.clone(), error.to_string()))?;
    let gone = Arc::new(AtomicBool::new(false));
    let watch = Watch {
        client: output()?,
        name,
        gone: gone.clone(),
    };
    Ok((PortSink { connection, gone }, watch))
}

/// Offers an output port of our own that others connect to.
#[cfg(unix)]
pub fn open_virtual(name: &str) -> Result<PortSink, PortError> {
    use midir::os::unix::VirtualOutput;
    let connection = output()?
        .create_virtual(name)
        .map_err(|error| PortError::Refused(name.into(), error.to_string()))?;
    let gone = Arc::default();
    Ok(PortSink { connection, gone })
}

/// Offers an output port of our own that others connect to.
#[cfg(not(unix))]
pub fn open_virtual(_: &str) -> Result<PortSink, PortError> {
    Err(PortError::NoVirtualPorts)
}

/// An open input; closing it is dropping it.
pub struct Listening(#[allow(dead_code)] MidiInputConnection<()>);

/// Opens the input port that `wanted` means and calls `hear` with every message that comes, on a
/// thread of the system's.
pub fn open_input(
    wanted: &str,
    mut hear: impl FnMut(Message) + Send + 'static,
) -> Result<Listening, PortError> {
    let client = input()?;
    let (ports, names) = ports_of(&client);
    let index = choose(&names, wanted, Direction::Input)?;
    let callback = move |_: u64, bytes: &[u8], _: &mut ()| {
        if let Some(message) = Message::read(bytes) {
            hear(message);
        }
    };
    client
        .connect(&ports[index], "in", callback, ())
        .map(Listening)
        .map_err(|error| PortError::Refused(names[index].clone(), error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn three() -> Vec<String> {
        [
            "Stage Piano:in 20:0",
            "Box One:synth 24:0",
            "Box One:drums 24:1",
        ]
        .map(String::from)
        .to_vec()
    }

    #[cfg(all(not(feature = "jack"), target_os = "linux"))]
    #[test]
    fn a_missing_service_is_told_from_one_that_does_not_open() {
        let folder = tempfile::tempdir().unwrap();
        let missing = look_for_service(&folder.path().join("seq")).unwrap_err();
        assert!(missing.to_string().contains("sudo modprobe snd-seq"));
        // A folder opens for nobody, whoever asks.
        let closed = look_for_service(folder.path());
        assert_eq!(closed, Err(PortError::NoService));
        let device = folder.path().join("seq");
        std::fs::write(&device, "").unwrap();
        assert_eq!(look_for_service(&device), Ok(()));
    }

    #[test]
    fn a_port_is_found_by_number_name_or_part_of_it() {
        for (wanted, index) in [
            ("1", 0),
            ("3", 2),
            ("piano", 0),
            ("DRUMS", 2),
            ("Box One:synth 24:0", 1),
        ] {
            assert_eq!(
                choose(&three(), wanted, Direction::Output),
                Ok(index),
                "{wanted}"
            );
        }
    }

    #[test]
    fn what_cannot_be_found_is_answered_with_what_there_is() {
        let fault = |names: &[String], wanted| {
            choose(names, wanted, Direction::Output)
                .unwrap_err()
                .to_string()
        };
        assert_eq!(
            fault(&three(), "organ"),
            "no MIDI output port is called \"organ\"; there are: 1 \"Stage Piano:in 20:0\", \
             2 \"Box One:synth 24:0\", 3 \"Box One:drums 24:1\""
        );
        assert_eq!(
            fault(&three(), "box"),
            "\"box\" could be any of 2 \"Box One:synth 24:0\", 3 \"Box One:drums 24:1\"; give more \
             of the name, or the number"
        );
        assert!(fault(&three(), "9").starts_with("no MIDI output port is called \"9\""));
        assert!(fault(&[], "1").starts_with("this machine has no MIDI output port: plug in"));
    }
}
