//! What the form decides before any cost is counted: where a blues stands, and which chords have a key that
//! nothing can argue away.
//!
//! Common practice, no source: a blues is told by its form (its tonic as a dominant seventh chord within four
//! bars, IV7 in the fifth, a dominant of the tonic in the ninth or tenth, the tonic in the eleventh), a tonic
//! chord of the home key is I wherever it stands, and ii-V-I names its own tonic.
//!
//! That ii-V-I names its own tonic holds for every major chord that it leads to, IV and V of home included: Gm7
//! C7 Fmaj7 in C is ii-V-I of F, not ii and V "of IV" and then IV. It is the one cadence that a key needs to earn
//! itself, and read otherwise, one figure would have two names within a round of them. Home wins in one place
//! alone: its own tonic stays I where it turns into the ii of another key. A goal that is a dominant, as in the
//! fifth bar of a blues, is no tonic, and its ii-V is called by what it leads to.

use super::path::Hypothesis;
use super::reading::Color;
use super::sounding::{Heard, Sound};
use crate::chord::Family;

/// Beats through which a chord makes itself at home without any cadence: four bars of four.
pub(super) const HELD: usize = 16;

impl Hypothesis {
    /// Whether the chord is a tonic chord of this key: a major chord in major, a minor one in minor.
    pub(super) fn is_tonic(self, sound: Sound) -> bool {
        let family = match self.color {
            Color::Minor => Family::Minor,
            Color::Major | Color::Blues => Family::Major,
        };
        sound.root == self.tonic && sound.family == family
    }

    /// Whether the chord is a tonic that sounds as a dominant seventh chord, as in a blues.
    pub(super) fn is_seventh_tonic(self, sound: Sound) -> bool {
        self.color != Color::Minor && sound.root == self.tonic && sound.is_dominant()
    }

    /// Whether the chord leads to this key's tonic: V, its tritone substitute, or a diminished chord with the
    /// leading tone.
    fn is_led_to_by(self, sound: Sound) -> bool {
        let above = (sound.root + 12 - self.tonic) % 12;
        match sound.family {
            Family::Dominant | Family::Suspended => matches!(above, 7 | 1),
            Family::Augmented => above == 7,
            Family::Diminished => above == 11,
            _ => false,
        }
    }

    /// Whether a cadence arrives here: the tonic after its dominant.
    pub(super) fn arrives(self, heard: &Heard) -> bool {
        self.is_at_rest(heard) && heard.before.is_some_and(|before| self.is_led_to_by(before))
    }

    /// Whether the chord is the tonic, and no minor chord that is the ii of a dominant.
    pub(super) fn is_at_rest(self, heard: &Heard) -> bool {
        let as_two = heard.sound.family == Family::Minor
            && heard.after.is_some_and(|after| {
                after.root == heard.sound.fifth_below() && after.is_dominant()
            });
        self.is_tonic(heard.sound) && !as_two
    }

    /// Whether the chord is held so long that it is a tonic without any cadence.
    pub(super) fn rests(self, heard: &Heard) -> bool {
        self.is_tonic(heard.sound) && heard.beats >= HELD
    }
}

/// The key of each chord where it is beyond argument.
pub(super) fn settled(heard: &[Heard], home: Hypothesis) -> Vec<Option<Hypothesis>> {
    let tonics = heard.iter().map(|heard| home.is_tonic(heard.sound));
    let mut keys: Vec<Option<Hypothesis>> = tonics.map(|tonic| tonic.then_some(home)).collect();
    // Where nothing plainer sounds, the tonic of a major key is its dominant seventh chord.
    let plain = keys.iter().any(Option::is_some);
    for tonic in 0..heard.len() {
        let key = Hypothesis {
            tonic: heard[tonic].sound.root,
            color: Color::Major,
        };
        for place in two_five_one(heard, tonic) {
            // The home tonic may turn into the ii of another key; it is I all the same.
            keys[place].get_or_insert(key);
        }
    }
    for (key, heard) in keys.iter_mut().zip(heard) {
        if !plain && home.is_seventh_tonic(heard.sound) {
            key.get_or_insert(home);
        }
    }
    keys
}

