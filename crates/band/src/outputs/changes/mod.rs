//! A ladder of changes as a lesson: the steps as JSON (`endpin-changes/1`), as text ([`text`]) and on paper
//! ([`handout`]).

pub mod handout;
pub mod text;

use crate::players::random_streams::{Purpose, below, stream};
use endpin_theory::{
    Chart,
    changes::{KeptBeat, Ladder, Rung, Toward},
};
use serde::Serialize;

/// Name and version of the report.
pub const FORMAT: &str = "endpin-changes/1";

/// What is asked of a ladder.
#[derive(Clone, Debug)]
pub struct LadderWishes {
    /// The chart that it begins at.
    pub chart: Chart,
    /// Richer or plainer.
    pub way: Toward,
    /// How many steps.
    pub steps: usize,
    /// Beats whose chords stay.
    pub kept: Vec<KeptBeat>,
    /// Seed of which change is made where several are offered.
    pub seed: u64,
}

/// The steps of a ladder, as many as were asked for and possible.
#[derive(Clone, Debug)]
pub struct Steps {
    /// What was asked.
    pub wishes: LadderWishes,
    /// The steps made, in order.
    pub rungs: Vec<Rung>,
}

impl Steps {
    /// Makes the steps. Each draws from a stream of its own, so a ladder of three steps is the beginning of
    /// one of twelve.
    pub fn make(wishes: LadderWishes) -> Steps {
        let mut ladder = Ladder::new(wishes.chart.clone(), wishes.way, &wishes.kept);
        let mut rungs = Vec::new();
        for number in (1..).take(wishes.steps) {
            let mut rng = stream(wishes.seed, number, Purpose::Changes);
            let draw = |count: usize| below(&mut rng, count as u32) as usize;
            match ladder.step(draw) {
                Some(rung) => rungs.push(rung),
                None => break,
            }
        }
        Steps { wishes, rungs }
    }

    /// `richer` or `plainer`.
    fn way(&self) -> &'static str {
        match self.wishes.way {
            Toward::Richer => "richer",
            Toward::Plainer => "plainer",
        }
    }

    /// Why there are fewer steps than were asked for; none if there are as many.
    pub fn shortfall(&self) -> Option<String> {
        let (made, asked) = (self.rungs.len(), self.wishes.steps);
        if made == asked {
            return None;
        }
        let steps = if asked == 1 { "step" } else { "steps" };
        let after = match made {
            0 => "in these changes",
            _ => "in the last chart",
        };
        let why = match self.wishes.way {
            Toward::Richer => {
                "every one left would leave the form, make a chord shorter than a beat or lead back to a chart before"
            }
            Toward::Plainer => "what is left is the plain frame",
        };
        let kept = if self.wishes.kept.is_empty() {
            ""
        } else {
            ", or would change what is kept"
        };
        let way = self.way();
        Some(format!(
            "{made} of {asked} {steps} {way} could be made: {after} no more is possible, since {why}{kept}."
        ))
    }

    /// The report `endpin-changes/1`.
    pub fn report(&self) -> impl Serialize + use<> {
        ChangesReport {
            format: FORMAT,
            chart: self.wishes.chart.title.clone(),
            key: self.wishes.chart.key.to_string(),
            way: self.way(),
            seed: self.wishes.seed,
            asked: self.wishes.steps,
            shortfall: self.shortfall(),
            steps: self.rungs.iter().map(StepReport::new).collect(),
        }
    }
}

/// What to listen for in a step: the guide tones.
pub fn listen_for(rung: &Rung) -> String {
    let (moved, stayed) = guide_tones(rung);
    match (moved.is_empty(), stayed.is_empty()) {
        (false, false) => format!("Listen for the guide tones: {moved}, while {stayed} stays."),
        (false, true) => format!("Listen for the guide tones: {moved}, and none stays."),
        (true, false) => {
            format!("Listen for the guide tones: {stayed} stays, and the rest changes around it.")
        }
        (true, true) => "Listen for the bass: only the roots change.".to_owned(),
    }
}

