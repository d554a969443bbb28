//! `endpin live`: the band, sent to MIDI ports as it is made.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::str::FromStr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use crate::cli::shared::Performance;
use crate::failure::{Failure, shown};
use crate::live::board::{Board, SharedBoard, Standing};
use crate::live::clock::{Clock, Nanos};
use crate::live::conductor::Programme;
use crate::live::control::ControlMap;
use crate::live::copyist::Routing;
use crate::live::desk::{Desk, Opened, Show, Tended};
use crate::live::message::Message;
use crate::live::play::{Play, Stage};
use crate::live::ports::{self, Listening};
use crate::live::raw;
use crate::live::repertoire::Repertoire;
use crate::live::scheduler::Ending;
use crate::live::sink::Sinks;
use crate::live::supply::{Piece, Request};
use crate::live::take;
use crate::live::timebase::{PlayTick, Quarter};
use crate::score::PartName;
use crate::smf::{self, Layout};
use crate::verdict::{Bench, text};
use crate::{input, output};

/// Arguments of `endpin live`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  endpin live scenarios/breakwater-blues.toml --port 1
  endpin live scenarios/breakwater-blues.toml --port bass=upright --port piano --count-in 1
  endpin live scenarios/breakwater-blues.toml --raw /dev/snd/midiC1D0")]
pub struct Args {
    /// The chart file; - is standard input
    chart: Option<PathBuf>,
    /// Send to this port, by number or part of its name; with PART=, only bass, comp or time
    #[arg(long, value_name = "[PART=]PORT")]
    port: Vec<Target>,
    /// Send raw MIDI bytes to this file, pipe or device; - is standard output
    #[arg(long, value_name = "[PART=]PATH")]
    raw: Vec<Target>,
    /// Offer a port of this name, for others to connect to
    #[arg(long = "virtual", value_name = "[PART=]NAME")]
    offered: Vec<Target>,
    /// Take tempo and position from the MIDI clock that comes in here
    #[arg(long, value_name = "PORT")]
    follow: Option<String>,
    /// Send no MIDI clock, start, stop or song position
    #[arg(long)]
    no_clock: bool,
    /// When a port is lost, play on and wait for it
    #[arg(long)]
    wait: bool,
    /// Be controlled by the MIDI messages that come in here
    #[arg(long, value_name = "PORT", requires = "map")]
    control: Option<String>,
    /// Which message does what (a TOML file)
    #[arg(long, value_name = "FILE", requires = "control")]
    map: Option<PathBuf>,
    /// Record what is played here meanwhile
    #[arg(long, value_name = "PORT")]
    listen: Option<String>,
    /// Where that goes [default: named after the chart, -take.mid; -take-2.mid if that is there, and so on]
    #[arg(long, value_name = "FILE.mid", requires = "listen")]
    take: Option<PathBuf>,
    /// Tell at the end how late messages left
    #[arg(long)]
    timing: bool,
    /// Lines of text in place of the screen
    #[arg(long)]
    plain: bool,
    #[command(flatten)]
    performance: Performance,
}

/// A port, path or name, and the part that goes there if not all do.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Target {
    part: Option<PartName>,
    name: String,
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

/// How a target is reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    Port,
    Raw,
    Offered,
}

