//! The parts of every chorus merged into one timed score.
//!
//! A chorus is arranged by itself, from its own random streams and its own number, so that choruses arranged
//! one by one (as when playing live) sound as they do in one file.

mod marks;

use crate::{
    performance::{
        practice::{self, TradeBar},
        score::{Mark, Part, PartName, Score, ScoreNote, Sound, midi_key},
    },
    players::{
        comp::{ChorusComp, CompAttack},
        drums::{self, BarContext, Coming, Kit, TimeKeeping, kit::BRUSH_SET},
        placement::{self, Habit, Placement},
        random_streams::{Purpose, stream},
        swing::{self, Fingered, Swing, Warp},
    },
};
use endpin_theory::{
    Ticks,
    chart::{Bar, Chorus, Ending, Place},
    meter::TICKS_PER_QUARTER,
};
use endpin_walker::{ChorusLine, Development, LineNote, line::feel_of};
use marks::Marks;
use rand_chacha::ChaCha8Rng;

/// How the band plays what was made.
#[derive(Clone, Debug, PartialEq)]
pub struct ArrangeOptions {
    /// Seed of the whole set.
    pub seed: u64,
    /// How off-beats are played.
    pub swing: Swing,
    /// How much placement and velocity vary, from 0 (a machine) to 1.
    pub human: f64,
    /// Parts that are left out.
    pub mute: Vec<PartName>,
    /// Bars counted in before the first chorus.
    pub count_in: u32,
    /// Drummer or click.
    pub keeping: TimeKeeping,
    /// Bars after which band and student take turns at the bass line, the band first.
    pub trade: Option<u32>,
    /// Quarters a minute by which each chorus is faster than the one before; may be negative.
    pub tempo_step: f64,
    /// Whether chord symbols are written into the score.
    pub chord_texts: bool,
}

impl Default for ArrangeOptions {
    fn default() -> Self {
        ArrangeOptions {
            seed: 1,
            swing: Swing::ByTempo,
            human: 0.5,
            mute: Vec::new(),
            count_in: 0,
            keeping: TimeKeeping::default(),
            trade: None,
            tempo_step: 0.0,
            chord_texts: true,
        }
    }
}

impl ArrangeOptions {
    /// What a part sounds with: brushes have a set of their own.
    fn sound(&self, part: PartName) -> Sound {
        let (most, least, program) = BRUSH_SET;
        match (part, self.keeping) {
            (PartName::Time, TimeKeeping::Kit(Kit::Brushes)) => Sound {
                bank: Some((most, least)),
                program,
            },
            _ => part.sound(),
        }
    }
}

/// One chorus as it was made; its number is the line's.
#[derive(Clone, Copy, Debug)]
pub struct MadeChorus<'a> {
    /// The chart unrolled.
    pub chorus: &'a Chorus,
    /// Level and feel at which it is played.
    pub development: Development,
    /// The bass.
    pub line: &'a ChorusLine,
    /// The chords above it.
    pub comp: &'a ChorusComp,
}

/// The bar after the last chorus, in which all hold the home chord or strike it short.
#[derive(Clone, Copy, Debug)]
pub struct EndingBar<'a> {
    /// The root: as long as the bar, or a beat where it is struck short.
    pub bass: &'a LineNote,
    /// The chord, if the comp plays one.
    pub comp: Option<&'a CompAttack>,
    /// How the band ends.
    pub how: Ending,
}

/// Merges the parts of some choruses, in order, and the ending bar if there is one.
pub fn arrange(
    choruses: &[MadeChorus],
    ending: Option<EndingBar>,
    options: &ArrangeOptions,
) -> Score {
    let mut band = Band::new(options);
    if let Some(first) = choruses.first() {
        band.count_in(first);
    }
    for (index, made) in choruses.iter().enumerate() {
        let is_last = index + 1 == choruses.len();
        let slows = ending.is_some_and(|ending| is_last && ending.how == Ending::Ritard);
        band.chorus(made, slows);
    }
    if let (Some(ending), Some(last)) = (ending, choruses.last()) {
        band.ending(ending, last);
    }
    band.score(choruses.first().map_or("", |made| &made.chorus.title))
}

