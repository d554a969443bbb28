//! From a chart to places: where in a chorus the bass may sound, and what each place knows.

use crate::{
    options::{Level, Options},
    place::{Chromas, Keys, Leads, Place, Sound, Within},
    walker::WalkError,
};
use endpin_theory::{
    Chord, Pitch, Scale, Strength, Ticks,
    analysis::{Understood, analyse},
    chart::{Bar, Chorus, Feel, Span},
    chord::{ChordTone, Part},
};

/// What sounds through a span, as the walker needs it.
#[derive(Clone, Debug)]
pub struct Harmony {
    /// The symbol as written.
    pub symbol: String,
    /// The chord; none is silence of harmony.
    pub chord: Option<Chord>,
    /// The tones that spell it.
    pub tones: Vec<ChordTone>,
    /// The scale that it takes in its context.
    pub scale: Option<Scale>,
    /// Beats it lasts.
    pub beats: usize,
}

/// A place of the chorus with its position in time.
#[derive(Clone, Debug)]
pub struct Slot {
    /// What rules and tastes know.
    pub place: Place,
    /// Beat of the chorus, from 0.
    pub beat: usize,
    /// Bar, from 1.
    pub bar: u32,
    /// Position from the start of the chorus.
    pub start: Ticks,
    /// Position from the start of the bar.
    pub in_bar: Ticks,
    /// Length of one beat here.
    pub beat_length: Ticks,
    /// Strength of the beat; off the beat it is weak.
    pub strength: Strength,
    /// Number of the span.
    pub span: usize,
    /// The note that a teacher pinned here, spelled as written.
    pub pinned: Option<Pitch>,
}

impl Slot {
    /// The beat of the bar in which it lies, from 1.
    pub fn beat_in_bar(&self) -> u32 {
        (self.in_bar.0 / self.beat_length.0) as u32 + 1
    }

    /// Whether it stands on this beat of this bar, both from 1.
    pub fn is_on(&self, bar: u32, beat: u32) -> bool {
        self.bar == bar && self.in_bar == self.beat_length * (i64::from(beat) - 1)
    }

    /// That it cannot be two things.
    pub(crate) fn both(&self, first: String, second: String) -> WalkError {
        WalkError::Twice {
            bar: self.bar,
            beat: self.beat_in_bar(),
            first,
            second,
        }
    }

    /// The rule that narrows the keys of this place most.
    pub(crate) fn rule_of_keys(&self) -> &'static str {
        match self.place.leads {
            _ if self.place.arrival => "arrival-root",
            Leads::IntoChange => "approach",
            Leads::IntoChorus => "join",
            Leads::Nowhere if self.place.stressed => "strong-beats",
            Leads::Nowhere => "weak-beats",
        }
    }
}

/// A chorus laid out for the walker.
#[derive(Clone, Debug)]
pub struct Layout {
    /// Places in time; never empty.
    pub slots: Vec<Slot>,
    /// What sounds in each span.
    pub harmonies: Vec<Harmony>,
    /// Bars of the chorus.
    pub bars: Vec<Bar>,
    /// Length of the chorus.
    pub length: Ticks,
}

/// What changes from chorus to chorus besides the chart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Stage {
    /// The teacher's ladder.
    pub level: Level,
    /// A feel in place of the chart's.
    pub feel: Option<Feel>,
    /// Life of the rhythm, 0 to 3.
    pub busy: u8,
    /// Semitones by which the middle of the register is raised.
    pub lift: i8,
    /// Whether arrivals may be other chord tones.
    pub loose: bool,
}

/// The middle of the register moves with the bars, in semitones: an arc up and down over eight bars.
const ARC: [i16; 8] = [-2, 0, 2, 3, 2, 0, -2, -3];

/// Life of the rhythm that a phrase of four bars adds: it is said plainly, and its last bar leads on
/// (common practice, no source).
const PHRASE: [u8; 4] = [0, 0, 1, 3];

impl Layout {
    /// Lays out a chorus; `next` is the first key of the octave of what follows (none: silence).
    pub fn new(chorus: &Chorus, stage: Stage, options: &Options, next: Option<u8>) -> Layout {
        let harmonies = harmonies(chorus);
        let mut slots = Vec::new();
        for (number, span) in chorus.spans.iter().enumerate() {
            let coming = match harmonies.get(number + 1) {
                Some(harmony) => harmony.chord.as_ref().map(|chord| chord.bass().chroma()),
                None => next,
            };
            let beats = BeatsOfSpan {
                chorus,
                stage,
                options,
                number,
                harmony: &harmonies[number],
                coming,
            };
            let last = span.start + span.beats;
            (span.start..last).for_each(|beat| beats.lay(beat, &mut slots));
        }
        Layout {
            slots,
            harmonies,
            bars: chorus.bars.clone(),
            length: chorus.length(),
        }
    }

