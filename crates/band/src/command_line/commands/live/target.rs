//! Where the music goes: the targets a user names, how they are opened, and what each gets.

use std::path::Path;
use std::str::FromStr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use crate::failure::{Failure, shown};
use crate::live::beat_writer::Routing;
use crate::live::console::{Opened, Tended};
use crate::live::sink::{Sink, Sinks};
use crate::live::{ports, raw};
use crate::outputs::destination;
use crate::performance::score::PartName;

/// A port, path or name, and the part that goes there if not all do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Target {
    pub part: Option<PartName>,
    pub name: String,
}

impl FromStr for Target {
    type Err = std::convert::Infallible;

    fn from_str(text: &str) -> Result<Target, Self::Err> {
        let named = |word: &str| {
            let is_word = |part: &PartName| part.to_string().eq_ignore_ascii_case(word);
            PartName::ALL.into_iter().find(is_word)
        };
        let split = text
            .split_once('=')
            .and_then(|(word, name)| Some((named(word)?, name)));
        Ok(match split {
            Some((part, name)) => Target {
                part: Some(part),
                name: name.into(),
            },
            None => Target {
                part: None,
                name: text.into(),
            },
        })
    }
}

impl Target {
    /// Whether it is standard output.
    pub fn is_stdout(&self, way: Way) -> bool {
        way == Way::Raw && self.name == "-"
    }
}

/// How a target is reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// A port of this machine.
    Port,
    /// Bytes to a file, pipe or device.
    Raw,
    /// A port of ours, which others connect to.
    Offered,
}

/// Where the music goes, and how each place is looked after.
pub type Targets = (Vec<Box<dyn Sink>>, Vec<Tended>);

/// Which sinks get what: a part goes where it is sent by name, else wherever no part is named.
pub fn routing(targets: &[&Target], clock: bool) -> Routing {
    let those = |wanted: &dyn Fn(&Target) -> bool| {
        let chosen = (0..targets.len()).filter(|index| wanted(targets[*index]));
        chosen.fold(Sinks::default(), Sinks::with)
    };
    let parts = PartName::ALL.map(|part| {
        let own = those(&|target| target.part == Some(part));
        match own == Sinks::default() {
            true => those(&|target| target.part.is_none()),
            false => own,
        }
    });
    Routing {
        parts,
        clock: if clock { Sinks::ALL } else { Sinks::default() },
    }
}

/// That no target was named, and which there are.
pub fn nowhere() -> Failure {
    let there_is = match ports::list() {
        Ok((outputs, _)) if !outputs.is_empty() => {
            let named: Vec<String> = (1..)
                .zip(&outputs)
                .map(|(n, name)| format!("{n} \"{name}\""))
                .collect();
            format!("there are: {}", named.join(", "))
        }
        Ok(_) => ports::PortError::NoPorts(ports::Direction::Output).to_string(),
        Err(error) => error.to_string(),
    };
    Failure::input(format!(
        "where to? Name a port with --port, or a path with --raw; {there_is}"
    ))
}

/// Opens targets, and tells how to look after them; `Ok(None)` when told to stop meanwhile.
pub fn open_all(targets: &[(Way, &Target)], stop: &AtomicBool) -> Result<Option<Targets>, Failure> {
    let (mut sinks, mut tended) = Targets::default();
    for &(way, target) in targets {
        let Some((sink, watch)) = open_when_ready(way, &target.name, stop)? else {
            return Ok(None);
        };
        sinks.push(sink);
        let name = target.name.clone();
        tended.push(Tended {
            name: name.clone(),
            watch,
            reopen: Box::new(move || open(way, &name).ok().flatten()),
        });
    }
    Ok(Some((sinks, tended)))
}

/// Opens a target. `Ok(None)`: it is not ready yet.
fn open(way: Way, name: &str) -> Result<Option<Opened>, Failure> {
    match way {
        Way::Port => {
            let (sink, watch) = ports::open_output(name).map_err(Failure::output)?;
            Ok(Some((Box::new(sink), Some(watch))))
        }
        Way::Offered => {
            let sink = ports::open_virtual(name).map_err(Failure::output)?;
            Ok(Some((Box::new(sink), None)))
        }
        Way::Raw if name == "-" => {
            let closed = |error| Failure::output(format!("cannot write standard output: {error}"));
            Ok(Some((Box::new(raw::stdout().map_err(closed)?), None)))
        }
        Way::Raw => {
            let opened = raw::open(Path::new(name));
            let opened = opened.map_err(|error| {
                let why = destination::reason(&error);
                Failure::output(format!("cannot write {}: {why}", shown(Path::new(name))))
            })?;
            Ok(opened.map(|raw| (Box::new(raw) as _, None)))
        }
    }
}

/// Opens a target, waiting for the reader of a pipe; `Ok(None)` when told to stop meanwhile.
fn open_when_ready(way: Way, name: &str, stop: &AtomicBool) -> Result<Option<Opened>, Failure> {
    let mut told = false;
    while !stop.load(Ordering::SeqCst) {
        if let Some(opened) = open(way, name)? {
            return Ok(Some(opened));
        }
        if !std::mem::replace(&mut told, true) {
            eprintln!("waiting for somebody to read {}", shown(Path::new(name)));
        }
        thread::sleep(Duration::from_millis(50));
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn target(text: &str) -> Target {
        let Ok(target) = text.parse();
        target
    }

    #[test]
    fn a_target_may_name_a_part() {
        assert_eq!(target("Bass=Box=One").part, Some(PartName::Bass));
        assert_eq!(target("Bass=Box=One").name, "Box=One");
        assert_eq!(target("Box=One").part, None);
        assert_eq!(target("Box=One").name, "Box=One");
    }

    #[test]
    fn parts_go_where_they_are_sent_and_the_rest_elsewhere() {
        let targets = ["bass=one", "two", "time=three"].map(target);
        let routes = routing(&targets.each_ref(), true);
        let only = |index| Sinks::default().with(index);
        assert_eq!(routes.parts, [only(0), only(1), only(2)]);
        let alone = ["one"].map(target);
        assert_eq!(routing(&alone.each_ref(), false).parts, [only(0); 3]);
        assert_eq!(routing(&alone.each_ref(), false).clock, Sinks::default());
    }
}
