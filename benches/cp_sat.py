"""The line problem by a general-purpose constraint solver, for comparison.

    python3 -m venv .venv && .venv/bin/pip install ortools==9.* && .venv/bin/python cp_sat.py

Draws lines by random search with a new seed a line, then enumerates; prints lines a second and the time to
the first line. One worker.
"""

import sys
import time

from ortools.sat.python import cp_model

DOMINANT = ({0, 4, 7, 10}, {0, 2, 4, 5, 7, 9, 10})
MINOR = ({0, 3, 7, 10}, {0, 2, 3, 5, 7, 9, 10})
FLAT_NINE = ({0, 4, 7, 10}, {0, 1, 3, 4, 6, 7, 9, 10})
DIMINISHED = ({0, 3, 6, 9}, {0, 2, 3, 5, 6, 8, 9, 11})
CHORDS = [
    (5, DOMINANT, 4), (10, DOMINANT, 4), (5, DOMINANT, 4), (0, MINOR, 2), (5, DOMINANT, 2),
    (10, DOMINANT, 4), (11, DIMINISHED, 4), (5, DOMINANT, 4), (2, FLAT_NINE, 4), (7, MINOR, 4),
    (0, DOMINANT, 4), (5, DOMINANT, 2), (2, DOMINANT, 2), (7, MINOR, 2), (0, DOMINANT, 2),
]
LOWEST, HIGHEST = 28, 55


def beats():
    for root, (tones, scale), length in CHORDS:
        for beat in range(length):
            yield root, tones, scale, beat == 0, beat % 2 == 0


def model():
    places = list(beats())
    solver_model = cp_model.CpModel()
    notes = []
    for number, (root, tones, _, arrival, stressed) in enumerate(places):
        keys = [
            key
            for key in range(LOWEST, HIGHEST + 1)
            if (key % 12 == root if arrival else (key - root) % 12 in tones if stressed else True)
        ]
        notes.append(solver_model.new_int_var_from_domain(cp_model.Domain.from_values(keys), f"n{number}"))
    for number, (root, tones, scale, _, stressed) in enumerate(places):
        after = (number + 1) % len(places)
        next_root, arrives = places[after][0], places[after][3]
        pairs = []
        for key in range(LOWEST, HIGHEST + 1):
            for other in range(LOWEST, HIGHEST + 1):
                step = other - key
                degree = (key - root) % 12
                reach = 1 <= abs(step) <= 7 or abs(step) == 12
                leads = abs(step) == 1 and other % 12 == next_root
                connects = stressed or degree in tones or degree in scale or leads
                approaches = not arrives or step in (1, -1, 2, -2, -7, 5)
                if reach and connects and approaches:
                    pairs.append((key, other))
        solver_model.add_allowed_assignments([notes[number], notes[after]], pairs)
    return solver_model, notes


def solver(seed):
    made = cp_model.CpSolver()
    made.parameters.num_workers = 1
    made.parameters.random_seed = seed
    return made


class Counter(cp_model.CpSolverSolutionCallback):
    def __init__(self, limit):
        super().__init__()
        self.count, self.limit = 0, limit

    def on_solution_callback(self):
        self.count += 1
        if self.count >= self.limit:
            self.stop_search()


def main(lines=60, listed=4000):
    built = time.perf_counter()
    solver_model, notes = model()
    seen = set()
    for seed in range(lines):
        random_solver = solver(seed)
        random_solver.parameters.search_branching = cp_model.FIXED_SEARCH
        random_solver.parameters.randomize_search = True
        random_solver.parameters.permute_variable_randomly = True
        status = random_solver.solve(solver_model)
        assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE), status
        seen.add(tuple(random_solver.value(note) for note in notes))
        if seed == 0:
            first = time.perf_counter() - built
            started = time.perf_counter()
    rate = (lines - 1) / (time.perf_counter() - started)
    print(f"random search, a seed a line: first line {first * 1000:.0f} ms, {rate:.1f} lines a second, "
          f"{len(seen)} of {lines} different")
    lister = solver(1)
    lister.parameters.enumerate_all_solutions = True
    counter = Counter(listed)
    started = time.perf_counter()
    lister.solve(solver_model, counter)
    rate = counter.count / (time.perf_counter() - started)
    print(f"enumeration: {rate:.0f} lines a second")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
