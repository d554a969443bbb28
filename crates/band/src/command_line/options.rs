//! Options that most commands share, and the chart they speak of.

use crate::{
    failure::{Failure, shown},
    inputs::source,
    outputs::origin::Spared,
    performance::{
        arrangement::ArrangeOptions,
        practice::{BarRange, KeyOrder, StopTime},
        score::PartName,
        session::{Session, Wishes, chart_at_level},
    },
    players::{
        comp::{CompOptions, comping::Comping},
        drums::TimeKeeping,
        swing::Swing,
    },
};
use clap::Args;
use endpin_theory::{
    Chart, Feel, FoundKey, Key, Meter, Palette, Pitch, ReadKey, Spelling,
    chart::{Ending, TEMPO_RANGE, plain},
    did_you_mean, find_key, find_keys,
};
use endpin_walker::{
    Arc, Hand, Instrument, Level, Loose, Motif, Options, Phrases, Weights,
    pins::{Avoid, BarBeat, Bars, Hold, Pin, PinError},
};
use std::{
    ops::Range,
    path::{Path, PathBuf},
    str::FromStr,
};

/// Which chart, and how it is played.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "The chart")]
pub struct ChartOptions {
    /// Bars in place of a chart file, such as "F7 | Bb7 | F7 | C7"
    #[arg(long, value_name = "BARS")]
    pub bars: Option<String>,
    /// Meter of --bars [default: 4/4]
    #[arg(long, requires = "bars")]
    pub meter: Option<Meter>,
    /// Key to play in; with --bars, the key the bars are in (found if not given)
    #[arg(long, value_parser = Key::read)]
    pub key: Option<ReadKey>,
    /// Quarter notes a minute, 20 to 400
    #[arg(long, value_name = "BPM", value_parser = tempo)]
    pub tempo: Option<f64>,
    /// How the line moves: four, two, broken, pedal, bossa, shuffle, half-time or double-time
    #[arg(long)]
    pub feel: Option<Feel>,
}

impl ChartOptions {
    /// What was asked but for the bars, as words of another command that plays the same chart; the tempo only if that
    /// command has none of its own.
    pub fn words(&self, chart: &Chart, with_tempo: bool) -> Vec<String> {
        let word = |name: &str, value: String| format!("--{name}={value}");
        let meter = self
            .meter
            .as_ref()
            .map(|meter| word("meter", meter.to_string()));
        let key = self
            .key
            .as_ref()
            .map(|_| word("key", chart.key.to_string()));
        let tempo = self.tempo.filter(|_| with_tempo);
        let tempo = tempo.map(|tempo| word("tempo", tempo.to_string()));
        let feel = self.feel.map(|feel| word("feel", feel.to_string()));
        [meter, key, tempo, feel].into_iter().flatten().collect()
    }
}

fn tempo(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(tempo) if TEMPO_RANGE.contains(&tempo) => Ok(tempo),
        _ => {
            let (slowest, fastest) = (TEMPO_RANGE.start(), TEMPO_RANGE.end());
            Err(format!(
                "write quarter notes a minute, {slowest} to {fastest}"
            ))
        }
    }
}