/// Plays until the end, or until told to stop.
///
/// # Errors
/// A chart or options that make no line, ports that are not there, a port lost on the way.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let stop = stop_on_signals()?;
    let map = args.map.as_deref().map(read_map).transpose()?;
    let (chart, wishes) = args.performance.chart_and_wishes(args.chart.as_deref())?;
    let written = chart.clone();
    let title = chart.title.clone();
    let (range, is_whole) = (wishes.line.range, wishes.bars.is_none());
    let counts_in = wishes.arrange.count_in > 0 && args.follow.is_none();
    let ending = !wishes.loop_ready;
    let muted = PartName::ALL.map(|part| wishes.arrange.mute.contains(&part));
    let mut repertoire = Repertoire::new(chart, wishes);

    let first = repertoire.first_request();
    let chorus = (first, repertoire.make(&first)?);
    let quarter = Quarter::from_tempo(chorus.1.bars[0].tempo);
    let (opening, then) = if counts_in {
        let request = Request {
            piece: Piece::CountIn,
            ..first
        };
        ((request, repertoire.make(&request)?), Some(chorus))
    } else {
        (chorus, None)
    };
    let origin = match then {
        Some(_) => PlayTick(opening.1.end.0),
        None => PlayTick(0),
    };

    let ways = args.targets();
    if ways.is_empty() {
        return Err(nowhere());
    }
    let mut tended = Vec::new();
    let mut sinks = Vec::new();
    for (way, target) in &ways {
        let Some((sink, watch)) = open_when_ready(*way, &target.name, &stop)? else {
            return Ok(ExitCode::SUCCESS);
        };
        sinks.push(sink);
        let (way, name) = (*way, target.name.clone());
        tended.push(Tended {
            name: target.name.clone(),
            watch,
            reopen: Box::new(move || open(way, &name).ok().flatten()),
        });
    }
    let targets: Vec<&Target> = ways.iter().map(|(_, target)| *target).collect();
    let board = SharedBoard::new(Board::new(Standing {
        pace: 1.0,
        level: first.level,
        seed: first.seed,
        transpose: 0,
        muted,
        looping: false,
        ending: false,
        paused: false,
        notice: None,
    }));
    let programme = Programme {
        opening,
        then,
        choruses: args.performance.choruses_asked(),
        ending,
    };
    let stage = Stage {
        sinks,
        routing: routing(&targets, args.sends_clock()),
        wait: args.wait,
        follow: args.follow.is_some(),
        stop,
    };
    let to_stdout = ways
        .iter()
        .any(|(way, target)| *way == Way::Raw && target.name == "-");
    let show = Show {
        title: title.clone(),
        choruses: programme.choruses,
        screen: !args.plain && !to_stdout,
        silent: to_stdout,
        waiting: match &args.follow {
            Some(port) => format!("waiting for the clock of {port} to start"),
            None => String::new(),
        },
    };
    let threads = |error| Failure::output(format!("cannot start to play: {error}"));
    let mut play = Play::start(programme, repertoire, board.clone(), stage).map_err(threads)?;
    let inputs = args.open_inputs(&mut play, quarter, map)?;
    let attended = Desk::new(show, board, tended).attend(play);
    let mistake =
        |thread| Failure::output(format!("a mistake of endpin's own stopped the {thread}"));
    let (outcome, beats) = attended.map_err(mistake)?;

    if args.timing {
        let priority = match outcome.raised {
            true => "real-time priority",
            false => "ordinary priority (the system grants no other)",
        };
        eprintln!("{}; {priority}", outcome.lateness);
    }
    if let Some(heard) = inputs.heard {
        drop(inputs.open);
        let played: Vec<(Nanos, Message)> = heard.try_iter().collect();
        let Some(score) = take::score(&title, &written.meter, &played, &beats, origin) else {
            eprintln!("nothing was played to listen to");
            return ended(outcome.ending, &targets);
        };
        let (file, bytes) = (args.take_file(), smf::bytes(&score, Layout::Tracks));
        output::write(&file, &bytes)?;
        let notes = score.parts[0].notes.len();
        eprintln!("{notes} notes played meanwhile, in {}", shown(&file));
        if is_whole {
            args.judge(Bench::new(written, range), &file, &bytes, to_stdout)?;
        }
    }
    ended(outcome.ending, &targets)
}

fn ended(ending: Ending, targets: &[&Target]) -> Result<ExitCode, Failure> {
    match ending {
        Ending::Finished | Ending::Stopped => Ok(ExitCode::SUCCESS),
        Ending::Lost(index, error) => {
            let name = targets.get(index).map_or("", |target| &target.name);
            let message =
                format!("{name} was lost: {error}; with --wait, play goes on until it is back");
            Err(Failure::output(message))
        }
    }
}

/// Inputs that stay open while play goes on.
struct Inputs {
    open: Vec<Listening>,
    heard: Option<Receiver<(Nanos, Message)>>,
}

