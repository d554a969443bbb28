//! From a chart to onsets: where in a chorus the bass may sound, and what each onset knows.

use super::{
    feels::{FeelRow, OffBeats, Pulse, arrives_on},
    spelling::Naming,
    walker::WalkError,
};
use crate::{
    options::Options,
    plan::Development,
    rules::{Beat, Chromas, Ground, Keys, Leads, Liberties, Liberty, Onset, Sound, Within},
};
use endpin_theory::{
    Chord, NoteName, Pitch, Scale, Strength, Ticks,
    analysis::{Understood, analyse},
    chart::{Bar, Chorus, Span},
    chord::{ChordTone, Part},
    meter::TICKS_PER_QUARTER,
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
    /// How its notes are named.
    pub naming: Naming,
}

/// An onset of the chorus with its position in time.
#[derive(Clone, Debug)]
pub struct Slot {
    /// What rules and tastes know.
    pub onset: Onset,
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
}

/// A chorus laid out for the walker.
#[derive(Clone, Debug)]
pub struct Layout {
    /// Onsets in time; never empty.
    pub slots: Vec<Slot>,
    /// What sounds in each span.
    pub harmonies: Vec<Harmony>,
    /// Bars of the chorus.
    pub bars: Vec<Bar>,
    /// Length of the chorus.
    pub length: Ticks,
}

/// Life of the rhythm that a phrase of four bars adds: it is said plainly, and its last bar leads on
/// (common practice, no source).
const PHRASE: [u8; 4] = [0, 0, 1, 5];

/// Bars from which on a chord lasts.
const LASTING: u32 = 4;

impl Layout {
    /// Lays out a chorus; `next` is the first key of the octave of what follows (none: silence).
    pub fn new(
        chorus: &Chorus,
        development: Development,
        options: &Options,
        next: Option<u8>,
    ) -> Layout {
        let understood = analyse(&chorus.spans, chorus.key);
        Layout::of(chorus, &understood, development, options, next, false)
    }

