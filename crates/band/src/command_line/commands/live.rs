//! `endpin live`: the band, sent to MIDI ports as it is made.

mod target;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::mpsc::{Receiver, channel};

use crate::command_line::commands::write::is_midi;
use crate::command_line::options::Performance;
use crate::failure::{Failure, shown};
use crate::live::clock::{Clock, Nanos};
use crate::live::conductor::Programme;
use crate::live::console::{Console, ConsoleOptions};
use crate::live::control::ControlMap;
use crate::live::message::Message;
use crate::live::passage_supply::{PassageKind, PassageRequest};
use crate::live::play::{Play, PlaySetup};
use crate::live::play_status::{PlaySettings, PlayStatus, SharedPlayStatus};
use crate::live::played_notes;
use crate::live::ports::{self, Listening};
use crate::live::repertoire::Repertoire;
use crate::live::scheduler::PlayEnd;
use crate::live::sink::Sinks;
use crate::live::timebase::Quarter;
use crate::outputs::midi_file::{self, TrackLayout};
use crate::outputs::verdict::{Bench, text};
use crate::performance::score::{PartName, Score};
use crate::{inputs::source, outputs::destination};
use target::{Target, Way, nowhere, open_all, routing};

/// Arguments of `endpin live`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  endpin live scenarios/breakwater-blues.toml --port 1
  endpin live scenarios/breakwater-blues.toml --port bass=upright --port piano --count-in 1
  endpin live scenarios/breakwater-blues.toml --raw /dev/snd/midiC1D0")]
pub struct LiveArgs {
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

/// Plays until the end, or until told to stop.
///
/// # Errors
/// A chart or options that make no line, ports that are not there, a port lost on the way.
pub fn run(args: &LiveArgs) -> Result<ExitCode, Failure> {
    if let Some(take) = args.take.as_deref().filter(|take| !is_midi(take)) {
        return Err(Failure::input(format!(
            "a take is a MIDI file, and {} is none by its name: end it in .mid",
            shown(take)
        )));
    }
    let stop = stop_on_signals()?;
    let map = args.map.as_deref().map(read_map).transpose()?;
    let (chart, wishes) = args.performance.chart_and_wishes(args.chart.as_deref())?;
    let (written, range, is_whole) = (chart.clone(), wishes.line.range, wishes.bars.is_none());
    let muted = PartName::ALL.map(|part| wishes.arrange.mute.contains(&part));
    let (counts_in, ending) = (wishes.arrange.count_in > 0, !wishes.loop_ready);
    let mut repertoire = Repertoire::new(chart, wishes);
    let programme = args.programme(&mut repertoire, counts_in, ending)?;
    let (first, chorus) = programme.first_chorus();
    let quarter = Quarter::from_tempo(chorus.bars[0].tempo);
    let origin = programme.origin();
    let settings = PlaySettings::at_first(first.level, first.seed, muted);
    let status = SharedPlayStatus::new(PlayStatus::new(settings));

    let targets = args.targets();
    if targets.is_empty() {
        return Err(nowhere());
    }
    let Some((sinks, tended)) = open_all(&targets, &stop)? else {
        return Ok(ExitCode::SUCCESS);
    };
    let to_stdout = targets.iter().any(|(way, target)| target.is_stdout(*way));
    let targets: Vec<&Target> = targets.iter().map(|(_, target)| *target).collect();
    let setup = PlaySetup {
        sinks,
        routing: routing(&targets, args.sends_clock()),
        wait: args.wait,
        follow: args.follow.is_some(),
        stop,
    };
    let show = ConsoleOptions {
        title: written.title.clone(),
        choruses: programme.choruses,
        screen: !args.plain && !to_stdout,
        silent: to_stdout,
        waiting: match &args.follow {
            Some(port) => format!("waiting for the clock of {port} to start"),
            None => String::new(),
        },
    };

    let threads = |error| Failure::output(format!("cannot start to play: {error}"));
    let mut play = Play::start(programme, repertoire, status.clone(), setup).map_err(threads)?;
    let inputs = args.open_inputs(&mut play, quarter, map)?;
    let attended = Console::new(show, status, tended).attend(play);
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
        match played_notes::score(&written.title, &written.meter, &played, &beats, origin) {
            None => eprintln!("nothing was played to listen to"),
            Some(score) => {
                let bench = is_whole.then(|| Bench::new(written, range));
                args.keep(&score, bench.as_ref(), to_stdout)?;
            }
        }
    }
    ended(outcome.ending, &targets)
}

fn ended(ending: PlayEnd, targets: &[&Target]) -> Result<ExitCode, Failure> {
    match ending {
        PlayEnd::Finished | PlayEnd::Stopped => Ok(ExitCode::SUCCESS),
        PlayEnd::Lost(index, error) => {
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

impl LiveArgs {
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

    /// The first chorus, counted in unless another clock leads, and how play goes on from there.
    fn programme(
        &self,
        repertoire: &mut Repertoire,
        counts_in: bool,
        ending: bool,
    ) -> Result<Programme, Failure> {
        let first = repertoire.first_request();
        let chorus = (first, repertoire.make(&first)?);
        let (opening, then) = if counts_in && self.follow.is_none() {
            let request = PassageRequest {
                kind: PassageKind::CountIn,
                ..first
            };
            ((request, repertoire.make(&request)?), Some(chorus))
        } else {
            (chorus, None)
        };
        Ok(Programme {
            opening,
            then,
            choruses: self.performance.choruses_asked(),
            ending,
        })
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
        let spare =
            || destination::numbered(self.chart.as_deref(), "-take").find(|file| !file.exists());
        self.take.clone().or_else(spare).unwrap_or_default()
    }

    /// Writes what was played meanwhile, and judges it where there is a bench to judge it by.
    fn keep(&self, score: &Score, bench: Option<&Bench>, quiet: bool) -> Result<(), Failure> {
        let (file, bytes) = (
            self.take_file(),
            midi_file::bytes(score, TrackLayout::Tracks),
        );
        destination::write(&file, &bytes)?;
        let notes = score.parts[0].notes.len();
        eprintln!("{notes} notes played meanwhile, in {}", shown(&file));
        match bench {
            Some(bench) => self.judge(bench, &file, &bytes, quiet),
            None => Ok(()),
        }
    }

    /// Judges what was played as `endpin check` does. A take that cannot be judged is kept all the same.
    fn judge(&self, bench: &Bench, file: &Path, take: &[u8], quiet: bool) -> Result<(), Failure> {
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
        let report = text::report(bench, &[judged], &chart);
        match quiet {
            true => {
                eprint!("{report}");
                Ok(())
            }
            false => destination::print(&report),
        }
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
    let text = source::text(path)?;
    ControlMap::parse(&text).map_err(|error| {
        let (line, column, fault) = (error.line, error.column, error.fault);
        Failure::input(format!("{}:{line}:{column}: {fault}", shown(path)))
    })
}
