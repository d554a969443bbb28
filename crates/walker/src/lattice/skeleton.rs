//! Rules and tastes read side by side: the automaton whose paths are the admissible lines, compiled as it is
//! asked for.
//!
//! What rules and tastes answer depends on how a note lies against the note before and against the root of
//! its chord, not on the key of the tune; so an answer is worked out once and then looked up, by every chord
//! of a kind, every chorus and every key of the same level.

use super::{
    graph::{Along, Edge},
    workings::Workings,
};
use crate::{
    rules::{Chances, Keys, Memory, Onset, Rule, Sound, Step},
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

/// What the rules let happen: a move in semitones or silence, and what they remember after it, by number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Passed {
    /// None is silence.
    pub up: Option<i8>,
    pub rules: u32,
    /// What it makes of liberties, where that is told.
    pub chances: Chances,
}

/// What the rules answer at onsets of a kind, seen from the root of the chord.
#[derive(Debug)]
struct RuleTable {
    /// The onset, its root on a C, with all the keys that rules admit around [`MIDDLE`].
    onset: Onset,
    /// For each memory and each degree moved from, where its list of moves is, counted from 1; 0 if it has not
    /// been asked for.
    lists: Vec<u32>,
}

/// What the tastes answer at onsets that are alike but for their harmony.
#[derive(Debug)]
struct TasteTable {
    onset: Onset,
    /// Where the row of each memory begins in the cells; 0 if it has none.
    rows: Vec<u32>,
}

/// The tables of an onset.
#[derive(Clone, Copy, Debug)]
pub(super) struct Kind {
    rules: usize,
    tastes: usize,
}

/// Where the cells of a memory of tastes begin, one for silence and one for each move; none if nothing is kept.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row(Option<usize>);

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
    rule_tables: Vec<RuleTable>,
    rule_table_numbers: FxHashMap<Onset, usize>,
    taste_tables: Vec<TasteTable>,
    taste_table_numbers: FxHashMap<Onset, usize>,
    /// Lists of moves, and where each begins and ends.
    moves: Vec<Passed>,
    lists: Vec<(u32, u32)>,
    taste_cells: Vec<u32>,
    /// What the cells of tastes hold, less 1, is the number of one of these.
    weighed: Vec<Weighed>,
    /// Where steps are to be named instead of weighed, what the tastes said of them, by number.
    named: Option<Sayings>,
    /// Whether steps tell what they make of liberties.
    tells_chances: bool,
    /// What its lattices leave to one another.
    workings: Workings,
}

/// What tastes say of a step or a note: the numbers of the weights that they use.
pub type Named = Arc<[u32]>;

/// Different sayings and their numbers.
#[derive(Debug, Default)]
struct Sayings {
    all: Vec<Named>,
    numbers: FxHashMap<Named, u32>,
}

impl Sayings {
    fn of(&mut self, said: Vec<u32>) -> u32 {
        let said: Named = said.into();
        let next = self.all.len() as u32;
        let number = *self.numbers.entry(said.clone()).or_insert(next);
        if number == next {
            self.all.push(said);
        }
        number
    }
}

/// Wider moves than this are not kept in tables.
const WIDEST_KEPT: u8 = 24;

