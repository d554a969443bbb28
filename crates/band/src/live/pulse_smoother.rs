//! A second-order delay-locked loop, which takes the jitter out of pulses (F. Adriaensen, "Using a DLL
//! to filter time", Linux Audio Conference 2005; formulas from memory): it predicts each arrival, and
//! corrects both its phase and its period by a part of the error.

/// The loop that smooths pulses; see the module. Times are in nanoseconds.
#[derive(Clone, Copy, Debug)]
pub(super) struct PulseSmoother {
    /// Filtered time of the last pulse.
    pub last: f64,
    /// Predicted time of the next.
    pub next: f64,
    /// Filtered period.
    pub period: f64,
    /// Intervals heard since the loop was locked.
    pub age: u32,
}

impl PulseSmoother {
    /// Bandwidth once settled, in hertz: slow enough to smooth jitter, fast enough for a rallentando.
    const SETTLED: f64 = 0.5;
    /// Bandwidth at first, to find the period quickly.
    const EAGER: f64 = 4.0;
    /// Pulses over which the one becomes the other.
    const SETTLING: f64 = 48.0;

    /// A loop that takes this pulse for exact.
    pub fn lock(at: f64, period: f64) -> PulseSmoother {
        PulseSmoother {
            last: at,
            next: at + period,
            period,
            age: 0,
        }
    }

    /// The same where the period has been heard, and is no mere expectation.
    pub fn lock_heard(at: f64, period: f64) -> PulseSmoother {
        PulseSmoother {
            age: 1,
            ..PulseSmoother::lock(at, period)
        }
    }

    /// Goes on from a pulse as if it were exact, with the period known so far.
    pub fn resume(&mut self, at: f64) {
        self.last = at;
        self.next = at + self.period;
    }

    /// Passes over pulses that did not come, up to one that may have been held up: it says nothing.
    pub fn skip(&mut self, pulses: i64) {
        self.last = self.next + (pulses - 1) as f64 * self.period;
        self.next = self.last + self.period;
    }

    /// Takes a pulse in: the next is expected, and the period held, so much nearer to what it says.
    pub fn hear(&mut self, at: f64) {
        let share = (f64::from(self.age) / Self::SETTLING).min(1.0);
        let bandwidth = Self::EAGER + (Self::SETTLED - Self::EAGER) * share;
        let omega = std::f64::consts::TAU * bandwidth * (self.period / 1e9);
        // Beyond this the loop would swing instead of settling (very slow tempi).
        let omega = omega.min(0.6);
        let error = at - self.next;
        self.last = self.next;
        self.next += std::f64::consts::SQRT_2 * omega * error + self.period;
        self.period += omega * omega * error;
        self.age = self.age.saturating_add(1);
    }
}
