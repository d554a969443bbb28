//! How late messages leave, measured on the thread that sends them.

use std::fmt;
use std::time::Duration;

use hdrhistogram::Histogram;

/// Lateness of every message sent, from 1 nanosecond to a minute, in buckets of three digits.
/// Recording neither allocates nor locks.
#[derive(Clone, Debug)]
pub struct Lateness {
    nanos: Histogram<u64>,
}

impl Default for Lateness {
    #[expect(
        clippy::expect_used,
        reason = "1 <= low, high >= 2 * low and digits <= 5 are all that is asked"
    )]
    fn default() -> Lateness {
        let nanos = Histogram::new_with_bounds(1, 60_000_000_000, 3);
        Lateness {
            nanos: nanos.expect("bounds that the histogram accepts"),
        }
    }
}

impl Lateness {
    /// Notes that a message left `late` after its deadline.
    pub fn record(&mut self, late: Duration) {
        let nanos = u64::try_from(late.as_nanos()).unwrap_or(u64::MAX);
        self.nanos.saturating_record(nanos.max(1));
    }

    /// How many messages were measured.
    pub fn count(&self) -> u64 {
        self.nanos.len()
    }

    /// The lateness that `share` (0 to 1) of the messages keep within.
    pub fn quantile(&self, share: f64) -> Duration {
        Duration::from_nanos(self.nanos.value_at_quantile(share))
    }

    /// The latest of all.
    pub fn max(&self) -> Duration {
        Duration::from_nanos(self.nanos.max())
    }
}

impl fmt::Display for Lateness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let micros = |span: Duration| span.as_nanos() as f64 / 1e3;
        write!(
            f,
            "{} messages; lateness p50 {:.1} µs, p99 {:.1} µs, max {:.1} µs",
            self.count(),
            micros(self.quantile(0.5)),
            micros(self.quantile(0.99)),
            micros(self.max())
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_those_of_the_sorted_list() {
        let mut lateness = Lateness::default();
        for micros in 1..=1_000 {
            lateness.record(Duration::from_micros(micros));
        }
        let near = |got: Duration, want: u64| {
            let want = Duration::from_micros(want);
            assert!(got.abs_diff(want) < want / 500, "{got:?} for {want:?}");
        };
        near(lateness.quantile(0.5), 500);
        near(lateness.quantile(0.99), 990);
        near(lateness.max(), 1_000);
        assert_eq!(lateness.count(), 1_000);
    }
}