/// A bar as a player plays in it.
struct PlayersBar<'a> {
    /// Its number in the chorus, from 0.
    index: usize,
    bar: &'a Bar,
    tempo: f64,
    warp: Warp,
}

impl PlayersBar<'_> {
    /// Where what is notated in this bar starts, from the start of the chorus, and how long it lasts.
    fn performed(&self, in_bar: Ticks, length: Ticks) -> (Ticks, Ticks) {
        let start = self.warp.place(in_bar);
        let end = self.warp.place(in_bar + length);
        (self.bar.start + start, end - start)
    }

    /// How far a player's hand shifts what is notated there.
    fn shift(&self, placement: &mut Placement, in_bar: Ticks) -> Ticks {
        let on_beat = in_bar.0 % self.bar.meter.beat_ticks().0 == 0;
        let into = in_bar.0 as f64 / self.bar.meter.bar_ticks().0 as f64;
        placement.shift(self.index as f64 + into, on_beat, self.tempo)
    }
}

/// A score being put together.
struct Band<'a> {
    options: &'a ArrangeOptions,
    human: f64,
    /// Where the chorus at hand begins.
    now: Ticks,
    notes: [Vec<ScoreNote>; 3],
    marks: Marks,
}

impl<'a> Band<'a> {
    fn new(options: &'a ArrangeOptions) -> Self {
        Band {
            options,
            human: match options.swing {
                Swing::Straight => 0.0,
                _ => options.human.clamp(0.0, 1.0),
            },
            now: Ticks::ZERO,
            notes: Default::default(),
            marks: Marks::default(),
        }
    }

    fn tempo_of(&self, bar: &Bar, chorus: u32) -> f64 {
        practice::tempo(bar.tempo, self.options.tempo_step, chorus)
    }

