//! Suspended chords as one sonority, whichever way they are written.

use super::{Chord, Family};
use crate::{
    interval::{Degree, Interval},
    pitch::NoteName,
};

impl Chord {
    /// The suspended chord that a triad or seventh chord makes over its bass: `Bb/C` and `Gm7/C` are C9sus4,
    /// `Bbmaj7/C` is C13sus4. (Common practice, no source.)
    pub fn as_suspended(&self) -> Option<Chord> {
        let bass = self.slash()?;
        let up = (bass.chroma() + 12 - self.root().chroma()) % 12;
        let suffix = match (self.family(), up) {
            (Family::Major, 2) if self.has(Degree::new(7, 0)) => "13sus4",
            (Family::Major, 2) => "9sus4",
            (Family::Minor, 5) if self.has(Degree::new(7, -1)) => "9sus4",
            (Family::HalfDiminished, 5) => "7sus4b9",
            _ => return None,
        };
        format!("{bass}{suffix}").parse().ok()
    }

    /// The natural third that a suspended chord leaves open, over its root or over the bass that makes it one: as
    /// long as the chord lasts nobody sounds it. None for other chords.
    pub fn withheld_third(&self) -> Option<NoteName> {
        let made = self.as_suspended();
        let chord = made.as_ref().unwrap_or(self);
        (chord.family() == Family::Suspended).then(|| chord.root() + Interval::new(2, 4))
    }
}

#[cfg(test)]
mod tests {
    use crate::{Chord, Interval, key::Key};

    #[test]
    fn a_triad_over_its_second_hangs() {
        for (written, sounds, third) in [
            ("Bb/C", Some("C9sus4"), Some("E")),
            ("Gm7/C", Some("C9sus4"), Some("E")),
            ("Bbmaj7/C", Some("C13sus4"), Some("E")),
            ("Gm7b5/C", Some("C7sus4b9"), Some("E")),
            ("C7sus4", None, Some("E")),
            ("Ebsus2", None, Some("G")),
            ("C/E", None, None),
            ("Bb7/C", None, None),
            ("Gm/C", None, None),
            ("C7", None, None),
            ("C5", None, None),
        ] {
            let chord: Chord = written.parse().unwrap();
            let sounds = sounds.map(|symbol| symbol.parse().unwrap());
            assert_eq!(chord.as_suspended(), sounds, "{written}");
            let found = chord.withheld_third().map(|name| name.to_string());
            assert_eq!(found.as_deref(), third, "{written}");
            for key in Key::all() {
                let by = Interval::up_between("C".parse().unwrap(), key.tonic);
                let moved = chord.transposed(by).withheld_third();
                assert_eq!(moved, chord.withheld_third().map(|name| name + by));
            }
        }
    }
}