/// Which choruses of which line.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "The line")]
pub struct LineOptions {
    /// Any number; the same seed gives the same notes
    #[arg(long, default_value_t = 1, value_parser = whole::<u64, 0, { u64::MAX }>)]
    pub seed: u64,
    /// How many choruses [default: 3; live: until ended]
    #[arg(long, value_name = "N", value_parser = whole::<u32, 1, 100_000>)]
    pub choruses: Option<u32>,
    /// The first chorus to make
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u32, 1, MOST_CHORUSES>)]
    pub from: u32,
    /// The ladder from 1 (two-feel, roots) to 6 (skips, drops and ghost notes)
    #[arg(long, default_value_t = Level::DOMINANTS)]
    pub level: Level,
    #[command(flatten)]
    range: RangeOptions,
    /// Hold a note, as in "3.1=Ab2" (bar.beat=note, every chorus) or "2:3.1=Ab2" (chorus 2), or keep bars
    /// as another chorus has them, as in "2-4=chorus 1"; may be given several times
    #[arg(long, value_name = "WHERE=WHAT")]
    pub pin: Vec<PinOrHold>,
    /// Rest on a beat, as in "4.3" or "2:4.3"; may be given several times
    #[arg(long, value_name = "BAR.BEAT")]
    pub rest: Vec<BarBeat>,
    /// A note not to play, such as Eb, Eb2, or 3.2=Eb2 (on one beat); may be given several times
    #[arg(long, value_name = "NOTE")]
    pub avoid: Vec<Avoid>,
    /// Make versions of these bars of the first chorus, such as 11-12, all else unchanged
    #[arg(long, value_name = "BARS", conflicts_with = "choruses")]
    pub vary: Option<Bars>,
    /// How many versions
    #[arg(long, value_name = "N", default_value_t = 8, requires = "vary", value_parser = whole::<u32, 1, 100_000>)]
    pub count: u32,
    /// Which of the versions to make alone
    #[arg(long, value_name = "N", requires = "vary", conflicts_with = "count", value_parser = whole::<u32, 1, 100_000>)]
    pub way: Option<u32>,
    /// The least number of beats in which any two choruses differ
    #[arg(long, value_name = "BEATS", default_value_t = 1)]
    pub apart: u32,
    /// How the choruses develop: rise, wave or flat [default: a little busier after the first]
    #[arg(long, value_name = "SHAPE")]
    pub arc: Option<Arc>,
    /// After the first chorus take liberties as players do: all, or some of inverted, passing, leaning,
    /// unannounced and repeated; inverted:20 takes twenty in a hundred of its places
    #[arg(long, value_name = "WHICH", num_args = 0..=1, default_missing_value = "all", require_equals = true)]
    pub loose: Option<Loose>,
    /// A figure to play wherever the rules let it: degrees of the chord, a beat each, such as "1 2 b3 5"; 5:2 lasts two
    /// beats, 5, lies an octave lower
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true)]
    pub motif: Option<Motif>,
    /// Let no bar take up another (levels 4 to 6 in four otherwise do)
    #[arg(long, conflicts_with = "motif")]
    pub no_phrases: bool,
    /// Weights of the line, a TOML file (explain --weights-template prints one)
    #[arg(long, value_name = "FILE")]
    pub weights: Option<PathBuf>,
    /// Names of notes: reader (by key and direction, no double signs) or strict (each degree on its own letter)
    #[arg(long, value_name = "FOR", default_value_t)]
    pub spelling: Spelling,
    /// How the band ends: held, ritard, stop or thrice [default: the chart's, or held, ritard or stop by the seed]
    #[arg(long, value_name = "HOW", conflicts_with = "loop_ready")]
    pub ending: Option<Ending>,
    /// No intro, tag or ending, so that the choruses loop
    #[arg(long)]
    pub loop_ready: bool,
}

/// What the line is played on.
#[derive(Args, Clone, Debug)]
pub struct RangeOptions {
    /// What the line is played on: bass, five-string or double-bass
    #[arg(long, value_name = "NAME", default_value_t = Instrument::BASS)]
    pub instrument: Instrument,
    /// Lowest note of the line [default: the instrument's; bass: E1]
    #[arg(long, value_name = "NOTE")]
    lowest: Option<Pitch>,
    /// Highest note of the line [default: the instrument's; bass: G3]
    #[arg(long, value_name = "NOTE")]
    highest: Option<Pitch>,
}

impl RangeOptions {
    /// The lowest and the highest key of the line.
    ///
    /// # Errors
    /// Notes that the instrument does not have.
    pub fn keys(&self) -> Result<(u8, u8), Failure> {
        let range = self.instrument.range_between(self.lowest, self.highest);
        range.map_err(Failure::input)
    }
}

