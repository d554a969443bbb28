//! The rules of the line once more, as plain predicates on whole lines of small charts, in the words of a
//! teacher and without the walker's code; every line of the range is tried. What the lattice and the judge
//! accept is held against it.

use endpin_theory::{
    Chart, Chorus, Strength, Ticks, analyse, analysis::Understood, chart::Feel, chord::Chord,
};
use endpin_walker::{Hand, Heard, Options, Plan, Walker};

/// Nothing starts.
pub const SILENT: u8 = u8::MAX;

/// Where in its beat a note may start.
#[derive(Clone, Copy, PartialEq)]
enum Within {
    Beat,
    SecondTriplet,
    Eighth,
    ThirdTriplet,
}

/// What may happen at a point of time.
#[derive(Clone, Copy, PartialEq)]
enum Sound {
    Note,
    MayBe,
    Rest,
}

/// A point of time at which a note may start.
struct Point {
    start: Ticks,
    within: Within,
    sound: Sound,
    beat: usize,
    span: usize,
    arrival: bool,
    strong: bool,
    /// The root (or written bass) that the last beat of a chord leads into.
    coming: Option<u8>,
    feel: Feel,
}

/// A small chart, and the predicates on its lines.
pub struct Small {
    pub chorus: Chorus,
    pub options: Options,
    pub level: u8,
    understood: Vec<Understood>,
    points: Vec<Point>,
}

/// A chart in four, at a level, between two keys.
pub fn small(bars: &str, meter: &str, level: u8, range: (u8, u8)) -> Small {
    let options = Options {
        level: level.try_into().unwrap(),
        feel: Some(Feel::Four),
        range,
        ..Options::default()
    };
    Small::new(bars, meter, options)
}

impl Small {
    pub fn new(bars: &str, meter: &str, options: Options) -> Small {
        let chart = Chart::from_bars(bars, meter.parse().unwrap()).unwrap();
        let chorus = chart.chorus();
        let options = Options {
            arc: Some(endpin_walker::Arc::Flat),
            ..options
        };
        let mut small = Small {
            understood: analyse(&chorus.spans, chorus.key),
            level: options.level.number(),
            points: Vec::new(),
            chorus,
            options,
        };
        for beat in 0..small.chorus.beats() {
            let points = small.beat(beat);
            small.points.extend(points);
        }
        small
    }