    /// Where a player stands in a bar of this number, counted from 1.
    fn place<'t>(&self, made: &MadeChorus<'t>, number: u32) -> PlayersBar<'t> {
        let index = (number as usize).clamp(1, made.chorus.bars.len()) - 1;
        let bar = &made.chorus.bars[index];
        let tempo = self.tempo_of(bar, made.line.chorus);
        PlayersBar {
            index,
            bar,
            tempo,
            warp: Warp::new(
                self.options.swing,
                feel_of(bar, made.development),
                tempo,
                &bar.meter,
            ),
        }
    }

    /// How a player places the notes of a chorus.
    fn placement(&self, made: &MadeChorus, habit: Habit) -> Placement {
        let (seed, bars) = (self.options.seed, made.chorus.bars.len());
        Placement::new(seed, made.line.chorus, bars, self.human, habit)
    }

    fn trade_bar(&self, made: &MadeChorus, index: usize) -> Option<TradeBar> {
        trade_bar(self.options, made.chorus, made.line.chorus, index)
    }

    fn play(&mut self, part: PartName, note: ScoreNote) {
        if !self.options.mute.contains(&part) {
            self.notes[part as usize].push(note);
        }
    }

    fn count_in(&mut self, first: &MadeChorus) {
        let bar = &first.chorus.bars[0];
        let tempo = self.tempo_of(bar, first.line.chorus);
        self.marks
            .signs(Ticks::ZERO, &bar.meter, tempo, first.chorus.key);
        for index in 0..self.options.count_in {
            if index == 0 {
                self.marks.put(self.now, Mark::Marker("count-in".into()));
            }
            for hit in drums::count_in(&bar.meter, index + 1 == self.options.count_in) {
                // Counted even if the drummer is muted: someone has to.
                let stroke = stroke(self.now + hit.in_bar, hit.key, hit.velocity as u8);
                self.notes[PartName::Time as usize].push(stroke);
            }
            self.now += bar.meter.bar_ticks();
        }
    }

    fn chorus(&mut self, made: &MadeChorus, slows: bool) {
        let (chorus, number) = (made.chorus, made.line.chorus);
        let beats = chorus.beats();
        let slowing = match slows {
            true => chorus
                .bars
                .get(chorus.bars.len().saturating_sub(RITARD_BARS)),
            false => None,
        };
        let slows_from = slowing.map_or(beats, |bar| bar.first_beat);
        for bar in &chorus.bars {
            let (at, tempo) = (self.now + bar.start, self.tempo_of(bar, number));
            let slowed = |beat: usize| match (bar.first_beat + beat).checked_sub(slows_from) {
                Some(slowed) => tempo * ritard(slowed as f64 / (beats - slows_from) as f64),
                None => tempo,
            };
            self.marks.signs(at, &bar.meter, slowed(0), chorus.key);
            let heading = bar.heading();
            if bar.start == Ticks::ZERO && bar.place == Place::Form {
                let marker = format!("chorus {number}, {heading}");
                self.marks.put(at, Mark::Marker(marker));
            } else if bar.opens_section {
                self.marks.put(at, Mark::Marker(heading.to_owned()));
            }
            for beat in 1..usize::from(bar.meter.beats()) {
                let at = at + bar.meter.beat_ticks() * beat as i64;
                self.marks.signs(at, &bar.meter, slowed(beat), chorus.key);
            }
        }
        if self.options.chord_texts {
            for span in &chorus.spans {
                let at = self.now + chorus.ticks_at(span.start);
                self.marks.put(at, Mark::Chord(span.symbol.clone()));
            }
        }
        self.bass(made);
        self.comp(made);
        self.time(made);
        self.now += chorus.length();
    }

    fn bass(&mut self, made: &MadeChorus) {
        let mut placement = self.placement(made, placement::BASS);
        let notes = &made.line.notes;
        let played: Vec<(ScoreNote, bool)> = notes
            .iter()
            .enumerate()
            .map(|(index, note)| {
                let place = self.place(made, note.bar);
                let trade = self.trade_bar(made, place.index);
                let is_students = trade.is_some_and(|trade| trade.is_students);
                let next = notes.get(index + 1);
                (
                    self.bass_note(made, note, next, &place, &mut placement),
                    is_students,
                )
            })
            .collect();
        let end = made.chorus.length();
        for (index, &(note, is_students)) in played.iter().enumerate() {
            // One string at a time: let go before the next note, whoever plays it.
            let until = played.get(index + 1).map_or(end, |(next, _)| next.start);
            if !is_students {
                self.play(PartName::Bass, self.shifted(note, until));
            }
        }
    }

    fn bass_note(
        &self,
        made: &MadeChorus,
        note: &LineNote,
        next: Option<&LineNote>,
        place: &PlayersBar,
        placement: &mut Placement,
    ) -> ScoreNote {
        let (start, length) = place.performed(note.in_bar, note.length);
        let shift = place.shift(placement, note.in_bar);
        let follows = next.filter(|next| next.start == note.start + note.length);
        let fingered = Fingered {
            ghost: note.ghost,
            to_next: follows.map(|next| next.pitch.midi() - note.pitch.midi()),
            open: OPEN_STRINGS.contains(&note.pitch.midi()),
            tempo: place.tempo,
        };
        let span = note.span.and_then(|span| made.chorus.spans.get(span));
        let is_arrival = span.is_some_and(|span| made.chorus.ticks_at(span.start) == note.start);
        let loudness = match note.ghost {
            true => GHOST,
            false => {
                let phrase = swing::phrase(place.index, made.line.chorus.saturating_sub(1));
                BASS + swing::accent(note.strength, is_arrival) + phrase
            }
        };
        ScoreNote {
            start: (start + shift).max(Ticks::ZERO),
            length: swing::bass_length(length, fingered),
            key: midi_key(note.pitch),
            velocity: swing::vary(placement.rng(), self.human, loudness, 4),
        }
    }

    /// The note from the start of the chorus as one from the start of the score, ended by `until`.
    fn shifted(&self, note: ScoreNote, until: Ticks) -> ScoreNote {
        ScoreNote {
            start: self.now + note.start,
            length: note.length.min(until - note.start).max(Ticks(1)),
            ..note
        }
    }

    fn comp(&mut self, made: &MadeChorus) {
        let number = made.line.chorus;
        let mut placement = self.placement(made, placement::COMP);
        let end = made.chorus.length();
        for attack in &made.comp.attacks {
            let place = self.place(made, attack.bar);
            let (start, length) = place.performed(attack.in_bar, attack.length);
            let shift = place.shift(&mut placement, attack.in_bar);
            let is_short = attack.length <= Ticks(attack.beat_length.0 / 2);
            let accent = if is_short { 5 } else { 0 };
            let loudness = COMP + swing::phrase(place.index, number.saturating_sub(1)) + accent;
            let held = swing::comp_length(length, is_short);
            self.chord(attack, start + shift, held, end, loudness, placement.rng());
        }
    }

    /// A chord, its top note a little louder, as the melody that it is.
    fn chord(
        &mut self,
        attack: &CompAttack,
        start: Ticks,
        length: Ticks,
        end: Ticks,
        loudness: i32,
        rng: &mut ChaCha8Rng,
    ) {
        let keys = &attack.voicing.keys;
        for (index, &key) in keys.iter().enumerate() {
            let top = if index + 1 == keys.len() { 4 } else { 0 };
            let note = ScoreNote {
                start: start.max(Ticks::ZERO),
                length,
                key,
                velocity: swing::vary(rng, self.human, loudness + top, 4),
            };
            self.play(PartName::Comp, self.shifted(note, end));
        }
    }

    fn time(&mut self, made: &MadeChorus) {
        let number = made.line.chorus;
        let bars = &made.chorus.bars;
        let mut placement = self.placement(made, placement::TIME);
        let end = made.chorus.length();
        let is_drummer = matches!(self.options.keeping, TimeKeeping::Kit(_));
        let attacks = made.comp.attacks.iter();
        let comp = by_bar(
            bars.len(),
            attacks.map(|attack| (attack.bar, attack.in_bar)),
        );
        let notes = made.line.notes.iter();
        let bass = by_bar(bars.len(), notes.map(|note| (note.bar, note.in_bar)));
        let contexts: Vec<BarContext> = bars
            .iter()
            .enumerate()
            .map(|(index, bar)| {
                let before = bars_before(made.chorus, number, index);
                BarContext {
                    meter: &bar.meter,
                    tempo: self.tempo_of(bar, number),
                    feel: feel_of(bar, made.development),
                    busy: made.development.busy,
                    comp: &comp[index],
                    bass: &bass[index],
                    bars_before: before,
                    opens_section: index == 0 || bar.opens_section,
                    stop_time: bar.stop_time,
                    coming: self.coming(made, index),
                }
            })
            .collect();
        let drummed = drums::chorus(&contexts, self.options.keeping, self.options.seed, number);
        for (bar, hits) in bars.iter().zip(drummed) {
            let place = self.place(made, bar.number);
            for hit in hits {
                if is_drummer && is_silent(made.chorus, bar, hit.in_bar) {
                    continue;
                }
                let shift = place.shift(&mut placement, hit.in_bar);
                let (start, _) = place.performed(hit.in_bar, STROKE);
                let loudness = if is_drummer {
                    hit.velocity * DRUMS / 10
                } else {
                    hit.velocity
                };
                let velocity = swing::vary(placement.rng(), self.human, loudness, 4);
                let stroke = stroke((start + shift).max(Ticks::ZERO), hit.key, velocity);
                self.play(PartName::Time, self.shifted(stroke, end));
            }
        }
    }

    /// What begins after a bar of a chorus (from 0), if anything does. A trade is led into as a section is.
    fn coming(&self, made: &MadeChorus, index: usize) -> Option<Coming> {
        match self.trade_bar(made, index).filter(|trade| trade.is_last) {
            Some(trade) if trade.is_students => return Some(Coming::Band),
            Some(_) => return Some(Coming::Section),
            None => {}
        }
        match made.chorus.bars.get(index + 1) {
            None => Some(Coming::Chorus),
            Some(next) => next.opens_section.then_some(Coming::Section),
        }
    }

    fn ending(&mut self, ending: EndingBar, last: &MadeChorus) {
        let bars = &last.chorus.bars;
        let meter = &bars[bars.len() - 1].meter;
        let length = meter.bar_ticks();
        let slowest = match ending.how {
            Ending::Ritard => {
                let written = self.tempo_of(&bars[bars.len() - 1], last.line.chorus);
                Some(written * ritard(1.0))
            }
            _ => self.marks.tempo(),
        };
        let tempo = slowest.unwrap_or(bars[0].tempo);
        self.marks.signs(self.now, meter, tempo, last.chorus.key);
        self.marks.put(self.now, Mark::Marker("ending".into()));
        if self.options.chord_texts {
            self.marks
                .put(self.now, Mark::Chord(ending.bass.chord.clone()));
        }
        let held = match ending.how {
            // Half of the beat that is written.
            Ending::Stop => Ticks(ending.bass.length.0 / 2),
            _ => length - Ticks(RELEASE),
        };
        let root = ScoreNote {
            start: Ticks::ZERO,
            length: held,
            key: midi_key(ending.bass.pitch),
            velocity: (BASS + 4) as u8,
        };
        self.play(PartName::Bass, self.shifted(root, length));
        if let Some(attack) = ending.comp {
            let mut rng = stream(
                self.options.seed,
                last.line.chorus + 1,
                Purpose::CompPlacement,
            );
            self.chord(attack, Ticks::ZERO, held, length, COMP, &mut rng);
        }
        for hit in drums::ending(self.options.keeping) {
            let stroke = stroke(hit.in_bar, hit.key, hit.velocity as u8);
            self.play(PartName::Time, self.shifted(stroke, length));
        }
        self.now += length;
    }

    fn score(self, title: &str) -> Score {
        let [bass, comp, time] = self.notes;
        let counted_in = self.options.count_in > 0;
        let parts = PartName::ALL.into_iter().zip([bass, comp, time]);
        let parts = parts
            .filter(|(name, _)| {
                !self.options.mute.contains(name) || (*name == PartName::Time && counted_in)
            })
            .map(|(name, notes)| Part {
                sound: self.options.sound(name),
                ..Part::new(name, notes)
            })
            .collect();
        Score {
            title: title.to_owned(),
            parts,
            conductor: self.marks.in_order(),
            end: self.now,
        }
    }
}

