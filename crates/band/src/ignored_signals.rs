//! The signals that were ignored when the process began, as `nohup` does with SIGHUP: they stay ignored.

/// The signals that are ignored, the first in the lowest bit. Only Linux tells; elsewhere none.
pub fn ignored() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    ignored_in(&status)
}

/// Reads the line `SigIgn` of `/proc/PID/status` (proc(5)): a mask in hexadecimal.
fn ignored_in(status: &str) -> u64 {
    let mask = status
        .lines()
        .find_map(|line| line.strip_prefix("SigIgn:"))
        .map(str::trim);
    mask.and_then(|mask| u64::from_str_radix(mask, 16).ok())
        .unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ignored_signals_are_read_from_the_status() {
        let status = "Name:\tendpin\nSigBlk:\t0000000000000000\nSigIgn:\t0000000000001001\n";
        // proc(5): signal 1, SIGHUP, is the lowest bit; 13 is SIGPIPE.
        assert_eq!(ignored_in(status), 1 | 1 << 12);
        assert_eq!(ignored_in("Name:\tendpin\n"), 0);
    }
}