/// The C from which moves that are kept are worked out.
const MIDDLE: u8 = 60;

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
            rule_tables: Vec::new(),
            rule_table_numbers: FxHashMap::default(),
            taste_tables: Vec::new(),
            taste_table_numbers: FxHashMap::default(),
            moves: Vec::new(),
            lists: Vec::new(),
            // No row begins at 0.
            taste_cells: vec![0],
            weighed: Vec::new(),
            named: None,
            tells_chances: false,
            workings: Workings::default(),
        }
    }

    /// The same, with edges that tell what they make of liberties.
    pub fn telling_chances(self) -> Skeleton {
        Skeleton {
            tells_chances: true,
            ..self
        }
    }

    /// The same, with tastes that name what they use: their weights are numbers, from 2 on, and 1 is nothing.
    /// The edges of its lattices do not weigh; each has the number of its [saying](Skeleton::saying) in place of
    /// the weight.
    pub fn naming(rules: Vec<Arc<dyn Rule>>, tastes: Vec<Arc<dyn Taste>>) -> Skeleton {
        Skeleton {
            named: Some(Sayings::default()),
            ..Skeleton::new(rules, tastes)
        }
    }

    /// What the tastes say of a step of a lattice whose steps are named.
    pub fn saying(&self, number: usize) -> Named {
        let named = self.named.as_ref();
        named.map_or_else(|| Arc::from([]), |named| named.all[number].clone())
    }

    /// How many different sayings there are.
    pub fn sayings(&self) -> usize {
        self.named.as_ref().map_or(0, |named| named.all.len())
    }

    /// What the tastes say of a note by where it lies, by number.
    pub fn saying_along(&mut self, onset: &Onset, key: u8) -> u32 {
        let tastes = self.tastes.iter().filter(|taste| has_a_say(taste, onset));
        let said = tastes.map(|taste| taste.reads.along(onset, key));
        let said = said.filter(|&said| said > 1).collect();
        self.named.get_or_insert_default().of(said)
    }

    /// What the tastes say of a statement after another.
    pub fn saying_of_answer(&self, before: u8, now: u8) -> u32 {
        let stating = self.tastes.iter().find(|taste| taste.states);
        stating.map_or(1, |taste| taste.reads.answer(before, now))
    }

    /// The state after a note that begins a line somewhere, whatever the rules say of a note there, with the
    /// tastes going on from a state before, if any.
    pub fn begun(&self, before: Option<State>, onset: &Onset, key: u8) -> State {
        let step = |from| Step {
            onset,
            from,
            to: Some(key),
        };
        let from = before.and_then(State::key);
        let tastes = before.map_or(0, |before| before.tastes);
        State {
            key,
            rules: self.read_all(0, &step(None)).unwrap_or(0),
            tastes: self.weigh_all(tastes, &step(from), |_| {}).1,
        }
    }

    /// The state after one more step of a line; none if it breaks a rule.
    pub fn after(&self, before: State, onset: &Onset, to: Option<u8>) -> Option<State> {
        let step = Step {
            onset,
            from: before.key(),
            to,
        };
        let may = match to {
            Some(key) => {
                sounds(onset) && onset.keys.contains(key) && admits(&self.rules, onset, key)
            }
            None => silence(onset).is_some(),
        };
        Some(State {
            key: to.unwrap_or(before.key),
            rules: self.read_all(before.rules, &step).filter(|_| may)?,
            tastes: self.weigh_all(before.tastes, &step, |_| {}).1,
        })
    }

    /// The same state with the tastes starting afresh, as at the beginning of a chorus.
    pub fn afresh(&self, state: State) -> State {
        State { tastes: 0, ..state }
    }

    /// What lattices before left, for the time in which another is made.
    pub(super) fn take_workings(&mut self) -> Workings {
        std::mem::take(&mut self.workings)
    }

    /// Leaves to later lattices what one was made of.
    pub(super) fn leave(&mut self, workings: Workings) {
        self.workings = workings.left();
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
                let mut weight = 1.0;
                self.weigh_all(0, &step(to), |said| weight *= f64::from(said));
                let along = to.map_or(1.0, |key| along[usize::from(key)]);
                Some((state, weight * along))
            })
            .collect()
    }

    /// The weights of notes at an onset by where they lie.
    pub(super) fn along(&self, onset: &Onset) -> Along {
        let mut along = [1.0; 256];
        let keys: Vec<u8> = onset.keys.iter().collect();
        for taste in self.tastes.iter().filter(|taste| has_a_say(taste, onset)) {
            for &key in &keys {
                along[usize::from(key)] *= f64::from(taste.reads.along(onset, key));
            }
        }
        along
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

    /// The tables of an onset.
    pub(super) fn kind(&mut self, onset: &Onset) -> Kind {
        let rules = onset.seen_from_its_root();
        let tastes = onset.without_harmony();
        let rule_table = self.rule_table_numbers.get(&rules).copied();
        let taste_table = self.taste_table_numbers.get(&tastes).copied();
        Kind {
            rules: rule_table.unwrap_or_else(|| {
                let keys = Keys::between(MIDDLE - WIDEST_KEPT, MIDDLE + 11 + WIDEST_KEPT);
                let everywhere = Onset {
                    keys,
                    ..rules.clone()
                };
                let keys = keys.retain(|key| admits(&self.rules, &everywhere, key));
                self.rule_tables.push(RuleTable {
                    onset: Onset { keys, ..everywhere },
                    lists: Vec::new(),
                });
                let number = self.rule_tables.len() - 1;
                self.rule_table_numbers.insert(rules, number);
                number
            }),
            tastes: taste_table.unwrap_or_else(|| {
                self.taste_tables.push(TasteTable {
                    onset: tastes.clone(),
                    rows: Vec::new(),
                });
                let number = self.taste_tables.len() - 1;
                self.taste_table_numbers.insert(tastes, number);
                number
            }),
        }
    }

    /// Whether answers are kept in tables: moves are bounded, and hold from every key.
    fn keeps(&self) -> bool {
        !self.reads_keys && self.widest <= WIDEST_KEPT
    }

    /// What the rules let happen at an onset after a key, silence first, then from low to high; keys that the
    /// onset does not have are among it.
    pub(super) fn moves(
        &mut self,
        kind: Kind,
        onset: &Onset,
        rules: u32,
        from: Option<u8>,
    ) -> std::ops::Range<usize> {
        let Some(from) = from.filter(|_| self.keeps()) else {
            let keys = onset.keys.retain(|key| admits(&self.rules, onset, key));
            let onset = Onset {
                keys,
                ..onset.clone()
            };
            return self.new_moves(&onset, rules, from);
        };
        let degree = usize::from((from + 12 - onset.root) % 12);
        let at = rules as usize * 12 + degree;
        let lists = &mut self.rule_tables[kind.rules].lists;
        if lists.len() <= at {
            lists.resize(at + 1, 0);
        }
        if lists[at] == 0 {
            let onset = self.rule_tables[kind.rules].onset.clone();
            let range = self.new_moves(&onset, rules, Some(MIDDLE + degree as u8));
            self.lists.push((range.start as u32, range.end as u32));
            self.rule_tables[kind.rules].lists[at] = self.lists.len() as u32;
        }
        let list = self.rule_tables[kind.rules].lists[at] as usize - 1;
        let (first, last) = self.lists[list];
        first as usize..last as usize
    }

    /// The same, asked of the rules; the onset has only keys that they admit.
    fn new_moves(&mut self, onset: &Onset, rules: u32, from: Option<u8>) -> std::ops::Range<usize> {
        if !self.keeps() {
            self.moves.clear();
        }
        let first = self.moves.len();
        let memory = self.rule_memories.memories[rules as usize];
        let near = |from: u8| {
            let (lowest, highest) = (
                from.saturating_sub(self.widest),
                from.saturating_add(self.widest),
            );
            onset.keys.within(lowest, highest)
        };
        let near = Onset {
            keys: from.map_or(onset.keys, near),
            ..onset.clone()
        };
        for to in choices(&near) {
            let step = Step { onset, from, to };
            if let Some(after) = self.read_all(memory, &step) {
                let up = to.map(|to| (i16::from(to) - i16::from(from.unwrap_or(0))) as i8);
                let rules = self.rule_memories.of(after);
                let chances = self.chances(memory, &step);
                self.moves.push(Passed { up, rules, chances });
            }
        }
        first..self.moves.len()
    }

    /// One of the moves.
    #[inline]
    pub(super) fn passed(&self, number: usize) -> Passed {
        self.moves[number]
    }

    /// The row of what tastes remember.
    pub(super) fn taste_row(&mut self, kind: Kind, tastes: u32, from: Option<u8>) -> Row {
        if self.widest > WIDEST_KEPT || from.is_none() {
            return Row(None);
        }
        let rows = &mut self.taste_tables[kind.tastes].rows;
        let memory = tastes as usize;
        if rows.len() <= memory {
            rows.resize(memory + 1, 0);
        }
        if rows[memory] == 0 {
            rows[memory] = self.taste_cells.len() as u32;
            let cells = 2 + 2 * usize::from(self.widest);
            self.taste_cells.resize(self.taste_cells.len() + cells, 0);
        }
        Row(Some(rows[memory] as usize))
    }

    /// Lets the tastes weigh a step.
    #[inline]
    pub(super) fn weigh(
        &mut self,
        row: Row,
        up: Option<i8>,
        kind: Kind,
        tastes: u32,
        from: Option<u8>,
    ) -> Weighed {
        let widest = isize::from(self.widest as i8);
        let cell = up.map_or(0, |up| (1 + widest + isize::from(up)) as usize);
        let at = row.0.map(|row| row + cell);
        match at.map_or(0, |at| self.taste_cells[at]) {
            0 => self.weigh_first(at, up, kind, tastes, from),
            known => self.weighed[known as usize - 1],
        }
    }

    fn weigh_first(
        &mut self,
        at: Option<usize>,
        up: Option<i8>,
        kind: Kind,
        tastes: u32,
        from: Option<u8>,
    ) -> Weighed {
        let memory = self.taste_memories.memories[tastes as usize];
        // What tastes may not look at, they are not shown.
        let onset = &self.taste_tables[kind.tastes].onset;
        let to = up.map(|up| (i16::from(from.unwrap_or(0)) + i16::from(up)) as u8);
        let (mut weight, mut said) = (1.0, Vec::new());
        let step = Step { onset, from, to };
        let (statement, after) = match self.named {
            None => self.weigh_all(memory, &step, |one| weight *= f64::from(one)),
            Some(_) => self.weigh_all(memory, &step, |one| said.push(one)),
        };
        if let Some(named) = &mut self.named {
            said.retain(|&said| said > 1);
            weight = f64::from(named.of(said));
        }
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

    /// What may happen at an onset as far as one note by itself can tell: nothing, then the keys from low to high.
    pub(super) fn choices(&self, onset: &Onset) -> Vec<Option<u8>> {
        let may = |to: &Option<u8>| to.is_none_or(|key| admits(&self.rules, onset, key));
        choices(onset).filter(may).collect()
    }

    /// The state after a step, as far as rules know it; none if it breaks one.
    pub(super) fn past(&self, before: State, step: &Step<'_>) -> Option<State> {
        Some(State {
            key: step.to.unwrap_or(before.key),
            rules: self.read_all(before.rules, step)?,
            tastes: 0,
        })
    }

    /// Lets every rule read a step.
    fn read_all(&self, memory: u64, step: &Step<'_>) -> Option<u64> {
        self.rules.iter().try_fold(0, |after, rule| {
            let kept = rule.reads.read(rule.recall(memory), step)?;
            Some(after | rule.keep(kept))
        })
    }

    /// What a step makes of liberties, where that is told.
    fn chances(&self, memory: u64, step: &Step<'_>) -> Chances {
        let rules = self.rules.iter().filter(|_| self.tells_chances);
        let chances = rules.map(|rule| rule.reads.chances(rule.recall(memory), step));
        chances.fold(Chances::default(), Chances::and)
    }

    /// Lets every taste weigh a step, and tells what those say that have a say: the statement, and what they
    /// remember next.
    fn weigh_all(&self, memory: u64, step: &Step<'_>, mut says: impl FnMut(u32)) -> (u8, u64) {
        let mut all = (0, 0);
        for taste in &self.tastes {
            let remembered = taste.recall(memory);
            let (weight, kept) = taste.reads.weigh(remembered, step);
            if has_a_say(taste, step.onset) {
                says(weight);
            }
            if taste.states {
                all.0 = taste.reads.statement(remembered, step);
            }
            all.1 |= taste.keep(kept);
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