/// The places of ii, V and the major chord at `tonic` that they lead to; nothing if they do not, the form
/// going round.
fn two_five_one(heard: &[Heard], tonic: usize) -> Vec<usize> {
    let one = heard[tonic].sound;
    let above = |sound: Sound| (sound.root + 12 - one.root) % 12;
    let mut places = vec![tonic];
    let mut backwards = (1..heard.len()).map(|back| (tonic + heard.len() - back) % heard.len());
    let Some(five) = backwards.next() else {
        return Vec::new();
    };
    let dominant = heard[five].sound;
    if one.family != Family::Major || !dominant.is_dominant() || !matches!(above(dominant), 7 | 1) {
        return Vec::new();
    }
    places.push(five);
    for place in backwards {
        let sound = heard[place].sound;
        places.push(place);
        if sound.is_dominant() && sound.root == dominant.root {
            continue; // V may come suspended first
        }
        let two = matches!(sound.family, Family::Minor | Family::HalfDiminished);
        if two && above(sound) == 2 {
            return places;
        }
        break;
    }
    Vec::new()
}

/// Which chords stand in a twelve-bar blues on `tonic` (its chorus may also be written in bars twice as
/// short: twenty-four).
///
/// The form is made of such choruses, or at least two and more than two thirds of it are, as in a blues with a
/// bridge: twelve bars out of a longer form may look like a blues by chance, as the first twelve of rhythm changes do.
pub(super) fn blues(heard: &[Heard], tonic: u8) -> Vec<bool> {
    let mut inside = vec![false; heard.len()];
    let Some(last) = heard.last() else {
        return inside;
    };
    let bars = last.at.0 + beyond(heard);
    for unit in [1, 2] {
        let (mut first, mut choruses, mut found) = (1, 0, inside.clone());
        while first + 12 * unit <= bars + 1 {
            if is_blues(heard, tonic, first, unit) {
                let end = first + 12 * unit;
                for (found, heard) in found.iter_mut().zip(heard) {
                    *found |= (first..end).contains(&heard.at.0);
                }
                choruses += 1;
                first = end;
            } else {
                first += 4;
            }
        }
        let covered = 12 * unit * choruses;
        if covered == bars || (choruses > 1 && 3 * covered > 2 * bars) {
            inside = found;
        }
    }
    inside
}

/// Bars that the last chord fills after the one in which it enters, measured by the length of a bar that its
/// predecessors show.
fn beyond(heard: &[Heard]) -> u32 {
    let (first, last) = (&heard[0], &heard[heard.len() - 1]);
    let before: usize = heard[..heard.len() - 1]
        .iter()
        .map(|heard| heard.beats)
        .sum();
    let bars = (last.at.0 - first.at.0) as usize;
    match before.checked_div(bars) {
        Some(bar) if bar > 0 => (last.beats.saturating_sub(1) / bar) as u32,
        _ => 0,
    }
}

fn is_blues(heard: &[Heard], tonic: u8, first: u32, unit: u32) -> bool {
    // The chord that sounds as a bar of the twelve begins, or enters within it.
    let at = |bar: u32| {
        let start = first + (bar - 1) * unit;
        let after = heard.partition_point(|heard| heard.at <= (start, 1));
        after.checked_sub(1).map(|place| heard[place].sound)
    };
    let within = |bar: u32| {
        let start = first + (bar - 1) * unit;
        let inside = move |heard: &&Heard| (start..start + unit).contains(&heard.at.0);
        at(bar)
            .into_iter()
            .chain(heard.iter().filter(inside).map(|heard| heard.sound))
    };
    let is = |sound: Sound, above: u8, families: &[Family]| {
        (sound.root + 12 - tonic) % 12 == above && families.contains(&sound.family)
    };
    use Family::{Dominant, Major, Minor, Suspended};
    let any = |bars: std::ops::RangeInclusive<u32>, above: &[u8], families: &[Family]| {
        bars.into_iter().any(|bar| {
            within(bar).any(|sound| above.iter().any(|&above| is(sound, above, families)))
        })
    };
    at(1).is_some_and(|sound| is(sound, 0, &[Dominant, Major, Suspended]))
        && any(1..=4, &[0], &[Dominant, Suspended])
        && at(5).is_some_and(|sound| is(sound, 5, &[Dominant, Suspended]))
        && at(7).is_some_and(|sound| matches!((sound.root + 12 - tonic) % 12, 0 | 4))
        && any(9..=10, &[7, 2, 1], &[Dominant, Suspended, Minor])
        && any(11..=11, &[0], &[Dominant, Major, Suspended])
}
