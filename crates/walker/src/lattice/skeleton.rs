//! Rules and tastes read side by side: the automaton whose paths are the admissible lines, compiled as it is
//! asked for.
//!
//! What rules and tastes answer depends on how a note lies against the note before and against the root of
//! its chord, not on the key of the tune; so an answer is worked out once and then looked up, by every chord
//! of a kind, every chorus and every key of the same level.

use super::graph::{Along, Edge};
use crate::{
    rules::{Keys, Memory, Onset, Rule, Sound, Step},
    tastes::Taste,
};
use rustc_hash::FxHashMap;
use std::sync::Arc;

/// What has to be known of a line so far to say how it may go on: its last note and all that the rules and
/// tastes remember.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct State {
    key: u8,
    rules: u64,
    tastes: u64,
}

impl State {
    /// Before any note.
    pub const START: State = State {
        key: u8::MAX,
        rules: 0,
        tastes: 0,
    };

    /// MIDI key of the last note; none before the first.
    pub fn key(self) -> Option<u8> {
        (self.key != u8::MAX).then_some(self.key)
    }
}

/// A rule or taste, and where its memory stands among that of all.
#[derive(Debug)]
struct Part<T: ?Sized> {
    reads: Arc<T>,
    shift: u32,
    mask: u64,
    /// Whether it makes statements.
    states: bool,
}

impl<T: ?Sized> Part<T> {
    fn recall(&self, memory: u64) -> Memory {
        (memory >> self.shift & self.mask) as Memory
    }

    fn keep(&self, kept: Memory) -> u64 {
        u64::from(kept) << self.shift
    }
}

/// Places the memories side by side.
///
/// # Panics
/// If together they remember more than 64 bits.
fn side_by_side<T: ?Sized>(
    all: Vec<Arc<T>>,
    bits: impl Fn(&T) -> u32,
    states: impl Fn(&T) -> bool,
) -> Vec<Part<T>> {
    let mut shift = 0;
    let parts = all.into_iter().map(|reads| {
        let bits = bits(&reads);
        let part = Part {
            states: states(&reads),
            reads,
            shift,
            mask: (1 << bits) - 1,
        };
        shift += bits;
        part
    });
    let parts = parts.collect();
    assert!(shift <= 64, "rules or tastes remember too much");
    parts
}

/// Memories and the numbers by which tables know them.
#[derive(Debug)]
struct Numbers {
    memories: Vec<u64>,
    numbers: FxHashMap<u64, u32>,
}

impl Numbers {
    /// Number 0 remembers nothing.
    fn new() -> Numbers {
        Numbers {
            memories: vec![0],
            numbers: FxHashMap::from_iter([(0, 0)]),
        }
    }

    fn of(&mut self, memory: u64) -> u32 {
        let next = self.memories.len() as u32;
        let number = *self.numbers.entry(memory).or_insert(next);
        if number == next {
            self.memories.push(memory);
        }
        number
    }
}

/// The most columns of a table: degrees above the root.
const DEGREES: usize = 12;

/// Answers over onsets of one kind: a row for each memory, in it a cell for silence and one for each move, and
/// where degrees matter a column for each of those that occur. A cell is 0 until it is asked for.
#[derive(Debug)]
struct Table {
    onset: Onset,
    /// The column of each degree, in semitones above the root; [`Table::NO_COLUMN`] for those that had no key.
    columns: [u8; DEGREES],
    width: usize,
    /// Where the row of each memory begins in the cells; 0 if it has none.
    rows: Vec<u32>,
}

impl Table {
    const NO_COLUMN: u8 = u8::MAX;

    /// A table whatever the degree.
    fn of_moves(onset: Onset) -> Table {
        Table {
            onset,
            columns: [0; DEGREES],
            width: 1,
            rows: Vec::new(),
        }
    }

    /// A table with a column for each degree that may start.
    fn of_degrees(onset: Onset, admits: impl Fn(&Onset, u8) -> bool) -> Table {
        let mut table = Table {
            columns: [Table::NO_COLUMN; DEGREES],
            width: 0,
            ..Table::of_moves(onset)
        };
        let everywhere = Onset {
            keys: Keys::between(0, 127),
            ..table.onset.clone()
        };
        for (degree, column) in (0..).zip(&mut table.columns) {
            if admits(&everywhere, 60 + degree) {
                *column = table.width as u8;
                table.width += 1;
            }
        }
        table
    }

    /// The cell of a move to a key, but for the key it comes from; none if it may not start.
    fn cell_of(&self, key: u8, root: u8) -> Option<u32> {
        let column = self.columns[usize::from((key + 12 - root) % 12)];
        let cell = usize::from(key) * self.width + usize::from(column);
        (column != Table::NO_COLUMN).then_some(cell as u32)
    }

