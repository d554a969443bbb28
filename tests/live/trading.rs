//! Trading with players that are scripted, under a fake clock.

use super::fake_play::{BAR, FakePlay, HALF_SECOND, LEAD, ons, sounding};
use endpin::live::clock::{Clock, Nanos};
use endpin::live::control::Control;
use endpin::live::message::Message;
use endpin::live::passage_supply::{PassageRequest, PassageSource};
use endpin::live::redraw::BarPlace;
use endpin::live::repertoire::Repertoire;
use endpin::live::scheduler::PlayEnd;
use endpin::live::trade::answer::{choose, prepare};
use endpin::live::trade::exchange::Exchange;
use endpin::live::trade::phrase::{HeardNote, Outline, Phrase, taken_up};
use endpin::live::trade::trader::{TradeMode, TradeOptions, Trader};
use endpin::performance::score::PartName;
use endpin::performance::session::Wishes;
use endpin::players::swing::Swing;
use endpin_theory::{Chart, Ticks};
use endpin_walker::Options;
use std::time::{Duration, Instant};

const CHART: &str = r#"
title = "Ladder Street"
key = "F"
tempo = 120
[section.A]
bars = "| F7 | Bb7 | F7 | F7 |"
[section.B]
bars = "| Bb7 | Bb7 | F7 | D7 |"
[section.C]
bars = "| Gm7 | C7 | F7 D7 | Gm7 C7 |"
"#;

/// Twelve bars at 120, as written and without liberties, traded in fours.
fn band(trade: Option<u32>, seed: u64) -> Repertoire {
    let mut chart =
        Chart::parse(&CHART.replace("[section.A]", "form = \"A B C\"\n[section.A]")).unwrap();
    chart.tempo = 120.0;
    let mut wishes = Wishes::plain(seed, 1, Options::default());
    wishes.arrange.swing = Swing::Straight;
    wishes.arrange.human = 0.0;
    wishes.arrange.trade = trade;
    Repertoire::new(chart, wishes)
}

/// The bass of a chorus drawn with another seed, as a player would play it: beat (from 0) and key.
fn line(seed: u64, chorus: u32) -> Vec<(u64, u8)> {
    let mut other = band(None, seed);
    let request = PassageRequest {
        chorus,
        ..other.first_request()
    };
    let passage = other.passage(&request).unwrap();
    let bass = passage
        .notes
        .iter()
        .filter(|cue| cue.part == PartName::Bass);
    bass.map(|cue| (cue.start.0 as u64 / 960, cue.key))
        .collect()
}

/// How somebody plays: milliseconds late, drifting so many a beat, velocity, and which beats of a turn.
#[derive(Clone, Copy)]
struct Hand {
    late: i64,
    drift: i64,
    velocity: u8,
    beats: u64,
    transpose: i16,
}

const STEADY: Hand = Hand {
    late: 6,
    drift: 0,
    velocity: 88,
    beats: 16,
    transpose: 0,
};

/// What a player does in the turns of the first choruses: bars 5 to 8 of the first, 1 to 4 and 9 to 12 of the second.
fn script(seed: u64, hand: Hand) -> Vec<(u64, Message)> {
    let mut events = Vec::new();
    for (chorus, first) in [(1, 16), (2, 0), (2, 32)] {
        for (beat, key) in line(seed, chorus) {
            if !(first..first + hand.beats).contains(&beat) {
                continue;
            }
            let into = (beat - first) as i64;
            let at = LEAD as i64
                + (((chorus as u64 - 1) * 48 + beat) * HALF_SECOND) as i64
                + (hand.late + hand.drift * into) * 1_000_000;
            let key = u8::try_from(i16::from(key) + hand.transpose).unwrap();
            events.push((at as u64, Message::note_on(3, key, hand.velocity)));
            events.push((at as u64 + 400_000_000, Message::note_off(3, key)));
        }
    }
    events.sort_by_key(|(at, message)| (*at, message.bytes()[0] & 0xF0 == 0x90));
    events
}

struct Traded {
    exchange: Exchange,
    taken: Vec<(Nanos, Message)>,
    notices: Vec<String>,
}

fn options(mode: TradeMode) -> TradeOptions {
    TradeOptions {
        bars: Some(4),
        mode,
        follow: None,
    }
}

