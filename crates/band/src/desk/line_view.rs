//! A line over a chart, narrowed by what is kept: drawn, engraved and counted for the page.

use super::folder::Folder;
use crate::{
    command_line::commands::chart::grouped,
    failure::Failure,
    outputs::{
        report::LineReport,
        sheet::page::{data::KeyData, swing},
    },
    performance::session::{Session, Wishes, chart_at_level},
};
use endpin_theory::{Chart, Feel, chart::plain};
use endpin_walker::{
    Arc, Instrument, Level, Loose, Options, Weights,
    instrument::Hand,
    pins::{Avoid, BarBeat, Bars, Pin},
    rules::{self, Conditions},
};
use serde::{Deserialize, Serialize};

/// What is asked of a line, as the address of the page says it.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LineWishes {
    /// The chart as typed.
    pub text: String,
    /// Seed of what is drawn.
    pub seed: u64,
    /// The teacher's ladder.
    pub level: u8,
    /// A feel in place of the chart's.
    pub feel: Option<String>,
    /// What it is played on.
    pub instrument: Option<String>,
    /// Lowest and highest note.
    pub lowest: Option<String>,
    /// The highest.
    pub highest: Option<String>,
    /// Notes kept, `3.1=A2`.
    #[serde(default)]
    pub keep: Vec<String>,
    /// Notes refused, `3.2=B2`.
    #[serde(default)]
    pub refuse: Vec<String>,
    /// Beats rested on, `4.3`.
    #[serde(default)]
    pub rest: Vec<String>,
    /// Liberties, as `--loose` has them.
    pub loose: Option<String>,
    /// A file of learnt weights in the folder of the desk.
    pub manner: Option<String>,
    /// What it holds, once it was read.
    #[serde(skip)]
    weights: Option<Weights>,
    /// Bars to play another way, all else as it is, and which way, from 1.
    pub other: Option<(String, u32)>,
}

/// Most decisions about one line.
const MOST_DECISIONS: usize = 2_000;
/// The last of the other ways of some bars that can be asked for.
const MOST_WAYS: u32 = 500;
/// Most bars that a desk engraves.
const MOST_BARS: usize = 600;

impl LineWishes {
    /// The chart.
    ///
    /// # Errors
    /// A text with a fault.
    pub fn chart(&self) -> Result<Chart, Failure> {
        let reading = plain::read(&self.text);
        reading.chart.ok_or_else(|| {
            let fault = reading.faults.first();
            let what = fault.map_or_else(String::new, |fault| fault.error.to_string());
            Failure::input(format!("the chart has a fault: {what}"))
        })
    }

    /// Reads the manner, if there is one, from the folder.
    ///
    /// # Errors
    /// No such file, or one that holds no weights.
    pub fn read_manner(&mut self, folder: &Folder) -> Result<(), Failure> {
        if let Some(name) = &self.manner {
            let text = folder.text(name)?;
            let weights = Weights::parse(&text);
            self.weights =
                Some(weights.map_err(|error| Failure::input(format!("{name}: {error}")))?);
        }
        Ok(())
    }

    /// The chart with all that is asked.
    ///
    /// # Errors
    /// Words that cannot be read, or wishes that leave no line.
    pub fn session(&self, choruses: u32) -> Result<Session, Failure> {
        let line = self.options()?;
        let mut chart = self.chart()?;
        if let Some(feel) = line.feel {
            chart.set_feel(feel);
        }
        let bars = chart.chorus().bars.len();
        if bars > MOST_BARS {
            return Err(Failure::input(format!(
                "this chart has {bars} bars, and the desk engraves at most {MOST_BARS}; the command line takes it"
            )));
        }
        let chart = chart_at_level(chart, &line);
        let first = self.first_chorus();
        let mut wishes = Wishes::plain(self.seed, choruses, line);
        wishes.choruses = first..first + choruses;
        if let Some((bars, way)) = &self.other {
            let bars: Bars = bars.parse().map_err(Failure::input)?;
            let way = (*way).clamp(1, MOST_WAYS);
            wishes.vary = Some(bars);
            wishes.way = Some(way);
            wishes.choruses = first..first + 1;
        }
        Session::new(chart, wishes)
    }