/// Middle velocity of the bass. It, that of the comp and the drums' share below were set by measure: rendered
/// with two General MIDI fonts, the comp is 2 to 6 LU and the drums 5 to 10 LU below the bass (ITU-R BS.1770).
const BASS: i32 = 82;
const GHOST: i32 = 42;
/// Middle velocity of the comp.
const COMP: i32 = 65;
/// What the drummer's strokes are multiplied with, in tenths: a General MIDI kit is soft beside its bass.
const DRUMS: i32 = 13;
/// The open strings of the bass, E1 A1 D2 G2, as MIDI keys.
const OPEN_STRINGS: [i16; 4] = [28, 33, 38, 43];
/// A stroke is a moment; percussion sounds ring as they will.
const STROKE: Ticks = Ticks(TICKS_PER_QUARTER / 8);
/// Bars over which the band slows down.
const RITARD_BARS: usize = 2;
/// The share of the tempo at which a ritard arrives. Our choice.
const SLOWEST: f64 = 0.55;

/// The share of the tempo at which the band plays so far (0 to 1) on its way through a ritard: the cube of the
/// speed falls evenly, as a runner comes to a halt (A. Friberg and J. Sundberg, "Does music performance allude to
/// locomotion? A model of final ritardandi", J. Acoust. Soc. Am. 105, 1999; from memory, exponent 3).
fn ritard(way: f64) -> f64 {
    (1.0 + (SLOWEST.powi(3) - 1.0) * way.clamp(0.0, 1.0)).cbrt()
}

