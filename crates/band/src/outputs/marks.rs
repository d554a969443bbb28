//! The marks of a line: what each note promises, and where the promise is kept.
//!
//! This is the one statement of how a note's part is shown. Paper, pages, `explain`, `check` and MusicXML only
//! draw or print it:
//!
//! - a **figure** is the note's degree: bare where it belongs to the chord, in square brackets where it only
//!   passes, `/` for the written bass, `?` where a played note has no part at all, all in parentheses for a ghost;
//! - a **rope** runs from each promise (an approach) to its keeping: one strand for a half step, two for a whole
//!   step, dots for the dominant;
//! - a **post** stands where the rope is made fast: at the arrival, or the tone on a strong beat, that was promised.
//!
//! A rope that ends at a figure without a post goes on from there: the two notes make one promise. One from
//! which no post follows was not kept, or is kept beyond what is shown. A judged note has its grade in the shape
//! of a line below: none, single, broken, crossed.

pub use endpin_walker::judge::Grade;
use endpin_walker::{LineNote, Role, Verdict};
use std::ops::Range;

/// What the marks mean, in two lines, the same in every output.
pub const LEGEND: [&str; 2] = [
    "1, 3, 5, 7 (4, 6) belong to the chord; [2] passes; / written bass; (1) ghost.",
    "A rope promises: one strand a half step, two a whole, dots a dominant; | keeps.",
];

/// The legend of a judged line: one more line, for its grades.
pub const GRADE_LEGEND: &str =
    "? no part. Underline: none good, single a choice, broken unusual, crossed wrong.";

/// What is told of a note.
#[derive(Clone, Debug)]
pub struct NoteTold {
    figure: String,
    role: Option<Role>,
    approach: Option<Role>,
    key: i16,
    ghost: bool,
}

impl From<&LineNote> for NoteTold {
    fn from(note: &LineNote) -> NoteTold {
        NoteTold {
            figure: note.degree.to_string(),
            role: Some(note.role),
            approach: note.approach,
            key: note.pitch.midi(),
            ghost: note.ghost,
        }
    }
}

impl From<&Verdict> for NoteTold {
    fn from(verdict: &Verdict) -> NoteTold {
        NoteTold {
            figure: verdict
                .degree
                .map_or_else(String::new, |degree| degree.to_string()),
            role: verdict.role,
            approach: verdict.approach,
            key: verdict.pitch.midi(),
            ghost: false,
        }
    }
}

impl NoteTold {
    /// The approach that the note makes, by its part or besides.
    fn lead(&self) -> Option<Role> {
        self.approach
            .or(self.role.filter(|role| role.is_approach()))
    }
}

/// How a rope is drawn: by how far the promise is from its keeping.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rope {
    /// A half step: one strand.
    One,
    /// A whole step, which is two half steps: two strands.
    Two,
    /// A fourth or a fifth, from the dominant: dots, since nothing lies between.
    Dots,
}

impl Rope {
    /// The sign that is repeated in text.
    pub fn sign(self) -> char {
        match self {
            Rope::One => '_',
            Rope::Two => '=',
            Rope::Dots => '.',
        }
    }

    /// The rope of a step of so many semitones, if it is one.
    fn of_step(semitones: i16) -> Option<Rope> {
        match semitones.abs() {
            1 => Some(Rope::One),
            2 => Some(Rope::Two),
            _ => None,
        }
    }
}

/// A promise: a note that leads on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Promise {
    /// How its rope is drawn.
    pub rope: Rope,
    /// Whether what it promises lies above it.
    pub rises: bool,
    /// The number of the note at which the rope ends; none if the promise is not kept within the notes shown.
    pub to: Option<usize>,
    /// Which approach it is.
    pub role: Role,
}

/// The mark of one note.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// The figure with its brackets or parentheses, as it is printed.
    pub figure: String,
    /// Whether the note only passes, and so stands in brackets.
    pub passes: bool,
    /// What the note promises.
    pub promise: Option<Promise>,
    /// Whether a promise is kept here: the post.
    pub keeps: bool,
    /// The grade, where the line was judged.
    pub grade: Grade,
    role: Option<Role>,
    ghost: bool,
}

