//! Plays a question on a MIDI port while the learner thinks.
//!
//! However the drill ends, no note is left sounding: a playing thread that is told to stop, or that sees the
//! program interrupted, releases every note before it goes.

use crate::{
    live::{message::Message, sink::Sink},
    performance::score::Score,
};
use endpin_theory::meter::TICKS_PER_QUARTER;
use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

type Port = Box<dyn Sink + Send>;

/// A port and what plays on it.
pub struct QuestionPlayer {
    port: Option<Port>,
    playing: Option<(Arc<AtomicBool>, JoinHandle<Port>)>,
    interrupted: Arc<AtomicBool>,
    idle: Arc<AtomicBool>,
}

/// Exit code of a program ended by Ctrl-C (common practice of shells: 128 and the signal's number).
const INTERRUPTED: i32 = 130;
/// How long a thread sleeps before it looks whether it should stop.
const LOOK: Duration = Duration::from_millis(5);

impl QuestionPlayer {
    /// A player on an open port.
    ///
    /// # Errors
    /// A system that does not let us hear of Ctrl-C.
    pub fn new(port: Port) -> std::io::Result<QuestionPlayer> {
        let (interrupted, idle) = (
            Arc::new(AtomicBool::new(false)),
            Arc::new(AtomicBool::new(true)),
        );
        for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
            // While nothing sounds the program simply ends; else the playing thread ends it.
            signal_hook::flag::register_conditional_shutdown(signal, INTERRUPTED, idle.clone())?;
            signal_hook::flag::register(signal, interrupted.clone())?;
        }
        Ok(QuestionPlayer {
            port: Some(port),
            playing: None,
            interrupted,
            idle,
        })
    }

    /// Stops what plays and starts this.
    pub fn play(&mut self, score: &Score, tempo: u16) {
        self.stop();
        let Some(mut port) = self.port.take() else {
            return;
        };
        let events = events(score, tempo);
        let stop = Arc::new(AtomicBool::new(false));
        let (told, interrupted, idle) = (stop.clone(), self.interrupted.clone(), self.idle.clone());
        idle.store(false, Ordering::SeqCst);
        let thread = thread::spawn(move || {
            let began = Instant::now();
            let ended = || told.load(Ordering::SeqCst) || interrupted.load(Ordering::SeqCst);
            'play: for (at, message) in events {
                while let Some(left) = at
                    .checked_sub(began.elapsed())
                    .filter(|left| !left.is_zero())
                {
                    if ended() {
                        break 'play;
                    }
                    thread::sleep(left.min(LOOK));
                }
                // A port that has gone is silent: the drill goes on without it.
                if port.send(message).is_err() {
                    break;
                }
            }
            // All notes off (controller 123 of MIDI 1.0) on the channels used.
            for channel in [0, 1, 9] {
                _ = port.send(Message::control(channel, 123, 0));
            }
            port.settle();
            idle.store(true, Ordering::SeqCst);
            if interrupted.load(Ordering::SeqCst) {
                std::process::exit(INTERRUPTED);
            }
            port
        });
        self.playing = Some((stop, thread));
    }

    /// Stops what plays, and waits until it is silent.
    pub fn stop(&mut self) {
        if let Some((stop, thread)) = self.playing.take() {
            stop.store(true, Ordering::SeqCst);
            // A thread that panicked has lost its port, and nothing sounds from now on.
            self.port = thread.join().ok();
        }
    }
}

impl Drop for QuestionPlayer {
    fn drop(&mut self) {
        self.stop();
    }
}

/// What to send when, releases before attacks.
fn events(score: &Score, tempo: u16) -> Vec<(Duration, Message)> {
    let mut events: Vec<(i64, u8, Message)> = Vec::new();
    for part in &score.parts {
        let sound = Message::sound(part.channel, part.sound);
        events.extend(sound.map(|message| (0, 0, message)));
        for note in &part.notes {
            events.push((
                note.start.0,
                2,
                Message::note_on(part.channel, note.key, note.velocity),
            ));
            events.push((note.end().0, 1, Message::note_off(part.channel, note.key)));
        }
    }
    events.sort_by_key(|&(tick, rank, _)| (tick, rank));
    let nanoseconds = |tick: i64| {
        tick as u64 * 60_000_000_000 / u64::from(tempo.max(1)) / TICKS_PER_QUARTER as u64
    };
    let timed = |(tick, _, message)| (Duration::from_nanos(nanoseconds(tick)), message);
    events.into_iter().map(timed).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        live::sink::SinkError,
        performance::score::{Part, PartName, ScoreNote},
    };
    use endpin_theory::Ticks;
    use std::sync::Mutex;

    struct Heard(Arc<Mutex<Vec<Message>>>);

    impl Sink for Heard {
        fn send(&mut self, message: Message) -> Result<(), SinkError> {
            self.0.lock().unwrap().push(message);
            Ok(())
        }
    }

    #[test]
    fn a_question_cut_short_is_silenced() {
        let notes = (0..8).map(|beat| ScoreNote {
            start: Ticks(beat * 960),
            length: Ticks(900),
            key: 40,
            velocity: 80,
        });
        let score = Score {
            title: String::new(),
            parts: vec![Part::new(PartName::Bass, notes.collect())],
            conductor: Vec::new(),
            end: Ticks(8 * 960),
        };
        let heard = Arc::new(Mutex::new(Vec::new()));
        let mut player = QuestionPlayer::new(Box::new(Heard(heard.clone()))).unwrap();
        // 400 a minute: 1.2 seconds for all; stopped in the first note.
        player.play(&score, 400);
        thread::sleep(Duration::from_millis(30));
        player.stop();
        let messages = heard.lock().unwrap().clone();
        assert_eq!(messages[0].bytes(), [0xc0, 32]);
        assert_eq!(messages[1].bytes(), [0x90, 40, 80]);
        assert_eq!(messages.last().unwrap().bytes(), [0xb9, 123, 0]);
        assert!(messages.len() < 12);
    }
}
