//! The repertoire: passages made from a chart, as sessions make them for files.

use endpin_theory::{Chart, Chorus, Ticks, chart::Bar};
use endpin_walker::{ChorusLine, Level, LineNote};

use super::passage::{Passage, PassageBar, PassageBeat, PassageSection};
use super::passage_supply::{Bend, PassageKind, PassageRequest, PassageSource};
use super::redraw::Amendment;
use crate::failure::Failure;
use crate::performance::arrangement::{self, ArrangeOptions, EndingBar, MadeChorus};
use crate::performance::practice::{self, BarRange};
use crate::performance::session::{Session, Wishes, chart_at_level};
use crate::players::comp::ChorusComp;

/// What tells one session from another: seed, level, key, section, and the chorus that is the last.
type Sort = (u64, u8, i8, Option<usize>, Option<u32>);

/// Sessions kept at hand: the form, a section of it, and the same before the last change of mind.
const KEPT: usize = 4;

/// A chart and all that is asked of its performance.
pub struct Repertoire {
    chart: Chart,
    wishes: Wishes,
    /// The latest last.
    sessions: Vec<(Sort, Session)>,
}

impl Repertoire {
    /// The repertoire of a chart. Parts are muted in play, not here.
    pub fn new(chart: Chart, mut wishes: Wishes) -> Repertoire {
        wishes.arrange.mute.clear();
        wishes.endless = true;
        Repertoire {
            chart,
            wishes,
            sessions: Vec::new(),
        }
    }

    /// The request for the first chorus.
    pub fn first_request(&self) -> PassageRequest {
        PassageRequest {
            kind: PassageKind::Chorus,
            chorus: self.wishes.choruses.start,
            seed: self.wishes.seed,
            level: self.wishes.line.level.number(),
            transpose: 0,
        }
    }

    /// Whether an intro comes before the first chorus.
    ///
    /// # Errors
    /// A chart that leaves no line.
    pub fn has_intro(&mut self) -> Result<bool, Failure> {
        let request = self.first_request();
        Ok(self.session(&request)?.0.has_intro())
    }

    /// Makes a passage.
    ///
    /// # Errors
    /// A level, key or section that leaves no line.
    pub fn make(&mut self, request: &PassageRequest) -> Result<Passage, Failure> {
        let (session, bars_before) = self.session(request)?;
        let line = session.line(request.chorus);
        let chorus = session.chorus(request.chorus);
        let options = &session.wishes().arrange;
        let mut passage = match request.kind {
            PassageKind::CountIn => count_in(session, &line),
            PassageKind::Ending => ending(session, &line),
            PassageKind::Chorus | PassageKind::Section(_) => {
                let comp = session.comp(&line);
                let made = MadeChorus {
                    chorus,
                    development: session.development(line.chorus),
                    line: &line,
                    comp: &comp,
                };
                let plain = ArrangeOptions {
                    count_in: 0,
                    ..options.clone()
                };
                let score = arrangement::arrange(&[made], None, &plain);
                let mut passage = labelled(chorus, &line.notes, |bar| {
                    practice::tempo(bar.tempo, options.tempo_step, request.chorus)
                });
                passage.take(&score, Ticks::ZERO);
                passage
            }
        };
        for bar in &mut passage.bars {
            bar.number += bars_before;
        }
        Ok(passage)
    }

    /// The session that makes a request, and how many bars of the form come before its first.
    pub(super) fn session(&mut self, request: &PassageRequest) -> Result<(&Session, u32), Failure> {
        let section = match request.kind {
            PassageKind::Section(section) => Some(section),
            _ => None,
        };
        let last = (request.kind == PassageKind::Ending).then_some(request.chorus);
        let last = last.filter(|_| {
            self.chart
                .has_bars_after(self.wishes.ending.or(self.chart.ending))
        });
        let sort = (
            request.seed,
            request.level,
            request.transpose,
            section,
            last,
        );
        let bars = section.map(|section| self.bars_of(section)).transpose()?;
        match self.sessions.iter().position(|(kept, _)| *kept == sort) {
            Some(found) => {
                let kept = self.sessions.remove(found);
                self.sessions.push(kept);
            }
            None => {
                let made = self.new_session(request, bars)?;
                if self.sessions.len() == KEPT {
                    self.sessions.remove(0);
                }
                self.sessions.push((sort, made));
            }
        }
        let (_, session) = &self.sessions[self.sessions.len() - 1];
        let opening = self.wishes.bars.map_or(1, |range| range.first);
        Ok((session, bars.map_or(0, |range| range.first - opening)))
    }