    /// The points of a beat: where the feel has the bass play, and from level 6 on between the weak beats.
    fn beat(&self, beat: usize) -> Vec<Point> {
        let chorus = &self.chorus;
        let number = chorus.span_at(beat);
        let (span, bar) = (&chorus.spans[number], chorus.bar_at(beat));
        let next = chorus.spans.get(number + 1).unwrap_or(&chorus.spans[0]);
        let arrival = beat == span.start;
        let coming = next.chord.as_ref().map(|chord| chord.bass().chroma());
        let of_itself = if self.level <= 2 { Feel::Two } else { bar.feel };
        let feel = self.options.feel.unwrap_or(of_itself);
        let stressed = |beat: usize| chorus.strength(beat) != Strength::Weak;
        let strong = match feel {
            Feel::HalfTime => chorus.strength(beat) == Strength::Strong,
            Feel::DoubleTime => true,
            _ => stressed(beat),
        };
        let end = span.start + span.beats;
        let is_last = match feel {
            // Half notes: no other begins before the span ends.
            Feel::HalfTime => stressed(beat) && !(beat + 1..end).any(stressed),
            _ => beat + 1 == end,
        };
        let is_last = is_last && span.beats > 1 && !strong;
        let closes_bar = beat + 1 == bar.first_beat + usize::from(bar.meter.beats());
        let may_lead = match feel {
            Feel::Two => closes_bar && (self.level > 2 || bar.number % 4 == 0),
            Feel::Pedal | Feel::Bossa => false,
            _ => true,
        };
        let into_next = coming.filter(|_| beat + 1 == end && span.chord.is_some());
        let coming = coming.filter(|_| is_last && may_lead && span.chord.is_some());
        let due = arrival || beat == bar.first_beat;
        let in_bar = beat - bar.first_beat;
        let rests = self
            .options
            .rests
            .iter()
            .any(|rest| (rest.bar, rest.beat as usize) == (bar.number, in_bar + 1));
        let sound = match feel {
            _ if rests => Some(Sound::Rest),
            _ if span.chord.is_none() => due.then_some(Sound::Rest),
            Feel::Four | Feel::Shuffle | Feel::DoubleTime => Some(Sound::Note),
            _ if due => Some(Sound::Note),
            Feel::Two if coming.is_some() => Some(Sound::MayBe),
            Feel::Two | Feel::Bossa => strong.then_some(Sound::Note),
            Feel::HalfTime => stressed(beat).then_some(Sound::Note),
            Feel::Broken if coming.is_some() => Some(Sound::Note),
            Feel::Broken | Feel::Pedal => Some(Sound::MayBe),
        };
        let length = bar.meter.beat_ticks();
        let point = |within, sound, into| Point {
            start: chorus.ticks_at(beat) + into,
            arrival: arrival && within == Within::Beat,
            within,
            sound,
            beat,
            span: number,
            strong: strong && within == Within::Beat,
            coming,
            feel,
        };
        let mut points: Vec<Point> = sound
            .map(|sound| point(Within::Beat, sound, Ticks::ZERO))
            .into_iter()
            .collect();
        if feel == Feel::DoubleTime && span.chord.is_some() && !rests {
            points.push(Point {
                strong: false,
                arrival: false,
                coming: into_next,
                ..point(Within::Beat, Sound::Note, Ticks(length.0 / 2))
            });
            return points;
        }
        let compound = bar.meter.is_compound();
        let of_feel = match feel {
            Feel::Bossa if bar.number % 2 == 1 => Some(Sound::Note),
            Feel::Bossa => Some(Sound::MayBe),
            Feel::Shuffle => Some(Sound::MayBe),
            Feel::Four | Feel::Two | Feel::Broken if compound => Some(Sound::MayBe),
            _ => None,
        };
        if let Some(sound) = of_feel.filter(|_| !strong && span.chord.is_some() && !rests) {
            let into = if compound {
                length.0 * 2 / 3
            } else {
                length.0 / 2
            };
            points.push(point(Within::Eighth, sound, Ticks(into)));
            return points;
        }
        let lively = self.level == 6
            && !matches!(feel, Feel::Pedal | Feel::Bossa | Feel::HalfTime)
            && !strong;
        if lively && span.chord.is_some() && !rests {
            let third = Ticks(length.0 / 3);
            let falls = coming.is_none() && sound == Some(Sound::Note);
            if falls {
                points.push(point(Within::SecondTriplet, Sound::MayBe, third));
            }
            points.push(point(Within::Eighth, Sound::MayBe, Ticks(length.0 / 2)));
            if falls {
                points.push(point(Within::ThirdTriplet, Sound::MayBe, third * 2));
            }
        }
        points
    }

    pub fn walker(&self) -> Walker {
        let plan = Plan::of(self.chorus.clone(), &self.options);
        Walker::new(plan, self.options.clone()).unwrap()
    }

    /// Where each number of a line stands.
    pub fn starts(&self) -> impl Iterator<Item = Ticks> {
        self.points.iter().map(|point| point.start)
    }

    fn chord(&self, point: &Point) -> Option<&Chord> {
        self.chorus.spans[point.span].chord.as_ref()
    }

    /// The note to arrive on: the pedal where there is one, else the root or the written bass.
    fn arrives_on(&self, point: &Point) -> Option<u8> {
        let bass = self.chord(point)?.bass();
        Some(match point.feel {
            Feel::Pedal => self.chorus.bar_at(point.beat).pedal.chroma(),
            _ => bass.chroma(),
        })
    }