    /// The row of a memory for moves from a key, made if there is none yet.
    fn row(&mut self, cells: &mut Vec<u32>, memory: u32, widest: u8, from: u8) -> Row {
        let memory = memory as usize;
        let moves = 2 * usize::from(widest) + 1;
        if self.rows.len() <= memory {
            self.rows.resize(memory + 1, 0);
        }
        if self.rows[memory] == 0 {
            self.rows[memory] = cells.len() as u32;
            cells.resize(cells.len() + 1 + moves * self.width, 0);
        }
        let silent = self.rows[memory] as usize;
        let first = silent + 1 + usize::from(widest) * self.width;
        Row {
            silent,
            // A key beyond the widest move has no cell; whoever asks has left it out.
            from: first.wrapping_sub(usize::from(from) * self.width),
        }
    }
}

/// Where the cells of a row begin, for moves from a key, as if the key moved to were 0.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    silent: usize,
    from: usize,
}

/// A key that may start, and where the cells of moves to it stand in the rows of rules and tastes; or silence.
#[derive(Clone, Copy, Debug)]
pub(super) struct Target {
    /// None is silence.
    pub key: Option<u8>,
    rule_cell: u32,
    taste_cell: u32,
}

impl Target {
    const SILENCE: Target = Target {
        key: None,
        rule_cell: 0,
        taste_cell: 0,
    };
}

impl Row {
    #[inline]
    fn cell(self, silent: bool, to: u32) -> usize {
        match silent {
            true => self.silent,
            false => self.from.wrapping_add(to as usize),
        }
    }
}

/// The tables of an onset.
#[derive(Clone, Debug)]
pub(super) struct Kind {
    rules: usize,
    tastes: usize,
    /// Silence, if it may be, then the keys that may start.
    pub targets: Vec<Target>,
}

/// What all tastes together say of a step.
#[derive(Clone, Copy, Debug)]
pub(super) struct Weighed {
    pub weight: f64,
    /// What they remember next, by number.
    pub tastes: u32,
    /// What the step states.
    pub statement: u8,
}

/// The weight of each statement after each other.
#[derive(Debug)]
pub(super) struct Answers {
    /// How many statements there are, that there was none among them.
    pub count: usize,
    /// By the statement before, then the one now; 8 by 8, whatever the count.
    weights: [f64; 64],
}

impl Answers {
    fn none() -> Answers {
        Answers {
            count: 1,
            weights: [1.0; 64],
        }
    }

    fn of(taste: &dyn Taste) -> Answers {
        let weight = |at: usize| match at % 8 {
            0 => 1.0,
            now => f64::from(taste.answer((at / 8) as u8, now as u8)),
        };
        Answers {
            count: usize::from(taste.statements()) + 1,
            weights: std::array::from_fn(weight),
        }
    }

    /// The weight of a statement after another.
    pub fn weight(&self, before: usize, now: usize) -> f64 {
        self.weights[before * 8 + now]
    }

    /// The weight of an edge as an answer to the statement before it, and the statement that is remembered
    /// after it.
    #[inline]
    pub fn answer(&self, before: usize, edge: &Edge) -> (f64, usize) {
        match usize::from(edge.statement) {
            0 => (1.0, before),
            now => (self.weights[before * 8 + now], now),
        }
    }
}

/// Rules and tastes that are read together, with all that was worked out of them so far.
#[derive(Debug)]
pub struct Skeleton {
    rules: Vec<Part<dyn Rule>>,
    tastes: Vec<Part<dyn Taste>>,
    /// Whether some rule reads keys, so that no answer holds for another key.
    reads_keys: bool,
    /// The widest move in semitones that all rules let pass.
    widest: u8,
    answers: Arc<Answers>,
    rule_memories: Numbers,
    taste_memories: Numbers,
    rule_tables: Tables,
    taste_tables: Tables,
    rule_cells: Vec<u32>,
    taste_cells: Vec<u32>,
    /// What the cells of tastes hold, less 1, is the number of one of these.
    weighed: Vec<Weighed>,
}

/// Tables by the onset that they are of.
#[derive(Debug, Default)]
struct Tables {
    all: Vec<Table>,
    numbers: FxHashMap<Onset, usize>,
}

impl Tables {
    fn number(&mut self, onset: Onset, make: impl FnOnce(Onset) -> Table) -> usize {
        if let Some(&number) = self.numbers.get(&onset) {
            return number;
        }
        self.all.push(make(onset.clone()));
        self.numbers.insert(onset, self.all.len() - 1);
        self.all.len() - 1
    }
}

/// Wider moves than this are not kept in tables.
const WIDEST_KEPT: u8 = 24;

const REFUSED: u32 = 1;