    fn new_session(
        &self,
        request: &PassageRequest,
        bars: Option<BarRange>,
    ) -> Result<Session, Failure> {
        let mut wishes = self.wishes.clone();
        wishes.seed = request.seed;
        wishes.comp.seed = request.seed;
        wishes.arrange.seed = request.seed;
        wishes.line.level = Level::try_from(request.level).map_err(Failure::input)?;
        wishes.bars = bars.or(wishes.bars);
        if request.kind == PassageKind::Ending {
            wishes.endless = false;
            wishes.choruses = request.chorus..request.chorus + 1;
        }
        let key = practice::transposed(self.chart.key, request.transpose.into());
        let chart = self.chart.in_key(key);
        Session::new(chart_at_level(chart, &wishes.line), wishes)
    }

    /// The bars of a section, as an index in playing order, within the chart.
    fn bars_of(&self, section: usize) -> Result<BarRange, Failure> {
        let chorus = match self.wishes.bars {
            Some(bars) => bars.of(&self.chart.chorus()).map_err(Failure::input)?,
            None => self.chart.chorus(),
        };
        let before = self.wishes.bars.map_or(0, |range| range.first - 1);
        let mut opens = chorus
            .bars
            .iter()
            .filter(|bar| bar.opens_section)
            .skip(section);
        let first = opens.next().map_or(1, |bar| bar.number);
        let last = opens
            .next()
            .map_or(chorus.bars.len() as u32, |bar| bar.number - 1);
        Ok(BarRange {
            first: first + before,
            last: last + before,
        })
    }
}

impl PassageSource for Repertoire {
    fn passage(&mut self, request: &PassageRequest) -> Result<Passage, String> {
        self.make(request).map_err(|failure| failure.to_string())
    }

    fn bend(&mut self, bend: &Bend) -> Result<Amendment, String> {
        Repertoire::bend(self, bend).map_err(|failure| failure.to_string())
    }
}

/// The bars, beats and labels of a chorus, without its sound.
fn labelled(chorus: &Chorus, line: &[LineNote], tempo: impl Fn(&Bar) -> f64) -> Passage {
    let mut passage = Passage {
        key: chorus.key.to_string(),
        end: chorus.length(),
        ..Passage::default()
    };
    for (index, bar) in chorus.bars.iter().enumerate() {
        if bar.opens_section || index == 0 {
            passage.sections.push(PassageSection {
                name: bar.heading().to_owned(),
                first_bar: index,
            });
        }
        let entering = chorus.spans.iter().filter(|span| span.bar == bar.number);
        let chords: Vec<&str> = entering.map(|span| span.symbol.as_str()).collect();
        passage.bars.push(PassageBar {
            number: bar.number,
            section: passage.sections.len() - 1,
            first_beat: bar.first_beat,
            tempo: tempo(bar),
            chords: match chords.len() {
                0 => "%".into(),
                _ => chords.join("  "),
            },
        });
    }
    for beat in 0..chorus.beats() {
        let start = chorus.ticks_at(beat);
        let sounding = line.partition_point(|note| note.start <= start);
        let note = line[..sounding]
            .last()
            .filter(|note| note.start + note.length > start);
        passage.beats.push(PassageBeat {
            start,
            bar: chorus.bar_at(beat).number as usize - 1,
            chord: chorus.spans[chorus.span_at(beat)].symbol.clone(),
            bass: note.map(|note| (note.pitch.to_string(), note.role.to_string())),
        });
    }
    passage
}