    /// The chorus that is shown: liberties are taken after the first.
    fn first_chorus(&self) -> u32 {
        match self.loose {
            Some(_) => 2,
            None => 1,
        }
    }

    /// How many lines the shown chorus has.
    fn count(&self, session: &Session) -> String {
        let count = session.walker().count_in(self.first_chorus());
        count.to_string()
    }

    /// The lowest and the highest key of the line.
    ///
    /// # Errors
    /// Notes that the instrument does not have.
    pub fn range(&self) -> Result<(u8, u8), Failure> {
        Ok(self.options()?.range)
    }

    fn options(&self) -> Result<Options, Failure> {
        if self.keep.len() + self.refuse.len() + self.rest.len() > MOST_DECISIONS {
            return Err(Failure::input("too many notes are kept or refused at once"));
        }
        let instrument = match &self.instrument {
            Some(name) => name.parse().map_err(Failure::input)?,
            None => Instrument::BASS,
        };
        let pitch = |text: &Option<String>| match text {
            Some(text) => text.parse().map(Some).map_err(Failure::input),
            None => Ok(None),
        };
        let range = instrument.range_between(pitch(&self.lowest)?, pitch(&self.highest)?);
        let feel = match &self.feel {
            Some(feel) => Some(feel.parse::<Feel>().map_err(Failure::input)?),
            None => None,
        };
        let loose: Loose = match &self.loose {
            Some(text) => text.parse().map_err(Failure::input)?,
            None => Loose::default(),
        };
        let weights = match (&self.manner, self.weights) {
            (Some(name), None) => {
                return Err(Failure::input(format!("{name} was not read")));
            }
            (_, weights) => weights.unwrap_or_default(),
        };
        Ok(Options {
            weights,
            loose: loose.liberties,
            shares: loose.shares,
            level: Level::try_from(self.level).map_err(Failure::input)?,
            feel,
            range: range.map_err(Failure::input)?,
            hand: Hand {
                instrument,
                quarter: None,
            },
            // One chorus after the other as plain as the first: so a line is what its decisions make it.
            arc: Some(Arc::Flat),
            pins: read::<Pin>(&self.keep)?,
            rests: read::<BarBeat>(&self.rest)?,
            avoid: read::<Avoid>(&self.refuse)?,
            ..Options::default()
        })
    }

    /// The same as a command.
    fn command(&self, chart: &str) -> String {
        let mut words = vec!["endpin explain".to_owned(), as_one_word(chart)];
        match &self.other {
            Some((bars, way)) => words.push(format!("--vary {bars} --way {way}")),
            None => words.push("--choruses 1".to_owned()),
        }
        if self.loose.is_some() {
            words.push(format!("--from {}", self.first_chorus()));
        }
        words.push(format!(
            "--arc flat --seed {} --level {}",
            self.seed, self.level
        ));
        let options = [
            ("--feel", &self.feel),
            ("--instrument", &self.instrument),
            ("--lowest", &self.lowest),
            ("--highest", &self.highest),
        ];
        for (option, value) in options {
            words.extend(value.iter().map(|value| format!("{option} {value}")));
        }
        words.extend(self.loose.iter().map(|loose| format!("--loose={loose}")));
        let manner = self.manner.iter();
        words.extend(manner.map(|name| format!("--weights {}", as_one_word(name))));
        let lists = [
            ("--pin", &self.keep),
            ("--avoid", &self.refuse),
            ("--rest", &self.rest),
        ];
        for (option, values) in lists {
            words.extend(values.iter().map(|value| format!("{option} {value}")));
        }
        words.join(" ")
    }
}

/// The name of a file, as a shell takes it.
fn as_one_word(name: &str) -> String {
    match name.contains(' ') {
        true => format!("\"{name}\""),
        false => name.to_owned(),
    }
}

fn read<T: std::str::FromStr<Err: std::fmt::Display>>(texts: &[String]) -> Result<Vec<T>, Failure> {
    let read = |text: &String| text.parse().map_err(Failure::input);
    texts.iter().map(read).collect()
}

