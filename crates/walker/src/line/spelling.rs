//! Names for notes that neither the chord nor its scale names: approaches, spelled by direction.

use endpin_theory::{Letter, NoteName, Pitch};

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

/// The name with fewest signs: a white key as it is, a black one raised or lowered.
pub(crate) fn plain(key: u8, sharp: bool) -> NoteName {
    let chroma = key % 12;
    let alteration = if sharp { 1 } else { -1 };
    let names = |alteration| Letter::ALL.map(|letter| NoteName::new(letter, alteration));
    names(0)
        .into_iter()
        .chain(names(alteration))
        .find(|name| name.chroma() == chroma)
        // The white keys and the black ones, all raised or all lowered, are all twelve.
        .unwrap_or(NoteName::new(Letter::C, 0))
}

/// The name of a key that leads into `goal`, which lies `ahead` semitones higher (lower, if negative).
///
/// A step comes from the neighbouring letter: A# or Bb into B, but Gb into F and E into F. The dominant is
/// the fifth of its root. Names with double signs, and E#, B#, Cb and Fb, give way to plain ones.
pub(crate) fn towards(key: u8, goal: NoteName, ahead: i16) -> NoteName {
    let steps = match ahead {
        1 | 2 => -1,
        -1 | -2 => 1,
        -7 | 5 => 4,
        _ => return plain(key, ahead > 0),
    };
    let letter = goal.letter().up(steps);
    let named = (-1..=1)
        .map(|alteration| NoteName::new(letter, alteration))
        .find(|name| name.chroma() == key % 12);
    let awkward = |name: &NoteName| {
        matches!(
            (name.letter(), name.alteration()),
            (Letter::E | Letter::B, 1) | (Letter::C | Letter::F, -1)
        )
    };
    named
        .filter(|name| !awkward(name))
        .unwrap_or_else(|| plain(key, ahead > 0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_has_a_pitch() {
        for key in 0..=127 {
            assert_eq!(pitch_of_key(key).midi(), i16::from(key));
        }
        assert_eq!(pitch_of_key(0).to_string(), "C-1");
        assert_eq!(pitch_of_key(70).to_string(), "Bb4");
    }

    #[test]
    fn approaches_are_spelled_by_direction() {
        // Common practice, no source: raised from below, lowered from above, no needless double signs.
        for (key, goal, ahead, name) in [
            (40, "F", 1, "E"),
            (42, "F", -1, "Gb"),
            (42, "G", 1, "F#"),
            (45, "Bb", 1, "A"),
            (47, "Bb", -1, "B"),
            (49, "C", -1, "Db"),
            (46, "B", 1, "A#"),
            (48, "Db", 1, "C"),
            (39, "F", 2, "Eb"),
            (44, "F#", -2, "G#"),
            (48, "F", 5, "C"),
            (53, "Bb", -7, "F"),
            (41, "F#", 1, "F"),
        ] {
            let goal: NoteName = goal.parse().unwrap();
            assert_eq!(
                towards(key, goal, ahead).to_string(),
                name,
                "{key} into {goal}"
            );
        }
    }
}
