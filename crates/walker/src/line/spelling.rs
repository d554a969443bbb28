//! The names of a line's notes: [`endpin_theory::spelling`] among the notes that follow.

use super::layout::Harmony;
use endpin_theory::{
    Degree, Heading, Interval, Key, NoteName, Pitch, Spelling,
    spelling::{plain, whole_step_from},
};

/// For whom, and in which key, the notes of a line are named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Naming {
    /// For whom.
    pub spelling: Spelling,
    /// Whose signature stands on the staff.
    pub key: Key,
}

impl Naming {
    /// The name of a chord tone or a root as it is told: without a double sign for a reader.
    pub(crate) fn tone(self, name: NoteName) -> NoteName {
        let Naming { spelling, key } = self;
        spelling.name(name.chroma(), Some(name), &[name], key, Heading::Still)
    }
}

/// The pitch of a name on a MIDI key; a name that does not sound this key gives way to a plain one.
pub(crate) fn at(name: NoteName, key: u8) -> Pitch {
    let midi = i16::from(key);
    name.at_midi(midi).unwrap_or_else(|| {
        let natural = plain(key, true);
        let octave = (midi - i16::from(natural.alteration())).div_euclid(12) - 1;
        Pitch::new(natural, octave as i8)
    })
}

/// The pitch of a MIDI key that no chord or scale names: a black key is a lowered one.
pub fn pitch_of_key(key: u8) -> Pitch {
    at(plain(key, false), key)
}

/// The note by which another is named: the one it leads to, given as key and name.
pub(crate) type Towards = (u8, NoteName);

impl Harmony {
    /// The name that a note has of its own here: that of a chord tone or the written bass, or of a note of the
    /// scale.
    pub(crate) fn own_name(&self, key: u8) -> Option<NoteName> {
        let scale = self.scale.iter().flat_map(|scale| scale.notes());
        let mut names = self.sounding().into_iter().chain(scale);
        names.find(|name| name.chroma() == key % 12)
    }

    /// The name of a note that leads to another, if it leads anywhere.
    ///
    /// A half step is spelled by direction, A# up to B; a whole step as a step, Eb up to F; a dominant as the
    /// fifth of its goal; what only changes its octave keeps its name.
    pub(crate) fn name(&self, key: u8, towards: Option<Towards>) -> NoteName {
        let Naming {
            spelling,
            key: home,
        } = self.naming;
        let own = self.own_name(key);
        let ahead = towards.map_or(0, |(goal, _)| i16::from(goal) - i16::from(key));
        let by_motion = towards.and_then(|(_, goal)| match ahead {
            2 => whole_step_from(goal, true),
            -2 => whole_step_from(goal, false),
            5 | -7 => Some(goal + Interval::new(4, 7)),
            _ if ahead % 12 == 0 => Some(goal),
            _ => None,
        });
        let by_motion = by_motion.filter(|name| name.chroma() == key % 12);
        let own = match spelling {
            Spelling::Reader => by_motion.or(own),
            Spelling::Strict => own.or(by_motion),
        };
        let heading = Heading::between(0, ahead);
        spelling.name(key % 12, own, &self.sounding(), home, heading)
    }

    /// The degree of a note that is called so here: that of its own name, or of the one it is read by.
    pub(crate) fn degree(&self, key: u8, name: NoteName) -> Degree {
        let root = self.chord.as_ref().map_or(name, |chord| chord.root());
        let is_near = |degree: &Degree| degree.alteration().abs() < 2;
        let own = self.own_name(key).map(|own| Degree::of(root, own));
        let read = || Some(Degree::of(root, name)).filter(is_near);
        own.or_else(read).unwrap_or_else(|| {
            // A root with a double sign or a far name: sharp degrees under sharp names, flat ones under others.
            let sharp = name.alteration() > 0;
            let above = (i16::from(key % 12) - i16::from(root.chroma())).rem_euclid(12) as u8;
            Degree::of(plain(0, sharp), plain(above, sharp))
        })
    }

    /// The names that sound: chord tones, and first the written bass.
    fn sounding(&self) -> Vec<NoteName> {
        let slash = self.chord.as_ref().and_then(|chord| chord.slash());
        let tones = self.tones.iter().map(|tone| tone.name);
        slash.into_iter().chain(tones).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use endpin_theory::{Chord, Scale, analysis::analyse, chart::Chart};

    fn harmony(symbol: &str, key: &str, spelling: Spelling) -> Harmony {
        let chord: Chord = symbol.parse().unwrap();
        let key: Key = key.parse().unwrap();
        let chart = Chart::from_bars(symbol, "4/4".parse().unwrap()).unwrap();
        let scale: Scale = analyse(&chart.chorus().spans, key)[0].scale;
        Harmony {
            symbol: symbol.to_owned(),
            tones: chord.chord_tones(),
            chord: Some(chord),
            scale: Some(scale),
            beats: 4,
            naming: Naming { spelling, key },
        }
    }

    #[test]
    fn every_key_has_a_pitch() {
        for key in 0..=127 {
            assert_eq!(pitch_of_key(key).midi(), i16::from(key));
        }
        assert_eq!(pitch_of_key(0).to_string(), "C-1");
        assert_eq!(pitch_of_key(70).to_string(), "Bb4");
    }

    #[test]
    fn notes_are_named_by_where_they_lead() {
        // Common practice, no source: raised from below, lowered from above, steps as steps, no double signs,
        // and what is in the signature as it is there.
        for (chord, home, key, goal, midi, name) in [
            ("C7", "F", 40, "F", 41, "E"),
            ("C7", "F", 42, "F", 41, "Gb"),
            ("D7", "C", 42, "G", 43, "F#"),
            ("Gm7", "F", 46, "B", 47, "Bb"),
            ("Gm7", "F", 49, "C", 48, "Db"),
            ("Am7", "C", 46, "B", 47, "A#"),
            ("Dbmaj7", "Db", 48, "Db", 49, "C"),
            ("Bb7", "F", 39, "F", 41, "Eb"),
            ("C#m7", "E", 44, "F#", 42, "G#"),
            ("Gm7", "F", 48, "F", 53, "C"),
            ("C7", "G", 49, "F#", 42, "C#"),
            ("Cm7", "Bb", 42, "F", 41, "Gb"),
            ("Fdim7", "F", 38, "E", 40, "D"),
            ("A7", "C", 39, "D", 38, "Eb"),
            ("A7", "C", 49, "C#", 37, "C#"),
        ] {
            let goal: NoteName = goal.parse().unwrap();
            let named = harmony(chord, home, Spelling::Reader).name(key, Some((midi, goal)));
            assert_eq!(named.to_string(), name, "{key} over {chord} into {goal}");
        }
    }

    #[test]
    fn degrees_keep_their_letters_under_plain_names() {
        for (chord, key, name, degree, strict) in [
            ("Fdim7", 38, "D", "bb7", "Ebb"),
            ("Bb7", 37, "C#", "#2", "C#"),
            ("C7alt", 40, "E", "3", "E"),
            ("Abm7b5", 42, "Gb", "b7", "Gb"),
        ] {
            let reader = harmony(chord, "Bb", Spelling::Reader);
            let read = reader.name(key, Some((key + 1, "D".parse().unwrap())));
            assert_eq!(read.to_string(), name, "{chord}");
            assert_eq!(reader.degree(key, read).to_string(), degree, "{chord}");
            let theorist = harmony(chord, "Bb", Spelling::Strict);
            let named = theorist.name(key, Some((key + 1, "D".parse().unwrap())));
            assert_eq!(named.to_string(), strict, "{chord}");
        }
    }
}