    /// The beat of a bar (both from 1) in which a position of that bar lies.
    pub(crate) fn beat_in_bar(&self, bar: u32, at: Ticks) -> u32 {
        let bar = self.bars.get(bar as usize - 1);
        bar.map_or(1, |bar| (at.0 / bar.meter.beat_ticks().0) as u32 + 1)
    }

    /// Tells each place how long ago the one before was.
    pub(crate) fn tell_time(&mut self) {
        let mut before = Ticks::ZERO;
        for slot in &mut self.slots {
            slot.place.since = slot.start - before;
            before = slot.start;
        }
    }

    /// The first place of what follows, as it stands after the last of this chorus.
    pub(crate) fn before(&self, next: &Layout, in_time: bool) -> Place {
        let last = self.slots.last().map_or(Ticks::ZERO, |slot| slot.start);
        let since = if in_time {
            self.length - last
        } else {
            Ticks::ZERO
        };
        Place {
            since,
            ..next.slots[0].place.clone()
        }
    }

    /// Lets the bass rest for a beat.
    pub(crate) fn rest_on(&mut self, bar: u32, beat: u32) -> Result<(), WalkError> {
        let written = self.bars.get(bar as usize - 1);
        let written = written.filter(|written| beat <= u32::from(written.meter.beats()));
        let written = written.ok_or(WalkError::NoPlace { bar, beat })?;
        let length = written.meter.beat_ticks();
        let in_bar = length * (i64::from(beat) - 1);
        let chorus_beat = written.first_beat + beat as usize - 1;
        let start = written.start + in_bar;
        self.slots
            .retain(|slot| slot.beat != chorus_beat || slot.start == start);
        let at = self.slots.partition_point(|slot| slot.start < start);
        if self.slots.get(at).is_none_or(|slot| slot.start != start) {
            // In the middle of a long note: a place of its own. The first place of a chorus is an arrival
            // and has its slot, so there is one before.
            let mut slot = self.slots[at - 1].clone();
            slot.place = Place {
                sound: Sound::Rest,
                arrival: false,
                stressed: false,
                opens_bar: false,
                ..slot.place
            };
            let slot = Slot {
                beat: chorus_beat,
                bar,
                start,
                in_bar,
                beat_length: length,
                ..slot
            };
            self.slots.insert(at, slot);
        }
        let slot = &mut self.slots[at];
        slot.place.sound = Sound::Rest;
        slot.pinned.map_or(Ok(()), |pitch| {
            Err(slot.both(pitch.to_string(), "a rest".to_owned()))
        })
    }
}

/// The feel of a bar at a stage: levels 1 and 2 are two-feel unless told otherwise.
pub fn feel_of(bar: &Bar, stage: Stage) -> Feel {
    match stage.feel {
        Some(feel) => feel,
        None if stage.level <= Level::TWO_FEEL => Feel::Two,
        None => bar.feel,
    }
}

fn harmonies(chorus: &Chorus) -> Vec<Harmony> {
    let understood = analyse(&chorus.spans, chorus.key);
    let harmony = |(span, understood): (&Span, Understood)| Harmony {
        symbol: span.symbol.clone(),
        tones: span
            .chord
            .as_ref()
            .map_or_else(Vec::new, Chord::chord_tones),
        scale: span.chord.is_some().then_some(understood.scale),
        chord: span.chord.clone(),
        beats: span.beats,
    };
    chorus.spans.iter().zip(understood).map(harmony).collect()
}

struct BeatsOfSpan<'a> {
    chorus: &'a Chorus,
    stage: Stage,
    options: &'a Options,
    number: usize,
    harmony: &'a Harmony,
    /// Key of the octave on which what follows arrives.
    coming: Option<u8>,
}

