//! How a take stands in time, in figures.
//!
//! With `t` the time of a note in choruses, its offset from the grid is modelled as mean + drift·(t − mean
//! t) + rest, by least squares: the mean is the plain mean of the offsets, the drift their slope. The spread is the
//! standard deviation of the notes around the player's own pulse, whatever the grid. Early is negative.

/// A note against the grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoteOnGrid {
    /// Where it stands in the form, in choruses from the beginning.
    pub chorus: f64,
    /// How late it is, in milliseconds; early is negative.
    pub offset: f64,
    /// How late it is by the player's own pulse, in milliseconds.
    pub by_pulse: f64,
    /// How long it sounds, as a part of the time to the next note; none before a gap.
    pub fullness: Option<f64>,
}

/// What is known of the beats that were played to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Start {
    /// The file's own grid.
    File,
    /// A count-in at the beginning.
    CountIn,
    /// A click or drums in the file.
    Click,
    /// Nothing: the beats are fitted to the playing.
    Fit,
}

impl Start {
    /// Its name in outputs.
    pub fn name(self) -> &'static str {
        match self {
            Start::File => "file",
            Start::CountIn => "count-in",
            Start::Click => "click",
            Start::Fit => "fit",
        }
    }
}

/// The tempo of a bar.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BarTempo {
    /// Its chorus, from 1.
    pub chorus: u32,
    /// Its bar in the chorus, from 1.
    pub bar: u32,
    /// Quarter notes a minute, by the player's own pulse around it.
    pub tempo: f64,
}

/// The figures of a take.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Timing {
    /// Mean offset from the grid, in milliseconds; early is negative. None where the grid is fitted to the playing.
    pub mean: Option<f64>,
    /// Standard deviation of the notes around the player's own pulse, in milliseconds.
    pub spread: f64,
    /// How much later a chorus is than the one before, in milliseconds; rushing is negative. None where the tempo
    /// is fitted to the playing.
    pub drift: Option<f64>,
    /// The part of the time to the next note that notes sound, on average: 1 is legato.
    pub fullness: f64,
    /// Standard deviation of that part.
    pub unevenness: f64,
    /// The tempo of each bar in which something was played.
    pub curve: Vec<BarTempo>,
}

/// Where the tempo goes, as a straight line through its curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Quarter notes a minute at the beginning.
    pub from: f64,
    /// The same at the end.
    pub to: f64,
}

impl Trend {
    /// The change from beginning to end, as a part of the tempo at the beginning: rushing is positive.
    pub fn change(self) -> f64 {
        self.to / self.from - 1.0
    }
}

/// The fewest bars that show where a tempo goes.
const FEWEST_BARS: usize = 4;

impl Timing {
    /// Where the tempo goes, if enough bars were played.
    pub fn trend(&self) -> Option<Trend> {
        let count = self.curve.len();
        if count < FEWEST_BARS {
            return None;
        }
        let at = |index: usize| index as f64 / (count - 1) as f64 - 0.5;
        let mean = self.curve.iter().map(|bar| bar.tempo).sum::<f64>() / count as f64;
        let bars = || self.curve.iter().enumerate();
        let square: f64 = bars().map(|(index, _)| at(index) * at(index)).sum();
        let product: f64 = bars()
            .map(|(index, bar)| at(index) * (bar.tempo - mean))
            .sum();
        let slope = product / square;
        Some(Trend {
            from: mean - slope / 2.0,
            to: mean + slope / 2.0,
        })
    }

    /// The slowest and the fastest bar.
    pub fn extremes(&self) -> Option<(BarTempo, BarTempo)> {
        let by_tempo = |a: &&BarTempo, b: &&BarTempo| a.tempo.total_cmp(&b.tempo);
        let slowest = self.curve.iter().min_by(by_tempo)?;
        Some((*slowest, *self.curve.iter().max_by(by_tempo)?))
    }
}