    /// The keys that may start at a point: in range, not avoided, and the pinned one where there is one.
    fn keys(&self, point: &Point) -> Vec<u8> {
        let (lowest, highest) = self.options.range;
        let bar = self.chorus.bar_at(point.beat);
        let here = |place: &endpin_walker::pins::BarBeat| {
            let beat = point.beat - bar.first_beat + 1;
            point.within == Within::Beat && (place.bar, place.beat as usize) == (bar.number, beat)
        };
        let mut pins = self.options.pins.iter();
        let pinned = pins.find(|pin| here(&pin.place));
        let allowed = |key: &u8| {
            let avoided = self.options.avoid.iter().any(|avoid| avoid.forbids(*key));
            !avoided && pinned.is_none_or(|pin| pin.pitch.midi() == i16::from(*key))
        };
        (lowest..=highest).filter(allowed).collect()
    }

    /// The first notes of the next chorus to be tried; one of silence if the bass rests there.
    pub fn nexts(&self) -> Vec<u8> {
        let first = &self.points[0];
        let arrives_on = self.arrives_on(first);
        let Some(bass) = arrives_on.filter(|_| first.sound != Sound::Rest) else {
            return vec![SILENT];
        };
        let keys = self.keys(first).into_iter();
        keys.filter(|key| key % 12 == bass).collect()
    }

    /// All lines of the range, admissible or not.
    pub fn tried(&self) -> impl Iterator<Item = Vec<u8>> {
        let choices = self.points.iter().map(|point| match point.sound {
            Sound::Rest => vec![SILENT],
            Sound::Note => self.keys(point),
            Sound::MayBe => [vec![SILENT], self.keys(point)].concat(),
        });
        let choices: Vec<Vec<u8>> = choices.collect();
        let count: usize = choices.iter().map(Vec::len).product();
        (0..count).map(move |number| {
            let mut left = number;
            let digits = choices.iter().map(|keys| {
                let key = keys[left % keys.len()];
                left /= keys.len();
                key
            });
            digits.collect()
        })
    }

    /// All admissible lines with a next first note that completes them, by brute force.
    pub fn all(&self) -> Vec<Vec<u8>> {
        let nexts = self.nexts();
        let obeys = |line: &Vec<u8>| nexts.iter().any(|&next| self.obeys(line, next));
        self.tried().filter(obeys).collect()
    }

    /// The notes of a line as somebody played them, the first note of the next chorus last.
    pub fn heard(&self, line: &[u8], next: u8) -> Vec<Heard> {
        let length = self.chorus.length();
        let chorus = self.points.iter().zip(line).enumerate();
        let notes = chorus.filter(|(_, (_, key))| **key != SILENT);
        let mut heard: Vec<Heard> = notes
            .map(|(number, (point, &key))| {
                let mut later = self.points.iter().zip(line).skip(number + 1);
                let end = later.find(|(point, key)| **key != SILENT || point.sound == Sound::Rest);
                Heard {
                    chorus: 1,
                    start: point.start,
                    length: end.map_or(length, |(point, _)| point.start) - point.start,
                    key,
                }
            })
            .collect();
        if next != SILENT {
            heard.push(Heard {
                chorus: 2,
                start: Ticks::ZERO,
                length: Ticks::QUARTER,
                key: next,
            });
        }
        heard
    }

    /// Whether a line, completed by the first note of the next chorus, obeys all rules.
    pub fn obeys(&self, line: &[u8], next: u8) -> bool {
        let line = Line::new(self, line, next);
        line.keeps_the_harmony()
            && line.approaches()
            && line.stays_below_the_seams()
            && line.moves_as_hands_do()
            && line.leads_on_between_beats()
            && line.is_in_time()
    }
}

/// A note of a line among those before and after it.
#[derive(Clone, Copy)]
struct Note<'a> {
    point: &'a Point,
    key: i16,
    start: Ticks,
    /// Whether it stands in the next chorus.
    is_next: bool,
}

impl Note<'_> {
    fn chroma(&self) -> u8 {
        (self.key % 12) as u8
    }
}

struct Line<'a> {
    small: &'a Small,
    notes: Vec<Note<'a>>,
    /// Where the bass rests; the end too, if the next chorus begins with a rest.
    rests: Vec<Ticks>,
}