impl BeatsOfSpan<'_> {
    /// Lays out the places of one beat.
    fn lay(&self, beat: usize, slots: &mut Vec<Slot>) {
        let span = &self.chorus.spans[self.number];
        let bar = self.chorus.bar_at(beat);
        let feel = feel_of(bar, self.stage);
        let strength = self.chorus.strength(beat);
        let arrival = beat == span.start;
        let opens_bar = beat == bar.first_beat;
        let last_beat = beat + 1 == span.start + span.beats;
        let leads = match self.coming {
            Some(_) if last_beat && span.beats > 1 && strength == Strength::Weak => {
                match self.number + 1 == self.chorus.spans.len() {
                    true => Leads::IntoChorus,
                    false => Leads::IntoChange,
                }
            }
            _ => Leads::Nowhere,
        };
        let stressed = strength != Strength::Weak;
        let due = arrival || leads != Leads::Nowhere;
        let sound = match (&self.harmony.chord, feel) {
            (None, _) if arrival || opens_bar => Some(Sound::Rest),
            (None, _) => None,
            (_, Feel::Four) => Some(Sound::Note),
            (_, Feel::Two) => (due || stressed).then_some(Sound::Note),
            (_, Feel::Pedal) => (due || opens_bar).then_some(Sound::Note),
            (_, Feel::Broken) if due || opens_bar => Some(Sound::Note),
            (_, Feel::Broken) => Some(Sound::Option),
        };
        let place = Place {
            sound: sound.unwrap_or_default(),
            arrival,
            stressed,
            leads,
            opens_bar,
            no_triple: feel == Feel::Four,
            loose: self.stage.loose && arrival,
            ..self.place(bar, feel)
        };
        let length = bar.meter.beat_ticks();
        let slot = |place: Place, into: Ticks| {
            let in_bar = length * (beat - bar.first_beat) as i64 + into;
            let keys = self.keys(&place, feel);
            let place = Place { keys, ..place };
            Slot {
                strength: if into == Ticks::ZERO {
                    strength
                } else {
                    Strength::Weak
                },
                place,
                beat,
                bar: bar.number,
                start: bar.start + in_bar,
                in_bar,
                beat_length: length,
                span: self.number,
                pinned: None,
            }
        };
        if sound.is_some() {
            slots.push(slot(place.clone(), Ticks::ZERO));
        }
        let lively = self.stage.level >= Level::RHYTHM && feel != Feel::Pedal && !stressed;
        if lively && self.harmony.chord.is_some() {
            let third = Ticks(length.0 / 3);
            let between = [
                (Within::SecondTriplet, third),
                (Within::Eighth, Ticks(length.0 / 2)),
                (Within::ThirdTriplet, third * 2),
            ];
            // Drops need a note on the beat to fall from.
            for (within, into) in between {
                let falls = within != Within::Eighth;
                if falls && (leads != Leads::Nowhere || sound != Some(Sound::Note)) {
                    continue;
                }
                let off_beat = Place {
                    sound: Sound::Option,
                    opens_bar: false,
                    within,
                    ..place.clone()
                };
                slots.push(slot(off_beat, into));
            }
        }
    }

    /// What all places of the span in a bar have in common.
    fn place(&self, bar: &Bar, feel: Feel) -> Place {
        let Some(chord) = &self.harmony.chord else {
            return Place::default();
        };
        let tones: Chromas = self
            .harmony
            .tones
            .iter()
            .map(|tone| tone.name.chroma())
            .collect();
        let scale: Chromas = self
            .harmony
            .scale
            .iter()
            .flat_map(|scale| scale.notes())
            .map(|name| name.chroma())
            .collect();
        let root = chord.root().chroma();
        let fifth = self
            .harmony
            .tones
            .iter()
            .find(|tone| tone.part == Part::Fifth);
        let (lowest, highest) = self.options.range;
        let middle = (i16::from(lowest) + i16::from(highest)) / 2 + i16::from(self.stage.lift);
        let arc = match feel {
            Feel::Pedal => -4,
            _ => ARC[(bar.number as usize - 1) % ARC.len()],
        };
        Place {
            tones,
            scale: scale.union(tones),
            root,
            fifth: fifth.map_or(root, |tone| tone.name.chroma()),
            bass: chord.bass().chroma(),
            seventh: chord.seventh(),
            centre: (middle + arc).clamp(i16::from(lowest), i16::from(highest)) as u8,
            busy: self.stage.busy + PHRASE[(bar.number as usize - 1) % PHRASE.len()],
            ..Place::default()
        }
    }

    /// The keys that range and level leave to a place.
    fn keys(&self, place: &Place, feel: Feel) -> Keys {
        let (lowest, highest) = self.options.range;
        let range = Keys::between(lowest, highest);
        let level = self.stage.level;
        let dominants = level >= Level::DOMINANTS;
        range.retain(|key| {
            if self.options.avoid.iter().any(|avoid| avoid.forbids(key)) {
                return false;
            }
            let chroma = key % 12;
            if place.arrival {
                return chroma == place.bass || (place.loose && place.tones.contains(key));
            }
            if let (true, Some(coming)) = (place.leads != Leads::Nowhere, self.coming) {
                let above = (chroma + 12 - coming) % 12;
                return self.stage.loose
                    || matches!(above, 1 | 2 | 10 | 11)
                    || (dominants && above == 7);
            }
            let bass = chroma == place.bass;
            match level {
                _ if feel == Feel::Pedal => chroma == place.root || bass,
                Level::ROOTS => chroma == place.root || bass,
                Level::FIFTHS => chroma == place.root || bass || chroma == place.fifth,
                Level::CHORD_TONES => place.tones.contains(key),
                _ => !place.stressed || place.tones.contains(key),
            }
        })
    }
}