/// What is let go before the last bar line.
const RELEASE: i64 = TICKS_PER_QUARTER / 8;

/// Whose turn a bar of a chorus (from 0) is. Only the form is traded.
pub fn trade_bar(
    options: &ArrangeOptions,
    chorus: &Chorus,
    number: u32,
    index: usize,
) -> Option<TradeBar> {
    let place = chorus.bars.get(index)?.place;
    let trade = practice::trade_bar(options.trade, bars_before(chorus, number, index));
    trade.filter(|_| place == Place::Form)
}

/// Bars before bar `index` of chorus `number` since the first chorus began; in an intro, since that began.
fn bars_before(chorus: &Chorus, number: u32, index: usize) -> u64 {
    u64::from(number.saturating_sub(1)) * chorus.form_bars() as u64 + index as u64
}

/// Places from the bar line of what is numbered by bars from 1, for each of so many bars.
fn by_bar(bars: usize, placed: impl Iterator<Item = (u32, Ticks)>) -> Vec<Vec<Ticks>> {
    let mut places = vec![Vec::new(); bars];
    for (bar, in_bar) in placed {
        if let Some(bar) = places.get_mut((bar as usize).wrapping_sub(1)) {
            bar.push(in_bar);
        }
    }
    places
}

/// Whether the harmony is silent there (`N.C.`): the whole band stops with it.
fn is_silent(chorus: &Chorus, bar: &Bar, in_bar: Ticks) -> bool {
    let beat = bar.first_beat + (in_bar.0 / bar.meter.beat_ticks().0) as usize;
    chorus.spans[chorus.span_at(beat)].chord.is_none()
}

