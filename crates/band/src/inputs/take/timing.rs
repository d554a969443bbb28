//! How a take stands in time, in figures.
//!
//! With `t` the time of a note in choruses, its offset from the grid is modelled as mean + drift·(t − mean
//! t) + rest, by least squares: the mean is the plain mean of the offsets, the drift their slope, the
//! spread the standard deviation of the rest. Early is negative.

/// A note against the grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoteOnGrid {
    /// Where it stands in the form, in choruses from the beginning.
    pub chorus: f64,
    /// How late it is, in milliseconds; early is negative.
    pub offset: f64,
    /// How long it sounds, as a part of the time to the next note; none before a gap.
    pub fullness: Option<f64>,
}

/// The figures of a take.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Timing {
    /// Mean offset from the grid, in milliseconds; early is negative.
    pub mean: f64,
    /// Standard deviation of the offsets around mean and drift, in milliseconds.
    pub spread: f64,
    /// How much later a chorus is than the one before, in milliseconds; rushing is negative.
    pub drift: f64,
    /// The part of the time to the next note that notes sound, on average: 1 is legato.
    pub fullness: f64,
    /// Standard deviation of that part.
    pub unevenness: f64,
}

/// The figures of notes in order of time.
pub fn figures(notes: &[NoteOnGrid]) -> Timing {
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
    let rest = |note: &NoteOnGrid| note.offset - mean - drift * (note.chorus - middle);
    let (_, spread) = mean_and_deviation(notes.iter().map(rest));
    let (fullness, unevenness) = mean_and_deviation(notes.iter().filter_map(|note| note.fullness));
    Timing {
        mean,
        spread,
        drift,
        fullness,
        unevenness,
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
                    fullness: Some(0.9),
                }
            })
            .collect();
        let found = figures(&notes);
        assert!((found.mean - 20.0).abs() < 1e-9, "{found:?}");
        assert!((found.drift + 15.0).abs() < 0.2, "{found:?}");
        assert!((found.spread - 12.0).abs() < 0.1, "{found:?}");
        assert!((found.fullness - 0.9).abs() < 1e-9 && found.unevenness < 1e-9);
    }

    #[test]
    fn little_is_no_panic() {
        assert_eq!(figures(&[]), Timing::default());
        let one = NoteOnGrid {
            chorus: 0.0,
            offset: 3.0,
            fullness: None,
        };
        assert_eq!(figures(&[one]).mean, 3.0);
        assert_eq!(figures(&[one, one]).drift, 0.0);
    }
}
