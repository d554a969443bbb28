//! What the chart asks at each place of a chorus, and where a note stands on it.

use super::Heard;
use endpin_theory::{
    Chord, ChordTone, Chorus, NoteName, Scale, Strength, Ticks, analysis::Understood,
};

/// A set of keys of the octave as bits.
pub(super) type Chromas = u16;

pub(super) fn chromas(names: impl Iterator<Item = NoteName>) -> Chromas {
    names.fold(0, |set, name| set | 1 << name.chroma())
}

pub(super) fn has(set: Chromas, chroma: u8) -> bool {
    set >> (chroma % 12) & 1 == 1
}

/// The chart as the judge knows it.
#[derive(Clone, Debug)]
pub(super) struct Ground {
    pub chorus: Chorus,
    /// One a span; none is `N.C.`.
    pub chords: Vec<Option<Sounding>>,
    /// The name of the root to end on.
    pub home: NoteName,
}

/// A chord in its place.
#[derive(Clone, Debug)]
pub(super) struct Sounding {
    pub chord: Chord,
    pub tones: Vec<ChordTone>,
    pub scale: Scale,
    /// Chord tones, and the slash bass.
    pub spelling: Chromas,
    /// What may connect on a weak beat: chord tones, slash bass and scale.
    pub connecting: Chromas,
}

impl Sounding {
    pub fn root(&self) -> u8 {
        self.chord.root().chroma()
    }

    pub fn bass(&self) -> u8 {
        self.chord.bass().chroma()
    }
}

/// What the last beat of a span has to lead into.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum LeadsInto {
    /// Nothing.
    Nothing,
    /// The next chord of the chorus.
    Change,
    /// The next chorus, or the ending.
    Chorus,
}

/// Where a note stands.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stand {
    /// Chorus from 1, with `span` the stretch of one chord as it was played.
    pub chorus: u32,
    /// From the start of the first chorus.
    pub time: Ticks,
    pub span: Option<usize>,
    pub bar: i64,
    pub in_bar: Ticks,
    pub beat_length: Ticks,
    pub on_beat: bool,
    /// On the first beat of a chord.
    pub arrival: bool,
    /// On a strong or medium beat or an arrival.
    pub stressed: bool,
    pub strength: Strength,
    pub leads: LeadsInto,
    /// After the last chorus.
    pub ending: bool,
}

impl Ground {
    pub fn new(chorus: Chorus, understood: &[Understood]) -> Ground {
        let sounding = |(span, understood): (&endpin_theory::Span, &Understood)| {
            let chord = span.chord.clone()?;
            let tones = chord.chord_tones();
            let spelling = chromas(tones.iter().map(|tone| tone.name)) | 1 << chord.bass().chroma();
            Some(Sounding {
                connecting: spelling | chromas(understood.scale.notes().into_iter()),
                spelling,
                tones,
                scale: understood.scale,
                chord,
            })
        };
        Ground {
            chords: chorus.spans.iter().zip(understood).map(sounding).collect(),
            home: chorus.home_chord().map_or(chorus.key.tonic, Chord::root),
            chorus,
        }
    }

    pub fn sounding(&self, span: usize) -> Option<&Sounding> {
        self.chords.get(span).and_then(Option::as_ref)
    }

    /// Where a note of a line of so many choruses stands.
    pub fn stand(&self, note: &Heard, choruses: u32) -> Stand {
        let length = self.chorus.length();
        let time = length * (i64::from(note.chorus) - 1) + note.start;
        let outside = |bar: i64, in_bar: Ticks, beat_length: Ticks| Stand {
            chorus: note.chorus,
            time,
            span: None,
            bar,
            in_bar,
            beat_length,
            on_beat: in_bar.0 % beat_length.0 == 0,
            arrival: false,
            stressed: false,
            strength: Strength::Weak,
            leads: LeadsInto::Nothing,
            ending: false,
        };
        if note.start < Ticks::ZERO {
            let meter = &self.chorus.bars[0].meter;
            let bar = note.start.0.div_euclid(meter.bar_ticks().0);
            let in_bar = note.start.0.rem_euclid(meter.bar_ticks().0);
            return outside(bar + 1, Ticks(in_bar), meter.beat_ticks());
        }
        if note.start >= length {
            let last = &self.chorus.bars[self.chorus.bars.len() - 1];
            let into = note.start - length;
            let bars = into.0 / last.meter.bar_ticks().0;
            let in_bar = Ticks(into.0 % last.meter.bar_ticks().0);
            let bar = i64::from(last.number) + 1 + bars;
            let begins = into == Ticks::ZERO && note.chorus >= choruses;
            return Stand {
                ending: true,
                arrival: begins,
                stressed: begins,
                strength: if in_bar == Ticks::ZERO {
                    Strength::Strong
                } else {
                    Strength::Weak
                },
                ..outside(bar, in_bar, last.meter.beat_ticks())
            };
        }
        self.within(note, time)
    }

    fn within(&self, note: &Heard, time: Ticks) -> Stand {
        let bars = &self.chorus.bars;
        let after = bars.partition_point(|bar| bar.start <= note.start);
        let bar = &bars[after.max(1) - 1];
        let in_bar = note.start - bar.start;
        let beat_length = bar.meter.beat_ticks();
        let beat = bar.first_beat + (in_bar.0 / beat_length.0) as usize;
        let on_beat = in_bar.0 % beat_length.0 == 0;
        let number = self.chorus.span_at(beat);
        let span = &self.chorus.spans[number];
        let strength = self.chorus.strength(beat);
        let last_beat = beat + 1 == span.start + span.beats;
        let coming = match self.chords.get(number + 1) {
            Some(coming) => coming.is_some().then_some(LeadsInto::Change),
            None => self.chords[0].is_some().then_some(LeadsInto::Chorus),
        };
        let must_lead =
            last_beat && span.beats > 1 && strength == Strength::Weak && span.chord.is_some();
        Stand {
            chorus: note.chorus,
            time,
            span: Some(number),
            bar: i64::from(bar.number),
            in_bar,
            beat_length,
            on_beat,
            arrival: on_beat && beat == span.start && span.chord.is_some(),
            stressed: on_beat && strength != Strength::Weak && span.chord.is_some(),
            strength: if on_beat { strength } else { Strength::Weak },
            leads: coming.filter(|_| must_lead).unwrap_or(LeadsInto::Nothing),
            ending: false,
        }
    }
}