    /// Lays out a chorus as understood. If so wished, players may choose their own feel: every beat has an
    /// onset, at which the note before is held where the chart's feel has none, and feels limit no notes.
    pub(crate) fn of(
        chorus: &Chorus,
        understood: &[Understood],
        development: Development,
        options: &Options,
        next: Option<u8>,
        every_beat: bool,
    ) -> Layout {
        let naming = Naming {
            spelling: options.spelling,
            key: chorus.key,
        };
        let harmonies = harmonies(chorus, understood, development, naming);
        let mut slots = Vec::new();
        for (number, span) in chorus.spans.iter().enumerate() {
            let coming = match harmonies.get(number + 1) {
                Some(_) => arrives_on(chorus, number + 1, development).map(NoteName::chroma),
                None => next,
            };
            let beats = BeatsOfSpan {
                chorus,
                development,
                options,
                number,
                harmony: &harmonies[number],
                common: common(&harmonies[number], options),
                coming,
                every_beat,
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

    /// Tells each onset how long ago the one before was.
    pub(crate) fn tell_time(&mut self) {
        let mut before = Ticks::ZERO;
        for slot in &mut self.slots {
            slot.onset.since = slot.start - before;
            before = slot.start;
        }
    }

    /// The first onset of what follows, as it stands after the last of this chorus.
    pub(crate) fn before(&self, next: &Layout, in_time: bool) -> Onset {
        let last = self.slots.last().map_or(Ticks::ZERO, |slot| slot.start);
        let since = if in_time {
            self.length - last
        } else {
            Ticks::ZERO
        };
        Onset {
            since,
            ..next.slots[0].onset.clone()
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
            // In the middle of a long note: a place of its own. The first onset of a chorus is an arrival
            // and has its slot, so there is one before.
            let mut slot = self.slots[at - 1].clone();
            slot.onset = Onset {
                sound: Sound::Rest,
                arrival: false,
                stressed: false,
                opens_bar: false,
                ..slot.onset
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
        slot.onset.sound = Sound::Rest;
        slot.pinned.map_or(Ok(()), |pitch| {
            Err(slot.both(pitch.to_string(), "a rest".to_owned()))
        })
    }
}

fn harmonies(
    chorus: &Chorus,
    understood: &[Understood],
    development: Development,
    naming: Naming,
) -> Vec<Harmony> {
    let harmony = |(span, understood): (&Span, &Understood)| Harmony {
        symbol: span.symbol.clone(),
        tones: span
            .chord
            .as_ref()
            .map_or_else(Vec::new, Chord::chord_tones),
        scale: span.chord.is_some().then_some(understood.scale),
        chord: span.chord.clone().map(|chord| {
            let bar = chorus.bar_at(span.start);
            match FeelRow::of(bar, development).holds {
                true => chord.with_names(chord.root(), Some(bar.pedal)),
                false => chord,
            }
        }),
        beats: span.beats,
        naming,
    };
    chorus.spans.iter().zip(understood).map(harmony).collect()
}

struct BeatsOfSpan<'a> {
    chorus: &'a Chorus,
    development: Development,
    options: &'a Options,
    number: usize,
    harmony: &'a Harmony,
    common: Onset,
    /// Key of the octave on which what follows arrives.
    coming: Option<u8>,
    /// Whether every beat has an onset.
    every_beat: bool,
}

impl BeatsOfSpan<'_> {
    /// Lays out the onsets of one beat.
    fn lay(&self, beat: usize, slots: &mut Vec<Slot>) {
        let span = &self.chorus.spans[self.number];
        let bar = self.chorus.bar_at(beat);
        let feel = FeelRow::of(bar, self.development);
        let strength = self.chorus.strength(beat);
        let arrival = beat == span.start;
        let opens_bar = beat == bar.first_beat;
        let end = span.start + span.beats;
        let is_weak = |beat: usize| match (self.chorus.strength(beat), feel.pulse) {
            (_, Pulse::Eighths) => false,
            (Strength::Weak, _) | (Strength::Medium, Pulse::Halves) => true,
            _ => false,
        };
        // The last note of the span: in halves the last that a half begins on, in eighths an off-beat.
        let last_beat = match feel.pulse {
            Pulse::Beats | Pulse::Eighths => beat + 1 == end,
            Pulse::Halves => {
                let begins_half = |beat: &usize| self.chorus.strength(*beat) != Strength::Weak;
                begins_half(&beat) && !(beat + 1..end).any(|beat| begins_half(&beat))
            }
        };
        let closes_bar = beat + 1 == bar.first_beat + usize::from(bar.meter.beats());
        let level = self.development.level;
        let may_lead = feel.leads_from(level, bar.number, closes_bar);
        let stressed = !is_weak(beat);
        let into = match self.number + 1 == self.chorus.spans.len() {
            true => Leads::IntoChorus,
            false => Leads::IntoChange,
        };
        let may_lead = may_lead && last_beat && self.coming.is_some();
        let leads = match may_lead && span.beats > 1 && !stressed {
            true => into,
            false => Leads::Nowhere,
        };
        let sound = match &self.harmony.chord {
            None => (arrival || opens_bar || self.every_beat).then_some(Sound::Rest),
            Some(_) if bar.stop_time => Some(match opens_bar {
                true => Sound::Note,
                false => Sound::Rest,
            }),
            Some(_) if arrival => Some(Sound::Note),
            Some(_) => feel
                .sound(
                    leads != Leads::Nowhere,
                    opens_bar,
                    strength != Strength::Weak,
                )
                .or(self.every_beat.then_some(Sound::Held)),
        };
        let onset = Onset {
            sound: sound.unwrap_or_default(),
            arrival,
            stressed,
            beat: match strength {
                Strength::Strong => Beat::Strong,
                Strength::Medium => Beat::Medium,
                Strength::Weak if last_beat => Beat::Last,
                Strength::Weak if self.chorus.strength(beat + 1) == Strength::Strong => Beat::Last,
                Strength::Weak => Beat::Second,
            },
            leads,
            opens_bar,
            no_triple: !feel.triples && !self.development.loose.allow(Liberty::Repeated),
            loose: self.development.loose,
            coming: self.coming.filter(|_| leads != Leads::Nowhere),
            ground: self.ground(bar, beat),
            ..self.onset(bar, feel)
        };
        let length = bar.meter.beat_ticks();
        let slot = |onset: Onset, into: Ticks| {
            let in_bar = length * (beat - bar.first_beat) as i64 + into;
            Slot {
                strength: if into == Ticks::ZERO {
                    strength
                } else {
                    Strength::Weak
                },
                onset,
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
            slots.push(slot(onset.clone(), Ticks::ZERO));
        }
        if self.harmony.chord.is_none() || bar.stop_time {
            return;
        }
        let half = Ticks(length.0 / 2);
        if feel.pulse == Pulse::Eighths {
            let leads = if may_lead { into } else { Leads::Nowhere };
            let walked = Onset {
                sound: Sound::Note,
                arrival: false,
                stressed: false,
                opens_bar: false,
                loose: Liberties::NONE,
                leads,
                coming: self.coming.filter(|_| leads != Leads::Nowhere),
                ..onset
            };
            slots.push(slot(walked, half));
            return;
        }
        // Between eighths and sixteenths there is no room, and of three eighths the last is the off-beat.
        let roomy = length.0 >= TICKS_PER_QUARTER && !stressed;
        let lively = self.development.level.rung().lively && feel.lively;
        let third = Ticks(length.0 / 3);
        let is_compound = bar.meter.is_compound();
        let of_feel = match feel.off_beats(bar.number) {
            OffBeats::OfLevel if is_compound && feel.lively => OffBeats::Options,
            of_feel => of_feel,
        };
        let between: &[(Within, Ticks)] = match of_feel {
            _ if !roomy => &[],
            OffBeats::OfLevel if !lively => &[],
            OffBeats::OfLevel => &[
                (Within::SecondTriplet, third),
                (Within::Eighth, half),
                (Within::ThirdTriplet, third * 2),
            ],
            _ if is_compound => &[(Within::Eighth, third * 2)],
            _ => &[(Within::Eighth, half)],
        };
        // Drops need a note on the beat to fall from.
        for &(within, into) in between {
            let falls = within != Within::Eighth;
            if falls && (leads != Leads::Nowhere || sound != Some(Sound::Note)) {
                continue;
            }
            let off_beat = Onset {
                sound: match of_feel {
                    OffBeats::Notes => Sound::Note,
                    _ => Sound::Option,
                },
                full: of_feel != OffBeats::OfLevel,
                opens_bar: false,
                ground: Ground::Elsewhere,
                within,
                ..onset.clone()
            };
            slots.push(slot(off_beat, into));
        }
    }

    /// What a beat of a bar is to a chord that lasts.
    fn ground(&self, bar: &Bar, beat: usize) -> Ground {
        let span = &self.chorus.spans[self.number];
        let first = self.chorus.bar_at(span.start);
        let last = self.chorus.bar_at(span.start + span.beats - 1);
        let since = bar.number - first.number;
        match beat.checked_sub(bar.first_beat) {
            _ if last.number - first.number + 1 < LASTING || beat == span.start => {
                Ground::Elsewhere
            }
            _ if since == 0 => Ground::Opening,
            Some(0) if since.is_multiple_of(2) => Ground::Home,
            _ => Ground::Elsewhere,
        }
    }

    /// An onset of the span in a bar.
    fn onset(&self, bar: &Bar, feel: &FeelRow) -> Onset {
        let (lowest, highest) = self.options.range;
        let lift = i16::from(self.development.lift);
        let middle = (i16::from(lowest) + i16::from(highest)) / 2 + lift;
        let centre = middle + feel.register;
        let vocabulary = self.development.level.rung().vocabulary;
        match self.harmony.chord {
            None => Onset::default(),
            Some(_) => Onset {
                vocabulary: match self.every_beat {
                    true => vocabulary,
                    false => vocabulary.min(feel.vocabulary),
                },
                centre: centre.clamp(i16::from(lowest), i16::from(highest)) as u8,
                quick: feel.pulse == Pulse::Eighths,
                busy: feel.drive
                    + self.development.busy
                    + PHRASE[(bar.number as usize - 1) % PHRASE.len()],
                ..match feel.holds {
                    true => self.common.holding(bar.pedal.chroma()),
                    false => self.common.clone(),
                }
            },
        }
    }
}

/// What all onsets of a span have in common.
fn common(harmony: &Harmony, options: &Options) -> Onset {
    let Some(chord) = &harmony.chord else {
        return Onset::default();
    };
    let tones: Chromas = harmony
        .tones
        .iter()
        .map(|tone| tone.name.chroma())
        .collect();
    let scale = harmony.scale.iter().flat_map(|scale| scale.notes());
    let withheld = chord.withheld_third().map(|third| third.chroma());
    let scale = scale.map(|name| name.chroma());
    let scale: Chromas = scale.filter(|&note| Some(note) != withheld).collect();
    let root = chord.root().chroma();
    let fifth = harmony.tones.iter().find(|tone| tone.part == Part::Fifth);
    let avoids = |key: u8| options.avoid.iter().any(|avoid| avoid.forbids(key));
    Onset {
        keys: Keys::between(options.range.0, options.range.1).retain(|key| !avoids(key)),
        tones,
        scale: scale.union(tones),
        root,
        fifth: fifth.map_or(root, |tone| tone.name.chroma()),
        bass: chord.bass().chroma(),
        seventh: chord.seventh(),
        withheld: withheld.into_iter().collect(),
        keeps_bass: chord.as_suspended().is_some(),
        ..Onset::default()
    }
}