/// The marks of notes in order.
pub fn of<'a, T>(notes: impl IntoIterator<Item = &'a T>) -> Vec<Mark>
where
    T: 'a,
    NoteTold: From<&'a T>,
{
    let notes: Vec<NoteTold> = notes.into_iter().map(NoteTold::from).collect();
    let mut marks: Vec<Mark> = notes.iter().map(Mark::unled).collect();
    let mut second_of_pair = false;
    for index in 0..notes.len() {
        let Some(role) = notes[index].lead() else {
            second_of_pair = false;
            continue;
        };
        let is_pair = matches!(role, Role::DoubleChromatic | Role::Enclosure);
        let next_too = notes.get(index + 1).and_then(NoteTold::lead) == Some(role);
        let first_of_pair = is_pair && next_too && !second_of_pair;
        let promise = promise(&notes, index, role, first_of_pair);
        // The first half step of two ends at the second note, which keeps nothing.
        let goes_on = first_of_pair && role == Role::DoubleChromatic;
        if let Some(to) = promise.to.filter(|_| !goes_on) {
            marks[to].keeps = true;
        }
        marks[index].promise = Some(promise);
        second_of_pair = first_of_pair;
    }
    marks
}

/// The marks of some of the notes, shown by themselves: a promise that is kept among the others leads out of
/// sight, and a post stands though its rope comes from there.
pub fn part(marks: &[Mark], range: Range<usize>) -> Vec<Mark> {
    let mut part = marks[range.clone()].to_vec();
    for promise in part.iter_mut().filter_map(|mark| mark.promise.as_mut()) {
        promise.to = promise
            .to
            .filter(|to| range.contains(to))
            .map(|to| to - range.start);
    }
    part
}

/// What the note of this number promises.
fn promise(notes: &[NoteTold], index: usize, role: Role, first_of_pair: bool) -> Promise {
    let to = match (role, first_of_pair) {
        (Role::Enclosure, true) => index + 2,
        _ => index + 1,
    };
    let key = |number: usize| notes.get(number).map(|note| note.key);
    let step = key(to).map(|goal| goal - notes[index].key);
    let fits = |step: &i16| match role {
        Role::ChromaticBelow => *step == 1,
        Role::ChromaticAbove => *step == -1,
        Role::ScaleBelow => *step == 2,
        Role::ScaleAbove => *step == -2,
        Role::Dominant => matches!(step, 5 | -7),
        _ => Rope::of_step(*step).is_some(),
    };
    let kept = step.filter(fits);
    // Where the goal is out of sight, a pair tells by how far its notes lie apart.
    let beside = if first_of_pair {
        key(index + 1)
    } else {
        index.checked_sub(1).and_then(key)
    };
    let apart = beside.map_or(0, |beside| beside - notes[index].key);
    let unseen = match role {
        Role::ChromaticBelow => 1,
        Role::ChromaticAbove => -1,
        Role::ScaleBelow => 2,
        Role::ScaleAbove => -2,
        Role::DoubleChromatic if first_of_pair => apart.signum(),
        Role::DoubleChromatic => -apart.signum(),
        Role::Enclosure => apart.signum() * if apart.abs() > 2 { 2 } else { 1 },
        _ => 5,
    };
    let semitones = kept.unwrap_or(unseen);
    Promise {
        rope: match role {
            Role::Dominant => Rope::Dots,
            _ => Rope::of_step(semitones).unwrap_or(Rope::One),
        },
        rises: semitones > 0,
        to: kept.map(|_| to),
        role,
    }
}

impl Mark {
    /// The mark of a note that neither promises nor keeps.
    fn unled(note: &NoteTold) -> Mark {
        let (figure, passes) = match note.role {
            None => ("?".to_owned(), false),
            Some(Role::Bass) => ("/".to_owned(), false),
            Some(role) if role.is_chord_tone() => (note.figure.clone(), false),
            Some(_) => (format!("[{}]", note.figure), true),
        };
        Mark {
            figure: if note.ghost {
                format!("({figure})")
            } else {
                figure
            },
            passes,
            promise: None,
            keeps: false,
            grade: Grade::Good,
            role: note.role,
            ghost: note.ghost,
        }
    }

    /// The mark alone, as text: `|1` keeps, `[b3]_` promises by a half step.
    pub fn text(&self) -> String {
        let post = if self.keeps { "|" } else { "" };
        let rope = self.promise.map(|promise| promise.rope.sign());
        format!(
            "{post}{}{}",
            self.figure,
            rope.map_or(String::new(), String::from)
        )
    }

