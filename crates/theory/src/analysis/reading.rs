//! What a chord can be in a key, and what each reading costs.
//!
//! Costs are whole numbers: 0 is the tonic at rest, 1 to 3 a chord that the key owns, 3 to 6 one that its
//! neighbours explain, more an oddity. They say how surprising a listener would find the chord there; all
//! are common practice, no source, and meant to be argued with.

use super::sounding::Heard;
use crate::chord::Family;

/// How the key sounds: major, minor, or a blues whose tonic is itself a dominant seventh chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Color {
    Major,
    Minor,
    Blues,
}

/// What a chord does in its key. Numbers are semitones of the target above the tonic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Reading {
    /// A chord of the key.
    Own,
    /// A chord of the parallel key.
    Borrowed,
    /// V of another chord of the key.
    Secondary(u8),
    /// ii of such a V.
    RelatedTwo(u8),
    /// The dominant a tritone from V, of the tonic (0) or another chord.
    Substitute(u8),
    /// ii of a tritone substitute.
    SubstituteTwo(u8),
    /// bVII7 going home from below.
    Backdoor,
    /// A diminished chord on the leading tone of what follows.
    Leading(u8),
    /// A diminished chord with the leading tone of what follows above its root.
    Inverted(u8),
    /// A diminished chord passing downwards, or a minor chord between two others.
    Passing,
    /// A diminished chord passing upwards into a bass that is not the root.
    Rising,
    /// A diminished chord about the root of its neighbour.
    CommonTone,
    /// None of these.
    Foreign,
}

use Family::*;