/// How the band plays.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "The band")]
pub struct BandOptions {
    /// Leave a part out: bass, comp (or chords, piano) or time (or drums); may be given several times
    #[arg(long, value_name = "PART", value_parser = part)]
    pub mute: Vec<PartName>,
    /// Notated positions, without swing
    #[arg(long, conflicts_with = "swing")]
    pub straight: bool,
    /// Long to short off-beats, 1 (even) to 4 [default: by tempo]
    #[arg(long, value_name = "RATIO", value_parser = number::<1, 4>)]
    pub swing: Option<f64>,
    /// How much placement and loudness vary, 0 to 1
    #[arg(long, value_name = "0..1", default_value_t = 0.5, value_parser = number::<0, 1>)]
    pub human: f64,
    /// How busy the comp is, 0 to 1; 0.5 gives one or two attacks a bar
    #[arg(long, value_name = "0..1", default_value_t = 0.5, value_parser = number::<0, 1>)]
    pub density: f64,
    /// Colours on dominants: plain, altered, diminished, quartal or function [default: the chart's, or function]
    #[arg(long)]
    pub palette: Option<Palette>,
    /// What the comp is made of: auto (pads in ballads and over pedals), guide-tones, rootless, drop-2, pads (held)
    /// or none
    #[arg(long, value_name = "KIND", default_value_t)]
    pub comp: Comping,
    /// Who keeps time: auto, ride, brushes, cross-stick, click, click-2-4, click-every-N, click-drop-N
    #[arg(long, value_name = "HOW", default_value_t)]
    pub time: TimeKeeping,
    /// Bars counted in
    #[arg(long, value_name = "BARS", default_value_t = 0, value_parser = whole::<u32, 0, 8>)]
    pub count_in: u32,
    /// Take turns: the bass rests every other N bars, for you to play
    #[arg(long, value_name = "N", value_parser = whole::<u32, 1, 64>)]
    pub trade: Option<u32>,
    /// Play on the first beat of each bar alone: in chorus N, or in all
    #[arg(long, value_name = "N", num_args = 0..=1, default_missing_value = "all", require_equals = true)]
    pub stop_time: Option<StopTime>,
    /// Quarter notes a minute by which each chorus is faster than the one before
    #[arg(long, value_name = "BPM", default_value_t = 0.0, allow_negative_numbers = true, value_parser = number::<-100, 100>)]
    pub tempo_step: f64,
    /// Another key each chorus: fourths, half-steps or all
    #[arg(long, value_name = "ORDER")]
    pub keys: Option<KeyOrder>,
    /// Only these bars, such as 9-12
    #[arg(long, value_name = "BARS")]
    pub bars_range: Option<BarRange>,
}

impl BandOptions {
    /// The parts that are left out; `--comp none` leaves out the comp.
    fn muted(&self) -> Vec<PartName> {
        let mut parts = self.mute.clone();
        parts.extend((self.comp == Comping::None).then_some(PartName::Comp));
        parts
    }
}

/// Reads a whole number of an option, within its range.
///
/// # Errors
/// What may be written instead.
pub fn whole<N: TryFrom<u64>, const LEAST: u64, const MOST: u64>(text: &str) -> Result<N, String> {
    let number = text.parse().ok();
    let number = number.filter(|number| (LEAST..=MOST).contains(number));
    let number = number.and_then(|number| N::try_from(number).ok());
    number.ok_or_else(|| format!("write a whole number from {LEAST} to {MOST}"))
}

fn number<const LEAST: i32, const MOST: i32>(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(number) if (f64::from(LEAST)..=f64::from(MOST)).contains(&number) => Ok(number),
        _ => Err(format!("write a number from {LEAST} to {MOST}")),
    }
}

/// All that a performance can be asked for.
#[derive(Args, Clone, Debug)]
pub struct Performance {
    #[command(flatten)]
    chart: ChartOptions,
    #[command(flatten)]
    line: LineOptions,
    #[command(flatten)]
    band: BandOptions,
}

impl Performance {
    /// What a command that works on this chart must not write over.
    pub fn spared<'a>(
        &'a self,
        file: Option<&'a Path>,
        title: &'a str,
        replace: bool,
    ) -> Spared<'a> {
        Spared {
            inputs: file
                .into_iter()
                .chain(self.line.weights.as_deref())
                .collect(),
            title: Some(title),
            replace,
        }
    }

    /// The chart with all that is asked of it.
    ///
    /// # Errors
    /// A chart that cannot be read, or wishes that leave no line.
    pub fn session(&self, file: Option<&Path>) -> Result<Session, Failure> {
        let (chart, wishes) = self.chart_and_wishes(file)?;
        let session = Session::new(chart_at_level(chart, &wishes.line), wishes)?;
        for (liberty, asked, found) in session.walker().shares() {
            if (found - f64::from(asked)).abs() > FAR_OFF {
                eprintln!(
                    "note: --loose: {asked} in a hundred {liberty} is more or less than this chart allows; about {found:.0} are taken"
                );
            }
        }
        Ok(session)
    }

    /// The chart, at no level yet, and what is asked of it.
    ///
    /// # Errors
    /// A chart that cannot be read, or numbers beyond what there is.
    pub fn chart_and_wishes(&self, file: Option<&Path>) -> Result<(Chart, Wishes), Failure> {
        let chart = self.chart.chart(file)?;
        let wishes = Wishes {
            seed: self.line.seed,
            line: self.line.options(self.chart.feel)?,
            choruses: self.line.numbers()?,
            comp: CompOptions {
                seed: self.line.seed,
                density: self.band.density,
                palette: self.band.palette,
                comping: self.band.comp,
            },
            arrange: ArrangeOptions {
                seed: self.line.seed,
                swing: match (self.band.straight, self.band.swing) {
                    (true, _) => Swing::Straight,
                    (_, Some(ratio)) => Swing::Ratio(ratio),
                    _ => Swing::ByTempo,
                },
                human: self.band.human,
                mute: self.band.muted(),
                count_in: self.band.count_in,
                keeping: self.band.time,
                trade: self.band.trade,
                tempo_step: self.band.tempo_step,
                chord_texts: true,
            },
            holds: self.line.holds(),
            vary: self.line.vary.clone(),
            way: self.line.way,
            apart: self.line.apart,
            keys: self.band.keys,
            bars: self.band.bars_range,
            ending: self.line.ending,
            stop_time: self.band.stop_time,
            loop_ready: self.line.loop_ready,
            endless: false,
        };
        Ok((chart, wishes))
    }

    /// What was found where bars came without a key; `chart` is the one made of these options.
    pub fn found_key(&self, chart: &Chart) -> Option<FoundKey> {
        self.chart.found_key(chart)
    }

    /// How many choruses were asked for, if that was said.
    pub fn choruses_asked(&self) -> Option<u32> {
        self.line.choruses
    }
}