    /// The mark for those who hear it: `root, keeps it`; `approach, promises a half step up`.
    pub fn words(&self) -> String {
        let ghost = if self.ghost { "ghost " } else { "" };
        let part = match self.role {
            None => "no part",
            Some(Role::Bass) => "written bass",
            Some(Role::Scale) => "scale note",
            Some(role) if role.is_approach() => "approach",
            Some(role) => role.name(),
        };
        let mut words = format!("{ghost}{part}");
        if self.keeps {
            words.push_str(", keeps it");
        }
        if let Some(Promise {
            rope, rises, role, ..
        }) = self.promise
        {
            words.push_str(match role {
                Role::DoubleChromatic => ", one of two in a row, promises ",
                Role::Enclosure => ", one of two on either side, promises ",
                _ => ", promises ",
            });
            let way = if rises { "up" } else { "down" };
            match rope {
                Rope::One => words.push_str(&format!("a half step {way}")),
                Rope::Two => words.push_str(&format!("a whole step {way}")),
                Rope::Dots => words.push_str("as dominant"),
            }
        }
        words
    }
}

/// The line that tells a grade in text, about as wide as a figure.
pub fn grade_line(grade: Grade) -> &'static str {
    match grade {
        Grade::Good => "",
        Grade::Choice => "-----",
        Grade::Unusual => "- - -",
        Grade::Wrong => "--x--",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(figure: &str, role: Role, approach: Option<Role>, key: i16) -> NoteTold {
        NoteTold {
            figure: figure.to_owned(),
            role: Some(role),
            approach,
            key,
            ghost: false,
        }
    }

    impl<'a> From<&'a NoteTold> for NoteTold {
        fn from(note: &'a NoteTold) -> NoteTold {
            note.clone()
        }
    }

    fn texts(notes: &[NoteTold]) -> Vec<String> {
        of(notes).iter().map(Mark::text).collect()
    }

    #[test]
    fn each_promise_has_its_rope_and_its_post() {
        use Role::*;
        let line = [
            note("1", Root, Some(Dominant), 41),
            note("1", Root, None, 46),
            note("#1", ChromaticBelow, None, 47),
            note("2", Scale, None, 48),
            note("3", Third, Some(ScaleBelow), 50),
            note("/", Bass, None, 52),
        ];
        // The half step leads to 48, the whole step from 50 to 52.
        assert_eq!(texts(&line), ["1.", "|1", "[#1]_", "|[2]", "3=", "|/"]);
    }

    #[test]
    fn two_notes_make_one_promise() {
        use Role::*;
        let goal = note("1", Root, None, 41);
        let chain = [
            note("2", DoubleChromatic, None, 43),
            note("b2", DoubleChromatic, None, 42),
            goal.clone(),
        ];
        let marks = of(&chain);
        assert_eq!(texts(&chain), ["[2]_", "[b2]_", "|1"]);
        assert_eq!(marks[0].promise.unwrap().to, Some(1));
        let around = [
            note("2", Enclosure, None, 43),
            note("7", Enclosure, None, 40),
            goal,
        ];
        let marks = of(&around);
        assert_eq!(texts(&around), ["[2]=", "[7]_", "|1"]);
        assert_eq!(marks[0].promise.unwrap().to, Some(2));
        assert!(!marks[0].promise.unwrap().rises && marks[1].promise.unwrap().rises);
    }

    #[test]
    fn a_promise_that_is_not_kept_has_no_post() {
        let line = [
            note("b2", Role::ChromaticAbove, None, 42),
            note("3", Role::Third, None, 45),
        ];
        assert_eq!(texts(&line), ["[b2]_", "3"]);
        assert_eq!(of(&line)[0].promise.unwrap().to, None);
        assert_eq!(of(&line)[0].words(), "approach, promises a half step down");
    }

    #[test]
    fn a_part_shows_what_leads_out_of_it_and_into_it() {
        let line = [
            note("1", Role::Root, None, 41),
            note("#1", Role::ChromaticBelow, None, 42),
            note("1", Role::Root, None, 43),
        ];
        let marks = of(&line);
        assert_eq!(part(&marks, 0..2)[1].promise.unwrap().to, None);
        assert!(part(&marks, 2..3)[0].keeps);
        assert_eq!(part(&marks, 1..3)[0].promise.unwrap().to, Some(1));
    }

    #[test]
    fn ghosts_and_notes_without_a_part_are_told_apart() {
        let mut ghost = note("b3", Role::Scale, None, 44);
        ghost.ghost = true;
        let mut stranger = note("b9", Role::Root, None, 42);
        stranger.role = None;
        assert_eq!(texts(&[ghost, stranger]), ["([b3])", "?"]);
    }

    #[test]
    fn the_legend_fits_its_lines() {
        // A terminal of 80 columns.
        for line in LEGEND.into_iter().chain([GRADE_LEGEND]) {
            assert!(line.chars().count() <= 80, "{line}");
        }
    }
}