fn stroke(start: Ticks, key: u8, velocity: u8) -> ScoreNote {
    ScoreNote {
        start,
        length: STROKE,
        key,
        velocity,
    }
}

#[cfg(test)]
mod tests {
    use crate::{
        performance::{
            score::PartName,
            session::{Session, Wishes},
        },
        players::drums::percussion::KICK,
    };
    use endpin_theory::Chart;
    use endpin_walker::{Level, Options};

    /// Kicks on the weak beats of twelve choruses at a level, and notes of the bass there.
    fn on_weak_beats(level: Level) -> (usize, usize) {
        let chart = Chart::from_bars("F7 | Bb7 | F7 | Cm7 F7", "4/4".parse().unwrap()).unwrap();
        let line = Options {
            level,
            ..Options::default()
        };
        let mut wishes = Wishes::plain(1, 60, line);
        wishes.arrange.human = 0.0;
        let score = Session::new(chart, wishes)
            .unwrap()
            .perform()
            .unwrap()
            .score();
        let count = |part: PartName, counts: &dyn Fn(u8) -> bool| {
            let part = score.parts.iter().find(|other| other.name == part);
            let notes = &part.unwrap().notes;
            notes
                .iter()
                .filter(|note| note.start.0 % 1920 == 960 && counts(note.key))
                .count()
        };
        (
            count(PartName::Time, &|key| key == KICK),
            count(PartName::Bass, &|_| true),
        )
    }

    #[test]
    fn the_drummer_keeps_the_two_feel_of_a_level_under_a_pickup() {
        let (kicks, pickups) = on_weak_beats(Level::TWO_FEEL);
        let (feathered, walked) = on_weak_beats(Options::default().level);
        assert!(
            kicks == 0 && feathered > 0 && pickups > 0 && walked > 0,
            "{kicks} of {feathered} kicks, {pickups} pickups, {walked} notes"
        );
    }
}
