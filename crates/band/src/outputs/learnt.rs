//! What was learnt from takes: as a table of weights, as text, as JSON.

use super::{report::rounded, table::Table};
use endpin_walker::learn::{Bits, Learnt};
use serde::Serialize;

/// The weights as a file for `--weights`.
pub fn table(learnt: &Learnt) -> String {
    format!(
        "# Learnt from {} notes of {} that were heard, at {:.2} bits a note ({:.2} by the weights before).\n{}",
        learnt.used,
        learnt.notes,
        learnt.bits.learnt,
        learnt.bits.default,
        learnt.weights.template()
    )
}

/// Weights that are told of in text.
const TOLD: usize = 10;

/// Notes of a weight, played or expected, below which its change is no news.
const FEW: f64 = 8.0;

/// The report for reading.
pub fn text(learnt: &Learnt) -> String {
    let mut text = format!(
        "Learnt from {} of {} notes: those that keep the rules, with neighbours that do too.\n\n",
        learnt.used, learnt.notes
    );
    let mut bits = Table::new(&["", "all lines alike", "weights before", "learnt"]);
    let mut row = |name: &str, found: Bits| {
        let number = |bits: f64| format!("{bits:.2}");
        bits.row([
            name.to_owned(),
            number(found.uniform),
            number(found.default),
            number(found.learnt),
        ]);
    };
    row("bits a note", learnt.bits);
    if let Some(held_out) = learnt.held_out {
        row("held out", held_out);
    }
    text.push_str(&bits.to_string());
    text.push_str(match learnt.habits.is_empty() {
        true => "\nNothing stands out: every difference could be chance.\n",
        false => "\nWhat these takes do more or less often than the weights before would:\n",
    });
    for habit in &learnt.habits {
        text.push_str(&format!("- {}\n", habit.words));
    }
    let mut moved = Table::new(&["weight", "was", "is"]);
    let told = learnt.moved.iter();
    let told = told.filter(|moved| moved.played.max(moved.expected) >= FEW);
    for one in told.take(TOLD) {
        moved.row([
            one.weight.clone(),
            format!("{:.0}", one.from),
            format!("{:.1}", one.to),
        ]);
    }
    text.push_str("\nWeights that moved most:\n");
    text.push_str(&moved.to_string());
    text
}

/// `endpin-learn/1`.
#[derive(Debug, Serialize)]
pub struct LearnReport {
    format: &'static str,
    notes: usize,
    used: usize,
    bits_per_note: BitsRow,
    held_out: Option<BitsRow>,
    moved: Vec<MovedRow>,
}

#[derive(Debug, Serialize)]
struct BitsRow {
    uniform: f64,
    default: f64,
    learnt: f64,
}

#[derive(Debug, Serialize)]
struct MovedRow {
    weight: String,
    from: f64,
    to: f64,
    played: f64,
    expected: f64,
}

impl From<Bits> for BitsRow {
    fn from(bits: Bits) -> BitsRow {
        BitsRow {
            uniform: rounded(bits.uniform, 4),
            default: rounded(bits.default, 4),
            learnt: rounded(bits.learnt, 4),
        }
    }
}

impl LearnReport {
    /// The report of what was learnt.
    pub fn new(learnt: &Learnt) -> LearnReport {
        LearnReport {
            format: "endpin-learn/1",
            notes: learnt.notes,
            used: learnt.used,
            bits_per_note: learnt.bits.into(),
            held_out: learnt.held_out.map(BitsRow::from),
            moved: learnt
                .moved
                .iter()
                .map(|moved| MovedRow {
                    weight: moved.weight.clone(),
                    from: moved.from,
                    to: rounded(moved.to, 3),
                    played: moved.played,
                    expected: rounded(moved.expected, 1),
                })
                .collect(),
        }
    }
}