/// What `--pin` holds: a note, or bars as another chorus has them.
#[derive(Clone, Debug)]
pub enum PinOrHold {
    /// A note.
    Pin(Pin),
    /// Bars of a chorus.
    Hold(Hold),
}

impl FromStr for PinOrHold {
    type Err = PinError;

    fn from_str(text: &str) -> Result<PinOrHold, PinError> {
        match text.contains("chorus") {
            true => text.parse().map(PinOrHold::Hold),
            false => text.parse().map(PinOrHold::Pin),
        }
    }
}

impl LineOptions {
    /// The bars kept as another chorus has them.
    fn holds(&self) -> Vec<Hold> {
        let hold = |pin: &PinOrHold| match pin {
            PinOrHold::Hold(hold) => Some(hold.clone()),
            PinOrHold::Pin(_) => None,
        };
        self.pin.iter().filter_map(hold).collect()
    }

    /// The numbers of the choruses to make.
    fn numbers(&self) -> Result<Range<u32>, Failure> {
        let count = self
            .vary
            .as_ref()
            .map_or(self.choruses.unwrap_or(USUAL_CHORUSES), |_| {
                self.way.map_or(self.count, |_| 1)
            });
        let end = self
            .from
            .checked_add(count)
            .filter(|&end| u64::from(end) <= MOST_CHORUSES);
        let beyond = || Failure::input(format!("choruses are numbered up to {MOST_CHORUSES}"));
        Ok(self.from..end.ok_or_else(beyond)?)
    }

    /// What is asked of the line.
    fn options(&self, feel: Option<Feel>) -> Result<Options, Failure> {
        let pinned = self.pin.iter().map(|pin| match pin {
            PinOrHold::Pin(pin) => pin.place.chorus,
            PinOrHold::Hold(hold) => Some(hold.chorus),
        });
        let rested = self.rest.iter().map(|place| place.chorus);
        if let Some(far) = pinned
            .chain(rested)
            .flatten()
            .find(|&chorus| chorus > MOST_PINNED)
        {
            return Err(Failure::input(format!(
                "chorus {far} is too far on for --pin and --rest, which reach up to chorus {MOST_PINNED}"
            )));
        }
        let usual = Options::default();
        let weights = match &self.weights {
            None => usual.weights,
            Some(file) => Weights::parse(&source::text(file)?)
                .map_err(|error| Failure::input(format!("{}: {error}", shown(file))))?,
        };
        let pins = self.pin.iter().filter_map(|pin| match pin {
            PinOrHold::Pin(pin) => Some(*pin),
            PinOrHold::Hold(_) => None,
        });
        let loose = self.loose.unwrap_or_default();
        Ok(Options {
            level: self.level,
            feel,
            weights,
            arc: self.arc,
            loose: loose.liberties,
            shares: loose.shares,
            phrases: Phrases {
                on: !self.no_phrases,
                motif: self.motif.clone(),
            },
            pins: pins.collect(),
            rests: self.rest.clone(),
            avoid: self.avoid.clone(),
            spelling: self.spelling,
            range: self.range.keys()?,
            hand: Hand {
                instrument: self.range.instrument,
                quarter: None,
            },
        })
    }
}

/// In a hundred, how far off a share of liberties may be before it is said.
const FAR_OFF: f64 = 3.0;