/// A passage of `bars` empty bars like `like`, at its tempo.
fn plain(session: &Session, like: &Bar, bars: u32, name: &str, chord: &str) -> Passage {
    let beats = usize::from(like.meter.beats());
    let mut passage = Passage {
        key: session.chart().key.to_string(),
        sections: vec![PassageSection {
            name: name.into(),
            first_bar: 0,
        }],
        end: like.meter.bar_ticks() * i64::from(bars),
        ..Passage::default()
    };
    for bar in 0..bars as usize {
        passage.bars.push(PassageBar {
            number: bar as u32 + 1,
            section: 0,
            first_beat: bar * beats,
            tempo: like.tempo,
            chords: chord.into(),
        });
        let bar_start = like.meter.bar_ticks() * bar as i64;
        passage.beats.extend((0..beats).map(|beat| PassageBeat {
            start: bar_start + like.meter.beat_ticks() * beat as i64,
            bar,
            chord: chord.into(),
            bass: None,
        }));
    }
    passage
}

/// What comes before a first chorus: the bars counted in, and the intro.
fn count_in(session: &Session, line: &ChorusLine) -> Passage {
    let options = &session.wishes().arrange;
    let intro = session.has_intro().then(|| session.line(0));
    let opening = intro.as_ref().unwrap_or(line);
    let comp = match intro {
        Some(_) => session.comp(opening),
        None => ChorusComp::default(),
    };
    let chorus = session.chorus(opening.chorus);
    let made = MadeChorus {
        chorus,
        development: session.development(opening.chorus),
        line: opening,
        comp: &comp,
    };
    let score = arrangement::arrange(&[made], None, options);
    let mut passage = match options.count_in {
        0 => Passage::default(),
        bars => plain(session, &chorus.bars[0], bars, "", ""),
    };
    if intro.is_some() {
        let tempo = |bar: &Bar| practice::tempo(bar.tempo, options.tempo_step, 1);
        passage.append(labelled(chorus, &opening.notes, tempo));
    }
    passage.take(&score, Ticks::ZERO);
    passage.notes.retain(|note| note.start < passage.end);
    passage
}

/// What comes after a chorus: the tag or what else leads on, and the last chord.
fn ending(session: &Session, line: &ChorusLine) -> Passage {
    let chorus = session.chorus(line.chorus);
    let options = ArrangeOptions {
        count_in: 0,
        ..session.wishes().arrange.clone()
    };
    let Some((bass, attack)) = session.ending(line) else {
        return Passage::default();
    };
    let tempo = |bar: &Bar| practice::tempo(bar.tempo, options.tempo_step, line.chorus);
    let form = chorus.form_bars();
    let (comp, mut passage) = match chorus.bars.get(form) {
        Some(first) => {
            let whole = labelled(chorus, &line.notes, tempo);
            (
                session.comp(line),
                whole.from_bar(first.number as usize - 1),
            )
        }
        None => (ChorusComp::default(), Passage::default()),
    };
    let made = MadeChorus {
        chorus,
        development: session.development(line.chorus),
        line,
        comp: &comp,
    };
    let last_bar = EndingBar {
        bass: &bass,
        comp: attack.as_ref(),
        how: session.how_it_ends(),
    };
    let score = arrangement::arrange(&[made], Some(last_bar), &options);
    let origin = chorus.length() - passage.end;
    let last = &chorus.bars[chorus.bars.len() - 1];
    let mut home = plain(session, last, 1, "ending", &bass.chord);
    home.bars[0].tempo = tempo(last);
    home.bars[0].number = chorus.bars.len() as u32 + 1;
    let label = (bass.pitch.to_string(), bass.role.to_string());
    let sounding = home.beats.iter_mut();
    for beat in sounding.filter(|beat| beat.start < bass.length) {
        beat.bass = Some(label.clone());
    }
    passage.append(home);
    passage.take(&score, origin);
    passage.notes.retain(|note| note.start >= Ticks::ZERO);
    passage
}