/// What moved (`E to Eb, C to D`) and what stayed (`Bb`).
fn guide_tones(rung: &Rung) -> (String, String) {
    let change = &rung.substitution;
    let moved = change
        .moved
        .iter()
        .map(|(from, to)| format!("{from} to {to}"));
    let stayed = change.stayed.iter().map(ToString::to_string);
    let listed = |words: Vec<String>| words.join(", ");
    (listed(moved.collect()), listed(stayed.collect()))
}

#[derive(Serialize)]
struct ChangesReport {
    format: &'static str,
    chart: String,
    key: String,
    way: &'static str,
    seed: u64,
    asked: usize,
    shortfall: Option<String>,
    steps: Vec<StepReport>,
}

#[derive(Serialize)]
struct StepReport {
    step: usize,
    bar: u32,
    beat: u32,
    was: Vec<String>,
    is: Vec<String>,
    name: &'static str,
    why: String,
    moved: Vec<MovedReport>,
    stayed: Vec<String>,
    offered: usize,
    possible: usize,
    chart: String,
}

#[derive(Serialize)]
struct MovedReport {
    from: String,
    to: String,
}

impl StepReport {
    fn new(rung: &Rung) -> StepReport {
        let change = &rung.substitution;
        let moved = change.moved.iter().map(|(from, to)| MovedReport {
            from: from.to_string(),
            to: to.to_string(),
        });
        StepReport {
            step: rung.number,
            bar: change.bar,
            beat: change.beat,
            was: change.was.clone(),
            is: change.is.clone(),
            name: change.name,
            why: change.why.clone(),
            moved: moved.collect(),
            stayed: change.stayed.iter().map(ToString::to_string).collect(),
            offered: rung.offered,
            possible: rung.possible,
            chart: rung.chart.to_string(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn steps(bars: &str, steps: usize, way: Toward) -> Steps {
        let mut chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
        chart.key = "C".parse().unwrap();
        Steps::make(LadderWishes {
            chart,
            way,
            steps,
            kept: Vec::new(),
            seed: 1,
        })
    }

    #[test]
    fn the_report_tells_each_step() {
        let made = steps("Cmaj7 | % | G7 | Cmaj7", 1, Toward::Richer);
        let report = serde_json::to_value(made.report()).unwrap();
        assert_eq!(report["format"], "endpin-changes/1");
        assert_eq!(report["key"], "C");
        assert_eq!(report["shortfall"], serde_json::Value::Null);
        let step = &report["steps"][0];
        assert_eq!(step["step"], 1);
        assert_eq!((&step["bar"], &step["beat"]), (&3.into(), &1.into()));
        assert_eq!(step["was"], serde_json::json!(["G7"]));
        assert_eq!(step["is"], serde_json::json!(["Dm7", "G7"]));
        assert_eq!(step["name"], "a ii before a V");
        // Dm7 has F in common with G7, and its seventh, C, lies next to B.
        assert_eq!(step["moved"], serde_json::json!([{"from": "B", "to": "C"}]));
        assert_eq!(step["stayed"], serde_json::json!(["F"]));
        let chart = Chart::parse(step["chart"].as_str().unwrap()).unwrap();
        assert_eq!(chart, made.rungs[0].chart);
    }

    #[test]
    fn a_short_ladder_begins_a_long_one() {
        let bars = "Cmaj7 | % | F | % | G7 | % | Cmaj7 | %";
        let (short, long) = (
            steps(bars, 3, Toward::Richer),
            steps(bars, 6, Toward::Richer),
        );
        assert_eq!(short.rungs[..], long.rungs[..3]);
    }

    #[test]
    fn too_few_steps_are_told() {
        let made = steps("C | C", 5, Toward::Plainer);
        assert!(made.rungs.is_empty());
        assert_eq!(
            made.shortfall().unwrap(),
            "0 of 5 steps plainer could be made: in these changes no more is possible, since what is left is the plain frame."
        );
    }
}