/// Own and borrowed chords of a key: semitones above the tonic, families, reading, cost.
type Row = (u8, &'static [Family], Reading, u32);

const MAJOR_TONIC: &[Row] = &[(0, &[Major, Open], Reading::Own, 0)];

#[rustfmt::skip]
const MAJOR_BUT_TONIC: &[Row] = &[
    (0, &[Suspended], Reading::Own, 4),
    (0, &[Augmented], Reading::Own, 6),
    (0, &[Dominant], Reading::Own, 4),
    (2, &[Minor], Reading::Own, 1),
    (4, &[Minor], Reading::Own, 3),
    (5, &[Major, Open], Reading::Own, 2),
    (5, &[Dominant, Suspended], Reading::Own, 6),
    (7, &[Dominant, Suspended], Reading::Own, 1),
    (7, &[Augmented, Open], Reading::Own, 3),
    (9, &[Minor], Reading::Own, 2),
    (11, &[HalfDiminished], Reading::Own, 3),
    (0, &[Minor], Reading::Borrowed, 6),
    (1, &[Major], Reading::Borrowed, 6),
    (2, &[HalfDiminished], Reading::Borrowed, 2),
    (3, &[Major], Reading::Borrowed, 6),
    (5, &[Minor], Reading::Borrowed, 4),
    (7, &[Minor], Reading::Borrowed, 6),
    (8, &[Major], Reading::Borrowed, 5),
    (8, &[Dominant], Reading::Borrowed, 6),
    (10, &[Major], Reading::Borrowed, 6),
    (11, &[Diminished], Reading::Borrowed, 4),
    (6, &[HalfDiminished], Reading::Own, 5),
    (6, &[Diminished], Reading::Passing, 6),
];

#[rustfmt::skip]
const MINOR: &[Row] = &[
    (0, &[Minor, Open], Reading::Own, 0),
    (0, &[Suspended], Reading::Own, 4),
    (0, &[Major], Reading::Borrowed, 8),
    (1, &[Major], Reading::Own, 4),
    (2, &[HalfDiminished], Reading::Own, 1),
    (2, &[Minor], Reading::Borrowed, 4),
    (3, &[Major, Augmented], Reading::Own, 2),
    (5, &[Minor], Reading::Own, 1),
    (5, &[Dominant, Suspended], Reading::Own, 3),
    (5, &[Major], Reading::Own, 5),
    (7, &[Dominant, Suspended, Augmented], Reading::Own, 1),
    (7, &[Minor], Reading::Own, 4),
    (8, &[Major], Reading::Own, 2),
    (8, &[Dominant], Reading::Own, 5),
    (9, &[HalfDiminished], Reading::Own, 3),
    (10, &[Dominant, Major, Suspended], Reading::Own, 3),
    (6, &[HalfDiminished], Reading::Own, 5),
];

/// In the place of the major tonic.
#[rustfmt::skip]
const BLUES: &[Row] = &[
    (0, &[Dominant, Suspended], Reading::Own, 0),
    (0, &[Major], Reading::Own, 4),
    (5, &[Dominant, Suspended], Reading::Own, 1),
    (6, &[Diminished], Reading::Passing, 2),
];

/// Cost of a chord that nothing explains.
const FOREIGN: u32 = 20;
/// A secondary dominant of a chord of the key, resolving; of a borrowed one.
const SECONDARY: u32 = 3;
const SECONDARY_BORROWED: u32 = 5;
/// On top: resolution put off by the target's own ii, or taken by its tritone substitute.
const DELAYED: u32 = 1;
/// On top: ii-V goes on to another ii-V, a half step lower.
const CHAINED: u32 = 2;
/// On top: no resolution; for V of V, which the ear takes for a plain II7.
const UNRESOLVED: u32 = 6;
const UNRESOLVED_TWO: u32 = 3;
/// On top: a triad (or suspended chord) in the place of a dominant seventh.
const TRIAD: u32 = 2;
/// Off: its own ii stands before it.
const AFTER_TWO: u32 = 1;
/// ii of a secondary dominant that follows; of a borrowed one, on top.
const RELATED_TWO: u32 = 3;
const OF_BORROWED: u32 = 2;
/// A tritone substitute of V, and of another chord's dominant.
const SUBSTITUTE: u32 = 3;
const SECONDARY_SUBSTITUTE: u32 = 4;
/// Its ii.
const SUBSTITUTE_TWO: u32 = 5;
/// bVII7 to the tonic, or to iii in its place; elsewhere.
const BACKDOOR: u32 = 3;
const BACKDOOR_UNRESOLVED: u32 = 6;
/// Diminished chords: up a half step; down or about a common tone; as an inversion of a leading one.
const LEADING: u32 = 3;
const PASSING: u32 = 3;
const LEADING_INVERTED: u32 = 5;
/// A dominant seventh on the tonic right after its own ii is rather V of IV.
const TONIC_AFTER_TWO: u32 = 5;
/// A major seventh on V is no dominant.
const MAJOR_SEVENTH_ON_FIVE: u32 = 8;

impl Color {
    /// Whether the key owns a chord on this degree that dominants point to, or the parallel key lends one.
    fn target(self, semitones: u8) -> Option<u32> {
        let (own, lent): (&[u8], &[u8]) = match self {
            Color::Major | Color::Blues => (&[2, 4, 5, 7, 9], &[3, 8, 10]),
            Color::Minor => (&[2, 3, 5, 7, 8, 10], &[9]),
        };
        if own.contains(&semitones) {
            Some(SECONDARY)
        } else {
            lent.contains(&semitones).then_some(SECONDARY_BORROWED)
        }
    }
}

/// The cheapest reading of a chord in the key of this colour on `tonic`, with its cost.
pub(super) fn cheapest(heard: &Heard, tonic: u8, color: Color) -> (u32, Reading) {
    let mut best = (FOREIGN, Reading::Foreign);
    let mut offer = |cost: u32, reading: Reading| {
        if cost < best.0 {
            best = (cost, reading);
        }
    };
    let above = |root: u8| (root + 12 - tonic) % 12;
    let degree = above(heard.sound.root);
    let family = heard.sound.family;
    let before = heard.before.map(|n| (above(n.root), n.family));
    let after = heard
        .after
        .map(|n| (above(n.root), above(n.bass), n.family));
    let around = Around {
        degree,
        family,
        before,
        after,
    };

    let rows = match color {
        Color::Major => [MAJOR_TONIC, MAJOR_BUT_TONIC],
        Color::Minor => [MINOR, &[]],
        Color::Blues => [BLUES, MAJOR_BUT_TONIC],
    };
    for &(_, _, reading, cost) in rows
        .into_iter()
        .flatten()
        .filter(|row| row.0 == degree && row.1.contains(&family))
    {
        let after_two = color != Color::Minor && degree == 0 && around.follows_its_two();
        offer(cost + if after_two { TONIC_AFTER_TWO } else { 0 }, reading);
    }
    let major_seventh = heard.major_seventh;
    if family == Major && degree == 7 {
        offer(
            if major_seventh {
                MAJOR_SEVENTH_ON_FIVE
            } else {
                2
            },
            Reading::Own,
        );
    }
    if family == Dominant && degree == 10 && color != Color::Minor {
        let home = around.leads_to(0) || around.leads_to(4);
        offer(
            if home { BACKDOOR } else { BACKDOOR_UNRESOLVED },
            Reading::Backdoor,
        );
    }
    match family {
        Dominant | Suspended | Augmented => around.dominants(color, 0, &mut offer),
        Major if !major_seventh => around.dominants(color, TRIAD, &mut offer),
        Minor | HalfDiminished => around.twos(color, &mut offer),
        Diminished => around.diminished(color, &mut offer),
        _ => {}
    }
    best
}

/// A chord and its neighbours as semitones above the tonic.
struct Around {
    degree: u8,
    family: Family,
    before: Option<(u8, Family)>,
    after: Option<(u8, u8, Family)>,
}

impl Around {
    fn leads_to(&self, target: u8) -> bool {
        self.after.is_some_and(|(root, ..)| root == target % 12)
    }

    /// Whether the next chord has this root and one of these families.
    fn leads_to_a(&self, target: u8, families: &[Family]) -> bool {
        self.after
            .is_some_and(|(root, _, family)| root == target % 12 && families.contains(&family))
    }

    /// Whether the chord before is the ii of this one taken as a dominant: a fourth below.
    fn follows_its_two(&self) -> bool {
        self.before.is_some_and(|(root, family)| {
            root == (self.degree + 7) % 12 && matches!(family, Minor | HalfDiminished)
        })
    }

    /// Secondary dominants and tritone substitutes.
    fn dominants(&self, color: Color, triad: u32, offer: &mut impl FnMut(u32, Reading)) {
        let target = (self.degree + 5) % 12;
        let plain = self.family == Dominant;
        let triad = if plain { triad } else { triad.max(TRIAD) };
        // The target may be put off by its own ii, a fifth above it; or come as its substitute.
        let delayed = |target: u8| self.leads_to_a(target + 7, &[Minor, HalfDiminished]);
        let replaced = |target: u8| self.leads_to_a(target + 6, &[Dominant]);
        let chained = self.follows_its_two() && self.leads_to_a(self.degree + 6, &[Minor]);
        if let Some(cost) = color.target(target) {
            let after_two = if self.follows_its_two() { AFTER_TWO } else { 0 };
            if self.leads_to(target) {
                offer(cost + triad - after_two, Reading::Secondary(target));
            } else if delayed(target) || replaced(target) {
                offer(
                    cost + triad + DELAYED - after_two,
                    Reading::Secondary(target),
                );
            } else if chained {
                offer(cost + CHAINED - after_two, Reading::Secondary(target));
            } else if plain {
                let unresolved = if target == 7 {
                    UNRESOLVED_TWO
                } else {
                    UNRESOLVED
                };
                offer(cost + unresolved - after_two, Reading::Secondary(target));
            }
        }
        let target = (self.degree + 11) % 12;
        if plain && (target == 0 || color.target(target).is_some()) {
            let cost = if target == 0 {
                SUBSTITUTE
            } else {
                SECONDARY_SUBSTITUTE
            };
            if self.leads_to(target) {
                offer(cost, Reading::Substitute(target));
            } else if delayed(target) {
                offer(cost + DELAYED, Reading::Substitute(target));
            }
        }
    }

    /// Minor and half-diminished chords in front of a dominant that is not the key's own.
    fn twos(&self, color: Color, offer: &mut impl FnMut(u32, Reading)) {
        // Three minor chords that fall by half steps: the one in between passes.
        let falls = self.before == Some(((self.degree + 1) % 12, Minor))
            && self.leads_to_a(self.degree + 11, &[Minor]);
        if falls && self.family == Minor {
            offer(PASSING, Reading::Passing);
        }
        let target = (self.degree + 10) % 12;
        let dominant = &[Dominant, Suspended];
        if let Some(cost) = color.target(target) {
            let cost = if cost == SECONDARY {
                RELATED_TWO
            } else {
                RELATED_TWO + OF_BORROWED
            };
            if self.leads_to_a(target + 7, dominant) {
                offer(cost, Reading::RelatedTwo(target));
            } else if self.leads_to_a(target + 1, &[Dominant]) {
                offer(cost + DELAYED, Reading::RelatedTwo(target));
            }
        }
        let target = (self.degree + 4) % 12;
        let known = target == 0 || color.target(target).is_some();
        if known && self.leads_to_a(target + 1, &[Dominant]) {
            offer(SUBSTITUTE_TWO, Reading::SubstituteTwo(target));
        }
    }

    fn diminished(&self, color: Color, offer: &mut impl FnMut(u32, Reading)) {
        let Some((root, bass, _)) = self.after else {
            return;
        };
        let known = |target: u8| target == 0 || color.target(target).is_some();
        let leading = (self.degree + 1) % 12;
        if root == leading && known(leading) || bass == leading && leading == 7 {
            offer(LEADING, Reading::Leading(leading));
        } else if bass == leading {
            offer(PASSING, Reading::Rising);
        }
        if root == self.degree || self.before.is_some_and(|(before, _)| before == self.degree) {
            offer(PASSING, Reading::CommonTone);
        }
        if root == (self.degree + 11) % 12 || (self.degree == 6 && (root == 0 || root == 4)) {
            offer(PASSING, Reading::Passing);
        }
        // Any note of the chord may be the leading tone: the chord divides the octave evenly.
        if (root + 24 - self.degree - 1).is_multiple_of(3) && known(root) {
            offer(LEADING_INVERTED, Reading::Inverted(root));
        }
    }
}

/// What the documentation's table names.
#[cfg(test)]
pub(super) const COSTS: &[(&str, u32)] = &[
    ("SECONDARY", SECONDARY),
    ("SECONDARY_BORROWED", SECONDARY_BORROWED),
    ("DELAYED", DELAYED),
    ("CHAINED", CHAINED),
    ("UNRESOLVED", UNRESOLVED),
    ("UNRESOLVED_TWO", UNRESOLVED_TWO),
    ("AFTER_TWO", AFTER_TWO),
    ("RELATED_TWO", RELATED_TWO),
    ("SUBSTITUTE", SUBSTITUTE),
    ("SECONDARY_SUBSTITUTE", SECONDARY_SUBSTITUTE),
    ("SUBSTITUTE_TWO", SUBSTITUTE_TWO),
    ("BACKDOOR", BACKDOOR),
    ("BACKDOOR_UNRESOLVED", BACKDOOR_UNRESOLVED),
    ("LEADING", LEADING),
    ("PASSING", PASSING),
    ("LEADING_INVERTED", LEADING_INVERTED),
    ("FOREIGN", FOREIGN),
];
