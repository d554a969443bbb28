//! The clock that play keeps time by: monotonic in earnest, a fake one in tests.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;
use std::time::{Duration, Instant};

/// A moment, in nanoseconds since the clock was made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Nanos(pub u64);

impl Nanos {
    /// The moment `span` after this one.
    pub const fn after(self, span: Duration) -> Nanos {
        Nanos(self.0.saturating_add(span.as_nanos() as u64))
    }

    /// How long after `earlier` this moment is; nought if it is not.
    pub const fn since(self, earlier: Nanos) -> Duration {
        Duration::from_nanos(self.0.saturating_sub(earlier.0))
    }
}

/// What the scheduler asks of time.
pub trait Clock {
    /// The present moment; never goes back.
    fn now(&self) -> Nanos;
    /// Gives the processor away for about `span`, to look again afterwards. Exactness is not
    /// wanted here.
    fn nap(&self, span: Duration);
    /// Returns at `deadline`, as exactly as the machine can; at once if it has passed.
    fn wait_until(&self, deadline: Nanos);
}

/// The machine's monotonic clock. Copies share one origin.
#[derive(Clone, Copy, Debug)]
pub struct Monotonic {
    origin: Instant,
}

impl Monotonic {
    /// How long before a deadline sleeping gives way to spinning. A sleeping thread wakes some
    /// tens of microseconds late on an idle Linux machine (timer slack alone is 50), so that this
    /// much is spent awake to be on time.
    pub const SPIN: Duration = Duration::from_micros(300);

    /// A clock that starts now.
    pub fn start() -> Monotonic {
        Monotonic {
            origin: Instant::now(),
        }
    }
}

impl Clock for Monotonic {
    fn now(&self) -> Nanos {
        Nanos::default().after(self.origin.elapsed())
    }

    fn nap(&self, span: Duration) {
        thread::sleep(span);
    }

    fn wait_until(&self, deadline: Nanos) {
        let ahead = deadline.since(self.now());
        if ahead > Self::SPIN {
            thread::sleep(ahead - Self::SPIN);
        }
        while self.now() < deadline {
            std::hint::spin_loop();
        }
    }
}

/// A clock that only moves when somebody waits, so that hours of play take moments to test.
#[derive(Clone, Debug, Default)]
pub struct FakeClock {
    now: Arc<AtomicU64>,
}

impl FakeClock {
    /// Moves the clock on by `span`.
    pub fn advance(&self, span: Duration) {
        self.wait_until(self.now().after(span));
    }
}

impl Clock for FakeClock {
    fn now(&self) -> Nanos {
        Nanos(self.now.load(Ordering::SeqCst))
    }

    fn nap(&self, span: Duration) {
        self.advance(span);
    }

    fn wait_until(&self, deadline: Nanos) {
        self.now.fetch_max(deadline.0, Ordering::SeqCst);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waiting_ends_at_or_after_the_deadline_and_never_before() {
        let clock = Monotonic::start();
        for step in 1..=20 {
            let deadline = Nanos(step * 1_000_000);
            clock.wait_until(deadline);
            assert!(clock.now() >= deadline);
        }
    }

    #[test]
    fn the_fake_clock_moves_only_when_asked() {
        let clock = FakeClock::default();
        let twin = clock.clone();
        clock.wait_until(Nanos(500));
        clock.wait_until(Nanos(100));
        assert_eq!(twin.now(), Nanos(500));
        twin.nap(Duration::from_nanos(7));
        assert_eq!(clock.now(), Nanos(507));
    }
}