impl<'a> Line<'a> {
    fn new(small: &'a Small, line: &[u8], next: u8) -> Line<'a> {
        let length = small.chorus.length();
        let sounds = |(_, key): &(&Point, &u8)| **key != SILENT;
        let notes = small.points.iter().zip(line).filter(sounds);
        let mut notes: Vec<Note<'a>> = notes
            .map(|(point, &key)| Note {
                point,
                key: key.into(),
                start: point.start,
                is_next: false,
            })
            .collect();
        if next != SILENT {
            notes.push(Note {
                point: &small.points[0],
                key: next.into(),
                start: length,
                is_next: true,
            });
        }
        let rests = small
            .points
            .iter()
            .filter(|point| point.sound == Sound::Rest);
        let mut rests: Vec<Ticks> = rests.map(|point| point.start).collect();
        rests.extend((next == SILENT).then_some(length));
        Line {
            small,
            notes,
            rests,
        }
    }

    /// The note after another, unless the bass rests in between.
    fn after(&self, note: usize) -> Option<&Note<'a>> {
        let next = self.notes.get(note + 1)?;
        let between = self.notes[note].start..=next.start;
        (!self.rests.iter().any(|rest| between.contains(rest))).then_some(next)
    }

    fn moved(&self, note: usize) -> i16 {
        self.notes[note].key - self.notes[note - 1].key
    }

    fn walks(&self) -> bool {
        self.small.level >= 4
    }

    /// Whether a note is one of those that level and feel leave to notes that need not lead.
    fn belongs(&self, note: &Note<'_>) -> bool {
        let Some(chord) = self.small.chord(note.point) else {
            return false;
        };
        if note.point.feel == Feel::Pedal {
            return self.small.arrives_on(note.point) == Some(note.chroma());
        }
        let level = self.small.level;
        let is_root = [chord.root(), chord.bass()].map(|name| name.chroma());
        let level = match note.point.feel {
            Feel::Bossa => level.min(2),
            _ => level,
        };
        let mut tones = chord.chord_tones().into_iter().filter(|tone| match level {
            1 => false,
            2 => tone.degree.number() == 5,
            _ => true,
        });
        is_root.contains(&note.chroma()) || tones.any(|tone| tone.name.chroma() == note.chroma())
    }

    /// Rules 1 to 3: roots on arrivals, chord tones on strong beats, struck there or held, and weak beats that
    /// belong or lead.
    fn keeps_the_harmony(&self) -> bool {
        let rules = |(number, note): (usize, &Note<'_>)| {
            let point = note.point;
            if point.arrival && self.small.chord(point).is_some() {
                return self.small.arrives_on(point) == Some(note.chroma());
            }
            if let Some(chord) = self.small.chord(point) {
                if hangs_over_its_bass(chord) && point.strong {
                    return note.chroma() == chord.bass().chroma();
                }
                if open_third(chord) == Some(note.chroma()) {
                    return false;
                }
            }
            if point.strong {
                return self.belongs(note);
            }
            let scale = self.small.understood[point.span].scale;
            let in_scale = scale.contains(note.chroma());
            match (point.coming, point.feel, self.small.level) {
                (_, Feel::Pedal | Feel::Bossa, _) | (None, _, 1..=3) => self.belongs(note),
                (_, _, 1..=3) => {
                    self.spells(note) || (self.walks() && in_scale) || self.resolves(number)
                }
                _ => self.spells(note) || in_scale || self.resolves(number),
            }
        };
        self.notes.iter().enumerate().all(rules) && self.holds_chord_tones()
    }

    fn spells(&self, note: &Note<'_>) -> bool {
        let Some(chord) = self.small.chord(note.point) else {
            return false;
        };
        let tones = chord.chord_tones();
        let mut names = tones.iter().map(|tone| tone.name).chain([chord.bass()]);
        names.any(|name| name.chroma() == note.chroma())
    }

