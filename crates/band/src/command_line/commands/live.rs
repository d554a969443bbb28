//! `endpin live`: the band, sent to MIDI ports as it is made.

mod target;

use std::io::{IsTerminal, stdin, stdout};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;

use crate::command_line::commands::write::is_midi;
use crate::command_line::options::{Performance, whole};
use crate::failure::{Failure, shown};
use crate::live::clock::{Clock, Nanos};
use crate::live::conductor::Programme;
use crate::live::console::{Console, ConsoleOptions};
use crate::live::control::ControlMap;
use crate::live::display::{Display, DisplayOptions};
use crate::live::message::Message;
use crate::live::passage_supply::{PassageKind, PassageRequest};
use crate::live::play::{Play, PlaySetup};
use crate::live::play_status::{PlaySettings, PlayStatus, SharedPlayStatus};
use crate::live::played_notes::{self, Beats};
use crate::live::ports::{self, Listening};
use crate::live::repertoire::Repertoire;
use crate::live::scheduler::PlayEnd;
use crate::live::signals::Signals;
use crate::live::sink::Sinks;
use crate::live::timebase::{PlayTick, Quarter};
use crate::live::trade::exchange::{Exchange, PLAYER};
use crate::live::trade::trader::{TradeMode, TradeOptions};
use crate::outputs::midi_file::{self, TrackLayout};
use crate::outputs::origin::Spared;
use crate::outputs::verdict::{Bench, text};
use crate::performance::score::{PartName, Score};
use crate::{inputs::source, outputs::destination};
use endpin_theory::Chart;
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
    #[arg(long, value_name = "PORT", group = "heard")]
    listen: Option<String>,
    /// Trade with whoever plays here: --trade N bars each; what both played is kept
    #[arg(long, value_name = "PORT", group = "heard", requires = "trade")]
    answer: Option<String>,
    /// What endpin does in its turn
    #[arg(long, value_enum, default_value_t, requires = "answer")]
    mode: TradeMode,
    /// Bend the tempo with whoever plays, by so many percent at most
    #[arg(long, value_name = "PERCENT", requires = "heard", conflicts_with = "follow", value_parser = whole::<u32, 1, 30>)]
    follow_player: Option<u32>,
    /// Where that goes [default: named after the chart, -take.mid; -take-2.mid if that is there, and so on]
    #[arg(long, value_name = "FILE.mid", requires = "heard")]
    take: Option<PathBuf>,
    /// Replace files of others, too
    #[arg(long)]
    replace: bool,
    /// Say every 250 ms that we are still there: instruments that know active sensing fall silent when endpin is
    /// killed or the machine stands still
    #[arg(long)]
    active_sensing: bool,
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
            "a take is a MIDI file; {} needs a name that ends in .mid",
            shown(take)
        )));
    }
    let signals = Signals::take()
        .map_err(|error| Failure::output(format!("cannot watch for signals: {error}")))?;
    let stop = signals.stop();
    let map = args.map.as_deref().map(read_map).transpose()?;
    let (chart, mut wishes) = args.performance.chart_and_wishes(args.chart.as_deref())?;
    if args.follow.is_some() {
        // The leader counts in.
        wishes.arrange.count_in = 0;
    }
    let (written, range, is_whole) = (chart.clone(), wishes.line.range, wishes.bars.is_none());
    let muted = PartName::ALL.map(|part| wishes.arrange.mute.contains(&part));
    let (counts_in, ending) = (wishes.arrange.count_in > 0, !wishes.loop_ready);
    let spared = Spared {
        // What was played cannot be made again.
        title: None,
        ..args
            .performance
            .spared(args.chart.as_deref(), "", args.replace)
    };
    let raw = args.raw.iter().map(|target| Path::new(&target.name));
    spared.allow(raw.chain(args.take.as_deref()))?;
    let trade = args.trade_options(wishes.arrange.trade);
    let traders = trade
        .as_ref()
        .map(|_| Repertoire::new(chart.clone(), wishes.clone()));
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
        sensing: args.active_sensing,
        stop,
    };
    let screen = !args.plain && !to_stdout;
    let show = ConsoleOptions {
        title: written.title.clone(),
        choruses: programme.choruses,
        keys: screen && stdin().is_terminal() && stdout().is_terminal(),
    };
    let shown = DisplayOptions {
        screen,
        silent: to_stdout,
        waiting: match &args.follow {
            Some(port) => format!("waiting for the clock of {port} to start"),
            None => String::new(),
        },
    };

    let threads = |error| Failure::output(format!("cannot start to play: {error}"));
    let mut play = Play::start(programme, repertoire, status.clone(), setup).map_err(threads)?;
    let mut inputs = args.open_inputs(&mut play, quarter, map)?;
    let trading = match (trade, traders, inputs.heard.take_if(|_| args.trades())) {
        (Some(options), Some(repertoire), Some(heard)) => {
            let started = play.trade(repertoire, options, status.clone(), heard);
            Some(started.map_err(threads)?)
        }
        _ => None,
    };
    let display = Display::open(shown).map_err(threads)?;
    signals.tie(play.remote(), display.clone());
    let attended = Console::new(show, display, status, tended).attend(play);
    signals.over();
    let mistake =
        |thread| Failure::output(format!("internal error in the {thread}, please report it"));
    let (outcome, beats) = attended.map_err(mistake)?;

    if args.timing {
        let priority = match outcome.raised {
            true => "real-time priority",
            false => "ordinary priority (the system grants no other)",
        };
        eprintln!("{}; {priority}", outcome.lateness);
    }
    let exchange = trading.map(JoinHandle::join).transpose();
    let exchange = exchange.map_err(|_| mistake("trader"))?;
    drop(inputs.open);
    if let Some(exchange) = exchange.as_ref().filter(|_| args.answer.is_some()) {
        let bench = is_whole.then(|| Bench::new(written.clone(), range));
        args.keep_exchange(
            exchange,
            &written,
            bench.as_ref(),
            &beats,
            origin,
            to_stdout,
        )?;
    } else if let Some(played) = match exchange {
        Some(exchange) => Some(exchange.heard),
        None => inputs.heard.map(|heard| heard.try_iter().collect()),
    } {
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

    /// The first chorus with what comes before it, counted in unless another clock leads, and how play goes on from there.
    fn programme(
        &self,
        repertoire: &mut Repertoire,
        counts_in: bool,
        ending: bool,
    ) -> Result<Programme, Failure> {
        let first = repertoire.first_request();
        let chorus = (first, repertoire.make(&first)?);
        let is_counted_in = counts_in && self.follow.is_none();
        let (opening, then) = if is_counted_in || repertoire.has_intro()? {
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

    /// Whether somebody is to be listened to while it lasts, and not only afterwards.
    fn trades(&self) -> bool {
        self.answer.is_some() || self.follow_player.is_some()
    }

    fn trade_options(&self, bars: Option<u32>) -> Option<TradeOptions> {
        self.trades().then(|| TradeOptions {
            bars: bars.filter(|_| self.answer.is_some()),
            mode: self.mode,
            follow: self.follow_player.map(f64::from),
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
        if let Some(port) = self.listen.as_ref().or(self.answer.as_ref()) {
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
            Some(bench) => self.judge(bench, &file, &bytes, None, quiet),
            None => Ok(()),
        }
    }

    /// Writes what both played, explains endpin's answers and judges the player's bars.
    fn keep_exchange(
        &self,
        exchange: &Exchange,
        chart: &Chart,
        bench: Option<&Bench>,
        beats: &Beats,
        origin: PlayTick,
        quiet: bool,
    ) -> Result<(), Failure> {
        let explained = exchange.explained();
        match quiet {
            true => eprint!("{explained}"),
            false => destination::print(&explained)?,
        }
        let Some(bytes) = exchange.midi_file(&chart.title, &chart.meter, beats, origin) else {
            eprintln!("nothing was played to answer");
            return Ok(());
        };
        let file = self.take_file();
        destination::write(&file, &bytes)?;
        eprintln!("what both of you played is in {}", shown(&file));
        match bench {
            Some(bench) => self.judge(bench, &file, &bytes, Some(PLAYER), quiet),
            None => Ok(()),
        }
    }

    /// Judges what was played as `endpin check` does. A take that cannot be judged is kept all the same.
    fn judge(
        &self,
        bench: &Bench,
        file: &Path,
        take: &[u8],
        track: Option<&str>,
        quiet: bool,
    ) -> Result<(), Failure> {
        let judged = match bench.judge(shown(file), take, track) {
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

fn read_map(path: &Path) -> Result<ControlMap, Failure> {
    let text = source::text(path)?;
    ControlMap::parse(&text).map_err(|error| {
        let (line, column, fault) = (error.line, error.column, error.fault);
        Failure::input(format!("{}:{line}:{column}: {fault}", shown(path)))
    })
}