/// Two choruses with somebody who plays this.
fn trade(seed: u64, options: TradeOptions, script: &[(u64, Message)]) -> Traded {
    let mut play = FakePlay::with_band(Some(2), band(options.bars, seed));
    let mut trader = Trader::new(
        band(options.bars, seed),
        options,
        play.shared.clone(),
        play.status.clone(),
    );
    play.conductor.begin();
    let mut script = script.iter().peekable();
    let mut notices: Vec<String> = Vec::new();
    let ending = loop {
        let now = play.clock.now();
        while let Some((at, message)) = script.next_if(|(at, _)| Nanos(*at) <= now) {
            if let Some(act) = trader.hear(Nanos(*at), *message) {
                play.conductor.trade(act);
            }
        }
        for act in trader.look(now) {
            play.conductor.trade(act);
        }
        play.conductor.tick(now);
        play.conductor.advance();
        if let Some(ending) = play.scheduler.step() {
            break ending;
        }
        while play.news.pop().is_ok() {}
        let notice = play.status.look().settings.notice.clone();
        if let Some(notice) = notice.filter(|notice| notices.last() != Some(notice)) {
            notices.push(notice);
        }
    };
    assert_eq!(ending, PlayEnd::Finished);
    let taken = play.recording.take();
    assert_eq!(sounding(&taken), []);
    Traded {
        exchange: trader.into_exchange(),
        taken,
        notices,
    }
}

/// The keys of the bass by beat, in a range of bars from the start of play.
fn outlines(taken: &[(Nanos, Message)], bars: std::ops::Range<u64>) -> Vec<Outline> {
    let bass = ons(taken, PartName::Bass);
    let on = |beat: u64| {
        let at = (beat * HALF_SECOND) as i64;
        let note = bass.iter().find(|(on, ..)| (on - at).abs() < 40_000_000);
        note.map(|(_, key, _)| *key)
    };
    bars.map(|bar| (0..4).map(|beat| on(bar * 4 + beat)).collect())
        .collect()
}

fn scripted(script: &[(u64, Message)], bars: std::ops::Range<u64>) -> Vec<Outline> {
    let played: Vec<(Nanos, Message)> = script
        .iter()
        .filter(|(_, message)| message.bytes()[0] & 0xF0 == 0x90)
        .map(|(at, message)| (Nanos(*at), Message::note_on(0, message.bytes()[1], 90)))
        .collect();
    outlines(&played, bars)
}

#[test]
fn a_steady_player_is_answered_in_time_and_with_what_was_played() {
    let script = script(40, STEADY);
    let traded = trade(1, options(TradeMode::Answer), &script);
    // Bars 9 to 12, and 5 to 8 of the second chorus.
    assert_eq!(traded.exchange.turns.len(), 3, "{:?}", traded.notices);
    for (turn, (answer, heard)) in [(8..12, 4..8), (16..20, 12..16)].into_iter().enumerate() {
        let answer = outlines(&traded.taken, answer);
        let measured = taken_up(&answer, &scripted(&script, heard));
        let told = &traded.exchange.turns[turn];
        assert!(told.words.starts_with("your bar "), "{}", told.words);
        assert!(
            (told.likeness.unwrap() - measured).abs() < 1e-9,
            "{answer:?}"
        );
        assert!(measured > 0.6, "{measured}: {answer:?}");
    }
    // Every beat of endpin's bars has its note, exactly in time; in the player's bars the bass is silent.
    let bass = ons(&traded.taken, PartName::Bass);
    let bars: Vec<u64> = (0..24)
        .filter(|bar| bass.iter().any(|(at, ..)| *at as u64 / BAR == *bar))
        .collect();
    assert_eq!(bars, [0, 1, 2, 3, 8, 9, 10, 11, 16, 17, 18, 19]);
    for (at, ..) in &bass {
        let beat = at.rem_euclid(HALF_SECOND as i64 / 2);
        assert!(beat == 0 || *at as u64 >= 24 * BAR, "a note at {at}");
    }
    let first = bass.iter().find(|(at, ..)| *at == 8 * BAR as i64);
    let stopped = scripted(&script, 4..8)[3][3].unwrap();
    let first = first.unwrap().1;
    assert_eq!(first % 12, 7, "Gm7 begins on its root");
    assert!(
        first.abs_diff(stopped) <= 6,
        "{first} is far from {stopped}"
    );
}

#[test]
fn a_silent_player_leaves_endpin_alone_and_sparse() {
    let traded = trade(1, options(TradeMode::Answer), &[]);
    assert_eq!(
        traded.exchange.turns[0].words,
        "nothing heard: alone, and sparse"
    );
    let answer = outlines(&traded.taken, 8..12);
    let notes = answer.iter().flatten().flatten().count();
    // In two-feel, with a root for each of the six chords and a note between now and then.
    assert!((8..=14).contains(&notes), "{notes} notes: {answer:?}");
    assert!(
        traded
            .exchange
            .midi_file(
                "t",
                &"4/4".parse().unwrap(),
                &Default::default(),
                Default::default()
            )
            .is_none()
    );
}