impl Args {
    fn targets(&self) -> Vec<(Way, &Target)> {
        let ports = self.port.iter().map(|target| (Way::Port, target));
        let raw = self.raw.iter().map(|target| (Way::Raw, target));
        let offered = self.offered.iter().map(|target| (Way::Offered, target));
        // Pipes last: they may have to wait for their readers, who may wait for our ports.
        offered.chain(ports).chain(raw).take(Sinks::MOST).collect()
    }

    /// Whoever follows a clock sends none, lest it come back to the leader.
    fn sends_clock(&self) -> bool {
        !self.no_clock && self.follow.is_none()
    }

    fn open_inputs(
        &self,
        play: &mut Play,
        quarter: Quarter,
        map: Option<ControlMap>,
    ) -> Result<Inputs, Failure> {
        let mut open = Vec::new();
        if let Some(port) = &self.follow
            && let Some(mut leader) = play.leader(quarter)
        {
            let heard = ports::open_input(port, move |message| leader.hear(message));
            open.push(heard.map_err(Failure::output)?);
        }
        if let (Some(port), Some(map)) = (&self.control, map) {
            let remote = play.remote();
            let heard = ports::open_input(port, move |message| {
                if let Some(control) = map.control(message) {
                    remote.ask(control);
                }
            });
            open.push(heard.map_err(Failure::output)?);
        }
        let mut heard = None;
        if let Some(port) = &self.listen {
            let (sender, receiver) = channel();
            let clock = play.clock();
            let hears = ports::open_input(port, move |message| {
                // After the end nobody listens.
                let _ = sender.send((clock.now(), message));
            });
            open.push(hears.map_err(Failure::output)?);
            heard = Some(receiver);
        }
        Ok(Inputs { open, heard })
    }

    fn take_file(&self) -> PathBuf {
        // What was played cannot be made again, so a take without a name spares those before it.
        let spare = || output::numbered(self.chart.as_deref(), "-take").find(|file| !file.exists());
        self.take.clone().or_else(spare).unwrap_or_default()
    }

    /// Judges what was played as `endpin check` does. A take that cannot be judged is kept all the same.
    fn judge(&self, bench: Bench, file: &Path, take: &[u8], quiet: bool) -> Result<(), Failure> {
        let judged = match bench.judge(shown(file), take, None) {
            Ok(judged) => judged,
            Err(problem) => {
                eprintln!("{}: {problem}", shown(file));
                return Ok(());
            }
        };
        let chart = self
            .chart
            .as_deref()
            .map_or_else(|| "the bars".into(), shown);
        let report = text::report(&bench, &[judged], &chart);
        match quiet {
            true => {
                eprint!("{report}");
                Ok(())
            }
            false => output::print(&report),
        }
    }
}

/// Which sinks get what: a part goes where it is sent by name, else wherever no part is named.
fn routing(targets: &[&Target], clock: bool) -> Routing {
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

/// A flag that the signals which end programs set, so that silence comes before the end.
fn stop_on_signals() -> Result<Arc<AtomicBool>, Failure> {
    use signal_hook::consts::{SIGINT, SIGTERM};
    let stop = Arc::new(AtomicBool::new(false));
    let mut signals = vec![SIGINT, SIGTERM];
    #[cfg(unix)]
    signals.extend([signal_hook::consts::SIGHUP, signal_hook::consts::SIGQUIT]);
    for signal in signals {
        signal_hook::flag::register(signal, stop.clone())
            .map_err(|error| Failure::output(format!("cannot take signals: {error}")))?;
    }
    Ok(stop)
}

fn read_map(path: &Path) -> Result<ControlMap, Failure> {
    let text = input::text(path)?;
    ControlMap::parse(&text).map_err(|error| {
        let (line, column, fault) = (error.line, error.column, error.fault);
        Failure::input(format!("{}:{line}:{column}: {fault}", shown(path)))
    })
}

fn nowhere() -> Failure {
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
        Way::Raw if name == "-" => Ok(Some((Box::new(raw::stdout()), None))),
        Way::Raw => {
            let opened = raw::open(Path::new(name));
            let opened = opened.map_err(|error| {
                let why = output::reason(&error);
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
