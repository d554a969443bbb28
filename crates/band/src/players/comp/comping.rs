//! What a comp is made of, when somebody asks for one kind of voicing instead of a mixture.

use super::voicing::{Form, VoicingKind};
use endpin_theory::did_you_mean;
use std::{fmt, str::FromStr};

/// The kind of voicings that a comp plays.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Comping {
    /// Two to four notes, whichever leads best; held in ballads and over pedals.
    #[default]
    Auto,
    /// Third and seventh alone.
    GuideTones,
    /// Four notes in close position, third or seventh lowest; three where four do not fit.
    Rootless,
    /// The same four notes in any inversion, the second from the top an octave lower.
    DropTwo,
    /// The mixture, held as long as the chord lasts, in every feel.
    Pads,
    /// Nothing.
    None,
}

impl Comping {
    /// All kinds.
    pub const ALL: [Comping; 6] = [
        Comping::Auto,
        Comping::GuideTones,
        Comping::Rootless,
        Comping::DropTwo,
        Comping::Pads,
        Comping::None,
    ];

    /// The forms that this kind takes of all that a chord has; all of them, where a chord has none of the kind.
    pub fn of(self, forms: Vec<Form>) -> Vec<Form> {
        let taken = match self {
            Comping::Auto | Comping::Pads => return forms,
            Comping::None => return Vec::new(),
            Comping::GuideTones => only(&forms, &[VoicingKind::Shell]),
            Comping::Rootless => only(&forms, &[VoicingKind::Four, VoicingKind::Three]),
            Comping::DropTwo => {
                let mut open = dropped(&forms);
                open.extend(only(&forms, &[VoicingKind::Three]));
                open
            }
        };
        if taken.is_empty() { forms } else { taken }
    }
}

/// What three notes cost beside four, where four are asked for: more than any colour, so that they stand in only
/// where four collide or lie too low.
const INSTEAD_OF_FOUR: i32 = 14;

/// The forms of these kinds.
fn only(forms: &[Form], kinds: &[VoicingKind]) -> Vec<Form> {
    let of_kind = forms.iter().filter(|form| kinds.contains(&form.kind));
    of_kind
        .map(|form| Form {
            cost: form.cost
                + match form.kind {
                    VoicingKind::Three => INSTEAD_OF_FOUR,
                    _ => 0,
                },
            ..form.clone()
        })
        .collect()
}

/// The four-note forms opened: in each inversion of the close position the second tone from the top goes down
/// an octave (J. Lyon, *A Compendium of Jazz Piano Voicings*, 2007, section L, which has it for rootless forms
/// and for any inversion).
fn dropped(forms: &[Form]) -> Vec<Form> {
    let mut open: Vec<Form> = Vec::new();
    for form in forms.iter().filter(|form| form.kind == VoicingKind::Four) {
        for lowest in 0..form.tones.len() {
            let mut tones = form.tones.clone();
            tones.rotate_left(lowest);
            let second_from_top = tones.remove(tones.len() - 2);
            tones.insert(0, second_from_top);
            // One set of tones comes with several lowest ones; its inversions are the same.
            if !open.iter().any(|other| other.tones == tones) {
                open.push(Form {
                    kind: VoicingKind::DropTwo,
                    tones,
                    cost: form.cost,
                });
            }
        }
    }
    open
}

/// Text that names no kind of comp.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is not a kind of comp{near}; write auto, guide-tones, rootless, drop-2, pads or none",
    near = did_you_mean(.0, Comping::ALL)
)]
pub struct CompingError(String);

impl FromStr for Comping {
    type Err = CompingError;

    fn from_str(text: &str) -> Result<Comping, CompingError> {
        Comping::ALL
            .into_iter()
            .find(|kind| kind.to_string() == text)
            .ok_or_else(|| CompingError(text.to_owned()))
    }
}

impl fmt::Display for Comping {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Comping::Auto => "auto",
            Comping::GuideTones => "guide-tones",
            Comping::Rootless => "rootless",
            Comping::DropTwo => "drop-2",
            Comping::Pads => "pads",
            Comping::None => "none",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_second_from_the_top_goes_down() {
        // J. Lyon, section L: rootless Dm7, F A C E in close position, opens to C F A E; E F A C to A E F C.
        let close = Form {
            kind: VoicingKind::Four,
            tones: ["b3", "5", "b7", "9"]
                .map(|tone| tone.parse().unwrap())
                .to_vec(),
            cost: 0,
        };
        let open: Vec<String> = dropped(&[close])
            .iter()
            .map(|form| {
                let tones: Vec<String> = form.tones.iter().map(ToString::to_string).collect();
                tones.join("-")
            })
            .collect();
        assert_eq!(open, ["b7-b3-5-9", "9-5-b7-b3", "b3-b7-9-5", "5-9-b3-b7"]);
    }

    #[test]
    fn every_kind_reads_back() {
        for kind in Comping::ALL {
            assert_eq!(kind.to_string().parse(), Ok(kind));
        }
        let error = "drop2".parse::<Comping>().unwrap_err().to_string();
        assert!(error.contains("drop-2"), "{error}");
    }
}