    /// Where the bass may play on a strong beat and does not, the note that is held spells the chord.
    fn holds_chord_tones(&self) -> bool {
        let strong = self.small.points.iter();
        let mut strong = strong.filter(|point| point.strong && point.sound == Sound::MayBe);
        strong.all(|point| {
            let held = self
                .notes
                .iter()
                .take_while(|note| note.start <= point.start);
            let held = held.last().map(|note| Note { point, ..*note });
            held.is_none_or(|held| {
                let chord = self.small.chord(point);
                match chord.filter(|chord| hangs_over_its_bass(chord)) {
                    Some(chord) => held.chroma() == chord.bass().chroma(),
                    None => self.spells(&held),
                }
            })
        })
    }

    /// Whether a note from outside leads into the next strong one, alone or with the one in between.
    fn resolves(&self, number: usize) -> bool {
        let is_goal = |goal: &Note<'_>| goal.point.arrival || (goal.point.strong && self.walks());
        let note = &self.notes[number];
        let Some(next) = self.after(number) else {
            return false;
        };
        if next.point.arrival || next.point.strong {
            let by_step = matches!((next.key - note.key).abs(), 1 | 2);
            let dominant = self.walks() && next.point.arrival;
            return is_goal(next) && (by_step || (dominant && is_dominant(next.key - note.key)));
        }
        let Some(goal) = self.after(number + 1).filter(|goal| is_goal(goal)) else {
            return false;
        };
        let (a, b) = (note.key - goal.key, next.key - goal.key);
        let chromatic = matches!((a, b), (2, 1) | (-2, -1));
        let near = matches!(a.abs(), 1 | 2) && matches!(b.abs(), 1 | 2);
        self.small.level >= 5 && (chromatic || (near && a.signum() != b.signum()))
    }

    /// Rules 4 and 7: what stands in the last beat of a chord is an approach to the coming root, and the last of
    /// it leads there.
    fn approaches(&self) -> bool {
        let notes = self
            .notes
            .iter()
            .enumerate()
            .filter(|(_, note)| !note.is_next);
        let mut leading =
            notes.filter_map(|(number, note)| Some((number, note, note.point.coming?)));
        leading.all(|(number, note, coming)| {
            let above = (note.key - i16::from(coming)).rem_euclid(12);
            let in_class = matches!(above, 1 | 2 | 10 | 11) || (self.walks() && above == 7);
            let arrives = self.after(number).filter(|next| next.point.arrival);
            let leads = arrives.is_none_or(|next| {
                let ahead = next.key - note.key;
                matches!(ahead.abs(), 1 | 2) || (self.walks() && is_dominant(ahead))
            });
            in_class && leads
        })
    }

    /// Rule 5: no note of a span above the seventh over its highest root, or over its first note if it has none.
    fn stays_below_the_seams(&self) -> bool {
        let spans = self.small.chorus.spans.iter().enumerate();
        let mut spans = spans.filter_map(|(number, span)| Some((number, span.chord.as_ref()?)));
        spans.all(|(number, chord)| {
            let of_span = |note: &&Note<'_>| note.point.span == number && !note.is_next;
            let notes: Vec<&Note<'_>> = self.notes.iter().filter(of_span).collect();
            let roots = notes.iter().filter(|note| match note.point.feel {
                Feel::Pedal => self.small.arrives_on(note.point) == Some(note.chroma()),
                _ => note.chroma() == chord.root().chroma(),
            });
            let top = roots.map(|note| note.key).max();
            let top = top.or(notes.first().map(|note| note.key)).unwrap_or(0);
            let seam = top + i16::from(chord.seventh());
            notes.iter().all(|note| note.key <= seam)
        })
    }

    /// Rule 6: no leap beyond an octave, a leap wider than a fifth turns back at once unless it is an octave, and
    /// no pitch three times running in four.
    fn moves_as_hands_do(&self) -> bool {
        (1..self.notes.len()).all(|note| self.moved(note).abs() <= 12)
            && (2..self.notes.len()).all(|note| {
                let (first, second) = (self.moved(note - 1), self.moved(note));
                let leapt = matches!(first.abs(), 8..=11);
                let running = first == 0 && second == 0;
                let in_four = !matches!(
                    self.notes[note].point.feel,
                    Feel::Two | Feel::Broken | Feel::Pedal | Feel::Bossa
                );
                !(running && in_four) && (!leapt || first.signum() == -second.signum())
            })
    }