#[test]
fn a_player_who_stops_early_is_answered_from_there() {
    let script = script(41, Hand { beats: 6, ..STEADY });
    let traded = trade(1, options(TradeMode::Answer), &script);
    assert_eq!(traded.exchange.turns.len(), 3);
    assert!(!traded.exchange.turns[0].words.starts_with("nothing"));
    let stopped = scripted(&script, 4..8)
        .into_iter()
        .flatten()
        .flatten()
        .last()
        .unwrap();
    let first = outlines(&traded.taken, 8..9)[0][0].unwrap();
    assert!(first.abs_diff(stopped) <= 6, "{first}, {stopped}");
}

#[test]
fn a_rushing_player_is_understood() {
    let rushing = Hand {
        late: -10,
        drift: -7,
        ..STEADY
    };
    let traded = trade(1, options(TradeMode::Answer), &script(40, rushing));
    let steady = trade(1, options(TradeMode::Answer), &script(40, STEADY));
    let words = |traded: &Traded| {
        traded
            .exchange
            .turns
            .iter()
            .map(|told| told.words.clone())
            .collect::<Vec<_>>()
    };
    // Which of its bars suits the chords best depends on what was heard when the answer was drawn; that it is one
    // of them, each time, as with a steady player, does not.
    for words in [words(&traded), words(&steady)] {
        assert_eq!(words.len(), 3);
        assert!(
            words.iter().all(|words| words.starts_with("your bar ")),
            "{words:?}"
        );
    }
}

#[test]
fn wrong_notes_are_not_answered_but_echoed_and_told() {
    // A half step up all is outside nearly everywhere.
    let wrong = script(
        40,
        Hand {
            transpose: 6,
            ..STEADY
        },
    );
    let traded = trade(1, options(TradeMode::Answer), &wrong);
    assert_eq!(traded.exchange.turns[0].words, "from where you stopped");
    let echoed = trade(1, options(TradeMode::Echo), &wrong);
    assert_eq!(outlines(&echoed.taken, 8..12), scripted(&wrong, 4..8));
    let words = &echoed.exchange.turns[0].words;
    assert!(
        words.contains("notes outside the harmony, the first in your bar 1 on beat 1, over Bb7"),
        "{words}"
    );
    let right = trade(1, options(TradeMode::Echo), &script(40, STEADY));
    assert!(
        right.exchange.turns[0].words.starts_with("all "),
        "{}",
        right.exchange.turns[0].words
    );
}

#[test]
fn a_call_gets_harder_and_easier_by_how_it_is_repeated() {
    // The player repeats what endpin states in bars 1 to 4, first well, then not at all.
    let first = trade(1, options(TradeMode::Call), &[]);
    assert_eq!(
        first.exchange.turns[0].words,
        "0 of 16 as stated; the next is easier (level 3)"
    );
    let stated = outlines(&first.taken, 0..4);
    let mut script = Vec::new();
    for (beat, key) in (0u64..).zip(stated.into_iter().flatten()) {
        let at = LEAD + (16 + beat) * HALF_SECOND + 9_000_000;
        script.push((at, Message::note_on(0, key.unwrap(), 80)));
        script.push((at + 300_000_000, Message::note_off(0, key.unwrap())));
    }
    let second = trade(1, options(TradeMode::Call), &script);
    let words: Vec<&str> = second
        .exchange
        .turns
        .iter()
        .map(|told| &*told.words)
        .collect();
    assert_eq!(words[0], "16 of 16 as stated; the next is harder (level 5)");
    assert!(
        words[1].ends_with("the next is easier (level 4)"),
        "{words:?}"
    );
}

#[test]
fn the_band_follows_in_loudness() {
    let mean = |velocity: u8| {
        let traded = trade(
            1,
            options(TradeMode::Answer),
            &script(40, Hand { velocity, ..STEADY }),
        );
        let loud = |part: PartName| {
            let notes = ons(&traded.taken, part);
            let inside = notes
                .iter()
                .filter(|(at, ..)| (8 * BAR..12 * BAR).contains(&(*at as u64)));
            let (sum, count) = inside.fold((0.0, 0.0), |(sum, count), note| {
                (sum + f64::from(note.2), count + 1.0)
            });
            sum / count
        };
        PartName::ALL.map(loud)
    };
    let (soft, loud) = (mean(55), mean(110));
    for part in PartName::ALL {
        assert!(
            loud[part as usize] > 1.2 * soft[part as usize],
            "{part}: {soft:?} {loud:?}"
        );
    }
}

