//! The comp as it is written down: a grand staff, split at middle C.

use super::{
    accidental::{Accidentals, Sign},
    measure::{Music, PlayedChorus},
    written_values::{self, SoundingSpan, Value},
};
use crate::players::comp::{ChorusComp, CompAttack};
use endpin_theory::{Meter, Pitch, Spelling, Ticks};

/// The lowest key of the upper staff: middle C.
const SPLIT: i16 = 60;

/// The comp of a whole piece, one bar for each of its measures.
#[derive(Clone, Debug, Default)]
pub struct CompMusic {
    /// Bars in playing order.
    pub bars: Vec<CompBar>,
}

/// One bar of the comp.
#[derive(Clone, Debug)]
pub struct CompBar {
    /// The upper staff.
    pub upper: Vec<Stack>,
    /// The lower staff.
    pub lower: Vec<Stack>,
}

/// Notes struck together and their written value; none is a rest.
#[derive(Clone, Debug)]
pub struct Stack {
    /// How they are written.
    pub value: Value,
    /// From the bottom up, each with the sign it needs.
    pub heads: Vec<(Pitch, Option<Sign>)>,
    /// Whether they are tied from the stack before.
    pub tied_back: bool,
    /// Whether they are tied to the stack that follows.
    pub tied_on: bool,
    /// Whether a triplet starts here.
    pub triplet_starts: bool,
    /// Whether a triplet ends here.
    pub triplet_stops: bool,
}

/// An attack in the time of the whole piece.
struct Struck {
    from: Ticks,
    to: Ticks,
    pitches: Vec<Pitch>,
}

impl CompMusic {
    /// Writes down the comp of choruses and ending under the bars of their music.
    pub fn new(
        music: &Music,
        played: &[PlayedChorus],
        comps: &[ChorusComp],
        ending: Option<&CompAttack>,
        spelling: Spelling,
    ) -> CompMusic {
        let mut struck: Vec<Struck> = Vec::new();
        let mut begins = Ticks(0);
        for ((chorus, _), comp) in played.iter().zip(comps) {
            for attack in &comp.attacks {
                let chord = chorus
                    .spans
                    .get(attack.span)
                    .and_then(|span| span.chord.as_ref());
                let named = |chord| attack.voicing.pitches(chord, spelling, chorus.key);
                struck.extend(chord.map(|chord| Struck::new(attack, named(chord), begins)));
            }
            begins += chorus.length();
        }
        let home = music
            .measures
            .last()
            .and_then(|measure| measure.chords.first()?.chord.clone());
        if let (Some(attack), Some(chord), Some((chorus, _))) = (ending, home, played.last()) {
            // The ending starts where its chorus ends.
            let pitches = attack.voicing.pitches(&chord, spelling, chorus.key);
            struck.push(Struck::new(attack, pitches, begins - chorus.length()));
        }
        // A new attack ends the one before.
        for index in 1..struck.len() {
            struck[index - 1].to = struck[index - 1].to.min(struck[index].from);
        }
        let mut signs = [Accidentals::new(0), Accidentals::new(0)];
        let mut start = Ticks(0);
        let mut bars = Vec::with_capacity(music.measures.len());
        for measure in &music.measures {
            let [upper, lower] = [0, 1].map(|staff| {
                let signs = &mut signs[staff];
                signs.start(measure.key.signature());
                signs.next_bar();
                bar(&measure.meter, start, &struck, staff == 0, signs)
            });
            bars.push(CompBar { upper, lower });
            start += measure.meter.bar_ticks();
        }
        CompMusic { bars }
    }
}

impl Struck {
    fn new(attack: &CompAttack, pitches: Vec<Pitch>, begins: Ticks) -> Struck {
        let from = begins + attack.start;
        Struck {
            from,
            to: from + attack.length,
            pitches,
        }
    }

    fn heads(&self, upper: bool) -> impl Iterator<Item = Pitch> {
        self.pitches
            .iter()
            .copied()
            .filter(move |pitch| (pitch.midi() >= SPLIT) == upper)
    }
}

/// One staff of one bar.
fn bar(
    meter: &Meter,
    start: Ticks,
    struck: &[Struck],
    upper: bool,
    signs: &mut Accidentals,
) -> Vec<Stack> {
    let end = start + meter.bar_ticks();
    let here = |attack: &Struck| {
        attack.from < end && attack.to > start && attack.heads(upper).next().is_some()
    };
    let sounding: Vec<SoundingSpan> = struck
        .iter()
        .enumerate()
        .filter(|(_, attack)| here(attack))
        .map(|(index, attack)| {
            let (from, to) = (attack.from.max(start), attack.to.min(end));
            (from - start, to - start, index)
        })
        .collect();
    let pieces = written_values::notate(meter, &sounding);
    let triplets = written_values::triplets(meter, &pieces);
    let mut stacks = Vec::with_capacity(pieces.len());
    let mut before = None;
    for (index, piece) in pieces.iter().enumerate() {
        let attack = piece.note.map(|note| &struck[note]);
        let tied_back = attack.is_some_and(|attack| {
            before == piece.note || (attack.from < start && piece.start == Ticks(0))
        });
        let heads = attack.into_iter().flat_map(|attack| attack.heads(upper));
        let heads: Vec<(Pitch, Option<Sign>)> = heads
            .map(|pitch| (pitch, if tied_back { None } else { signs.next(pitch) }))
            .collect();
        let ends = start + piece.start + piece.value.ticks();
        stacks.push(Stack {
            value: piece.value,
            heads,
            tied_back,
            tied_on: piece.tied || (ends == end && attack.is_some_and(|attack| attack.to > end)),
            triplet_starts: triplets.iter().any(|triplet| triplet.start == index),
            triplet_stops: triplets.iter().any(|triplet| triplet.end == index + 1),
        });
        before = piece.note;
    }
    stacks
}
