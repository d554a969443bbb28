//! Short progressions of our own, for the questions that ask for a progression or a quality.
//!
//! They are written in C, one chord a bar, and moved to the key of the question. The roots of the
//! turnarounds and the ii-V into each degree are common practice, no source.

use super::kind::QuestionKind;

/// A progression and the answer that names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Phrase {
    /// The answer that it is to its kind of question.
    pub answer: &'static str,
    /// Its bars in C major, the arrival last.
    pub bars: &'static str,
}

const TURNAROUNDS: [Phrase; 4] = [
    Phrase {
        answer: "1-6-2-5",
        bars: "Cmaj7 | A7 | Dm7 | G7 | Cmaj7",
    },
    Phrase {
        answer: "1-#1-2-5",
        bars: "Cmaj7 | C#dim7 | Dm7 | G7 | Cmaj7",
    },
    Phrase {
        answer: "3-6-2-5",
        bars: "Em7 | A7 | Dm7 | G7 | Cmaj7",
    },
    Phrase {
        answer: "1-b3-b6-b2",
        bars: "Cmaj7 | Eb7 | Ab7 | Db7 | Cmaj7",
    },
];

/// Each opens on the tonic and closes with the ii-V of the degree to which it goes.
const CADENCES: [Phrase; 5] = [
    Phrase {
        answer: "1",
        bars: "Cmaj7 | Dm7 | G7 | Cmaj7",
    },
    Phrase {
        answer: "2",
        bars: "Cmaj7 | Em7b5 | A7 | Dm7",
    },
    Phrase {
        answer: "4",
        bars: "Cmaj7 | Gm7 | C7 | Fmaj7",
    },
    Phrase {
        answer: "5",
        bars: "Cmaj7 | Am7 | D7 | G7",
    },
    Phrase {
        answer: "6",
        bars: "Cmaj7 | Bm7b5 | E7 | Am7",
    },
];

/// Two bars of one chord, which the question then plays in four qualities.
const QUALITY: [Phrase; 1] = [Phrase {
    answer: "dominant-seventh",
    bars: "C7 | C7 | F",
}];

/// The progressions of a kind, in the order of its answers; empty for kinds that ask of the charts.
pub fn phrases(kind: QuestionKind) -> &'static [Phrase] {
    match kind {
        QuestionKind::Turnaround => &TURNAROUNDS,
        QuestionKind::NextRoot => &CADENCES,
        QuestionKind::Quality => &QUALITY,
        _ => &[],
    }
}

/// Third, fifth and seventh of each answer to the question of quality, in semitones above the root.
pub const QUALITIES: [(&str, [i16; 3]); 4] = [
    ("major-seventh", [4, 7, 11]),
    ("dominant-seventh", [4, 7, 10]),
    ("minor-seventh", [3, 7, 10]),
    ("half-diminished", [3, 6, 10]),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_answer_has_its_phrase_in_the_same_order() {
        for kind in [QuestionKind::Turnaround, QuestionKind::NextRoot] {
            let answers: Vec<_> = kind
                .choices(&[])
                .into_iter()
                .map(|choice| choice.answer)
                .collect();
            let phrases: Vec<_> = phrases(kind).iter().map(|phrase| phrase.answer).collect();
            assert_eq!(answers, phrases);
        }
        let answers = QuestionKind::Quality
            .choices(&[])
            .into_iter()
            .map(|choice| choice.answer);
        assert!(answers.eq(QUALITIES.map(|(answer, _)| answer.to_owned())));
    }
}