/// How many choruses are made if nothing is said.
const USUAL_CHORUSES: u32 = 3;

/// The last chorus that pins and rests reach: each chorus up to it is planned by itself.
const MOST_PINNED: u32 = 64;

/// The highest number of a chorus.
const MOST_CHORUSES: u64 = 10_000_000;

fn part(text: &str) -> Result<PartName, String> {
    // The names of the tracks, and what musicians call them besides.
    const NAMES: [(&str, PartName); 6] = [
        ("bass", PartName::Bass),
        ("comp", PartName::Comp),
        ("chords", PartName::Comp),
        ("piano", PartName::Comp),
        ("time", PartName::Time),
        ("drums", PartName::Time),
    ];
    let named = |(name, _): &&(&str, PartName)| name.eq_ignore_ascii_case(text);
    let found = NAMES.iter().find(named).map(|&(_, part)| part);
    let meant = || did_you_mean(text, NAMES.map(|(name, _)| name));
    found.ok_or_else(|| format!("write bass, comp or time{}", meant()))
}

impl ChartOptions {
    /// The chart in the key, tempo and feel asked for.
    ///
    /// # Errors
    /// A chart that cannot be read, or none at all.
    pub fn chart(&self, file: Option<&Path>) -> Result<Chart, Failure> {
        let mut chart = match (file, &self.bars) {
            (Some(file), None) => {
                let chart = read_chart(file)?;
                for remark in chart.remarks() {
                    eprintln!("note: {}: {remark}", shown(file));
                }
                chart
            }
            (None, Some(bars)) => self.chart_of_bars(bars)?,
            (Some(_), Some(_)) => {
                return Err(Failure::input("give a chart file or --bars, not both"));
            }
            (None, None) => {
                return Err(Failure::input(
                    "which chart? Name a chart file, or write --bars \"F7 | Bb7 | F7 | C7\"",
                ));
            }
        };
        if let Some(word) = self.key.and_then(ReadKey::word) {
            eprintln!("note: --key: {word}");
        }
        if let (Some(ReadKey { key, .. }), None) = (self.key, &self.bars) {
            chart = chart.in_key(same_mode(key, chart.key)?);
        }
        if let Some(tempo) = self.tempo {
            chart.set_tempo(tempo);
        }
        if let Some(feel) = self.feel {
            chart.set_feel(feel);
        }
        Ok(chart)
    }

    /// What was found where bars came without a key.
    fn found_key(&self, chart: &Chart) -> Option<FoundKey> {
        let is_found = self.bars.is_some() && self.key.is_none();
        is_found.then(|| find_keys(&chart.chorus().spans))
    }

    fn chart_of_bars(&self, bars: &str) -> Result<Chart, Failure> {
        let common_time = || Meter::new(4, 4).map_err(Failure::input);
        let meter = self.meter.clone().map_or_else(common_time, Ok)?;
        let mut chart = Chart::from_bars(bars, meter)
            .map_err(|error| Failure::input(format!("--bars:{error}")))?;
        let given = self.key.map(|read| read.key);
        chart.key = given.unwrap_or_else(|| find_key(&chart.chorus().spans));
        Ok(chart)
    }
}

/// The key asked for, in the chart's mode: `--key C` for a chart in G minor is C minor.
fn same_mode(asked: Key, chart: Key) -> Result<Key, Failure> {
    if asked.mode != chart.mode && asked.mode != endpin_theory::Mode::Major {
        let message =
            format!("this chart is in {chart}; --key takes a major key for it, such as \"F\"");
        return Err(Failure::input(message));
    }
    Ok(Key {
        mode: chart.mode,
        ..asked
    })
}

/// Reads a chart file, with its name in front of what is wrong with it: TOML if it is so by its name or by what
/// it holds, else a plain chart, all of whose faults are told.
///
/// # Errors
/// A file that cannot be read or is no chart.
pub fn read_chart(file: &Path) -> Result<Chart, Failure> {
    let text = source::text(file)?;
    let is_named_so = file.extension().is_some_and(|ending| ending == "toml");
    if is_named_so || file.as_os_str() == "-" || plain::is_toml(&text) {
        return Chart::parse(&text)
            .map_err(|error| Failure::input(format!("{}:{error}", shown(file))));
    }
    let reading = plain::read(&text);
    reading.chart.ok_or_else(|| {
        let faults = reading.faults.iter();
        let faults: Vec<String> = faults
            .map(|fault| format!("{}:{}", shown(file), fault.error))
            .collect();
        Failure::input(faults.join("\n"))
    })
}