/// How many lines remain.
#[derive(Debug, Serialize)]
pub struct Count {
    /// All digits.
    exact: String,
    /// As a reader takes it in: `937,398`, `6.0 × 10²⁵`.
    words: String,
}

/// Digits up to which a number is shown whole.
const SHOWN_DIGITS: usize = 9;

impl Count {
    fn of(exact: &str) -> Count {
        let words = match exact.len() {
            ..=SHOWN_DIGITS => grouped(exact),
            digits => {
                let power = digits - 1;
                let raised: String = power.to_string().chars().map(raised).collect();
                format!("{}.{} × 10{raised}", &exact[..1], &exact[1..2])
            }
        };
        Count {
            exact: grouped(exact),
            words,
        }
    }
}

/// A digit as an exponent.
fn raised(digit: char) -> char {
    let digits = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let place = digit.to_digit(10).map(|digit| digit as usize);
    place.map_or(digit, |place| digits[place])
}

/// Why no line is left.
#[derive(Debug, Serialize)]
pub struct NoLine {
    /// In a sentence.
    why: String,
    /// What the rule in the way asks, in words for a student.
    rule: Option<&'static str>,
}

/// What the page shows of a line.
#[derive(Serialize)]
#[serde(rename_all = "lowercase")]
enum LineView<'a> {
    /// The line.
    Line(Box<DrawnLine<'a>>),
    /// That there is none.
    None(NoLine),
}

#[derive(Serialize)]
struct DrawnLine<'a> {
    report: LineReport<'a>,
    staves: &'a KeyData,
    markup: String,
    count: Count,
    tempo: f64,
    swing: Vec<f64>,
    strings: Vec<String>,
    command: String,
}

/// Draws a line and counts what remains, as JSON.
///
/// # Errors
/// Wishes that cannot be read.
pub fn draw(wishes: &LineWishes, chart_name: &str) -> Result<Vec<u8>, Failure> {
    let session = match wishes.session(1) {
        Ok(session) => session,
        Err(failure) => return no_line(wishes, &failure),
    };
    let (made, count) = rayon::join(|| session.perform(), || Count::of(&wishes.count(&session)));
    let made = match made {
        Ok(made) => made,
        Err(failure) => return no_line(wishes, &failure),
    };
    let staves = KeyData::of(&session, &made, &|index, words, picture| {
        format!(
            "<div class=\"bar\" data-bar=\"{index}\" role=\"group\" aria-label=\"{words}\">{picture}</div>"
        )
    });
    let hand = session.wishes().line.hand;
    let strings = hand.instrument.strings.iter();
    let strings = strings.map(|&key| endpin_walker::pitch_of_key(key).to_string());
    json(&LineView::Line(Box::new(DrawnLine {
        report: LineReport::new(&session, &made),
        markup: staves.markup().collect(),
        count,
        tempo: session.chart().tempo,
        swing: swing(&session.wishes().arrange),
        strings: strings.collect(),
        command: wishes.command(chart_name),
        staves: &staves,
    })))
}

/// How many lines remain, as JSON.
///
/// # Errors
/// Wishes that cannot be read.
pub fn count(wishes: &LineWishes) -> Result<Vec<u8>, Failure> {
    let count = match wishes.session(1) {
        Ok(session) => Count::of(&wishes.count(&session)),
        Err(_) => {
            wishes.options()?;
            Count::of("0")
        }
    };
    json(&count)
}

fn no_line(wishes: &LineWishes, failure: &Failure) -> Result<Vec<u8>, Failure> {
    let options = wishes.options()?;
    let why = failure.to_string();
    let rules = rules::rules(Conditions::of(options.level));
    let rule = rules.iter().find(|rule| {
        why.contains(&format!("rule {} ", rule.name()))
            || why.ends_with(&format!("rule {}", rule.name()))
    });
    json(&LineView::None(NoLine {
        rule: rule.map(|rule| rule.words()),
        why,
    }))
}

/// As JSON text.
///
/// # Errors
/// None for what the desk shows.
pub fn json(value: &impl Serialize) -> Result<Vec<u8>, Failure> {
    serde_json::to_vec(value).map_err(Failure::output)
}