/// The figures of notes in order of time, by what is known of their beats and whether their tempo is fitted too; the
/// curve is left empty.
pub fn figures(notes: &[NoteOnGrid], start: Start, tempo_is_fitted: bool) -> Timing {
    let (mean, _) = mean_and_deviation(notes.iter().map(|note| note.offset));
    let (middle, _) = mean_and_deviation(notes.iter().map(|note| note.chorus));
    let (mut square, mut product) = (0.0, 0.0);
    for note in notes {
        let from_middle = note.chorus - middle;
        square += from_middle * from_middle;
        product += from_middle * (note.offset - mean);
    }
    // A drift within a few notes means nothing: half a chorus at least.
    let length = notes.last().map_or(0.0, |note| note.chorus)
        - notes.first().map_or(0.0, |note| note.chorus);
    let drift = if length > 0.5 { product / square } else { 0.0 };
    let (_, spread) = mean_and_deviation(notes.iter().map(|note| note.by_pulse));
    let (fullness, unevenness) = mean_and_deviation(notes.iter().filter_map(|note| note.fullness));
    Timing {
        mean: (start != Start::Fit).then_some(mean),
        spread,
        drift: (!tempo_is_fitted).then_some(drift),
        fullness,
        unevenness,
        curve: Vec::new(),
    }
}

/// Mean and standard deviation (of a sample); 0 where there is too little.
fn mean_and_deviation(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let count = values.clone().count() as f64;
    if count < 1.0 {
        return (0.0, 0.0);
    }
    let mean = values.clone().sum::<f64>() / count;
    let squares: f64 = values.map(|value| (value - mean) * (value - mean)).sum();
    let deviation = if count > 1.0 {
        (squares / (count - 1.0)).sqrt()
    } else {
        0.0
    };
    (mean, deviation)
}

/// Long to short of a pair of eighth notes whose second falls at `swing` of the beat: 0.5 is 1, 2/3 is 2.
pub fn ratio(swing: f64) -> f64 {
    swing / (1.0 - swing)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn planted_figures_are_found() {
        let notes: Vec<NoteOnGrid> = (0..144)
            .map(|beat| {
                let chorus = f64::from(beat) / 48.0;
                let waver = if beat % 2 == 0 { 12.0 } else { -12.0 };
                NoteOnGrid {
                    chorus,
                    offset: 20.0 - 15.0 * (chorus - 143.0 / 96.0) + waver,
                    by_pulse: waver,
                    fullness: Some(0.9),
                }
            })
            .collect();
        let found = figures(&notes, Start::File, false);
        assert!((found.mean.unwrap() - 20.0).abs() < 1e-9, "{found:?}");
        assert!((found.drift.unwrap() + 15.0).abs() < 0.2, "{found:?}");
        assert!((found.spread - 12.0).abs() < 0.1, "{found:?}");
        assert!((found.fullness - 0.9).abs() < 1e-9 && found.unevenness < 1e-9);
        let fitted = figures(&notes, Start::Fit, true);
        assert_eq!((fitted.mean, fitted.drift), (None, None));
    }

    #[test]
    fn where_a_tempo_goes_is_told() {
        let curve = |tempo: &dyn Fn(u32) -> f64| Timing {
            curve: (0..24)
                .map(|bar| BarTempo {
                    chorus: 1 + bar / 12,
                    bar: 1 + bar % 12,
                    tempo: tempo(bar),
                })
                .collect(),
            ..Timing::default()
        };
        let rushed = curve(&|bar| 138.0 + 8.0 * f64::from(bar) / 23.0);
        let trend = rushed.trend().unwrap();
        assert!((trend.from - 138.0).abs() < 1e-9 && (trend.to - 146.0).abs() < 1e-9);
        let (slowest, fastest) = rushed.extremes().unwrap();
        assert_eq!((slowest.bar, fastest.chorus, fastest.bar), (1, 2, 12));
        assert!(curve(&|_| 120.0).trend().unwrap().change().abs() < 1e-12);
        assert_eq!(Timing::default().trend(), None);
    }

    #[test]
    fn little_is_no_panic() {
        let figures = |notes: &[NoteOnGrid]| figures(notes, Start::File, false);
        assert_eq!(figures(&[]).mean, Some(0.0));
        let one = NoteOnGrid {
            chorus: 0.0,
            offset: 3.0,
            by_pulse: 0.0,
            fullness: None,
        };
        assert_eq!(figures(&[one]).mean, Some(3.0));
        assert_eq!(figures(&[one, one]).drift, Some(0.0));
    }
}
