//! Trading: endpin and a player take turns, some bars each, and each answers what the other played.
//!
//! ```text
//! MIDI in ──▶ trader ──bars drawn anew──▶ conductor
//!               ▲                            │
//!               └───────────beats────────────┘
//! ```
//! The trader has a thread of its own. While the player's last beat sounds it draws the lines that could answer;
//! a moment before the bar line it chooses one. The conductor holds that bar's first beat back until then, and goes
//! on with what it had if no answer comes.

pub mod answer;
pub mod exchange;
pub mod phrase;
pub mod player_pulse;
pub mod trader;