#[test]
fn the_tempo_bends_with_the_player_within_the_band() {
    // A player at 124 through both choruses, heard all the time.
    let quarter = 60e9 / 124.0;
    let mut script = Vec::new();
    for beat in 0..96u32 {
        let at = LEAD as f64 + f64::from(beat) * quarter;
        script.push((at as u64, Message::note_on(0, 40, 80)));
        script.push((at as u64 + 200_000_000, Message::note_off(0, 40)));
    }
    for (percent, follows) in [(6.0, true), (1.0, false)] {
        let options = TradeOptions {
            bars: None,
            mode: TradeMode::Answer,
            follow: Some(percent),
        };
        let traded = trade(1, options, &script);
        let bass = ons(&traded.taken, PartName::Bass);
        let beat = 80;
        let off = bass[beat].0 as f64 - beat as f64 * quarter;
        assert_eq!(off.abs() < 25e6, follows, "{percent} %: {} ms", off / 1e6);
        let tempo = 60e9 / (bass[beat + 1].0 - bass[beat].0) as f64;
        let most = 120.0 * (1.0 + percent / 100.0);
        assert!((118.8..=most + 0.01).contains(&tempo), "{tempo}");
    }
}

/// Both parts bar by bar, shown with `--nocapture`.
fn transcript(traded: &Traded, script: &[(u64, Message)]) -> String {
    let name = |key: &Option<u8>| match key {
        Some(key) => format!(
            "{}{}",
            NAMES[usize::from(key % 12)],
            i16::from(*key) / 12 - 1
        ),
        None => "-".into(),
    };
    let chords = [
        "F7", "Bb7", "F7", "F7", "Bb7", "Bb7", "F7", "D7", "Gm7", "C7", "F7 D7", "Gm7 C7",
    ];
    let bars = outlines(&traded.taken, 0..24)
        .into_iter()
        .zip(scripted(script, 0..24));
    let row = |(bar, (endpin, player)): (usize, (Outline, Outline))| {
        let keys = |outline: &Outline| outline.iter().map(name).collect::<Vec<_>>().join(" ");
        let (who, played) = match player.iter().flatten().count() {
            0 => ("endpin", keys(&endpin)),
            _ => ("player", keys(&player)),
        };
        format!("{:>2}  {:7} {who}  {played}", bar + 1, chords[bar % 12])
    };
    bars.enumerate().map(row).collect::<Vec<_>>().join("\n")
}

const NAMES: [&str; 12] = [
    "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
];

#[test]
fn an_exchange_is_a_file_with_both_parts_and_its_reasons() {
    let script = script(40, STEADY);
    let traded = trade(1, options(TradeMode::Answer), &script);
    let mut beats = endpin::live::played_notes::Beats::default();
    for beat in 0..100 {
        let tick = endpin::live::timebase::PlayTick(beat * 960);
        beats.push(tick, Nanos(LEAD + beat as u64 * HALF_SECOND));
    }
    let meter = "4/4".parse().unwrap();
    let file = traded
        .exchange
        .midi_file("Ladder Street", &meter, &beats, Default::default());
    let file = file.unwrap();
    let read = midly::Smf::parse(&file).unwrap();
    let names: Vec<String> = read.tracks[1..]
        .iter()
        .map(|track| {
            let name = track.iter().find_map(|event| match event.kind {
                midly::TrackEventKind::Meta(midly::MetaMessage::TrackName(name)) => Some(name),
                _ => None,
            });
            String::from_utf8(name.unwrap().to_vec()).unwrap()
        })
        .collect();
    assert_eq!(names, ["Bass", "Player"]);
    let count = |track: &midly::Track| {
        let on = |event: &&midly::TrackEvent| matches!(event.kind, midly::TrackEventKind::Midi { message: midly::MidiMessage::NoteOn { vel, .. }, .. } if vel > 0);
        track.iter().filter(on).count()
    };
    let played = ons(&traded.taken, PartName::Bass);
    let before_ending = played
        .iter()
        .filter(|(at, ..)| (*at as u64) < 24 * BAR)
        .count();
    assert_eq!(count(&read.tracks[1]), before_ending);
    assert_eq!(count(&read.tracks[2]), script.len() / 2);
    let explained = traded.exchange.explained();
    println!("{}\n{explained}", transcript(&traded, &script));
    assert!(
        explained.starts_with("you, chorus 1, bars 5 to 8; endpin: your bar "),
        "{explained}"
    );
    assert!(
        explained.lines().count() > 32,
        "a reason for each note:\n{explained}"
    );
}