    /// Between the beats: a ghost of the note before or, not before a change, a neighbour up to a fifth away; or
    /// both triplets, falling through the chord.
    fn leads_on_between_beats(&self) -> bool {
        let within = |number: usize| {
            self.notes
                .get(number)
                .map(|note| (note.point.beat, note.point.within))
        };
        (0..self.notes.len()).all(|number| {
            let note = &self.notes[number];
            let beat = note.point.beat;
            let falls = || (-7..0).contains(&self.moved(number)) && self.spells(note);
            match note.point.within {
                _ if note.is_next => true,
                Within::Beat => true,
                _ if number == 0 => false,
                Within::Eighth => {
                    let ghost = self.moved(number) == 0;
                    let leads = note.point.coming.is_none() && self.moved(number).abs() <= 7;
                    within(number - 1) != Some((beat, Within::SecondTriplet)) && (ghost || leads)
                }
                Within::SecondTriplet => {
                    within(number + 1) == Some((beat, Within::ThirdTriplet)) && falls()
                }
                Within::ThirdTriplet => {
                    within(number - 1) == Some((beat, Within::SecondTriplet)) && falls()
                }
            }
        })
    }

    /// Whether some choice of strings and fingers plays the line at the tempo: the hand needs 80 ms to let go and
    /// settle and 15 ms a fret (values ours; see the instruments).
    fn is_in_time(&self) -> bool {
        let Hand {
            instrument,
            quarter: Some(quarter),
        } = self.small.options.hand
        else {
            return true;
        };
        let last = i32::from(instrument.neck) - instrument.fingers.len() as i32 + 1;
        let plays = |key: i16, hand: i32| {
            instrument.strings.iter().any(|&open| {
                let fret = i32::from(key) - i32::from(open);
                let under = hand..hand + instrument.fingers.len() as i32;
                fret == 0 || under.contains(&fret)
            })
        };
        let mut hands: Vec<i32> = (1..=last).collect();
        for (number, note) in self.notes.iter().enumerate() {
            let before = number.checked_sub(1).map(|before| self.notes[before].start);
            let shift = before.map_or(last, |before| {
                let ms = (note.start - before).0 * i64::from(quarter) / 960 / 1000;
                ((ms - 80).max(0) / 15).min(i64::from(last)) as i32
            });
            hands = (1..=last)
                .filter(|&hand| plays(note.key, hand))
                .filter(|hand| {
                    hands
                        .iter()
                        .any(|from| from.abs_diff(*hand) as i32 <= shift)
                })
                .collect();
        }
        !hands.is_empty()
    }
}

fn is_dominant(ahead: i16) -> bool {
    matches!(ahead, 5 | -7)
}

/// Whether the bass of a slash chord makes it a suspended one: a whole step above the root of a major chord, or
/// a fourth above that of a minor or half-diminished seventh chord.
fn hangs_over_its_bass(chord: &Chord) -> bool {
    let has = |semitones: i16| {
        let mut degrees = chord.tones().into_iter();
        degrees.any(|(degree, _)| degree.interval().semitones() == semitones)
    };
    let up = (chord.bass().chroma() + 12 - chord.root().chroma()) % 12;
    let major = has(4) && !has(10) && !has(8);
    let minor_seventh = has(3) && has(10);
    (up == 2 && major) || (up == 5 && minor_seventh)
}

/// The natural third that a suspended chord leaves open.
fn open_third(chord: &Chord) -> Option<u8> {
    let suspended = chord.family() == endpin_theory::Family::Suspended;
    (suspended || hangs_over_its_bass(chord)).then(|| match suspended {
        true => (chord.root().chroma() + 4) % 12,
        false => (chord.bass().chroma() + 4) % 12,
    })
}