impl Skeleton {
    /// Reads these rules and tastes together.
    ///
    /// # Panics
    /// If the rules or the tastes together remember more than 64 bits.
    pub fn new(rules: Vec<Arc<dyn Rule>>, tastes: Vec<Arc<dyn Taste>>) -> Skeleton {
        let answers = tastes.iter().find(|taste| taste.statements() > 0);
        let answers = answers.map_or_else(Answers::none, |taste| Answers::of(&**taste));
        let widest = rules.iter().map(|rule| rule.widest_move()).min();
        Skeleton {
            reads_keys: rules.iter().any(|rule| rule.reads_keys()),
            widest: widest.unwrap_or(u8::MAX),
            answers: Arc::new(answers),
            rules: side_by_side(rules, |rule| rule.memory_bits(), |_| false),
            tastes: side_by_side(
                tastes,
                |taste| taste.memory_bits(),
                |taste| taste.statements() > 0,
            ),
            rule_memories: Numbers::new(),
            taste_memories: Numbers::new(),
            rule_tables: Tables::default(),
            taste_tables: Tables::default(),
            // No row begins at 0.
            rule_cells: vec![0],
            taste_cells: vec![0],
            weighed: Vec::new(),
        }
    }

    /// The weight of each statement after each other.
    pub(super) fn answers(&self) -> &Arc<Answers> {
        &self.answers
    }

    /// The states in which a line may begin, with the weights of beginning so.
    pub fn beginnings(&self, onset: &Onset) -> Vec<(State, f64)> {
        let step = |to| Step {
            onset,
            from: None,
            to,
        };
        let along = self.along(onset);
        choices(onset)
            .filter(|to| to.is_none_or(|key| admits(&self.rules, onset, key)))
            .filter_map(|to| {
                let rules = self.read_all(0, &step(to))?;
                let state = State {
                    key: to.unwrap_or(u8::MAX),
                    rules,
                    tastes: 0,
                };
                let (weight, _, _) = self.weigh_all(0, &step(to));
                let along = to.map_or(1.0, |key| along[usize::from(key)]);
                Some((state, weight * along))
            })
            .collect()
    }

    /// The weights of notes at an onset by where they lie.
    pub(super) fn along(&self, onset: &Onset) -> Along {
        let mut along = [1.0; 256];
        let tastes = self.tastes.iter().filter(|taste| has_a_say(taste, onset));
        for taste in tastes {
            for key in onset.keys.iter() {
                along[usize::from(key)] *= f64::from(taste.reads.along(onset, key));
            }
        }
        along
    }

    /// The widest move in semitones that all rules let pass.
    pub(super) fn widest(&self) -> u8 {
        self.widest
    }

    /// The memories of a state as tables number them.
    pub(super) fn numbers_of(&mut self, state: State) -> (u32, u32) {
        let rules = self.rule_memories.of(state.rules);
        (rules, self.taste_memories.of(state.tastes))
    }

    /// The state of a last note and what the rules remember, with the tastes starting afresh: so the next
    /// chorus begins.
    pub(super) fn across_join(&self, key: u8, rules: u32) -> State {
        State {
            key,
            rules: self.rule_memories.memories[rules as usize],
            tastes: 0,
        }
    }

    /// The tables of an onset, and the keys that may start there.
    pub(super) fn kind(&mut self, onset: &Onset) -> Kind {
        let root = onset.root;
        let (all, reads_keys) = (&self.rules, self.reads_keys);
        let admits = |onset: &Onset, key| admits(all, onset, key);
        // What reads keys has to be asked for each.
        let by_degree = |onset: &Onset, key| reads_keys || admits(onset, key);
        let of_degrees = |onset| Table::of_degrees(onset, by_degree);
        let rules = self.rule_tables.number(onset.from_its_root(), of_degrees);
        let tastes = self
            .taste_tables
            .number(onset.without_harmony(), Table::of_moves);
        let (rule_table, taste_table) =
            (&self.rule_tables.all[rules], &self.taste_tables.all[tastes]);
        let target = |key: u8| {
            if reads_keys && !admits(onset, key) {
                return None;
            }
            Some(Target {
                key: Some(key),
                rule_cell: rule_table.cell_of(key, root)?,
                taste_cell: taste_table.cell_of(key, root)?,
            })
        };
        let silence = silence(onset).map(|()| Target::SILENCE);
        let notes = sounds(onset).then(|| onset.keys.iter().filter_map(target));
        let targets = silence.into_iter().chain(notes.into_iter().flatten());
        Kind {
            targets: targets.collect(),
            rules,
            tastes,
        }
    }

    /// The row of what rules remember, for moves from a key; none if nothing is kept.
    pub(super) fn rule_row(&mut self, kind: &Kind, rules: u32, from: Option<u8>) -> Option<Row> {
        if self.reads_keys || self.widest > WIDEST_KEPT {
            return None;
        }
        let table = &mut self.rule_tables.all[kind.rules];
        Some(table.row(&mut self.rule_cells, rules, self.widest, from?))
    }