#[test]
fn answers_are_like_what_they_answer_and_not_like_another_phrase() {
    let mut band = band(None, 1);
    let first = band.first_request();
    let second = PassageRequest { chorus: 2, ..first };
    let place = |request, bar| BarPlace { request, bar };
    let whole: Vec<BarPlace> = (0..12).map(|bar| place(first, bar)).collect();
    let played = band.stretch(&whole[4..8]).unwrap();
    let mut answered: Vec<BarPlace> = whole[8..].to_vec();
    answered.push(place(second, 0));
    let answered = band.stretch(&answered).unwrap();
    let lines = band.stretch(&whole).unwrap().walker(Vec::new()).unwrap();
    let mut took = Vec::new();
    let runs: Vec<(Vec<Outline>, Vec<Outline>)> = lines
        .lines(77, 1, 100)
        .iter()
        .zip(0..)
        .map(|(line, run)| {
            let start = Ticks(16 * 960);
            let inside = line.notes.iter().filter(|note| (5..=8).contains(&note.bar));
            // A hand that is a little early or late, by a step that shares no factor with the beat.
            let notes = inside.zip(0..).map(|(note, index)| HeardNote {
                at: note.start - start + Ticks((index * 37 + run) % 90 - 45),
                length: Ticks(800),
                key: note.pitch.midi() as u8,
                velocity: 88,
            });
            let phrase = Phrase {
                ground: played.chorus.clone(),
                notes: notes.collect(),
            };
            let prepared = prepare(&phrase, answered.clone(), run as u64).unwrap();
            let began = Instant::now();
            let answer = choose(prepared, &phrase).unwrap();
            let end = answered.chorus.bars[4].start;
            let amended = answer
                .stretch
                .amendments(&answer.line, &(Ticks::ZERO..end), answer.gain);
            took.push(began.elapsed());
            assert_eq!(amended.len(), 1);
            let own = endpin::live::trade::answer::outlines(&answer.line, &answer.stretch, 4);
            (own, phrase.outlines())
        })
        .collect();
    let mut above = 0;
    let (mut own, mut others) = (0.0, 0.0);
    for (index, (answer, heard)) in runs.iter().enumerate() {
        let (unrelated, _) = &runs[(index + 37) % runs.len()];
        let (mine, other) = (taken_up(answer, heard), taken_up(unrelated, heard));
        above += usize::from(mine > other);
        own += mine / 100.0;
        others += other / 100.0;
    }
    took.sort();
    println!(
        "{above} of 100 above; mean {own:.2} against {others:.2}; {:?} at the median, {:?} at most",
        took[50], took[99]
    );
    assert!(
        above >= 95,
        "{above} of 100; mean {own:.2} against {others:.2}"
    );
    assert!(took[50] < Duration::from_millis(5), "{:?}", took[50]);
}

#[test]
fn a_jump_a_key_and_a_seed_are_led_to_by_the_beat_before_them() {
    for (beat, control) in [
        (1, Control::NextSection),
        (9, Control::NextSection),
        (4, Control::TransposeUp),
        (12, Control::NewSeed),
        (2, Control::LoopSection),
    ] {
        let mut play = FakePlay::with_band(None, band(None, 3));
        play.conductor.begin();
        play.ask_at(beat * HALF_SECOND + 1_000_000, control);
        play.play_until(Nanos(LEAD + 13 * BAR));
        let bars = outlines(&play.recording.take(), 0..13);
        // Where play goes: to B (Bb7), to C (Gm7), to the next chorus (Gb7 or F7), round section A (F7).
        let (bar, chroma) = match (control, beat) {
            (Control::NextSection, 1) => (0, 10),
            (Control::NextSection, _) => (2, 10),
            (Control::TransposeUp, _) => (11, 6),
            (Control::NewSeed, _) => (11, 5),
            _ => (3, 5),
        };
        let (Some(last), Some(next)) = (bars[bar][3], bars[bar + 1][0]) else {
            panic!("a beat without a note: {bars:?}");
        };
        assert_eq!(next % 12, chroma, "{control:?}: {bars:?}");
        let step = i16::from(last) - i16::from(next);
        let led = [10, 11, 1, 2, 7].contains(&step.rem_euclid(12));
        assert!(
            led,
            "{control:?}: {last} to {next} after bar {bar}: {bars:?}"
        );
    }
}
