//! A take: a line that somebody played, from the bytes of its file to notes over the chart.

pub mod clock;
pub mod file;
pub mod melody;
pub mod pulse;
pub mod slots;
pub mod voice;