    /// The same for what tastes remember.
    pub(super) fn taste_row(&mut self, kind: &Kind, tastes: u32, from: Option<u8>) -> Option<Row> {
        if self.widest > WIDEST_KEPT {
            return None;
        }
        let table = &mut self.taste_tables.all[kind.tastes];
        Some(table.row(&mut self.taste_cells, tastes, self.widest, from?))
    }

    /// Lets the rules read a step with an admitted note: what they remember next, by number.
    #[inline]
    pub(super) fn read(
        &mut self,
        row: Option<Row>,
        target: Target,
        rules: u32,
        step: &Step<'_>,
    ) -> Option<u32> {
        let at = row.map(|row| row.cell(target.key.is_none(), target.rule_cell));
        match at.map_or(0, |at| self.rule_cells[at]) {
            0 => self.read_first(at, rules, step),
            REFUSED => None,
            known => Some(known - 2),
        }
    }

    fn read_first(&mut self, at: Option<usize>, rules: u32, step: &Step<'_>) -> Option<u32> {
        let memory = self.rule_memories.memories[rules as usize];
        let after = self.read_all(memory, step);
        let after = after.map(|after| self.rule_memories.of(after));
        if let Some(at) = at {
            self.rule_cells[at] = after.map_or(REFUSED, |after| after + 2);
        }
        after
    }

    /// Lets the tastes weigh a step.
    #[inline]
    pub(super) fn weigh(
        &mut self,
        row: Option<Row>,
        target: Target,
        kind: &Kind,
        tastes: u32,
        step: &Step<'_>,
    ) -> Weighed {
        let at = row.map(|row| row.cell(target.key.is_none(), target.taste_cell));
        match at.map_or(0, |at| self.taste_cells[at]) {
            0 => self.weigh_first(at, kind, tastes, step),
            known => self.weighed[known as usize - 1],
        }
    }

    fn weigh_first(
        &mut self,
        at: Option<usize>,
        kind: &Kind,
        tastes: u32,
        step: &Step<'_>,
    ) -> Weighed {
        let memory = self.taste_memories.memories[tastes as usize];
        // What tastes may not look at, they are not shown.
        let onset = &self.taste_tables.all[kind.tastes].onset;
        let (weight, statement, after) = self.weigh_all(memory, &Step { onset, ..*step });
        let weighed = Weighed {
            weight,
            tastes: self.taste_memories.of(after),
            statement,
        };
        if let Some(at) = at {
            self.weighed.push(weighed);
            self.taste_cells[at] = self.weighed.len() as u32;
        }
        weighed
    }

    /// How many memories tastes have been found to have.
    pub(super) fn taste_memories(&self) -> usize {
        self.taste_memories.memories.len()
    }

    /// Lets every rule read a step.
    fn read_all(&self, memory: u64, step: &Step<'_>) -> Option<u64> {
        self.rules.iter().try_fold(0, |after, rule| {
            let kept = rule.reads.read(rule.recall(memory), step)?;
            Some(after | rule.keep(kept))
        })
    }

    /// Lets every taste that has a say weigh a step: weight, statement, and what they remember next.
    fn weigh_all(&self, memory: u64, step: &Step<'_>) -> (f64, u8, u64) {
        let mut all = (1.0, 0, 0);
        for taste in &self.tastes {
            let remembered = taste.recall(memory);
            let (weight, kept) = taste.reads.weigh(remembered, step);
            if has_a_say(taste, step.onset) {
                all.0 *= f64::from(weight);
            }
            if taste.states {
                all.1 = taste.reads.statement(remembered, step);
            }
            all.2 |= taste.keep(kept);
        }
        all
    }
}

fn admits(rules: &[Part<dyn Rule>], onset: &Onset, key: u8) -> bool {
    rules.iter().all(|rule| rule.reads.admits(onset, key))
}

fn has_a_say(taste: &Part<dyn Taste>, onset: &Onset) -> bool {
    onset.sound != Sound::Option || taste.reads.weighs_options()
}

/// All that may happen at an onset, in a fixed order: nothing, then the notes from low to high.
fn choices(onset: &Onset) -> impl Iterator<Item = Option<u8>> {
    let notes = sounds(onset).then(|| onset.keys.iter().map(Some));
    let silence = silence(onset).map(|()| None);
    silence.into_iter().chain(notes.into_iter().flatten())
}

/// Whether a note may start at an onset.
fn sounds(onset: &Onset) -> bool {
    matches!(onset.sound, Sound::Note | Sound::Option)
}

/// Whether nothing may start at an onset.
fn silence(onset: &Onset) -> Option<()> {
    (onset.sound != Sound::Note).then_some(())
}
